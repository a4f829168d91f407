"""A site and a machine made into the kernels' arrays: once a machine, configuration, travel mode and day."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from routeplan.hazards import arrays
from routeplan.hazards.arrays import KINDS, Body, Bytes, Floats, Floats32, Records, Scratch, World, records_of
from routeplan.hazards.blocks import build_blocks
from routeplan.hazards.bounce import lever
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.edges import BUCKET_M, EdgeSoup, build_edges, layers_of
from routeplan.hazards.fields import SPACING_M, GroundFields, ground_fields, soffit_fields
from routeplan.hazards.terrain import Terrain
from routeplan.hazards.tile import OUT
from routeplan.hazards.uncertainty import sigma_pitch, sigma_point, sigma_roll
from routeplan.machine.model import Configuration, Machine
from routeplan.site.model import Site

#: Tops lean no farther than on this many times the steepest slope allowed; beyond it clearances are not looked at.
LEAN_FACTOR = 1.5


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
    configuration: Configuration
    travel_mode: str


def _levers(xi: float, eta: float, machine: Machine) -> tuple[float, float]:
    front, rear, track = machine.wheels[0].xi_m, machine.wheels[2].xi_m, machine.track_m
    return lever(xi, eta, front, rear, track), lever(xi, eta, rear, front, track)


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


def _discs(boxes: Floats, site: Site, lateral_m: float, sin_heading: float, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for a0, a1, b0, b1, _, _, occupied in boxes:
        across = b1 - b0
        n = max(1, math.ceil(2.0 * (a1 - a0) / across))
        half = (a1 - a0) / n / 2
        gap = limits.body_gap_m if occupied and ridden else limits.structure_clearance_m
        tube = lateral_m + max(-a0, a1) * sin_heading
        rows += [(a0 + half * (2 * i + 1), (b0 + b1) / 2, math.hypot(half, across / 2), gap + tube) for i in range(n)]
    return np.array(rows)


def _corners(configuration: Configuration, machine: Machine, site: Site, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for box in configuration.boxes:
        a0, a1, b0, b1 = _rectangle(box.ring)
        wanted = limits.body_gap_m if box.occupied and ridden else limits.structure_clearance_m
        rows += [(x, y, box.bottom_m, box.top_m, *_levers(x, y, machine), wanted) for x in (a0, a1) for y in (b0, b1)]
    if ridden:
        a0, a1, b0, b1 = _rectangle(configuration.basket.ring)
        floor = configuration.basket.floor_height_m
        head = floor + limits.head_height_m
        rows += [(x, y, floor, head, *_levers(x, y, machine), limits.head_gap_m) for x in (a0, a1) for y in (b0, b1)]
    return np.array(rows)


def _wheel_reach_m(machine: Machine, lateral_m: float, turn: float) -> float:
    """How far the ends of a tyre's contact line get from where its middle should be, tube included, m."""
    half = machine.wheels[0].width_m / 2
    beside = half + lateral_m + machine.wheelbase_m * math.sin(turn)
    ahead = (machine.track_m / 2 + half) * math.sin(turn) + machine.wheelbase_m * (1.0 - math.cos(turn))
    return math.hypot(beside, ahead)


def _hull(boxes: Floats, machine: Machine) -> Floats:
    xi, eta = [w.xi_m for w in machine.wheels], [w.eta_m for w in machine.wheels]
    low, high = boxes[:, [0, 2]].min(axis=0), boxes[:, [1, 3]].max(axis=0)
    return np.array([min(low[0], *xi), max(high[0], *xi), min(low[1], *eta), max(high[1], *eta)])


def build_body(site: Site, machine: Machine, configuration: Configuration, *, ridden: bool) -> Body:
    """The machine as arrays; every box is checked as the rectangle around its ring."""
    limits, wheels = site.thresholds, machine.wheels
    sin_heading = math.sin(math.radians(limits.heading_tolerance_deg))
    # A machine in crab steer strays square to where it travels: farther than that square to its arrow.
    lateral_m = limits.lateral_tolerance_m / math.cos(machine.crab_rad)
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
        discs=_discs(boxes, site, lateral_m, sin_heading, ridden=ridden),
        undersides=_undersides(configuration),
        basket=np.array(basket),
        corners=_corners(configuration, machine, site, ridden=ridden),
        hull=_hull(boxes, machine),
        reach=float(max(np.hypot(max(-b[0], b[1]), max(-b[2], b[3])) for b in boxes)),
        half_track=machine.wheelbase_m / 2 if machine.tracks else 0.0,
        wheel_gap=_wheel_reach_m(machine, lateral_m, math.radians(limits.heading_tolerance_deg)),
        tyre_half=wheels[0].width_m / 2,
        radius=max(w.radius_m for w in wheels),
        structure_gap=structure,
        body_gap=limits.body_gap_m if ridden else structure,
        underside_gap=limits.ground_clearance_m,
        bounce_limit=limits.bounce_limit_m,
        amplification=2.0 * limits.tip_participation,
        step_limit=machine.value("step_limit_m"),
        lateral=lateral_m,
        sin_heading=sin_heading,
        tallest=float(boxes[:, 5].max()),
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

    def least_sure(points: Iterable[tuple[float, float]]) -> float:
        shares = (((xi - machine.wheels[2].xi_m) / base, eta) for xi, eta in points)
        return max(sigma_point(accuracy, base, track, q, eta) for q, eta in shares)

    point, basket = least_sure(corners), least_sure(configuration.basket.ring)
    sigma = np.zeros(KINDS)
    sigma[arrays.GRADE] = math.degrees(pitch)
    sigma[arrays.SIDE_SLOPE] = math.degrees(roll)
    angles = [math.atan(value / 100.0) for value in (*ratings, machine.value("side_slope_pct"))]
    sigma[arrays.COMBINED] = math.hypot(pitch / min(angles[:2]), roll / angles[2])
    sigma[arrays.STRIKE] = math.hypot(point, accuracy.short_range_m)
    sigma[arrays.BOUNCE] = basket
    sigma[arrays.HEAD] = sigma[arrays.OVERHEAD] = point
    return sigma


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
    fields = ground_fields(site, machine, body, terrain, _underside_spacing(chosen))
    soffits = soffit_fields(site, body, terrain, k)
    lean_m = body.tallest * LEAN_FACTOR * max(body.limit_up, body.limit_down, body.limit_side)
    reach_m = body.reach * (1.0 + body.sin_heading) + body.lateral + body.body_gap + COMFORT_M + lean_m
    soup = build_edges(
        terrain, layers_of(site, mass_kg=chosen.mass_kg, day=day, closed=closed), reach_m + travel_m / 2.0
    )
    blocking = _blocking(site, body, k * sigma)
    steering = body._replace(proven=np.where(blocking == 2, k * sigma, 0.0))
    blocks = build_blocks(terrain, steering, fields, soffits[1], soup.low, travel_m)
    world = World(
        x0=terrain.x0, y0=terrain.y0, cell=terrain.cell_m,
        nodes=_nodes(terrain, fields, soffits, soup),
        spans=records_of(arrays.SPAN, low=fields.low, high=fields.high), block=blocks.size, blocks=blocks.records,
        open_m=reach_m - lean_m + travel_m + terrain.cell_m, edges=soup.edges,
        edge_kind=soup.kinds, bucket_start=soup.bucket_start, bucket_edges=soup.bucket_edges,
        bucket_cols=soup.bucket_cols, bucket_rows=soup.bucket_rows, bucket_m=BUCKET_M, piece_m=travel_m, lean_m=lean_m,
    )  # fmt: skip
    radius_m = max(wheel.radius_m for wheel in machine.wheels)
    return Hazards(world, body, sigma, blocking, terrain, k, radius_m, chosen, travel_mode)


def _nodes(terrain: Terrain, fields: GroundFields, soffits: tuple[Floats, Floats, Floats32], soup: EdgeSoup) -> Records:
    soffit, soffit_proven, soffit_far = soffits
    return records_of(
        arrays.NODE, level=terrain.level, gx=terrain.gx, gy=terrain.gy, under=fields.under, defect=fields.defect,
        deviation=fields.deviation, raised=fields.raised, soffit=soffit, soffit_proven=soffit_proven,
        soffit_far=soffit_far, body_far=soup.body_far, wheel_far=soup.wheel_far, inside=soup.inside,
    )  # fmt: skip


def new_scratch(body: Body) -> Scratch:
    """Room for one thread to check motions in."""
    return Scratch(np.empty(OUT), np.empty(len(body.boxes)), np.empty((40, 2)), np.empty(4096, np.int64))


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
