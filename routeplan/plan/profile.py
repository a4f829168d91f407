"""The margins of a route row by row, and what they say: checks, hold points, controls and zones."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import stand
from routeplan.hazards.catalogue import CATALOGUE, CheckKind
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.fields import soffit_reach_m
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import doubts, verdict
from routeplan.hazards.sweep import FAR, along
from routeplan.hazards.tile import stances_of
from routeplan.machine.model import Configuration, Machine
from routeplan.plan.steer import SET_TO, least_radius_m, set_anew
from routeplan.plan.trace import ROW_STEP_M
from routeplan.plan.way import Stretch
from routeplan.route import Check, CheckVerdict, Control, Hold, Pose, Zone, heading_rad
from routeplan.search.anchors import check_motions
from routeplan.search.best_first import EIGHTHS, FORWARD_FACTOR, REVERSE_FACTOR
from routeplan.search.motions import worth_m
from routeplan.site.model import Site

Floats = NDArray[np.float64]

ZoneKind = Literal["bounce", "slope", "low gap"]

#: A margin of a check that met nothing is given as this, in metres or degrees: "at least".
NOTHING_MET = 10.0
#: Chainages this close are one, m.
NEAR_M = 1e-6
_PLAN_KINDS = frozenset({
    arrays.CLEARANCE, arrays.ACCEPTANCE, arrays.COVERS, arrays.EXCAVATION, arrays.LINES, arrays.CLOSED, arrays.WALKWAY
})  # fmt: skip


@dataclass(frozen=True, eq=False)
class Profile:
    """Margins of a route by stretches: ``margins`` (n, OUT), ``starts`` (n, 3: x, y, heading), ``along_m`` (n + 1).

    ``cost_m`` (n,) is what each costs, as metres of the best forward driving. A stretch lies between two stances that
    the search looked at, so that nothing here is found that it did not see.
    """

    poses: tuple[Pose, ...]
    margins: Floats
    starts: Floats
    along_m: Floats
    cost_m: Floats

    def part(self, from_m: float, to_m: float) -> Profile:
        """The stretches that begin between two chainages, with the rows of the route over them.

        What turns on the spot between two parts is the later one's; at the end of the route it is the last one's.
        """
        begins, ends_route = self.along_m[:-1], to_m >= self.along_m[-1] - NEAR_M
        inner = np.flatnonzero((begins >= from_m - NEAR_M) & ((begins < to_m - NEAR_M) | ends_route))
        first, last = (int(inner[0]), int(inner[-1])) if len(inner) else (0, 0)
        here = slice(first, last + 1)
        poses = tuple(pose for pose in self.poses if from_m - NEAR_M <= pose.chainage_m <= to_m + NEAR_M)
        return Profile(
            poses, self.margins[here], self.starts[here], self.along_m[first : last + 2], self.cost_m[here]
        )  # fmt: skip

    def chainage_m(self, stretch: int) -> float:
        """Chainage of the start of a stretch."""
        return float(self.along_m[stretch])

    def place(self, stretch: int) -> tuple[float, float]:
        """Where the origin stands at the start of a stretch."""
        return float(self.starts[stretch, 0]), float(self.starts[stretch, 1])

    def over(self, first: int, last: int) -> tuple[Pose, ...]:
        """Rows of the route from the start of one stretch to the end of another; at least one."""
        low, high = self.along_m[first] - ROW_STEP_M, self.along_m[last + 1] + ROW_STEP_M
        return tuple(pose for pose in self.poses if low <= pose.chainage_m <= high)


def profile(stretches: Sequence[Stretch], poses: Sequence[Pose]) -> Profile:
    """Judge all that lies between two stances by itself, each stretch of motions by the hazards that it was found with.

    ``poses`` are the rows that ``trace`` makes of the motions.
    """
    starts: list[tuple[float, float, float]] = []
    along_m, margins, costs = [0.0], [], []
    for stretch in stretches:
        hazards, first, pieces, factors = stretch.lattice.hazards, len(starts), [], []
        for motion in stretch.motions:
            at = (motion.at.x, motion.at.y, motion.at.heading)
            for piece in motion.pieces:
                n = stances_of(hazards.body, piece)
                for i in range(n):
                    starts.append(along(*at, piece[0] * i / n, *piece[1:]))
                    pieces.append((piece[0] / n, *piece[1:]))
                    factors.append(REVERSE_FACTOR / FORWARD_FACTOR if motion.gear < 0 else 1.0)
                    along_m.append(along_m[-1] + (0.0 if piece[2] > 0 else abs(piece[0]) / n))
                at = along(*at, *piece)
        driven = np.array(pieces)
        found, verdicts = check_motions(hazards, np.array(starts[first:]), driven[:, None, :])
        margins.append(found)
        # On the spot the farthest wheel counts.
        arm_m = max(map(math.hypot, hazards.body.wheel_xi, hazards.body.wheel_eta))
        lengths = worth_m(driven) * np.where(driven[:, 2] > 0.0, arm_m, 1.0)
        costs.append(lengths * np.array(factors) * (verdicts & EIGHTHS) / 8.0)
    return Profile(
        tuple(poses), np.concatenate(margins), np.array(starts), np.array(along_m), np.concatenate(costs)
    )  # fmt: skip


def _limit(line: CheckKind, hazards: Hazards, found: Profile, row: int) -> float:
    """The figure a value is held against; 0 where the margin is what is left beyond the gap wanted."""
    body = hazards.body
    if line.index == arrays.GRADE:
        x, y, heading = found.starts[row].tolist()
        stance = stand(hazards.world, body, x, y, heading, 0.0, 0.0)
        return math.degrees(math.atan(body.limit_up if stance.pitch >= 0.0 else body.limit_down))
    return {
        arrays.SIDE_SLOPE: math.degrees(math.atan(body.limit_side)),
        arrays.COMBINED: 1.0,
        arrays.BOUNCE: body.bounce_limit,
        arrays.STEP: body.step_limit,
        arrays.STRIKE: body.underside_gap,
        arrays.LEVELS: 1.0,
    }.get(line.index, 0.0)


#: Where the margins of what is overhead stand less the soffits' k sigma.
_OVER = {arrays.HEAD: arrays.KINDS, arrays.OVERHEAD: arrays.KINDS + 1}

_UNMEASURED = "soffit {} has no accuracy: measure it and say how far off it may be"

#: Checks whose value may not exceed its limit; the others' may not fall below it.
_UPPER = frozenset({arrays.GRADE, arrays.SIDE_SLOPE, arrays.COMBINED, arrays.BOUNCE, arrays.STEP})


def _margin_check(line: CheckKind, found: Profile, hazards: Hazards, k: float, why: tuple[str, ...]) -> Check:
    raw = found.margins[:, line.index]
    sigma = np.full(len(raw), hazards.sigma[line.index])
    if line.index in _OVER:
        proven = found.margins[:, _OVER[line.index]]
        soffit = np.where(np.isfinite(raw), (raw - proven) / hazards.k, 0.0)
        sigma = np.hypot(sigma, np.nan_to_num(soffit, posinf=math.inf))
    unknown = np.isinf(sigma)
    row = int(np.argmin(np.where(unknown, raw, math.inf) if unknown.any() else raw - k * sigma))
    sigma[unknown] = math.nan
    cap = COMFORT_M if line.index in _PLAN_KINDS else NOTHING_MET
    met = raw[row] < FAR / 2
    margin = min(float(raw[row]), cap) if met else cap
    limit = _limit(line, hazards, found, row)
    value = limit - margin if line.index in _UPPER else limit + margin
    result: CheckVerdict = verdict(margin, float(sigma[row]), k)
    if line.index == arrays.WALKWAY:
        result = "pass" if margin >= 0.0 else "pass with controls"
    if why and result != "fail":
        result = "not proven"
    source = line.source if met else f"{line.source}; nothing nearer than this"
    return Check(
        line.kind, result, value, limit, margin, line.unit, float(sigma[row]), k, found.chainage_m(row),
        found.place(row), source, why,
    )  # fmt: skip


def _turning_check(line: CheckKind, found: Profile, machine: Machine, k: float, why: tuple[str, ...]) -> Check:
    poses = found.poses
    turned = np.abs((np.diff([p.bearing_deg for p in poses]) + 180.0) % 360.0 - 180.0)
    travelled = np.diff([p.chainage_m for p in poses])
    drives = (travelled > 1e-6) & (turned > 1e-6)
    radius = np.where(drives, travelled / np.radians(np.where(drives, turned, 1.0)), np.inf)
    radii = {steer: least_radius_m(machine, steer) for steer in {pose.steer for pose in poses}}
    least = np.array([radii[pose.steer] for pose in poses[1:]])
    row = int(np.argmin(radius - least))
    limit = float(least[row])
    # A turn at the very radius comes out a hair under it through the rounding of rows.
    value = float(min(radius[row], limit + NOTHING_MET))
    value = limit if abs(value - limit) < 0.001 * limit else value
    result = verdict(value - limit, 0.0, k)
    if why and result != "fail":
        result = "not proven"
    return Check(
        line.kind,
        result,
        value,
        limit,
        value - limit,
        line.unit,
        0.0,
        k,
        poses[row].chainage_m,
        (poses[row].x, poses[row].y),
        line.source,
        why,
    )


def _survey_check(
    line: CheckKind, found: Profile, site: Site, hazards: Hazards, k: float, why: tuple[str, ...]
) -> Check:
    """The hole that the survey would not show, taken under the worst wheel, against the bounce limit; open, never
    failed.
    """
    smallest, body = site.ground.accuracy.smallest_hole_m, hazards.body
    if smallest is None:
        nan = math.nan
        why = (*why, "nobody said how small a hole the survey would show: walk the route")
        return Check(
            line.kind,
            "not proven",
            nan,
            body.bounce_limit,
            nan,
            line.unit,
            0.0,
            k,
            0.0,
            found.place(0),
            line.source,
            why,
        )
    radius = hazards.wheel_radius_m
    drop = radius if smallest >= 2 * radius else radius - math.sqrt(radius**2 - (smallest / 2) ** 2)
    lever = float(body.rows("basket")[:, 2:].max())
    value = body.amplification * lever * drop
    margin = body.bounce_limit - value
    if margin < 0.0:
        why = (
            *why,
            f"a hole of {smallest:.2f} m that the survey would not show could throw the basket: walk the route",
        )
    result: CheckVerdict = "not proven" if why else "pass"
    return Check(
        line.kind, result, value, body.bounce_limit, margin, line.unit, 0.0, k, 0.0, found.place(0), line.source, why
    )


def _unmeasured(line: CheckKind, found: Profile, site: Site, hazards: Hazards) -> tuple[str, ...]:
    """The soffits without an accuracy that the body comes under: whatever the margin there, it proves nothing."""
    if line.index not in _OVER:
        return ()
    under = shapely.MultiPoint(found.starts[np.isneginf(found.margins[:, _OVER[line.index]]), :2])
    reach_m = hazards.body.reach + soffit_reach_m(site, hazards.body, hazards.terrain.cell_m)
    vague = (soffit for soffit in site.soffits if soffit.sigma_m is None)
    return tuple(_UNMEASURED.format(s.id) for s in vague if shapely.dwithin(under, s.geometry, reach_m))


def checks_of(
    found: Profile, *, site: Site, machine: Machine, hazards: Hazards, k: float, configurations: Iterable[str]
) -> tuple[Check, ...]:
    """One row for every line of the catalogue; ``configurations`` are those driven in."""
    rows = []
    for line in CATALOGUE:
        why = doubts(line, site, machine, configurations, {pose.steer for pose in found.poses})
        why += _unmeasured(line, found, site, hazards)
        if line.kind == "turning":
            rows.append(_turning_check(line, found, machine, k, why))
        elif line.kind == "survey resolution":
            rows.append(_survey_check(line, found, site, hazards, k, why))
        else:
            rows.append(_margin_check(line, found, hazards, k, why))
    return tuple(rows)


def unmade_checks(why: str) -> tuple[Check, ...]:
    """One row for every line of the catalogue, none of them made, and why."""
    nan = math.nan
    return tuple(
        Check(line.kind, "not proven", nan, nan, nan, line.unit, nan, nan, nan, (nan, nan), line.source, (why,))
        for line in CATALOGUE
    )


def _runs(flags: NDArray[np.bool_], found: Profile, gap_m: float) -> Iterator[tuple[int, int]]:
    """First and last stretch of each run of flags, runs less than a gap apart taken together."""
    first = last = -1
    for row in map(int, np.flatnonzero(flags)):
        if first >= 0 and found.chainage_m(row) - found.chainage_m(last) > gap_m:
            yield first, last
            first = -1
        first, last = (row if first < 0 else first), row
    if first >= 0:
        yield first, last


def _placed(ring: Sequence[tuple[float, float]], poses: Sequence[Pose]) -> tuple[tuple[float, float], ...]:
    """Convex outline of a ring of the machine at several poses, in site metres."""
    points = []
    for pose in poses:
        heading = heading_rad(pose.bearing_deg)
        c, s = math.cos(heading), math.sin(heading)
        points += [(pose.x + xi * c - eta * s, pose.y + xi * s + eta * c) for xi, eta in ring]
    hull = shapely.MultiPoint(points).convex_hull
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(hull)[:-1])


def zones_of(found: Profile, *, machine: Machine, configuration: Configuration, hazards: Hazards) -> tuple[Zone, ...]:
    """Stretches that use more than half of a limit, with where the basket then is."""
    body, margins = hazards.body, found.margins
    wheels = [(w.xi_m, w.eta_m) for w in machine.wheels]
    gap = np.minimum(margins[:, arrays.HEAD], margins[:, arrays.OVERHEAD])
    kinds: tuple[tuple[ZoneKind, Floats, float, float, str, bool], ...] = (
        (
            "bounce",
            body.bounce_limit - margins[:, arrays.BOUNCE],
            0.5 * body.bounce_limit,
            body.bounce_limit,
            "m",
            True,
        ),
        ("slope", 1.0 - margins[:, arrays.COMBINED], 0.5, 1.0, "1", True),
        ("low gap", gap, COMFORT_M, 0.0, "m", False),
    )
    zones = []
    for kind, values, threshold, limit, unit, upper in kinds:
        flags = values > threshold if upper else values < threshold
        for first, last in _runs(flags, found, 1.0):
            worst = float(values[first : last + 1].max() if upper else values[first : last + 1].min())
            over = found.over(first, last)
            zones.append(Zone(
                kind, found.chainage_m(first), found.chainage_m(last + 1), worst, limit, unit, _placed(wheels, over),
                _placed(configuration.basket.ring, over), _zone_text(kind, worst, limit),
            ))  # fmt: skip
    return tuple(sorted(zones, key=lambda zone: (zone.chainage_from_m, zone.kind)))


def _zone_text(kind: ZoneKind, value: float, limit: float) -> str:
    if kind == "bounce":
        return f"the basket may rise {math.ceil(1000 * value)} mm of {math.floor(1000 * limit + 1e-6)} mm allowed"
    if kind == "slope":
        return f"slopes use {math.ceil(100 * value)} % of what the machine's ratings allow together"
    return f"{math.floor(1000 * value)} mm left beyond the gap wanted under what is overhead"


#: What people do where a machine goes on in another travel mode.
_CHANGES = {
    "ridden": "Stop, key out. Rails up and pinned; get on, clip on where the site asks for it, and drive on ridden.",
    "beside_rails_up": "Stop, key out. Get down and drive on from beside the machine, rails up.",
    "beside_rails_folded": "Stop, key out. Get down, fold the rails, and drive on from beside the machine.",
}


def holds_of(
    found: Profile, configuration: Configuration, begins: Set[str], stops: Sequence[tuple[float, str]] = ()
) -> tuple[tuple[Hold, ...], tuple[Control, ...]]:
    """Hold points before walkways, at stops (chainage, name) and where the travel mode changes, and what people do.

    ``begins`` are the modes that the machine may stand in: if there is another than the one it drives off in, that one
    is set there, for nobody knows what was done with the rails in between.
    Reversals and changes of steering are controls, not hold points.
    """
    xi = [corner[0] for corner in configuration.footprint]
    holds, controls = [], []
    for first, _ in _runs(found.margins[:, arrays.WALKWAY] < 0.0, found, 0.25 * (max(xi) - min(xi))):
        clear = max(first - 1, 0)  # the whole stretch before the first that touches is clear of the walkway
        at = found.chainage_m(clear)
        holds.append(
            Hold(at, found.place(clear), "Stop. The traffic marshal closes the walkway and calls the machine on.")
        )
        controls.append(Control("walkway", at, "Traffic marshal holds people back while the body is over the walkway."))
    stood = (begins, *({pose.travel_mode} for pose in found.poses))
    for modes, pose in zip(stood, found.poses, strict=False):
        if modes != {pose.travel_mode}:
            holds.append(Hold(pose.chainage_m, (pose.x, pose.y), _CHANGES[pose.travel_mode]))
            controls.append(Control("travel mode", pose.chainage_m, _CHANGES[pose.travel_mode]))
    controls += [Control("steering", pose.chainage_m, SET_TO[pose.steer]) for pose in set_anew(found.poses)]
    for at, name in stops:
        here = next(pose for pose in found.poses if pose.chainage_m >= at - NEAR_M)
        holds.append(Hold(here.chainage_m, (here.x, here.y), f"Stop at {name}. Go on when the work there is done."))
    poses = [pose for pose in found.poses if pose.gear]
    for before, after in pairwise(poses):
        if before.gear != after.gear:
            way = "against" if after.gear < 0 else "along"
            controls.append(Control(
                "reversal", after.chainage_m, f"Stop and drive on {way} the chassis arrow, with a traffic "
                "marshal in sight."
            ))  # fmt: skip
    holds.sort(key=lambda hold: hold.chainage_m)
    return tuple(holds), tuple(sorted(controls, key=lambda control: control.chainage_m))
