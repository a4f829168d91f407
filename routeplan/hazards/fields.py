"""Fields of the ground and of soffits as one machine meets them: every place in the tube at one look-up."""

from __future__ import annotations

import math
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from routeplan.hazards.arrays import SPAN, Body, Floats, Floats32, Ints, Records, records_of
from routeplan.hazards.attitude import STANCE_STEP, most_turned
from routeplan.hazards.enclosure import SECTORS, sector_field, under_field
from routeplan.hazards.terrain import Terrain, disc_maximum
from routeplan.machine.model import Machine
from routeplan.site.model import Defect, LineCorridor, LineHeight, Site, Soffit

#: Spacing of the points that stand for a box's top, and of a short machine's underside, m.
SPACING_M = 0.5
DEFECT_REACH_M = 3.0
#: The windows hold body points that lean by this more than the mean plane has them lean, m.
LEAN_M = 0.05
_HALF_DIAGONAL = math.sqrt(0.5)


def soffit_sigma(soffit: Soffit, site: Site) -> float:
    """Standard deviation of a soffit against the ground, m; infinite when nobody said."""
    own = math.inf if soffit.sigma_m is None else soffit.sigma_m
    other_survey = soffit.level_m is not None and soffit.survey != site.ground.accuracy.survey
    return math.hypot(own, site.ground.accuracy.datum_m) if other_survey else own


def is_hole(defect: Defect) -> bool:
    """Whether a wheel may get into a feature: not into a trench, which is kept off or bridged, nor what covers one."""
    return defect.depth_m > 0.0 and defect.kind not in ("trench", "cover", "plate")


def defect_size(defect: Defect, radius_m: float) -> float:
    """What a feature does to a wheel, m: the drop into a hole that the wheel can reach, or the height of a step.

    >>> from shapely.geometry import Point
    >>> round(defect_size(Defect("h", "pothole", Point(0, 0).buffer(0.15), 0.30, 0.2, 0.0, None), 0.30), 6)
    0.040192
    """
    if not is_hole(defect):
        return defect.height_m
    if defect.width_m >= 2.0 * radius_m:
        return defect.depth_m
    return min(defect.depth_m, radius_m - math.sqrt(radius_m**2 - (defect.width_m / 2.0) ** 2))


@dataclass(frozen=True)
class _Window:
    """Everywhere a wheel, or an underside point, may be for one look-up at its nearest node.

    Half sides across and along the wheel, m; the wheel's radius, m; reach of an underside point, m; how far the wheel
    may be turned, rad.
    """

    wide: float
    along: float
    radius: float
    under: float
    turned: float


def _wheel_window(machine: Machine, body: Body, cell_m: float, spacing_m: float) -> _Window:
    node = _HALF_DIAGONAL * cell_m
    along = float(np.abs(body.wheel_eta).max()) * body.sin_heading + STANCE_STEP / 2 + node
    under = body.lateral + body.reach * body.sin_heading + spacing_m * _HALF_DIAGONAL + STANCE_STEP / 2 + node
    under += LEAN_M
    turned = body.sin_heading + most_turned(body)
    wide = body.wheel_gap + node + math.sin(machine.crab_rad) * STANCE_STEP / 2
    return _Window(wide, along, max(w.radius_m for w in machine.wheels), under, turned)


@dataclass(frozen=True, eq=False)
class GroundFields:
    """Fields of the ground as ``World`` has them: ``spans`` (sector, row, col), all others float32, ``(row, col)``."""

    spans: Records
    under: Floats32
    defect: Floats32
    deviation: Floats32
    raised: Floats32
    kerb: Floats32


def window_nodes(angle: float, wide: float, long: float, cell: float) -> Ints:
    """Node offsets (n, 2: row, col) in an oriented window, half sides along and across the heading."""
    n = math.ceil(math.hypot(wide, long) / cell)
    r, c = np.mgrid[-n : n + 1, -n : n + 1]
    ahead = (c * math.cos(angle) + r * math.sin(angle)) * cell
    aside = (r * math.cos(angle) - c * math.sin(angle)) * cell
    return np.argwhere((np.abs(ahead) <= long) & (np.abs(aside) <= wide)).astype(np.int64) - n


def wheel_fields(
    z: Floats, gx: Floats, gy: Floats, *, cell: float, wide: float, long: float, radius: float, turned: float
) -> tuple[Floats32, Floats32]:
    """Spans (SECTORS, rows, cols) of wheel levels against the local plane: lowest, highest.

    The window of a sector holds every place of a wheel in the tube, for headings within half a sector and ``turned``
    (rad) beyond it, and the nodes around it, so that what lies between nodes is spanned too. Sectors are filled in
    threads.
    """
    slip = math.sin(0.5 * math.pi / SECTORS + turned)
    around = 0.5 * cell
    wide_all, long_all = wide + (long + radius) * slip + around, long + wide * slip + around
    low, high = np.empty((SECTORS, *z.shape), np.float32), np.empty((SECTORS, *z.shape), np.float32)

    def fill(j: int) -> None:
        angle = j * math.pi / SECTORS
        offsets = window_nodes(angle, wide_all, long_all, cell)
        sector_field(
            z, gx, gy, cell, angle, offsets, radius, np.empty_like(z), np.empty((3, z.shape[1])), low[j], high[j]
        )  # fmt: skip

    with ThreadPoolExecutor() as pool:
        list(pool.map(fill, range(SECTORS)))
    return low, high


def _features(site: Site, fields: GroundFields, terrain: Terrain, body: Body, window: _Window) -> None:
    """Holes and raised features of the defects layer, taken from clean ground so that nothing counts twice."""
    touch, spans = math.hypot(window.wide, window.along), fields.spans
    for feature in site.defects:
        size = defect_size(feature, window.radius)
        if size <= 0.0:
            continue
        hole = is_hole(feature)
        rr, cc, _ = terrain.nodes_within(feature.geometry, touch if hole else touch + window.radius)
        if not len(rr):
            continue
        fields.deviation[rr, cc] = np.maximum(fields.deviation[rr, cc], size)
        low, high = _clean_spans(terrain, rr, cc, window)
        if hole:
            spans["low"][:, rr, cc] = np.minimum(spans["low"][:, rr, cc], low - size)
            continue
        spans["high"][:, rr, cc] = np.maximum(spans["high"][:, rr, cc], high + size)
        fields.raised[rr, cc] = np.maximum(fields.raised[rr, cc], size)
        rr, cc, _ = terrain.nodes_within(feature.geometry, window.under)
        fields.under[rr, cc] += np.float32(size)
        rr, cc, _ = terrain.nodes_within(feature.geometry, 1.01 * math.sqrt(2.0) * terrain.cell_m)
        fields.kerb[rr, cc] = np.maximum(fields.kerb[rr, cc], size)


def _clean_spans(terrain: Terrain, rows: Ints, cols: Ints, window: _Window) -> tuple[Floats32, Floats32]:
    """Spans (SECTORS, n) of wheel levels on clean ground at some nodes, from a piece of the raster around them."""
    n = math.ceil((math.hypot(window.wide, window.along) + 2.0 * window.radius) / terrain.cell_m) + 2
    r0, c0 = max(int(rows.min()) - n, 0), max(int(cols.min()) - n, 0)
    part = np.s_[r0 : int(rows.max()) + n + 1, c0 : int(cols.max()) + n + 1]
    piece = [np.ascontiguousarray(field[part]) for field in (terrain.clean, terrain.gx, terrain.gy)]
    low, high = wheel_fields(
        *piece, cell=terrain.cell_m, wide=window.wide, long=window.along, radius=window.radius,
        turned=window.turned,
    )  # fmt: skip
    return low[:, rows - r0, cols - c0], high[:, rows - r0, cols - c0]


def ground_fields(site: Site, machine: Machine, body: Body, terrain: Terrain, spacing_m: float) -> GroundFields:
    """What the ground around each node does to the wheels and the body; ``spacing_m`` of the points of undersides."""
    cell = terrain.cell_m
    window = _wheel_window(machine, body, cell, spacing_m)
    low, high = wheel_fields(
        terrain.level, terrain.gx, terrain.gy, cell=cell, wide=window.wide, long=window.along, radius=window.radius,
        turned=window.turned,
    )
    under = np.empty(terrain.level.shape, np.float32)
    under_field(terrain.level, terrain.gx, terrain.gy, cell, window.under, under)
    raw = np.nan_to_num(np.abs(terrain.level - terrain.clean))
    touch = math.hypot(window.wide, window.along)
    defect = raw.copy()
    for feature in site.defects:
        rr, cc, _ = terrain.nodes_within(feature.geometry, cell)
        defect[rr, cc] = np.maximum(defect[rr, cc], defect_size(feature, window.radius))
    f32 = np.float32
    fields = GroundFields(
        records_of(SPAN, low=low, high=high), under,
        disc_maximum(defect, (DEFECT_REACH_M + cell + body.lateral + touch) / cell).astype(f32),
        disc_maximum(raw, (touch + window.radius) / cell).astype(f32),
        *np.zeros((2, *terrain.level.shape), f32),
    )  # fmt: skip
    _features(site, fields, terrain, body, window)
    return fields


def top_reach_m(body: Body, cell_m: float) -> float:
    """How far from a node a top may be that the node stands for, m."""
    reach = body.lateral + body.reach * body.sin_heading + STANCE_STEP / 2 + LEAN_M
    return reach + _HALF_DIAGONAL * (SPACING_M + cell_m)


def soffit_reach_m(site: Site, body: Body, cell_m: float) -> float:
    """How far from a node a soffit may be and still count for a top that the node stands for, m."""
    return max(site.thresholds.head_gap_m, site.thresholds.structure_clearance_m) + top_reach_m(body, cell_m)


@dataclass(frozen=True, eq=False)
class OverheadFields:
    """What hangs around each node, (row, col).

    ``soffit`` the lowest soffit, m, ``soffit_proven`` the same less k sigma, minus infinity where one is that nobody
    measured; ``line`` and ``line_proven`` the same of lines that are passed under, less their sag and safety distance;
    ``far`` the distance to the nearest of all, m, rounded down.
    """

    soffit: Floats
    soffit_proven: Floats
    line: Floats
    line_proven: Floats
    far: Floats32

    @property
    def lowest_proven(self) -> Floats:
        """The lowest of soffits and lines, each less its k sigma."""
        return np.minimum(self.soffit_proven, self.line_proven)


def overhead_fields(site: Site, body: Body, terrain: Terrain, k: float) -> OverheadFields:
    """What is overhead around each node; ``k`` is the sigmas from which a margin counts as proven."""
    lines = [volume_under(line, line.height) for line in site.line_corridors if line.height is not None]
    soffit, soffit_proven, free = _lowest(site.soffits, site, terrain, soffit_reach_m(site, body, terrain.cell_m), k)
    line, line_proven, open_sky = _lowest(lines, site, terrain, top_reach_m(body, terrain.cell_m), k)
    free &= open_sky
    far = np.full(free.shape, 1e6)
    if not free.all():
        far = ndimage.distance_transform_edt(free, sampling=terrain.cell_m) - terrain.cell_m
    return OverheadFields(soffit, soffit_proven, line, line_proven, np.maximum(far, 0.0).astype(np.float32))


def volume_under(line: LineCorridor, height: LineHeight) -> Soffit:
    """What stays clear round a line, as the flat soffit that it makes: nothing comes as near as the safety distance."""
    level_m = height.level_m - height.sag_m - line.distance_m
    return Soffit(line.id, line.geometry, "overhead line", level_m, None, 0.0, 0.0, height.sigma_m, height.survey)


def _lowest(
    soffits: Iterable[Soffit], site: Site, terrain: Terrain, reach: float, k: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """The lowest soffit within reach of each node, the same less k sigma, and whether there is none."""
    cell = terrain.cell_m
    lowest, proven = np.full(terrain.level.shape, np.inf), np.full(terrain.level.shape, np.inf)
    free = np.ones(terrain.level.shape, bool)
    ground = -disc_maximum(-np.nan_to_num(terrain.level, nan=np.inf), reach / cell)
    ground[np.isnan(terrain.level)] = -np.inf
    for soffit in soffits:
        rr, cc, _ = terrain.nodes_within(soffit.geometry, reach)
        if soffit.level_m is not None:
            middle = soffit.geometry.centroid
            x, y = terrain.x0 + cc * cell - middle.x, terrain.y0 + rr * cell - middle.y
            fall = math.hypot(soffit.fall_x, soffit.fall_y) * reach
            level = soffit.level_m + soffit.fall_x * x + soffit.fall_y * y - fall
        else:
            level = ground[rr, cc] + (soffit.clear_m or 0.0)
        lowest[rr, cc] = np.minimum(lowest[rr, cc], level)
        proven[rr, cc] = np.minimum(proven[rr, cc], level - k * soffit_sigma(soffit, site))
        free[rr, cc] = False
    return lowest, proven, free


def outlines_of(site: Site, radius_m: float) -> tuple[Floats, Floats, Floats]:
    """Holes and raised features of the defects layer, and soffits, as ``World`` has them: ``features``, ``soffits`` and
    ``outlines``.
    """
    sizes = [(feature, defect_size(feature, radius_m)) for feature in site.defects]
    met = [(one.geometry, size, float(is_hole(one))) for one, size in sizes if size > 0.0]
    over = [(soffit.geometry, 0.0, 0.0) for soffit in site.soffits]
    rows, outlines = np.empty((0, 8)), np.empty((0, 4))
    for geometry, size, hole in (*met, *over):
        first = len(outlines)
        for ring in map(shapely.get_coordinates, (geometry.exterior, *geometry.interiors)):
            outlines = np.vstack([outlines, np.hstack([ring[:-1], ring[1:]])])
        rows = np.vstack([rows, (*geometry.bounds, size, hole, first, len(outlines))])
    return rows[: len(met)], rows[len(met) :], outlines
