"""Writes small invented site folders for the reader's tests."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import Affine

SITE = """\
format = "routeplan/site@1"
[site]
name = "Test yard (invented)"
revision = "T1"
invented = true
crs = "local"
boundary = "boundary.geojson"
[levels]
file = "levels.tif"
survey = "S1"
date = 2026-11-02
short_range_m = 0.003
datum_m = 0.010
correlation_m = 2.0
"""

MACHINE = """\
[machines.SC12]
class = "rough-terrain-scissor-12m"
"""

EAST_M, NORTH_M, CELL_M = 20.0, 10.0, 0.5


def ring(x0: float, y0: float, x1: float, y1: float) -> list[list[list[float]]]:
    """Coordinates of a GeoJSON rectangle."""
    return [[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]]


def polygon(x0: float, y0: float, x1: float, y1: float) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": ring(x0, y0, x1, y1)}


def line(*xy: tuple[float, float]) -> dict[str, Any]:
    return {"type": "LineString", "coordinates": [list(p) for p in xy]}


def point(x: float, y: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [x, y]}


BOW_TIE = {"type": "Polygon", "coordinates": [[[2, 2], [6, 6], [6, 2], [2, 6], [2, 2]]]}


def feature(geometry: Mapping[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def geojson(*features: dict[str, Any], **members: Any) -> str:
    return json.dumps({"type": "FeatureCollection", "features": list(features), **members})


def slope() -> NDArray[np.float32]:
    """Levels in file order (row 0 north): 50 m in the south-west, rising 1 % to the east and 2 % to the north."""
    y, x = np.mgrid[NORTH_M - CELL_M / 2 : 0 : -CELL_M, CELL_M / 2 : EAST_M : CELL_M]
    return np.asarray(50.0 + 0.01 * x + 0.02 * y, dtype=np.float32)


def write_levels(
    path: Path, z: NDArray[Any], *, transform: Affine | None = None, crs: str | None = None, **profile: Any
) -> None:
    """Write a one-band GeoTIFF, or as many bands as ``z`` has in front."""
    bands = z if z.ndim == 3 else z[None]
    profile = {"driver": "GTiff", "dtype": bands.dtype, "crs": crs, **profile}
    place = transform or north_up(0.0, NORTH_M, CELL_M, CELL_M)
    shape = {"count": bands.shape[0], "height": bands.shape[1], "width": bands.shape[2]}
    with rasterio.open(path, "w", transform=place, **shape, **profile) as target:
        target.write(bands)


def write_folder(folder: Path, *, toml: str = SITE, files: Mapping[str, str] | None = None) -> Path:
    """Write a sound folder, then the files given on top of it."""
    folder.mkdir(exist_ok=True)
    write_levels(folder / "levels.tif", slope())
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(0, 0, EAST_M, NORTH_M))))
    (folder / "site.toml").write_text(toml)
    for name, text in (files or {}).items():
        (folder / name).write_text(text)
    return folder


def with_layer(layer: str, text: str, *, suffix: str = "geojson", folder: Path, extra: str = "") -> Path:
    """Write a sound folder with one layer given as text."""
    toml = SITE + extra + f'[layers]\n{layer} = "{layer}.{suffix}"\n'
    return write_folder(folder, toml=toml, files={f"{layer}.{suffix}": text})


def north_up(west_m: float, north_m: float, east_step_m: float, south_step_m: float) -> Affine:
    """The place of a raster whose rows run from north to south."""
    return Affine(east_step_m, 0.0, west_m, 0.0, -south_step_m, north_m)
