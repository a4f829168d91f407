"""A site and a machine made into the kernels' arrays: once a machine, configuration, travel mode and day."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from routeplan.hazards import arrays
from routeplan.hazards.arrays import KINDS, Bits, Body, Bytes, Floats, Floats32, World
from routeplan.hazards.attitude import SECTORS
from routeplan.hazards.bounce import lever
from routeplan.hazards.edges import BUCKET_M, EdgeSoup, build_edges, layers_of
from routeplan.hazards.enclosure import under_field, wheel_fields
from routeplan.hazards.terrain import Terrain, disc_maximum
from routeplan.hazards.tile import STANCE_STEP
from routeplan.hazards.uncertainty import sigma_pitch, sigma_point, sigma_roll
from routeplan.machine.model import Configuration, Machine
from routeplan.site.model import Defect, Site, Soffit

#: Spacing of the points that stand for a box's top and underside, m.
SPACING_M = 0.5
DEFECT_REACH_M = 3.0
_HALF_DIAGONAL = math.sqrt(0.5)


@dataclass(frozen=True, eq=False)
class Hazards:
    """All that can be asked about one machine on one site on one day.

    ``sigma`` (KINDS,) is the standard deviation of each margin in its unit, at the worst point of the machine;
    ``blocking`` (KINDS,) is what an open margin means to the search (see ``tile.verdict_byte``);
    ``k`` the sigmas from which the search takes a margin as proven.
    """

    world: World
    body: Body
    sigma: Floats
    blocking: Bytes
    terrain: Terrain
    k: float
    wheel_radius_m: float


def _levers(xi: float, eta: float, machine: Machine) -> tuple[float, float]:
    base, track = machine.wheelbase_m, machine.track_m
    return lever(xi, eta, base, 0.0, track), lever(xi, eta, 0.0, base, track)


def _spread(low: float, high: float, spacing_m: float = SPACING_M) -> Floats:
    return np.linspace(low, high, max(2, math.ceil((high - low) / spacing_m) + 1))


def _rectangle(ring: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    xi, eta = zip(*ring, strict=True)
    return min(xi), max(xi), min(eta), max(eta)


def _tops(configuration: Configuration, machine: Machine, site: Site, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for box in configuration.boxes:
        wanted = limits.body_gap_m if box.occupied and ridden else limits.structure_clearance_m
        a0, a1, b0, b1 = _rectangle(box.ring)
        rows += [
            (x, y, box.top_m, *_levers(x, y, machine), wanted, 0.0) for x in _spread(a0, a1) for y in _spread(b0, b1)
        ]
    if ridden:
        a0, a1, b0, b1 = _rectangle(configuration.basket.ring)
        head = configuration.basket.floor_height_m + limits.head_height_m
        rows += [
            (x, y, head, *_levers(x, y, machine), limits.head_gap_m, 1.0)
            for x in _spread(a0, a1)
            for y in _spread(b0, b1)
        ]
    return np.array(rows)


def _underside_spacing(configuration: Configuration) -> float:
    """Long machines stand high enough for points farther apart, each standing for more ground around it."""
    return SPACING_M if max(math.hypot(*corner) for corner in configuration.footprint) < 3.0 else 2.0 * SPACING_M


def _undersides(configuration: Configuration) -> Floats:
    rows = []
    spacing = _underside_spacing(configuration)
    for box in configuration.boxes:
        a0, a1, b0, b1 = _rectangle(box.ring)
        rows += [(x, y, box.bottom_m) for x in _spread(a0, a1, spacing) for y in _spread(b0, b1, spacing)]
    lower = [(*_rectangle(box.ring), box.bottom_m) for box in configuration.boxes]

    def shadowed(x: float, y: float, bottom: float) -> bool:
        return any(a0 <= x <= a1 and b0 <= y <= b1 and bottom > under for a0, a1, b0, b1, under in lower)

    return np.array([row for row in rows if not shadowed(*row)])


def _discs(boxes: Floats, site: Site, sin_heading: float, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for a0, a1, b0, b1, _, _, occupied in boxes:
        across = b1 - b0
        n = max(1, math.ceil((a1 - a0) / across))
        half = (a1 - a0) / n / 2
        gap = limits.body_gap_m if occupied and ridden else limits.structure_clearance_m
        tube = limits.lateral_tolerance_m + max(-a0, a1) * sin_heading
        rows += [(a0 + half * (2 * i + 1), (b0 + b1) / 2, math.hypot(half, across / 2), gap + tube) for i in range(n)]
    return np.array(rows)


def build_body(site: Site, machine: Machine, configuration: Configuration, *, ridden: bool) -> Body:
    """The machine as arrays; every box is checked as the rectangle around its ring."""
    limits, wheels = site.thresholds, machine.wheels
    sin_heading = math.sin(math.radians(limits.heading_tolerance_deg))
    axle = 1 if wheels[0].oscillating else 2 if wheels[2].oscillating else 0
    front_end = configuration.basket.end != "rear"
    up = machine.value("gradeability_basket_uphill_pct") / 100.0
    down = machine.value("gradeability_basket_downhill_pct") / 100.0
    boxes = np.array([(*_rectangle(b.ring), b.bottom_m, b.top_m, float(b.occupied)) for b in configuration.boxes])
    basket = [(x, y, *_levers(x, y, machine)) for x, y in configuration.basket.ring]
    structure = limits.structure_clearance_m
    return Body(
        wheel_xi=np.array([w.xi_m for w in wheels]),
        wheel_eta=np.array([w.eta_m for w in wheels]),
        wheelbase=machine.wheelbase_m,
        track=machine.track_m,
        oscillating=axle,
        stop_tan=math.tan(math.radians(machine.value("oscillation_stop_deg"))) if axle else 0.0,
        limit_up=up if front_end else down,
        limit_down=down if front_end else up,
        limit_side=machine.value("side_slope_pct") / 100.0,
        boxes=boxes,
        tops=_tops(configuration, machine, site, ridden=ridden),
        discs=_discs(boxes, site, sin_heading, ridden=ridden),
        undersides=_undersides(configuration),
        basket=np.array(basket),
        reach=float(max(np.hypot(max(-b[0], b[1]), max(-b[2], b[3])) for b in boxes)),
        wheel_gap=wheels[0].width_m / 2 + limits.lateral_tolerance_m + machine.wheelbase_m * sin_heading,
        structure_gap=structure,
        body_gap=limits.body_gap_m if ridden else structure,
        underside_gap=limits.ground_clearance_m,
        bounce_limit=limits.bounce_limit_m,
        amplification=2.0 * limits.tip_participation,
        step_limit=machine.value("step_limit_m"),
        lateral=limits.lateral_tolerance_m,
        sin_heading=sin_heading,
        tallest=float(boxes[:, 5].max()),
        calm_lean=math.sqrt(2.0) * min(up, down, machine.value("side_slope_pct") / 100.0),
        proven=np.zeros(KINDS),
    )


def margin_sigmas(site: Site, machine: Machine, configuration: Configuration) -> Floats:
    """Standard deviation of each kind of margin at the machine's worst point; degrees, ratios and metres as in the
    catalogue.
    """
    accuracy, base, track = site.ground.accuracy, machine.wheelbase_m, machine.track_m
    pitch, roll = sigma_pitch(accuracy, base), sigma_roll(accuracy, track)
    ratings = (machine.value("gradeability_basket_uphill_pct"), machine.value("gradeability_basket_downhill_pct"))
    corners = [corner for box in configuration.boxes for corner in box.ring]
    point = max(sigma_point(accuracy, base, track, x / base, y) for x, y in corners)
    basket = max(sigma_point(accuracy, base, track, x / base, y) for x, y in configuration.basket.ring)
    sigma = np.zeros(KINDS)
    sigma[arrays.GRADE] = math.degrees(pitch)
    sigma[arrays.SIDE_SLOPE] = math.degrees(roll)
    angles = [math.atan(value / 100.0) for value in (*ratings, machine.value("side_slope_pct"))]
    sigma[arrays.COMBINED] = math.hypot(pitch / min(angles[:2]), roll / angles[2])
    sigma[arrays.STRIKE] = math.hypot(point, accuracy.short_range_m)
    sigma[arrays.BOUNCE] = basket
    sigma[arrays.HEAD] = sigma[arrays.OVERHEAD] = point
    return sigma


def soffit_sigma(soffit: Soffit, site: Site) -> float:
    """Standard deviation of a soffit against the ground, m; 0 when nobody said (the check is then not proven
    anyway).
    """
    own = soffit.sigma_m or 0.0
    other_survey = soffit.level_m is not None and soffit.survey != site.ground.accuracy.survey
    return math.hypot(own, site.ground.accuracy.datum_m) if other_survey else own


def defect_size(defect: Defect, radius_m: float) -> float:
    """What a feature does to a wheel, m: the drop into a hole that the wheel can reach, or the height of a step.

    >>> from shapely.geometry import Point
    >>> round(defect_size(Defect("h", "pothole", Point(0, 0).buffer(0.15), 0.30, 0.2, 0.0, None), 0.30), 6)
    0.040192
    """
    if defect.depth_m <= 0.0:
        return defect.height_m
    if defect.width_m >= 2.0 * radius_m:
        return defect.depth_m
    return min(defect.depth_m, radius_m - math.sqrt(radius_m**2 - (defect.width_m / 2.0) ** 2))


def _wheel_window(machine: Machine, body: Body, cell_m: float) -> tuple[float, float]:
    """Half sides (across, along the wheel) of everywhere a wheel may be for one look-up at its nearest node, m."""
    node = _HALF_DIAGONAL * cell_m
    along = float(np.abs(body.wheel_eta).max()) * body.sin_heading + STANCE_STEP / 2 + node
    return body.wheel_gap + node, along


@dataclass(frozen=True, eq=False)
class _GroundFields:
    high: Floats32
    low: Floats32
    under: Floats32
    smooth: Floats32
    defect: Floats32
    deviation: Floats32
    raised: Floats32


def _ground_fields(site: Site, machine: Machine, body: Body, terrain: Terrain, spacing: float) -> _GroundFields:
    shape, cell = terrain.level.shape, terrain.cell_m
    radius = max(w.radius_m for w in machine.wheels)
    wide, along = _wheel_window(machine, body, cell)
    low, high = np.empty((SECTORS, *shape), np.float32), np.empty((SECTORS, *shape), np.float32)
    wheel_fields(terrain.level, terrain.gx, terrain.gy, cell, wide, along, radius, low, high)
    clean_low, clean_high = np.empty_like(low), np.empty_like(high)
    node = _HALF_DIAGONAL * cell
    under = np.empty(shape, np.float32)
    under_reach = body.lateral + body.reach * body.sin_heading + spacing * _HALF_DIAGONAL + STANCE_STEP / 2 + node
    under_field(terrain.level, terrain.gx, terrain.gy, cell, under_reach, under)
    raw = np.nan_to_num(np.abs(terrain.level - terrain.clean))
    defect, raised = raw.copy(), np.zeros(shape)
    deviation = disc_maximum(raw, (math.hypot(wide, along) + radius) / cell)
    touch = math.hypot(wide, along)
    if any(d.depth_m > 0 or d.height_m > 0 for d in site.defects):
        wheel_fields(terrain.clean, terrain.gx, terrain.gy, cell, wide, along, radius, clean_low, clean_high)
    for feature in site.defects:
        size = defect_size(feature, radius)
        if size <= 0.0:
            continue
        rr, cc, _ = terrain.nodes_within(feature.geometry, cell)
        defect[rr, cc] = np.maximum(defect[rr, cc], size)
        hole = feature.depth_m > 0.0
        rr, cc, _ = terrain.nodes_within(feature.geometry, touch if hole else touch + radius)
        deviation[rr, cc] = np.maximum(deviation[rr, cc], size)
        if hole:
            low[:, rr, cc] = np.minimum(low[:, rr, cc], clean_low[:, rr, cc] - size)
            continue
        high[:, rr, cc] = np.maximum(high[:, rr, cc], clean_high[:, rr, cc] + size)
        raised[rr, cc] = np.maximum(raised[rr, cc], size)
        rr, cc, _ = terrain.nodes_within(feature.geometry, under_reach)
        under[rr, cc] += np.float32(size)
    near = disc_maximum(defect, (DEFECT_REACH_M + cell + body.lateral + math.hypot(wide, along)) / cell)
    smooth = disc_maximum(np.nan_to_num(under, nan=1e3).astype(np.float64), body.reach / cell + 1)
    f32 = np.float32
    return _GroundFields(
        high, low, under, smooth.astype(f32), near.astype(f32), deviation.astype(f32), raised.astype(f32)
    )


def _soffit_fields(site: Site, body: Body, terrain: Terrain, k: float) -> tuple[Floats, Floats, Floats32]:
    cell = terrain.cell_m
    lowest, proven = np.full(terrain.level.shape, np.inf), np.full(terrain.level.shape, np.inf)
    free = np.ones(terrain.level.shape, bool)
    limits = site.thresholds
    plan_gap = max(limits.head_gap_m, limits.structure_clearance_m)
    reach = plan_gap + body.lateral + body.reach * body.sin_heading + STANCE_STEP / 2 + 0.05
    reach += _HALF_DIAGONAL * (SPACING_M + cell)
    for soffit in site.soffits:
        rr, cc, _ = terrain.nodes_within(soffit.geometry, reach)
        if soffit.level_m is not None:
            middle = soffit.geometry.centroid
            x, y = terrain.x0 + cc * cell - middle.x, terrain.y0 + rr * cell - middle.y
            fall = math.hypot(soffit.fall_x, soffit.fall_y) * reach
            level = soffit.level_m + soffit.fall_x * x + soffit.fall_y * y - fall
        else:
            slope = np.hypot(terrain.gx[rr, cc], terrain.gy[rr, cc]) * reach
            level = terrain.level[rr, cc] + (soffit.clear_m or 0.0) - slope
            level = np.nan_to_num(level, nan=-np.inf)
        lowest[rr, cc] = np.minimum(lowest[rr, cc], level)
        proven[rr, cc] = np.minimum(proven[rr, cc], level - k * soffit_sigma(soffit, site))
        free[rr, cc] = False
    if free.all():
        return lowest, proven, np.full(free.shape, 1e6, np.float32)
    far = ndimage.distance_transform_edt(free, sampling=cell) - cell
    return lowest, proven, np.maximum(far, 0.0).astype(np.float32)


def prepare(
    site: Site,
    machine: Machine,
    *,
    configuration: str,
    travel_mode: str,
    day: dt.date | None,
    k: float,
    terrain: Terrain,
    travel_m: float,
    closed: frozenset[str] = frozenset(),
) -> Hazards:
    """Make everything the kernels need to judge a motion of this machine.

    Parameters
    ----------
    k
        Sigmas from which a margin counts as proven.
    travel_m
        How far the origin may get from where a motion of the lattice starts.
    closed
        Ids of areas closed beyond the site's own dates.
    """
    chosen = machine.configurations[configuration]
    body = build_body(site, machine, chosen, ridden=travel_mode == "ridden")
    sigma = margin_sigmas(site, machine, chosen)
    body = body._replace(proven=k * sigma)
    fields = _ground_fields(site, machine, body, terrain, _underside_spacing(chosen))
    soffit, soffit_proven, soffit_far = _soffit_fields(site, body, terrain, k)
    soup = build_edges(terrain, layers_of(site, mass_kg=chosen.mass_kg, day=day, closed=closed))
    calm = _calm(terrain, fields, body, soup, soffit_far, travel_m)
    world = World(
        terrain.x0, terrain.y0, terrain.cell_m, terrain.level, terrain.gx, terrain.gy, fields.high, fields.low,
        fields.under, fields.smooth, fields.defect, fields.deviation, fields.raised, soffit, soffit_proven, soffit_far,
        soup.far, soup.inside, calm, soup.edges, soup.kinds, soup.bucket_start, soup.bucket_edges, soup.bucket_cols,
        soup.bucket_rows, BUCKET_M, float(soup.edges[:, 4].max()),
    )  # fmt: skip
    return Hazards(
        world, body, sigma, _blocking(site, body, k * sigma), terrain, k, max(w.radius_m for w in machine.wheels)
    )


def _steepest(level: Floats) -> Floats:
    """Steepest step from each node to its eastern or northern neighbour, m; large where a level is unknown."""
    steep = np.zeros(level.shape)
    steep[:, :-1] = np.nan_to_num(np.abs(np.diff(level, axis=1)), nan=1e3)
    steep[:-1] = np.maximum(steep[:-1], np.nan_to_num(np.abs(np.diff(level, axis=0)), nan=1e3))
    return steep


def _calm(
    terrain: Terrain, fields: _GroundFields, body: Body, soup: EdgeSoup, soffit_far: Floats32, travel_m: float
) -> Bytes:
    """Where no motion needs a closer look at the ground (all comfortable), at the edges (none near), or at both.

    Any slope between two wheels is at most the steepest step between nodes times sqrt(2); the twist of four wheels at
    most twice that over the track; and each adds what the wheels' windows leave open.
    """

    def about(field: Floats | Floats32 | Bits, reach_m: float) -> Floats:
        return disc_maximum(np.nan_to_num(field.astype(np.float64), nan=1e3), reach_m / terrain.cell_m + 1.0)

    wheels = travel_m + float(np.hypot(body.wheel_xi, body.wheel_eta).max())
    reach = travel_m + body.reach
    slope = math.sqrt(2.0) * about(_steepest(terrain.level) / terrain.cell_m, wheels)
    span = about(np.nan_to_num(fields.high - fields.low, nan=1e3).max(axis=0), wheels)
    deviation, defect = about(fields.deviation, wheels), about(fields.defect, wheels)
    twist = np.maximum(2.0 * body.track * slope + 4.0 * span - body.track * body.stop_tan, 0.0)
    tilt = slope + 2.0 * span / min(body.track, body.wheelbase) + 0.5 * twist / body.track
    use = np.hypot(tilt / min(body.limit_up, body.limit_down), tilt / body.limit_side) * 1.1
    rise = np.zeros_like(slope)
    for xi, eta, front, rear in body.basket:
        q, lean = xi / body.wheelbase, abs(eta) / body.track
        static = (abs(q) + abs(1 - q) + 2 * lean) * deviation + twist * (0.25 + 0.5 * (lean + abs(q - 0.5)))
        rise = np.maximum(rise, static + body.amplification * max(front, rear) * defect)
    slack = body.reach * (2.0 * span / body.wheelbase + 2.0 * span / body.track + twist / body.track)
    under = about(fields.under, reach) * 2.0 * (1.0 + body.reach / 0.9) ** 2
    ground = (use <= 0.5) & (rise <= 0.5 * body.bounce_limit) & (about(fields.raised, wheels) <= 0.0)
    ground &= float(body.boxes[:, 4].min()) - body.underside_gap - slack - under > 0.0
    ground &= (soffit_far > reach + 1.5) & (about(soup.inside, wheels) <= 0.0)
    edges = soup.far > reach * (1.0 + body.sin_heading) + body.lateral + body.body_gap + 1.5
    return (ground * arrays.CALM_GROUND + edges * arrays.CALM_EDGES).astype(np.uint8)


def _blocking(site: Site, body: Body, wanted: Floats) -> Bytes:
    """Open margins steer the search only where some pose could be proven on this survey (level ground, no defect)."""
    blocking = np.full(KINDS, 2, np.uint8)
    best = np.full(KINDS, np.inf)
    best[arrays.GRADE] = math.degrees(math.atan(min(body.limit_up, body.limit_down)))
    best[arrays.SIDE_SLOPE] = math.degrees(math.atan(body.limit_side))
    best[arrays.COMBINED] = 1.0
    best[arrays.STRIKE] = float(body.boxes[:, 4].min()) - body.underside_gap
    best[arrays.BOUNCE] = body.bounce_limit
    blocking[best < wanted] = 1
    blocking[arrays.WALKWAY] = 0
    blocking[arrays.LEVELS] = 2
    return blocking
