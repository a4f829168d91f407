"""Levels: a GeoTIFF or a CSV of a regular grid into nodes with row 0 in the south, and levels at any place.

Everything that the file does not give is NaN: cells without data, and every place outside the nodes.
"""

from __future__ import annotations

import math
import warnings
from array import array
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.features import geometry_mask
from rasterio.transform import Affine
from rasterio.windows import Window
from shapely.geometry import MultiPolygon, Polygon

from routeplan.site.columns import HIGHEST_LEVEL_M, LOWEST_LEVEL_M
from routeplan.site.crs import SiteCrs, check_file_crs
from routeplan.site.csv_rows import csv_header, csv_records
from routeplan.site.faults import Faults, Unreadable, at
from routeplan.site.model import Accuracy, Ground
from routeplan.site.outlines import FARTHEST_M
from routeplan.site.text import number_of

LARGEST_CELLS = 400_000_000

#: A tile of a GeoTIFF is read whole, so it may be this large, or as large as the raster.
LARGEST_TILE = 20_000_000

#: Rows of a GeoTIFF that are read at once.
_ROWS = 256

#: Distance of neighbouring levels, metres: finer than any scanner, coarser than any site.
FINEST_M, COARSEST_M = 0.001, 1000.0

#: First bytes of a GeoTIFF, small and large, of either byte order.
_MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

#: No sidecar file is read or left behind: the hash of the file is the hash of everything that was read.
_CLOSED_DOOR = {"GDAL_PAM_ENABLED": "NO", "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR"}

_METRES = {"", "m", "metre", "metres", "meter", "meters"}

#: Nodes of a CSV stand on their grid within this share of a cell.
_OFF_GRID = 0.01

#: The mend for levels that stand anywhere.
_SPOT_LEVELS = (
    "have them made into a square grid, x,y,z of each node or a GeoTIFF, by whoever surveyed them: "
    "what lies between spot levels would be a guess here"
)


def read_ground(path: Path, *, label: str, accuracy: Accuracy, site: SiteCrs, faults: Faults) -> Ground | None:
    """Read levels; what cannot be read is a fault and yields None.

    Parameters
    ----------
    path
        An existing GeoTIFF or CSV.
    label
        The file for people.
    accuracy
        How good the levels are.
    site
        The site's coordinate system, which a GeoTIFF must share.
    faults
        Where faults go.

    Returns
    -------
    Ground or None
        Nodes at pixel centres.
    """
    try:
        if path.suffix.lower() in {".tif", ".tiff"}:
            ground = _read_tiff(path, label=label, accuracy=accuracy, site=site, faults=faults)
        elif path.suffix.lower() == ".csv":
            ground = _read_csv(path, label=label, accuracy=accuracy, faults=faults)
        else:
            raise Unreadable(
                "format-unknown", f'no reader for "{path.suffix}"', "give a GeoTIFF (.tif) or a CSV of x,y,z"
            )
    except Unreadable as error:
        code, what, mend = error.args
        faults.add(code, label, what, mend)
        return None
    _check_levels(ground, label=label, faults=faults)
    return ground


def _read_tiff(path: Path, *, label: str, accuracy: Accuracy, site: SiteCrs, faults: Faults) -> Ground:
    """Read the one band of a north-up GeoTIFF with square pixels."""
    with path.open("rb") as stream:
        if stream.read(4) not in _MAGIC:
            raise Unreadable("file-unreadable", "the file is not what its ending says", "export it again")
    try:
        with warnings.catch_warnings(), rasterio.Env(**_CLOSED_DOOR):
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(path, driver="GTiff") as source:
                _check_tiff(source)
                found = CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
                check_file_crs(site, found, where=label, faults=faults)
                z, transform = _levels_from_south(source), source.transform
    except (RasterioError, CRSError, rasterio.errors.CRSError) as error:
        raise Unreadable("file-unreadable", "is damaged: it cannot be read to its end", "export it again") from error
    cell_m = float(transform.a)
    y_min = transform.f + transform.e * (z.shape[0] - 0.5)
    return Ground(z, float(transform.c + cell_m / 2.0), float(y_min), cell_m, accuracy)


def _levels_from_south(source: Any) -> NDArray[np.float64]:
    """Return the levels of an open raster with row 0 in the south, read in strips so that they stand in memory once."""
    height, width = source.height, source.width
    z = np.empty((height, width))
    for top in range(0, height, _ROWS):
        rows = min(_ROWS, height - top)
        window = Window(0, top, width, rows)
        strip = source.read(1, window=window, out_dtype="float64")
        strip[source.read_masks(1, window=window) == 0] = np.nan
        z[height - top - rows : height - top] = strip[::-1] * source.scales[0] + source.offsets[0]
    return z


def _check_tiff(source: Any) -> None:
    """Refuse what cannot be levels on a square grid, before anything large is read."""
    mend = "export one band, north up, with square pixels"
    transform, unit = source.transform, (source.units[0] or "").strip().lower()
    if source.count != 1:
        raise Unreadable("raster-bands", f"has {source.count} bands", mend)
    if source.width * source.height > LARGEST_CELLS:
        raise Unreadable(
            "raster-too-large",
            f"has {source.width * source.height:,} cells, at most {LARGEST_CELLS:,} are read",
            "cut it to the site, or make the cells larger",
        )
    if math.prod(source.block_shapes[0]) > max(LARGEST_TILE, source.width * source.height):
        rows, columns = source.block_shapes[0]
        raise Unreadable("raster-too-large", f"has tiles of {columns:,} x {rows:,} cells", "export it in smaller tiles")
    if min(source.width, source.height) < 2:
        raise Unreadable("raster-too-small", f"has {source.width} x {source.height} cells", "give at least 2 x 2 cells")
    if transform.is_identity:
        raise Unreadable(
            "raster-no-place", "does not say where it lies", "export it with its georeference inside (no world file)"
        )
    if not np.isfinite(transform).all() or max(abs(transform.c), abs(transform.f)) > FARTHEST_M:
        raise Unreadable("raster-no-place", "says that it lies beyond the earth", "export it again with its place")
    if transform.b or transform.d or transform.a <= 0.0 or transform.e >= 0.0:
        raise Unreadable("raster-rotated", "is rotated, sheared or not north up", mend)
    if abs(transform.a + transform.e) > 1e-6 * transform.a:
        raise Unreadable("raster-pixels-not-square", f"has pixels of {transform.a:g} x {-transform.e:g} m", mend)
    _check_spacing(transform.a)
    if np.dtype(source.dtypes[0]).kind not in "iuf":
        raise Unreadable("levels-unit", f"its levels are of the kind {source.dtypes[0]}", "export them as real numbers")
    if not math.isfinite(source.offsets[0]) or not math.isfinite(source.scales[0]) or source.scales[0] == 0.0:
        what = f"its levels are to be scaled by {source.scales[0]:g} and moved by {source.offsets[0]:g}"
        raise Unreadable("levels-unit", what, "export the levels in metres")
    if unit not in _METRES:
        raise Unreadable("levels-unit", f'its levels are in "{unit}"', "export the levels in metres")


def _check_spacing(cell_m: float) -> None:
    """Refuse levels that stand closer or farther apart than on any site."""
    if not FINEST_M <= cell_m <= COARSEST_M:
        what = f"its levels stand {cell_m:g} m apart"
        raise Unreadable("levels-spacing", what, f"give them every {FINEST_M:g} to {COARSEST_M:g} m; check the units")


def _read_csv(path: Path, *, label: str, accuracy: Accuracy, faults: Faults) -> Ground:
    """Read a CSV with columns x, y, z; nodes that are left out, or whose z is empty, are unknown."""
    nodes, lines = _csv_nodes(path, label=label, faults=faults)
    (x_min, columns, cell_x), (y_min, rows, cell_y) = (_axis(nodes[:, i], "xy"[i], lines) for i in (0, 1))
    width, height = int(columns.max()) + 1, int(rows.max()) + 1
    too_large = Unreadable(
        "raster-too-large", f"spans {width * height:,} cells, at most {LARGEST_CELLS:,} are read", "cut it to the site"
    )
    if width * height > np.iinfo(np.int64).max:
        raise too_large
    where = rows * width + columns
    _check_nodes(where, columns, lines, width=width)
    if abs(cell_x - cell_y) > _OFF_GRID * cell_x:
        raise Unreadable(
            "raster-pixels-not-square", f"its nodes stand {cell_x:g} x {cell_y:g} m apart", "give a square grid"
        )
    _check_spacing(cell_x)
    if width * height > LARGEST_CELLS:
        raise too_large
    z = np.full(width * height, np.nan)
    z[where] = nodes[:, 2]
    return Ground(z.reshape(height, width), x_min, y_min, cell_x, accuracy)


def _check_nodes(
    where: NDArray[np.int64], columns: NDArray[np.int64], lines: NDArray[np.int64], *, width: int
) -> None:
    """Refuse nodes given twice, and spot levels: places of which few make a square of four that could be a grid's."""
    order = np.argsort(where, kind="stable")
    again = np.flatnonzero(np.diff(where[order]) == 0)
    if again.size:
        first, second = lines[order[again[0]]], lines[order[again[0] + 1]]
        what = f"gives a level twice for the same node, in lines {first} and {second}"
        raise Unreadable("csv-layout", what, "give each node once")
    known = where[order]
    corner = where[columns < width - 1]
    square = np.array([0, 1, width, width + 1])
    full = corner[np.all([np.isin(corner + step, known, assume_unique=True) for step in square[1:]], axis=0)]
    in_a_square = np.unique(full[:, None] + square)
    if 2 * in_a_square.size < known.size:
        what = f"holds spot levels, no grid: {known.size - in_a_square.size:,} of {known.size:,} lack the neighbours"
        raise Unreadable("levels-irregular", f"{what} that a square grid would give them", _SPOT_LEVELS)


def _csv_nodes(path: Path, *, label: str, faults: Faults) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return x, y, z of every line, and its number; z is NaN where its cell is empty."""
    lines = csv_records(path)
    header = csv_header(lines)
    if not {"x", "y", "z"} <= set(header):
        raise Unreadable("csv-layout", f"its first line is {', '.join(header)!r}", "name the columns x,y,z")
    order = [header.index(name) for name in "xyz"]
    found, numbers = array("d"), array("q")
    bad: list[int] = []
    for line, cells in lines:
        x, y, z = (number_of(cells[i]) if i < len(cells) else None for i in order)
        blank = len(cells) >= len(header) and not cells[order[2]].strip()
        beyond = any(cell.strip() for cell in cells[len(header) :])
        on_earth = x is not None and y is not None and abs(x) <= FARTHEST_M and abs(y) <= FARTHEST_M
        if x is None or y is None or not on_earth or beyond or (z is None and not blank):
            bad.append(line)
        else:
            found.extend((x, y, math.nan if z is None else z))
            numbers.append(line)
    if bad:
        faults.add(
            "csv-layout",
            f"{label}, line {bad[0]}",
            f"{len(bad)} line(s) from here on are not a place on earth and a level",
            "give x, y and z with decimal points; leave z empty where it is unknown",
        )
    if len(found) < 12:
        raise Unreadable("raster-too-small", f"has {len(found) // 3} usable node(s)", "give at least 2 x 2 nodes")
    return np.frombuffer(found).reshape(-1, 3), np.frombuffer(numbers, dtype=np.int64)


def _axis(
    values: NDArray[np.float64], name: str, lines: NDArray[np.int64]
) -> tuple[float, NDArray[np.int64], float]:
    """Return the first node, each value's index and the spacing along an axis of a regular grid."""
    unique = np.unique(np.round(values, 6))
    if len(unique) < 2:
        raise Unreadable("raster-too-small", f"all its nodes share one {name}", "give at least 2 x 2 nodes")
    narrowest = float(np.diff(unique).min())
    steps = np.round((unique[-1] - unique[0]) / narrowest)
    cell_m = float((unique[-1] - unique[0]) / steps)
    index = np.round((values - unique[0]) / cell_m)
    off = np.abs((values - unique[0]) / cell_m - index)
    if off.max() > _OFF_GRID:
        line = lines[int(off.argmax())]
        what = f"its nodes do not stand on a regular grid along {name}: line {line} fits the others worst"
        raise Unreadable("levels-irregular", what, _SPOT_LEVELS)
    return float(unique[0]), index.astype(np.int64), round(cell_m, 9)


def _check_levels(ground: Ground, *, label: str, faults: Faults) -> None:
    """Find grids without any level, and levels that are no levels."""
    known = ~np.isnan(ground.z)
    if not known.any():
        faults.add(
            "levels-nodata-everywhere", label, "holds no level at all", "export it again; check its nodata value"
        )
        return
    absurd = known & ((ground.z < LOWEST_LEVEL_M) | (ground.z > HIGHEST_LEVEL_M))
    if absurd.any():
        row, column = (int(i) for i in np.argwhere(absurd)[0])
        place = at(ground.x_min + column * ground.cell_m, ground.y_min + row * ground.cell_m)
        faults.add(
            "levels-absurd",
            f"{label}, {place}",
            f"{int(absurd.sum()):,} level(s) such as {ground.z[row, column]:g} m",
            f"levels lie from {LOWEST_LEVEL_M:g} to {HIGHEST_LEVEL_M:g} m; name the nodata value in the file",
        )


def levels_at(ground: Ground, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return bilinear levels at places; NaN where a node of the cell is unknown and outside the nodes.

    Parameters
    ----------
    ground
        Levels.
    xy
        ``(n, 2)`` site coordinates, metres.

    Returns
    -------
    ndarray
        ``(n,)`` levels, metres.
    """
    rows, columns = ground.z.shape
    u = (xy[:, 0] - ground.x_min) / ground.cell_m
    v = (xy[:, 1] - ground.y_min) / ground.cell_m
    inside = (u >= 0.0) & (u <= columns - 1) & (v >= 0.0) & (v <= rows - 1)
    j = np.clip(np.floor(u), 0, columns - 2).astype(np.int64)
    i = np.clip(np.floor(v), 0, rows - 2).astype(np.int64)
    p, q, z = u - j, v - i, ground.z
    level = (z[i, j] * (1 - p) + z[i, j + 1] * p) * (1 - q) + (z[i + 1, j] * (1 - p) + z[i + 1, j + 1] * p) * q
    return np.asarray(np.where(inside, level, np.nan))


def levels_within(ground: Ground, outline: Polygon) -> NDArray[np.float64]:
    """Return the levels ``(n,)`` of the nodes in an outline, NaN where unknown, metres."""
    window, within, _, _ = window_round(ground, outline)
    return np.asarray(window[within])


def window_round(
    ground: Ground, outline: Polygon | MultiPolygon
) -> tuple[NDArray[np.float64], NDArray[np.bool_], int, int]:
    """Return the levels round an outline, which of them lie in it, and the window's first row and column."""
    x0, y0, x1, y1 = outline.bounds
    rows, columns = ground.z.shape
    half = ground.cell_m / 2.0
    j0, j1 = (int(np.clip(np.floor((x - ground.x_min) / ground.cell_m), 0, columns - 1)) for x in (x0, x1))
    i0, i1 = (int(np.clip(np.floor((y - ground.y_min) / ground.cell_m), 0, rows - 1)) for y in (y0, y1))
    window = ground.z[i0 : i1 + 1, j0 : j1 + 1]
    west, north = ground.x_min + j0 * ground.cell_m - half, ground.y_min + i1 * ground.cell_m + half
    place = Affine(ground.cell_m, 0.0, west, 0.0, -ground.cell_m, north)
    return window, geometry_mask([outline], window.shape, place, invert=True)[::-1], i0, j0


def samples(ground: Ground, outline: Polygon) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return places and known levels under an outline: its nodes, its corners and a point inside it."""
    window, within, i0, j0 = window_round(ground, outline)
    i, j = np.nonzero(within)
    places = np.column_stack([ground.x_min + (j0 + j) * ground.cell_m, ground.y_min + (i0 + i) * ground.cell_m])
    inside = outline.representative_point()
    corners = np.vstack([shapely.get_coordinates(outline), [[inside.x, inside.y]]])
    places, levels = np.vstack([places, corners]), np.concatenate([window[within], levels_at(ground, corners)])
    known = ~np.isnan(levels)
    return places[known], levels[known]
