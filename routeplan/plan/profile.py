"""The margins of a route row by row, and what they say of each check."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import stand
from routeplan.hazards.catalogue import CATALOGUE, TAIL, TILT, ZONE, CheckKind
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.fields import soffit_reach_m
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import doubts, verdict
from routeplan.hazards.sweep import FAR, along
from routeplan.hazards.tile import stances_of
from routeplan.machine.model import Machine
from routeplan.plan.grip import GRIP, Gripped
from routeplan.plan.ground_load import GROUND_LOAD, ground_load_check
from routeplan.plan.set_up import SetUp, lowered_check, set_up_check
from routeplan.plan.steer import least_radius_m
from routeplan.plan.surer import BY_READINGS, Doubt, Surer
from routeplan.plan.swing import SWING, Swung
from routeplan.plan.trace import ROW_STEP_M
from routeplan.plan.way import Stretch
from routeplan.route.model import Check, CheckVerdict, Pose
from routeplan.search.anchors import check_motions
from routeplan.search.best_first import EIGHTHS, FORWARD_FACTOR, REVERSE_FACTOR
from routeplan.search.motions import worth_m
from routeplan.site.model import Site

Floats = NDArray[np.float64]

#: A margin of a check that met nothing is given as this, in metres or degrees: "at least".
NOTHING_MET = 10.0
#: Chainages this close are one, m.
NEAR_M = 1e-6
_PLAN_KINDS = frozenset({
    arrays.CLEARANCE, arrays.ACCEPTANCE, arrays.COVERS, arrays.EXCAVATION, arrays.LINES, arrays.CLOSED, arrays.WALKWAY
})  # fmt: skip


@dataclass(frozen=True, eq=False)
class Profile:
    """Margins of a route by stretches: ``margins`` (n, OUT), ``starts`` and ``ends`` (n, 3: x, y, heading), ``along_m``
    (n + 1).

    ``cost_m`` (n,) is what each costs, as metres of the best forward driving. A stretch lies between two stances that
    the search looked at, so that nothing here is found that it did not see.
    """

    poses: tuple[Pose, ...]
    margins: Floats
    starts: Floats
    ends: Floats
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
            poses, self.margins[here], self.starts[here], self.ends[here], self.along_m[first : last + 2],
            self.cost_m[here],
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

    def runs(self, flags: NDArray[np.bool_], gap_m: float) -> Iterator[tuple[int, int]]:
        """First and last stretch of each run of flags, runs less than a gap apart taken together."""
        first = last = -1
        for row in map(int, np.flatnonzero(flags)):
            if first >= 0 and self.chainage_m(row) - self.chainage_m(last) > gap_m:
                yield first, last
                first = -1
            first, last = (row if first < 0 else first), row
        if first >= 0:
            yield first, last


@dataclass(frozen=True, eq=False)
class Judged:
    """What every check of a way rests on: k, at the limits of its rows what the basket's swing leaves and what holds
    the machine, how it stands at the workfaces it comes to, how much surer readings make it, and whether it may be wet.
    """

    site: Site
    machine: Machine
    hazards: Hazards
    k: float
    swung: Swung
    gripped: Gripped
    set_ups: tuple[SetUp, ...]
    surer: Surer
    wet: bool

    def come_to(self, found: Profile) -> list[SetUp]:
        """The workfaces that a part of the way comes to stand at; the one that it begins at is the part's before."""
        first, last = found.along_m[0] + NEAR_M, found.along_m[-1]
        return [one for one in self.set_ups if first < one.chainage_m < last or abs(one.chainage_m - last) <= NEAR_M]


def profile(stretches: Sequence[Stretch], poses: Sequence[Pose]) -> Profile:
    """Judge all that lies between two stances by itself, each stretch of motions by the hazards that it was found with.

    ``poses`` are the rows that ``trace`` makes of the motions.
    """
    starts: list[tuple[float, float, float]] = []
    ends: list[tuple[float, float, float]] = []
    along_m, margins, costs = [0.0], [], []
    for stretch in stretches:
        hazards, first, pieces, factors = stretch.lattice.hazards, len(starts), [], []
        for motion in stretch.motions:
            at = (motion.at.x, motion.at.y, motion.at.heading)
            for piece in motion.pieces:
                n = stances_of(hazards.body, piece)
                for i in range(n):
                    starts.append(along(*at, piece[0] * i / n, *piece[1:]))
                    ends.append(along(*at, piece[0] * (i + 1) / n, *piece[1:]))
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
        tuple(poses), np.concatenate(margins), np.array(starts), np.array(ends), np.array(along_m),
        np.concatenate(costs),
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
        arrays.KERB_ANGLE: body.kerb_angle,
        arrays.KERB_SIDE: body.kerb_side,
        arrays.STRIKE: body.underside_gap,
        arrays.LEVELS: 1.0,
    }.get(line.index, 0.0)


#: Where the margins of what is overhead stand less the k sigma of what hangs there.
OVER = {
    arrays.HEAD: arrays.HEAD_PROVEN, arrays.OVERHEAD: arrays.OVERHEAD_PROVEN,
    arrays.UNDER_LINE: arrays.UNDER_LINE_PROVEN,
}  # fmt: skip

#: Checks whose value may not exceed its limit; the others' may not fall below it.
_UPPER = frozenset({
    arrays.GRADE, arrays.SIDE_SLOPE, arrays.COMBINED, arrays.BOUNCE, arrays.STEP, arrays.KERB_ANGLE, arrays.KERB_SIDE
})  # fmt: skip


def doubt_of(line: CheckKind, found: Profile, hazards: Hazards) -> Doubt:
    """Margin of each stretch, and its doubt by the survey and by what hangs over it: infinite without an accuracy.

    The ground below an underside stays as sure as the survey alone makes it.
    """
    raw = found.margins[:, line.index]
    survey, other = np.full(len(raw), hazards.sigma[line.index]), np.zeros(len(raw))
    if line.index == arrays.STRIKE:
        body = hazards.sigma[arrays.OVERHEAD]
        other += math.sqrt(hazards.sigma[arrays.STRIKE] ** 2 - body**2)
        survey[:] = body
    if line.index in OVER:
        proven = found.margins[:, OVER[line.index]]
        other = np.nan_to_num(np.where(np.isfinite(raw), (raw - proven) / hazards.k, 0.0), posinf=math.inf)
    return Doubt(line.index, found.starts, found.ends, raw, survey, other)


def _margin_check(line: CheckKind, found: Profile, judged: Judged, why: tuple[str, ...]) -> Check:
    raw, hazards, k = found.margins[:, line.index], judged.hazards, judged.k
    doubt = doubt_of(line, found, hazards)
    levels = judged.surer.along(doubt, k) if line.index in BY_READINGS else doubt.survey
    sigma = np.asarray(np.hypot(levels, doubt.other))
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
    """What has no accuracy and the body comes under: whatever the margin there, it proves nothing."""
    over = [OVER[line.index]] if line.index in OVER else [*OVER.values()] if line.kind == SWING else []
    open_there = np.isneginf(found.margins[:, over]).any(axis=1)
    if not open_there.any():
        return ()
    under = shapely.MultiPoint(found.starts[open_there, :2])
    reach_m = hazards.body.reach + soffit_reach_m(site, hazards.body, hazards.terrain.cell_m)
    vague = [(f"soffit {soffit.id}", soffit.geometry) for soffit in site.soffits if soffit.sigma_m is None]
    lines = ((one, one.height) for one in site.line_corridors)
    bare = [(f"line {one.id}", one.geometry) for one, height in lines if height and height.sigma_m is None]
    vague = bare if line.index == arrays.UNDER_LINE else vague + bare if line.kind == SWING else vague
    return tuple(
        no_accuracy(name)
        for name, geometry in vague
        if shapely.dwithin(under, geometry, reach_m)
    )


def no_accuracy(name: str) -> str:
    """Why nothing is proven under a soffit or line."""
    return f"{name} has no accuracy: measure it and say how far off it may be"


def checks_of(found: Profile, judged: Judged, configurations: Iterable[str]) -> tuple[Check, ...]:
    """One row for every line of the catalogue; ``configurations`` are those driven in."""
    site, machine, hazards, k = judged.site, judged.machine, judged.hazards, judged.k
    rows = []
    for line in CATALOGUE:
        why = doubts(line, site, machine, configurations, {pose.steer for pose in found.poses})
        why += _unmeasured(line, found, site, hazards)
        if line.kind == GROUND_LOAD:
            rows.append(
                ground_load_check(
                    line, found.poses, site=site, machine=machine, hazards=hazards, k=k, configurations=configurations,
                    wet=judged.wet, surer=judged.surer,
                )
            )
        elif line.kind == GRIP:
            rows.append(judged.gripped.check(line, k, *_ends(found)))
        elif line.kind == "turning":
            rows.append(_turning_check(line, found, machine, k, why))
        elif line.kind == "survey resolution":
            rows.append(_survey_check(line, found, site, hazards, k, why))
        elif line.kind in (TILT, TAIL):
            rows.append(set_up_check(line, judged.come_to(found), machine, k, why, found.poses[0]))
        elif line.kind == ZONE:
            rows.append(lowered_check(line, k, found.poses[0]))
        elif line.kind == SWING:
            rows.append(judged.swung.check(line, k, why, *_ends(found)))
        else:
            rows.append(_margin_check(line, found, judged, why))
    return tuple(rows)


def _ends(found: Profile) -> tuple[float, float]:
    return float(found.along_m[0]) - NEAR_M, float(found.along_m[-1]) + NEAR_M


def unmade_checks(why: str) -> tuple[Check, ...]:
    """One row for every line of the catalogue, none of them made, and why."""
    nan = math.nan
    return tuple(
        Check(line.kind, "not proven", nan, nan, nan, line.unit, nan, nan, nan, (nan, nan), line.source, (why,))
        for line in CATALOGUE
    )
