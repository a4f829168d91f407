"""The checks of standing at a workface to work, at every workface that a way comes to stand at."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from routeplan.hazards import arrays
from routeplan.hazards.catalogue import TAIL, TILT, CheckKind
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.register import verdict
from routeplan.hazards.set_up import Lean, clear_of_tail_m, leans, stood_about, swept_by_tail
from routeplan.machine.model import Machine
from routeplan.machine.modelled import ON_OUTRIGGERS, on_outriggers
from routeplan.route.model import MOVE_VERDICTS, Check, CheckVerdict, Pose, heading_rad
from routeplan.search.anchors import Anchor
from routeplan.site.model import Site

#: Kind of the places where machines work.
WORKFACE = "workface"
#: Margin where there is nothing to check, in its unit: "at least"; no real margin is as large.
NOTHING_TO_CHECK = 1000.0
#: The figures of a tail's circle, and of how high it turns.
_CIRCLE = ("tail_swing_radius_m", "turntable_xi_m", "chassis_top_m", "height_m")
#: Chainages this close are one, m.
_NEAR_M = 1e-6


def _rank(margin: float, sigma: float, k: float) -> tuple[int, float]:
    """Sorts what fails first, then by what is left beyond k sigma; what nobody knows leaves nothing."""
    left = -math.inf if math.isnan(margin) else margin - k * sigma
    return MOVE_VERDICTS.index(verdict(margin, sigma, k)), left


@dataclass(frozen=True)
class SetUp:
    """What a machine that stands somewhere has to spare for working there.

    Parameters
    ----------
    chainage_m, at
        Where on the way, and how on the site.
    leans
        Of the chassis, against each limit; none where a level is unknown or nobody gave a limit.
    clear_m, gap_m
        What is clear round the circle of its tail, and what is wanted; NaN where nobody knows the circle.
    """

    chainage_m: float
    at: Anchor
    leans: tuple[Lean, ...]
    clear_m: float
    gap_m: float

    def worst_lean(self, k: float) -> Lean:
        """The lean that is judged worst, and of those the one that leaves least beyond k sigma."""
        none = Lean(math.nan, math.nan, math.nan, "")
        return min(self.leans, key=lambda lean: _rank(lean.margin, lean.sigma, k), default=none)

    def verdict(self, k: float) -> CheckVerdict:
        """How good it is to work there, whoever vouches for the figures; what nobody gave speaks against no pose."""
        found = [verdict(lean.margin, lean.sigma, k) for lean in self.leans]
        if not math.isnan(self.clear_m):
            found.append(verdict(self.clear_m - self.gap_m, 0.0, k))
        return min(found, key=MOVE_VERDICTS.index, default="pass")


def set_up_at(
    at: Anchor, site: Site, machine: Machine, hazards: Hazards, chainage_m: float = 0.0,
    surer: tuple[float, float] = (math.inf, math.inf),
) -> SetUp:  # fmt: skip
    """How a machine stands at a pose for working there; ``surer`` are the standard deviations of pitch and roll after
    readings, degrees.
    """
    stood = stood_about(hazards.world, hazards.body, at.x, at.y, at.heading)
    known = all(one.stance.known for one in stood)
    found, clear_m = tuple[Lean, ...](), math.nan
    if known and not on_outriggers(machine):
        survey = float(hazards.sigma[arrays.GRADE]), float(hazards.sigma[arrays.SIDE_SLOPE])
        pitch, roll = map(min, survey, surer)
        found = tuple(leans(machine, [one.stance for one in stood], pitch, roll))
    if known and machine.slews and all(name in machine.figures for name in _CIRCLE):
        clear_m = min(clear_of_tail_m(site, swept_by_tail(machine, hazards.body, one)) for one in stood)
    return SetUp(chainage_m, at, found, clear_m, site.thresholds.tail_gap_m)


def set_ups(
    poses: Iterable[Pose], stops: Sequence[tuple[float, str]], site: Site, machine: Machine, hazards: Hazards,
    surer: Callable[[Anchor], tuple[float, float]] = lambda at: (math.inf, math.inf),
) -> tuple[SetUp, ...]:  # fmt: skip
    """Every pose that a machine stands in at the workfaces among the stops it comes to.

    On the way each pose counts that it turns to on the spot there; at the end of the way, the last one. ``surer`` tells
    the standard deviations of pitch and roll at a pose after readings, degrees.
    """
    rows, *_, (_, goal) = list(poses), *stops
    faces = [at for at, name in stops[1:-1] if site.places[name].kind == WORKFACE]
    stood = [pose for pose in rows if any(abs(pose.chainage_m - at) < _NEAR_M for at in faces)]
    if site.places[goal].kind == WORKFACE and rows[-1] not in stood:
        stood.append(rows[-1])
    anchors = [Anchor(pose.x, pose.y, heading_rad(pose.bearing_deg)) for pose in stood]
    return tuple(
        set_up_at(at, site, machine, hazards, pose.chainage_m, surer(at))
        for at, pose in zip(anchors, stood, strict=True)
    )


def lowered_check(line: CheckKind, k: float, start: Pose) -> Check:
    """The check of travel with the platform raised, of a way that is planned lowered (see ``elevated.Raised.told``)."""
    return _idle(line, k, start, "it travels lowered")


def _idle(line: CheckKind, k: float, start: Pose, why: str) -> Check:
    return Check(
        line.kind, "pass", 0.0, NOTHING_TO_CHECK, NOTHING_TO_CHECK, line.unit, 0.0, k, start.chainage_m,
        (start.x, start.y), f"{line.source}; {why}",
    )  # fmt: skip


def set_up_check(
    line: CheckKind, found: Sequence[SetUp], machine: Machine, k: float, why: tuple[str, ...], start: Pose
) -> Check:
    """The check at its worst; where there is nothing to check it passes, and says why."""
    idle = "it comes to stand at no workface" if not found else ""
    if line.kind == TAIL and not machine.slews:
        idle = "nothing on this machine slews, so no tail sweeps"
    if idle:
        return _idle(line, k, start, idle)
    if line.kind == TILT and on_outriggers(machine):
        why = (*why, ON_OUTRIGGERS)

    def spare(one: SetUp) -> tuple[float, float, float, float]:
        if line.kind == TAIL:
            return one.clear_m - one.gap_m, one.clear_m, one.gap_m, 0.0
        lean = one.worst_lean(k)
        return lean.margin, lean.value, lean.limit, lean.sigma

    def rank(one: SetUp) -> tuple[int, float]:
        margin, _, _, sigma = spare(one)
        return _rank(margin, sigma, k)

    worst = min(found, key=rank)
    margin, value, limit, sigma = spare(worst)
    result = verdict(margin, sigma, k)
    return Check(
        line.kind, "not proven" if why and result != "fail" else result, value, limit, margin, line.unit, sigma, k,
        worst.chainage_m, (worst.at.x, worst.at.y), line.source, why,
    )  # fmt: skip
