"""Site folders on real ground, built from fetched public data: an open town square, and a hill with steep sides.

Nobody surveyed these places for access planning: the accuracy is a guess and is marked assumed, the machines are bare
classes. Nothing on them may therefore pass.
"""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import rasterio
from rasterio.features import geometry_mask
from rasterio.io import MemoryFile
from rasterio.windows import Window
from shapely.geometry import Polygon, box

from tests.data_fetch import LIDAR, UMEP, DataFile

_DEMO = "demos/data/Goteborg_SWEREF99_1200/"
#: First digits of the ground's sha256 as published with the data; the others were taken when first fetched.
DEM = DataFile(UMEP, _DEMO + "DEM_KRbig.tif", "4509ed69238b40f4")
DSM = DataFile(UMEP, _DEMO + "DSM_KRbig.tif", "0e27980dd4422c17")
BUILDINGS = (
    DataFile(UMEP, _DEMO + "buildings.shp", "97a72a1bfbb6eaca"),
    DataFile(UMEP, _DEMO + "buildings.shx", "d63fdc89eba22510"),
    DataFile(UMEP, _DEMO + "buildings.dbf", "9840e84ffd6dac72"),
    DataFile(UMEP, _DEMO + "buildings.prj", "0c0fbbf9a1551fad"),
)
HILL = DataFile(LIDAR, "lidar/data/dem.tif", "c0f525ea2f1ab78b")
TOWN_FILES = (DEM, DSM, *BUILDINGS)
HILL_FILES = (HILL,)

Columns = Mapping[str, Any]
#: West, south, east, north.
Edges = tuple[float, float, float, float]


def clip_levels(data: bytes, path: Path, *, row: int, col: int, height: int, width: int) -> Edges:
    """Write a window of a one-band GeoTIFF as a GeoTIFF; returns its outer edges, metres."""
    window = Window(col, row, width, height)
    with MemoryFile(data) as memory, memory.open() as source:
        levels = source.read(1, window=window).astype(np.float32)
        whole = source.transform
        west, north, cell = whole.c + col * whole.a, whole.f - row * whole.a, whole.a
        with rasterio.Env(GDAL_PAM_ENABLED="NO"), rasterio.open(
            path, "w", driver="GTiff", height=height, width=width, count=1, dtype="float32", crs=source.crs,
            nodata=source.nodata, transform=rasterio.Affine(cell, 0.0, west, 0.0, -cell, north), compress="deflate",
        ) as target:
            target.write(levels, 1)
    return west, north - height * cell, west + width * cell, north


def write_outline(path: Path, outline: Polygon, properties: Columns) -> None:
    """Write one area as GeoJSON in site coordinates."""
    ring = [[x, y] for x, y in outline.exterior.coords]
    geometry = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": dict(properties), "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")


def write_places(path: Path, places: Iterable[tuple[str, float, float]]) -> None:
    """Write places without a bearing."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["id", "kind", "title", "x", "y", "tolerance_m"])
        writer.writerows([name, "workface", name, x, y, 0.5] for name, x, y in places)


def roof_tops(dsm: bytes, outlines: Iterable[Polygon]) -> list[float | None]:
    """Highest level of the surface model on each outline, metres; None where the model does not reach."""
    with MemoryFile(dsm) as memory, memory.open() as source:
        levels, transform = source.read(1), source.transform
    masks = (geometry_mask([outline.buffer(0)], levels.shape, transform, all_touched=True, invert=True)
             for outline in outlines)
    return [float(levels[mask].max()) if mask.any() else None for mask in masks]


def write_buildings(files: Mapping[str, bytes], folder: Path, *, within: Polygon) -> int:
    """Write the buildings that touch the site as obstacles; invalid outlines stay as they are. Returns how many."""
    raw = folder / "raw"
    raw.mkdir()
    for file in BUILDINGS:
        (raw / Path(file.path).name).write_bytes(files[file.path])
    frame = geopandas.read_file(raw / "buildings.shp")
    shutil.rmtree(raw)
    frame = frame[frame.geometry.intersects(within) | ~frame.geometry.is_valid]
    columns = {"id": [f"building-{n}" for n in range(len(frame))], "kind": "building",
               "top_m": roof_tops(files[DSM.path], frame.geometry)}
    layer = geopandas.GeoDataFrame(columns, geometry=frame.geometry.array, crs=frame.crs)
    layer.to_file(folder / "obstacles.gpkg", layer="obstacles", driver="GPKG")
    return len(layer)


def site_toml(*, name: str, crs: str, repair: str, obstacles: str, bounce_limit_m: float,
              machines: Mapping[str, str], moves: Iterable[tuple[str, str, str, str]]) -> str:
    """A ``site.toml`` for real ground: assumed accuracy, class figures only."""
    lines = [
        'format = "routeplan/site@1"', "[site]", f'name = "{name}"', 'revision = "T1"', f'crs = "{crs}"',
        'boundary = "boundary.geojson"', f'repair = "{repair}"',
        "[levels]", 'file = "levels.tif"', 'survey = "S1"', "short_range_m = 0.01", "datum_m = 0.05",
        "correlation_m = 5.0", "assumed = true",
        "[layers]", f'obstacles = "{obstacles}"', 'surfaces = "surfaces.geojson"', 'places = "places.csv"',
        "[grid]", "cell_m = 0.5", "headings = 16",
        # Levels at every metre leave little: the driver is taken to steer as well as the site file lets one say.
        "[thresholds]", f"bounce_limit_m = {bounce_limit_m}", "lateral_tolerance_m = 0.02",
        "heading_tolerance_deg = 0.5", "ground_clearance_m = 0.0",
    ]
    for machine, class_id in machines.items():
        lines += [f"[machines.{machine}]", f'class = "{class_id}"']
    for move, machine, start, goal in moves:
        lines += ["[[moves]]", f'id = "{move}"', 'purpose = "relocation"', f'machine = "{machine}"',
                  'configuration = "stowed"', 'travel_mode = "ridden"', f'from = "{start}"', f'to = "{goal}"']
    return "\n".join(lines) + "\n"


def accepted(path: Path, outline: Polygon) -> None:
    """Accept the whole site for any machine here; an invention, without which nothing could be driven on."""
    write_outline(path, outline, {"id": "all", "kind": "paving", "accepted_by": "nobody, for this test",
                                  "accepted_on": "2026-11-01", "accepted_mass_kg": 40000})


def town_site(folder: Path, files: Mapping[str, bytes]) -> int:
    """Three moves with three classes on an open square and its streets, EPSG:3007; returns the number of buildings."""
    folder.mkdir(parents=True)
    west, south, east, north = clip_levels(files[DEM.path], folder / "levels.tif", row=36, col=4, height=70, width=156)
    outline = box(west + 1, south + 1, east - 1, north - 1)
    write_outline(folder / "boundary.geojson", outline, {"id": "boundary"})
    accepted(folder / "surfaces.geojson", outline)
    count = write_buildings(files, folder, within=outline)
    write_places(folder / "places.csv", (
        ("terrace-west", west + 110.5, south + 50.5), ("terrace-east", west + 122.5, south + 57.5),
        ("square-south", west + 42.5, south + 32.5), ("square-north", west + 38.5, south + 44.5),
        ("yard-west", west + 98.0, north - 18.5), ("yard-east", west + 122.0, north - 12.0),
    ))
    (folder / "site.toml").write_text(site_toml(
        name="A town square, public levels", crs="EPSG:3007", repair="make_valid", obstacles="obstacles.gpkg",
        bounce_limit_m=1.5,
        machines={"SS": "slab-scissor-8m", "RS": "rough-terrain-scissor-12m", "AB": "articulating-boom-16m"},
        moves=(("T1", "SS", "terrace-west", "terrace-east"), ("T2", "RS", "square-south", "square-north"),
               ("T3", "AB", "yard-west", "yard-east")),
    ), encoding="utf-8")
    return count


def hill_site(folder: Path, files: Mapping[str, bytes]) -> None:
    """One move of a slab scissor between two flat tops with steep ground between, EPSG:26915."""
    folder.mkdir(parents=True)
    west, south, _, north = clip_levels(files[HILL.path], folder / "levels.tif", row=178, col=118, height=84, width=84)
    outline = box(west + 2, north - 82, west + 82, north - 2)
    write_outline(folder / "boundary.geojson", outline, {"id": "boundary"})
    accepted(folder / "surfaces.geojson", outline)
    write_places(folder / "places.csv",
                 (("top-west", west + 20.5, south + 10.5), ("top-east", west + 73.5, south + 57.5)))
    (folder / "site.toml").write_text(site_toml(
        name="Two hilltops, public levels", crs="EPSG:26915", repair="no", obstacles="none", bounce_limit_m=1.5,
        machines={"SS": "slab-scissor-8m"}, moves=(("H1", "SS", "top-west", "top-east"),),
    ), encoding="utf-8")
