"""How the files of an invented sample site are written: levels with survey noise, layers, tables.

The same figures come out every time: the survey noise is drawn from a hash, not from a library's random stream, and
levels are rounded to 1/8192 m, which float32 holds exactly and which packs well.
"""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Row = dict[str, Any]
XY = tuple[float, float]
#: An area: id, ring, properties.
Feature = tuple[str, list[XY], Row]
#: (id, kind, title, x, y, bearing or None, tolerance_m)
Place = tuple[str, str, str, float, float, float | None, float]

ROOT = Path(__file__).resolve().parents[2]
CELL_M = 0.25
#: How far the levels reach beyond the boundary.
RIM_M = 4.0
#: The noise is white noise under three moving means of this many nodes.
NOISE_BOX_NODES = 13
LEVEL_STEP_M = 1.0 / 8192.0
#: Standard deviation of the sum of four independent bytes.
FOUR_BYTES_SIGMA = (4.0 * (256.0**2 - 1.0) / 12.0) ** 0.5
DEFECT_COLUMNS = ("id", "kind", "x", "y", "wkt", "width_m", "depth_m", "height_m", "state")
PLACE_COLUMNS = ("id", "kind", "title", "x", "y", "bearing_deg", "tolerance_m")


@dataclass(frozen=True)
class Sample:
    """An invented site as plain values.

    Parameters
    ----------
    name
        Its folder below ``sample_sites``; ``site.toml`` there is written by hand.
    bounds
        West, south, east and north of its boundary, m.
    surface
        Level at places east and north, m; arrays that broadcast.
    noise_sigma_m
        Of the survey that is pretended.
    boundary
        Ring.
    layers
        GeoJSON features of each layer.
    defects, places
        Rows of the tables.
    """

    name: str
    bounds: tuple[float, float, float, float]
    surface: Callable[[Array, Array], Array]
    noise_sigma_m: float
    boundary: list[XY]
    layers: Mapping[str, list[Row]]
    defects: list[Row]
    places: list[Place]

    @property
    def folder(self) -> Path:
        """Where the committed files lie."""
        return ROOT / "sample_sites" / self.name

    def levels(self) -> Array:
        """Levels at the nodes, row 0 in the south, metres."""
        west, south, east, north = self.bounds
        x = np.arange(west - RIM_M, east + RIM_M + CELL_M / 2, CELL_M)[np.newaxis, :]
        y = np.arange(south - RIM_M, north + RIM_M + CELL_M / 2, CELL_M)[:, np.newaxis]
        z = self.surface(x, y)
        noisy = z + survey_noise(z.shape, seed=self.name.replace("_", " "), sigma_m=self.noise_sigma_m)
        rounded: Array = np.round(noisy / LEVEL_STEP_M) * LEVEL_STEP_M
        return rounded

    def write(self, folder: Path) -> None:
        """Write the whole sample into a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        west, north = self.bounds[0] - RIM_M - CELL_M / 2, self.bounds[3] + RIM_M + CELL_M / 2
        write_levels(folder / "levels.tif", self.levels(), west=west, north=north)
        write_layer(folder / "boundary.geojson", area_features([("boundary", self.boundary, {})]))
        for name, layer in self.layers.items():
            write_layer(folder / f"{name}.geojson", layer)
        write_table(folder / "defects.csv", DEFECT_COLUMNS, self.defects)
        write_table(folder / "places.csv", PLACE_COLUMNS,
                    ({k: v for k, v in zip(PLACE_COLUMNS, row, strict=True) if v is not None} for row in self.places))
        site = (self.folder / "site.toml").read_bytes()
        if folder.resolve() != self.folder:
            (folder / "site.toml").write_bytes(site)


def survey_noise(shape: tuple[int, int], *, seed: str, sigma_m: float) -> Array:
    """Nearly normal errors, alike over a metre or two as those of a gridded survey are."""
    kernel = np.ones(1)
    for _ in range(3):
        kernel = np.convolve(kernel, np.full(NOISE_BOX_NODES, 1.0 / NOISE_BOX_NODES))
    rows, cols = (n + len(kernel) - 1 for n in shape)
    drawn = hashlib.shake_256(f"{seed}, invented".encode()).digest(rows * cols * 4)
    octets = np.frombuffer(drawn, dtype=np.uint8).astype(np.float64).reshape(rows, cols, 4)
    noise: Array = (octets.sum(axis=2) - 510.0) / FOUR_BYTES_SIGMA * sigma_m
    for axis in (0, 1):
        count = shape[axis]
        smooth = np.zeros_like(np.take(noise, range(count), axis))
        for n, weight in enumerate(kernel):
            smooth += weight * np.take(noise, range(n, n + count), axis)
        noise = smooth / np.sqrt((kernel**2).sum())
    return noise


def rectangle(x0: float, y0: float, x1: float, y1: float) -> list[XY]:
    """Corners of a rectangle, anticlockwise."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def feature(properties: Mapping[str, Any], kind: str, coordinates: object) -> Row:
    """One GeoJSON feature."""
    return {"type": "Feature", "properties": dict(properties), "geometry": {"type": kind, "coordinates": coordinates}}


def area(properties: Mapping[str, Any], outer: Sequence[XY], *holes: Sequence[XY]) -> Row:
    """A GeoJSON feature of an area; first corners are repeated as GeoJSON wants it."""
    return feature(properties, "Polygon", [_points([*ring, ring[0]]) for ring in (outer, *holes)])


def area_features(rows: Iterable[Feature]) -> list[Row]:
    """GeoJSON features of rings with properties."""
    return [area({"id": name} | more, ring) for name, ring, more in rows]


def line(properties: Mapping[str, Any], points: Sequence[XY]) -> Row:
    """A GeoJSON feature of a line."""
    return feature(properties, "LineString", _points(points))


def _points(points: Sequence[XY]) -> list[list[float]]:
    return [[float(x), float(y)] for x, y in points]


def write_levels(path: Path, levels: Array, *, west: float, north: float) -> None:
    """Write levels as a one-band GeoTIFF, north up, nodes in the middle of the pixels."""
    import rasterio

    z = np.flipud(levels).astype(np.float32)
    transform = rasterio.Affine(CELL_M, 0.0, west, 0.0, -CELL_M, north)
    with rasterio.Env(GDAL_PAM_ENABLED="NO"), rasterio.open(
        path, "w", driver="GTiff", height=z.shape[0], width=z.shape[1], count=1, dtype="float32", nodata=-9999.0,
        transform=transform, compress="deflate", zlevel=9, predictor=3, tiled=True, blockxsize=256, blockysize=256,
    ) as raster:
        raster.write(z, 1)


def write_layer(path: Path, layer: list[Row]) -> None:
    """Write a GeoJSON layer in site metres, one feature a line."""
    rows = ",\n".join(json.dumps(row, ensure_ascii=True) for row in layer)
    path.write_text(f'{{"type": "FeatureCollection", "features": [\n{rows}\n]}}\n', encoding="utf-8", newline="\n")


def write_table(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a CSV; what a row does not say stays empty."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows(rows)
