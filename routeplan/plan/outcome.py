"""What a way amounts to as a move: its rows and limits, what is checked, what people do; or that there is none."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.prepare import Hazards
from routeplan.hazards.uncertainty import sigmas_wanted
from routeplan.machine.model import Machine
from routeplan.plan.covered import Covered, opened_on_the_way
from routeplan.plan.facing import Turned, stands_of, told_of, turns_of
from routeplan.plan.goal_posts import goal_posts
from routeplan.plan.grip import Gripped, dry_only
from routeplan.plan.ground_load import Laden
from routeplan.plan.holds import holds_of
from routeplan.plan.legs import Driven, legs_of
from routeplan.plan.portals import Portal, with_gaps
from routeplan.plan.profile import Judged, Profile, checks_of, profile
from routeplan.plan.section import section_of
from routeplan.plan.set_up import set_ups
from routeplan.plan.settle import settled
from routeplan.plan.speeds import Paced, paced
from routeplan.plan.surer import Surer
from routeplan.plan.swing import SWING
from routeplan.plan.trace import reversals, trace
from routeplan.plan.way import Way, joined
from routeplan.plan.zones import zones_of
from routeplan.route.model import MOVE_VERDICTS, Check, Control, Hold, Move, MoveVerdict, NearMiss, Objection, Refused
from routeplan.site.model import MoveWanted, Site

Floats = NDArray[np.float64]
#: No way costs less than this, m: bounds of very short ones are rounded to nothing.
LEAST_M = 0.001
Stops = Sequence[tuple[float, str]]
_NAN = math.nan


def k_of(site: Site, length_m: float) -> float:
    """Sigmas that a route of this length asks for on a site."""
    return sigmas_wanted(site.thresholds.route_confidence, length_m, site.ground.accuracy.correlation_m)


@dataclass(frozen=True, eq=False)
class Outcome:
    """A move that is driven along ways, one after the other.

    Parameters
    ----------
    wanted, machine, site, portals
        What is asked for, with what, where, and the doors, gates and ramp ends there.
    ground
        Hazards of the whole site, as the machine sets out.
    begins
        Travel modes that the machine may stand in before it sets out.
    """

    wanted: MoveWanted
    machine: Machine
    site: Site
    portals: Sequence[Portal]
    ground: Hazards
    begins: frozenset[str]

    def along(self, ways: Sequence[Way]) -> tuple[Move, Floats]:
        """The move, and where its basket swings too far for it to be driven (``Paced.thrown``)."""
        way, wanted = joined(ways), self.wanted
        poses = trace(way.stretches, self.machine) if way.stretches else ()
        if not poses:
            text = "start and goal are the same pose: there is nothing to drive"
            return no_way(wanted, "no route", text, ()), np.empty((0, 3))
        configuration, length = self.machine.configurations[wanted.configuration], poses[-1].chainage_m
        found, stops = profile(way.stretches, poses), _stood_at(wanted, ways)
        turns = turns_of(poses, configuration, self.site)
        holds, told = self._told(found, way.hazards, stops, turns)
        pace, judged, checks = self._judged(found, way, stops, holds)
        told = (*told, *pace.controls, *goal_posts(found, self.site, way.hazards, judged.k), *dry_only(wanted))
        covered = Covered.of(found.poses, self.machine, wanted.configuration, way.hazards.body)
        told = (*told, *opened_on_the_way(covered, self.site.areas))
        controls = tuple(sorted(told, key=lambda control: control.chainage_m))
        verdict, reason = _verdict(checks, controls)
        cost = max(way.cost_m, length)
        best = max(way.bound_m, LEAST_M)
        turned = [(turn.chainage_m, turn.name or "turning point") for turn in turns]
        driven = Driven(found, stops, turned, controls, cost, judged, wanted.configuration)
        move = Move(
            id=wanted.id, purpose=wanted.purpose, machine=wanted.machine, configuration=wanted.configuration,
            start=wanted.start, via=wanted.via, goal=wanted.goal, on=_day(wanted), verdict=verdict, reason=reason,
            length_m=length, cost_m=cost, lattice_cost_m=way.lattice_cost_m, best_possible_m=best,
            bound=max(1.0, cost / best), poses=pace.poses, checks=checks, controls=controls, holds=holds,
            zones=zones_of(found, machine=self.machine, configuration=configuration, hazards=way.hazards),
            reversals=reversals(poses), refused=None, nearest_misses=(),
            stands=stands_of(found, configuration, way.hazards),
            section=section_of(found, pace.poses, self.ground, self._laden(found, way)),
            legs=tuple(legs_of(driven, with_gaps(self.portals, self.site, way.stretches[0].lattice.passages))),
        )  # fmt: skip
        return _slow_enough(move, pace), pace.thrown

    def _told(
        self, found: Profile, hazards: Hazards, stops: Stops, turns: Sequence[Turned]
    ) -> tuple[tuple[Hold, ...], tuple[Control, ...]]:
        """Where the machine holds, and what people do there and where it turns round."""
        configuration = self.machine.configurations[self.wanted.configuration]
        holds, controls = holds_of(found, configuration, self.begins, stops[1:-1])
        also = list(told_of(turns, found, configuration, hazards))
        held = sorted((*holds, *(hold for hold, _ in also)), key=lambda hold: hold.chainage_m)
        return tuple(held), (*controls, *(control for _, control in also))

    def _laden(self, found: Profile, way: Way) -> Laden:
        """What the wheels carry along a way."""
        return Laden.of(
            found.poses, site=self.site, machine=self.machine, hazards=self.ground, configurations=_shapes(way),
            wet=self.wanted.wet,
        )  # fmt: skip

    def _judged(
        self, found: Profile, way: Way, stops: Stops, holds: Iterable[Hold]
    ) -> tuple[Paced, Judged, tuple[Check, ...]]:
        """How fast the rows are, what every check rests on, and what each says."""
        site, machine, wanted, hazards = self.site, self.machine, self.wanted, way.hazards
        shapes = _shapes(way)
        k, whole = k_of(site, found.poses[-1].chainage_m), replace(self.ground, sigma=hazards.sigma)
        surer = Surer.of(site, machine, hazards, shapes)
        gripped = Gripped.of(found.poses, machine, hazards, site, wanted, shapes).surer_by(surer, k)
        pace = paced(found, machine, whole, k, holds, gripped, surer)
        works = set_ups(found.poses, stops, site, machine, whole, lambda at: surer.at(at, k))
        judged = Judged(site, machine, hazards, k, pace.swung, gripped.driven_at(pace.poses), works, surer, wanted.wet)
        return pace, judged, settled(checks_of(found, judged, shapes), found, judged)


def _shapes(way: Way) -> tuple[str, ...]:
    """The configurations that a way is driven in."""
    return tuple(dict.fromkeys(stretch.lattice.hazards.configuration.id for stretch in way.stretches))


def _verdict(checks: Sequence[Check], controls: Sequence[Control]) -> tuple[MoveVerdict, str]:
    """The worst of the checks, no plain pass where people have to do something; and why."""
    verdict: MoveVerdict = min((check.verdict for check in checks), key=MOVE_VERDICTS.index)
    if verdict == "pass" and controls:
        verdict = "pass with controls"
    opened = [check.kind for check in checks if check.verdict in ("not proven", "fail")]
    return verdict, f"open: {', '.join(opened)}" if opened else "every check of the catalogue holds"


def _slow_enough(move: Move, pace: Paced) -> Move:
    """The move, nothing given to drive where even creep swings the basket too far."""
    if not len(pace.thrown):
        return move
    (row,) = (check for check in move.checks if check.kind == SWING)
    found = Objection(SWING, row.chainage_m, row.place, row.value, row.limit, row.unit, pace.too_fast)
    return kept_apart(move, pace.too_fast, (found,))


def _stood_at(wanted: MoveWanted, ways: Sequence[Way]) -> list[tuple[float, str]]:
    """Chainage and name of every place that a move stands at, start and goal included."""
    reached_m = accumulate((way.length_m for way in ways), initial=0.0)
    return list(zip(reached_m, (wanted.start, *wanted.via, wanted.goal), strict=True))


def _day(wanted: MoveWanted) -> str | None:
    return None if wanted.on is None else wanted.on.isoformat()


def kept_apart(move: Move, reason: str, objections: tuple[Objection, ...]) -> Move:
    """The move with a route that may not be driven: its rows stand apart from what people drive."""
    return replace(
        move, verdict="fail", reason=reason, poses=(), refused=Refused(move.poses, objections), zones=(), holds=(),
        controls=(), legs=(), reversals=0, stands=(), section=(),
    )  # fmt: skip


def no_way(wanted: MoveWanted, verdict: MoveVerdict, reason: str, misses: tuple[NearMiss, ...]) -> Move:
    """The move as it is when it has no way."""
    return Move(
        id=wanted.id, purpose=wanted.purpose, machine=wanted.machine, configuration=wanted.configuration,
        start=wanted.start, goal=wanted.goal, via=wanted.via, on=_day(wanted), verdict=verdict, reason=reason,
        length_m=_NAN, cost_m=_NAN,
        lattice_cost_m=_NAN, best_possible_m=_NAN, bound=_NAN, poses=(), checks=(), controls=(), holds=(), zones=(),
        reversals=0, refused=None, legs=(), nearest_misses=misses,
    )  # fmt: skip
