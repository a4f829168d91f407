"""Make the levels and layers of the sample site Kestrel Quay (invented): ``python tests/make_sample.py OUTDIR``.

The same figures come out every time: the survey noise is drawn from a hash, not from a library's random stream, and
levels are rounded to 1/8192 m, which float32 holds exactly and which packs well.
"""

from __future__ import annotations

import csv
import hashlib
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent
if __package__ in {None, ""}:
    sys.path.insert(0, str(ROOT))

from tests import sample_features as features  # noqa: E402

Array = NDArray[np.float64]

CELL_M = 0.25
RIM_M = 4.0
EAST_M, NORTH_M = 256.0, 206.0
NOISE_SIGMA_M = 0.001
#: The noise is white noise under three moving means of this many nodes.
NOISE_BOX_NODES = 13
LEVEL_STEP_M = 1.0 / 8192.0
SAMPLE = ROOT / "sample_sites" / "kestrel_quay"
#: Standard deviation of the sum of four independent bytes.
FOUR_BYTES_SIGMA = (4.0 * (256.0**2 - 1.0) / 12.0) ** 0.5


def survey_noise(shape: tuple[int, int]) -> Array:
    """Nearly normal errors of ``NOISE_SIGMA_M`` metres, alike over a metre or two as those of a gridded survey are."""
    kernel = np.ones(1)
    for _ in range(3):
        kernel = np.convolve(kernel, np.full(NOISE_BOX_NODES, 1.0 / NOISE_BOX_NODES))
    rows, cols = (n + len(kernel) - 1 for n in shape)
    drawn = hashlib.shake_256(b"kestrel quay, invented").digest(rows * cols * 4)
    octets = np.frombuffer(drawn, dtype=np.uint8).astype(np.float64).reshape(rows, cols, 4)
    noise: Array = (octets.sum(axis=2) - 510.0) / FOUR_BYTES_SIGMA * NOISE_SIGMA_M
    for axis in (0, 1):
        count = shape[axis]
        smooth = np.zeros_like(np.take(noise, range(count), axis))
        for n, weight in enumerate(kernel):
            smooth += weight * np.take(noise, range(n, n + count), axis)
        noise = smooth / np.sqrt((kernel**2).sum())
    return noise


def ramp_rise(y: Array) -> Array:
    """Rise of the ramp above the lower yard's plane: a sag curve, a straight and a crest curve, metres."""
    along = np.clip(y - features.RAMP_NORTH[0], 0.0, features.RAMP_NORTH[1] - features.RAMP_NORTH[0])
    sag, crest, grade = features.SAG_END_M, features.CREST_START_M, features.RAMP_GRADE
    top = features.RAMP_NORTH[1] - features.RAMP_NORTH[0] - crest
    past = np.clip(along - crest, 0.0, None)
    return np.where(
        along < sag,
        grade * along**2 / (2.0 * sag),
        grade * (sag / 2.0 + np.minimum(along, crest) - sag) + grade * (past - past**2 / (2.0 * top)),
    )


def bank_rise(y: Array) -> Array:
    """Rise of the bank above the lower yard's plane, metres."""
    foot, knee, head = features.BANK_NORTH
    lower, upper = features.BANK_GRADE
    return lower * np.clip(y - foot, 0.0, knee - foot) + upper * np.clip(y - knee, 0.0, head - knee)


def levels() -> Array:
    """Levels at the nodes, row 0 in the south, metres."""
    x = np.arange(-RIM_M, EAST_M + RIM_M + CELL_M / 2, CELL_M)[np.newaxis, :]
    y = np.arange(-RIM_M, NORTH_M + RIM_M + CELL_M / 2, CELL_M)[:, np.newaxis]
    wall = np.where(y >= features.WALL_NORTHING_M, features.LEVEL_CHANGE_M, 0.0)
    on_ramp = (x >= features.RAMP_EAST[0]) & (x <= features.RAMP_EAST[1])
    rise = np.where(x >= features.BANK_WEST_M, bank_rise(y), np.where(on_ramp, ramp_rise(y), wall))
    z = features.BASE_M + features.NORTH_FALL * y + features.EAST_FALL * x + rise
    for east, north, diameter, depth, in_raster, _ in features.POTHOLES:
        if in_raster:
            z = np.where(np.hypot(x - east, y - north) <= diameter / 2.0, z - depth, z)
    for (x0, y0, x1, y1), depth in ((features.TRENCH, 1.2), (features.EXCAVATION, 2.0)):
        z = np.where((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1), z - depth, z)
    noisy: Array = z + survey_noise(z.shape)
    return np.round(noisy / LEVEL_STEP_M) * LEVEL_STEP_M


def write_levels(path: Path) -> None:
    """Write the levels as a one-band GeoTIFF, north up, nodes in the middle of the pixels."""
    import rasterio

    z = np.flipud(levels()).astype(np.float32)
    west, north = -RIM_M - CELL_M / 2, NORTH_M + RIM_M + CELL_M / 2
    transform = rasterio.Affine(CELL_M, 0.0, west, 0.0, -CELL_M, north)
    with rasterio.Env(GDAL_PAM_ENABLED="NO"), rasterio.open(
        path, "w", driver="GTiff", height=z.shape[0], width=z.shape[1], count=1, dtype="float32", nodata=-9999.0,
        transform=transform, compress="deflate", zlevel=9, predictor=3, tiled=True, blockxsize=256, blockysize=256,
    ) as raster:
        raster.write(z, 1)


def closed(ring: Sequence[features.XY]) -> list[list[float]]:
    """A ring as GeoJSON wants it: first corner repeated."""
    return [[float(x), float(y)] for x, y in [*ring, ring[0]]]


def feature(properties: Mapping[str, Any], kind: str, coordinates: object) -> dict[str, Any]:
    """One GeoJSON feature."""
    return {"type": "Feature", "properties": dict(properties), "geometry": {"type": kind, "coordinates": coordinates}}


def area_features(rows: Iterable[features.Feature]) -> list[dict[str, Any]]:
    """GeoJSON features of rings with properties."""
    return [feature({"id": name} | more, "Polygon", [closed(ring)]) for name, ring, more in rows]


def line(points: Sequence[features.XY]) -> list[list[float]]:
    """Coordinates of a line."""
    return [[float(x), float(y)] for x, y in points]


def obstacle_features() -> list[dict[str, Any]]:
    """Blocks as areas, walls as lines with a width."""
    blocks = [
        feature({"id": name, "kind": kind, "top_m": top}, "Polygon", [closed(features.rectangle(*corners))])
        for name, kind, corners, top in features.BLOCKS
    ]
    walls = [
        feature({"id": name, "kind": kind, "width_m": width, "top_m": top}, "LineString", line(points))
        for name, kind, points, width, top in features.WALLS
    ]
    return blocks + walls


def soffit_features() -> list[dict[str, Any]]:
    """Areas overhead, and the frame's beams as lines with a width."""
    beams = [
        feature({"id": name, "kind": "beam", "width_m": width, "clear_m": clear, "sigma_m": 0.01, "survey": "S1"},
                "LineString", line(points))
        for name, points, width, clear in features.BEAMS
    ]
    return area_features(features.SOFFITS) + beams


def surface_features() -> list[dict[str, Any]]:
    """Surfaces with holes."""
    return [
        feature({"id": name} | more, "Polygon", [closed(outer), *(closed(hole) for hole in holes)])
        for name, outer, holes, more in features.SURFACES
    ]


def pothole_rows() -> list[dict[str, Any]]:
    """The potholes that the defect list holds."""
    return [
        {"id": f"pothole-{number}", "kind": "pothole", "x": x, "y": y, "width_m": width, "depth_m": depth,
         "state": "open"}
        for number, (x, y, width, depth, _, listed) in enumerate(features.POTHOLES, start=1)
        if listed
    ]


def write_layer(path: Path, layer: list[dict[str, Any]]) -> None:
    """Write a GeoJSON layer in site metres, one feature a line."""
    rows = ",\n".join(json.dumps(row, ensure_ascii=True) for row in layer)
    path.write_text(f'{{"type": "FeatureCollection", "features": [\n{rows}\n]}}\n', encoding="utf-8", newline="\n")


def write_table(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a CSV; what a row does not say stays empty."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows(rows)


def write_site(folder: Path) -> None:
    """Write the whole sample; ``site.toml`` is written by hand and copied."""
    folder.mkdir(parents=True, exist_ok=True)
    write_levels(folder / "levels.tif")
    write_layer(folder / "boundary.geojson", area_features([("boundary", features.BOUNDARY, {})]))
    write_layer(folder / "obstacles.geojson", obstacle_features())
    write_layer(folder / "soffits.geojson", soffit_features())
    write_layer(folder / "surfaces.geojson", surface_features())
    write_layer(folder / "walkways.geojson", area_features(features.WALKWAYS))
    write_layer(folder / "areas.geojson", area_features(features.AREAS))
    write_layer(folder / "excavations.geojson", area_features(features.EXCAVATIONS))
    write_layer(folder / "overhead_lines.geojson", [
        feature({"id": name, "corridor_m": corridor}, "LineString", line(points))
        for name, points, corridor in features.LINES
    ])
    write_table(folder / "defects.csv", ("id", "kind", "x", "y", "wkt", "width_m", "depth_m", "height_m", "state"),
                pothole_rows() + features.DEFECTS)
    columns = ("id", "kind", "title", "x", "y", "bearing_deg", "tolerance_m")
    write_table(folder / "places.csv", columns,
                ({k: v for k, v in zip(columns, row, strict=True) if v is not None} for row in features.PLACES))
    site = (SAMPLE / "site.toml").read_bytes()
    if folder.resolve() != SAMPLE:
        (folder / "site.toml").write_bytes(site)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python tests/make_sample.py OUTDIR")
    write_site(Path(sys.argv[1]))
