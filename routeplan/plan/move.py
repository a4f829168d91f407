"""One move planned: its lattice, its ends, the best way, and what that way says of itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock

import shapely

from routeplan.hazards.edges import accepted_on
from routeplan.hazards.prepare import Hazards, prepare
from routeplan.hazards.terrain import Terrain, build_terrain
from routeplan.hazards.uncertainty import sigmas_wanted
from routeplan.machine.model import Machine
from routeplan.plan.finer import look_finer
from routeplan.plan.frontier import nearest_misses, pose_blocked
from routeplan.plan.profile import checks_of, holds_of, profile, turn_radius_m, zones_of
from routeplan.plan.trace import reversals, trace
from routeplan.plan.way import Way, way_on
from routeplan.route import MOVE_VERDICTS, Leg, Move, MoveVerdict, NearMiss, Pose, heading_rad
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice, NotFound
from routeplan.search.motions import solve_motions
from routeplan.site.model import MoveWanted, Place, Site

#: Called with a line of words for people and a number that grows while one move is worked on.
Progress = Callable[[str, int], None]
#: A route may be this many times as long as the site is long and wide before its k must be found afresh.
LENGTHS_OF_SITE = 2.0
_NAN = math.nan


def speechless(words: str, count: int) -> None:
    """Progress that nobody wants to hear."""


@dataclass(eq=False)
class MovePlanner:
    """Plans moves of one site, one after the other; lattices and the places where machines came to stand are kept.

    ``alone`` is held by whoever asks a geometry: the site's are shared, and two threads must not ask one at once.
    """

    site: Site
    terrain: Terrain
    alone: Lock = field(default_factory=Lock)
    progress: Progress = speechless
    closed: frozenset[str] = frozenset()
    _lattices: dict[tuple[object, ...], CheckedLattice] = field(default_factory=dict)
    _standing: dict[tuple[str, str], Pose] = field(default_factory=dict)

    def plan(self, wanted: MoveWanted) -> Move:
        """Plan one move; it is not yet re-checked."""
        machine = self.site.machines[wanted.machine]
        with self.alone:
            lattice = self._lattice(wanted, machine)
            standing = self._standing.get((wanted.machine, wanted.start))
            starts, start_trouble = self._ends(lattice, machine, self.site.places[wanted.start], standing)
            goals, goal_trouble = self._ends(lattice, machine, self.site.places[wanted.goal], None)
        if not starts or not goals:
            where = wanted.start if not starts else wanted.goal
            trouble = start_trouble if not starts else goal_trouble
            text = f"the machine cannot stand at {where}: {trouble}"
            point = self.site.places[where].point
            return _no_way(wanted, "no route", text, (NearMiss("place", (point.x, point.y), _NAN, text),))
        self.progress(f"{wanted.id}: searching", 0)
        answer = lattice.find(starts, goals)
        with self.alone:
            if isinstance(answer, NotFound):
                return self._unfound(wanted, lattice, machine, answer, starts, goals)
            return self._driven(wanted, machine, way_on(lattice, answer))

    def _lattice(self, wanted: MoveWanted, machine: Machine) -> CheckedLattice:
        """The lattice of a machine under the conditions of a day; days that change nothing for it share one."""
        mass_kg = machine.configurations[wanted.configuration].mass_kg
        closed = frozenset(area.id for area in self.site.areas if area.id in self.closed or area.closed_on(wanted.on))
        accepted = frozenset(s.id for s in self.site.surfaces if accepted_on(s, mass_kg, wanted.on))
        key = (machine.id, wanted.configuration, wanted.travel_mode, closed, accepted)
        if key not in self._lattices:
            self.progress(f"{wanted.id}: reading the ground for {machine.id}", 0)
            self._lattices[key] = self._new_lattice(wanted, machine, self.site, self.terrain)
        return self._lattices[key]

    def _new_lattice(self, wanted: MoveWanted, machine: Machine, site: Site, terrain: Terrain) -> CheckedLattice:
        radius_m = turn_radius_m(machine)
        motions = solve_motions(
            headings=site.grid.headings, cell_m=terrain.cell_m * terrain.stride, radius_m=radius_m,
            pivots=machine.value("pivots") == 1.0, pivot_arm_m=math.hypot(machine.wheelbase_m, machine.track_m / 2),
        )  # fmt: skip
        hazards = prepare(
            site, machine, configuration=wanted.configuration, travel_mode=wanted.travel_mode, day=wanted.on,
            k=self.k_of(LENGTHS_OF_SITE * self._extent_m()), terrain=terrain,
            travel_m=motions.travel_m, closed=self.closed,
        )  # fmt: skip
        return CheckedLattice(
            site, hazards, motions, radius_m, lambda count: self.progress(f"{machine.id}: checking motions", count)
        )

    def _extent_m(self) -> float:
        west, south, east, north = self.site.boundary.bounds
        return float(east - west + north - south)

    def k_of(self, length_m: float) -> float:
        """Sigmas that a route of this length asks for on this site."""
        return sigmas_wanted(self.site.thresholds.route_confidence, length_m, self.site.ground.accuracy.correlation_m)

    def _ends(
        self, lattice: CheckedLattice, machine: Machine, place: Place, standing: Pose | None
    ) -> tuple[list[int], str]:
        """Pose numbers of every way the machine may stand at a place, and what blocks it when there is none."""
        if standing is not None:
            wanted = [Anchor(standing.x, standing.y, heading_rad(standing.bearing_deg))]
        elif place.bearing_deg is not None:
            wanted = [Anchor(place.point.x, place.point.y, heading_rad(place.bearing_deg))]
        else:
            x, y = lattice.grid.snapped(place.point.x, place.point.y, place.tolerance_m)
            wanted = [Anchor(x, y, float(heading)) for heading in lattice.motions.headings]
        good, trouble = [], ""
        for anchor in wanted:
            blocked = pose_blocked(anchor, lattice, machine)
            if blocked is None:
                good.append(lattice.add_anchor(anchor))
            trouble = blocked or trouble
        return good, trouble

    def _unfound(
        self, wanted: MoveWanted, lattice: CheckedLattice, machine: Machine, answer: NotFound, starts: list[int],
        goals: list[int],
    ) -> Move:
        grid = _grid_text(lattice)
        if answer.why == "limit":
            text = f"the search gave up after {answer.expanded} states on a grid of {grid}; this proves nothing"
            return _no_way(wanted, "search limit", text, ())
        misses = nearest_misses(lattice, answer, machine)
        self.progress(f"{wanted.id}: looking closer at what blocks", 0)

        def closer(part: Site) -> CheckedLattice:
            return self._new_lattice(wanted, machine, part, build_terrain(part.ground, part.grid))

        look = look_finer(lattice, answer, misses, starts=starts, goals=goals, closer=closer)
        if look.way is not None:
            return self._driven(wanted, machine, look.way)
        what = f"; the nearest barrier: {misses[0].kind}, {math.ceil(misses[0].short_mm)} mm short" if misses else ""
        if look.gave_up:
            text = f"no way on a grid of {grid}; a finer search gave up, so this proves nothing{what}"
            return _no_way(wanted, "search limit", text, misses)
        finer = f" and, around what blocks, on one of {look.grid}" if look.taken else ""
        return _no_way(wanted, "no route", f"every way on a grid of {grid}{finer} is blocked{what}", misses)

    def _driven(self, wanted: MoveWanted, machine: Machine, found_way: Way) -> Move:
        configuration = machine.configurations[wanted.configuration]
        way = found_way.straighter()
        hazards = way.stretches[0].lattice.hazards
        poses = trace(way.motions, machine=machine, configuration=configuration, travel_mode=wanted.travel_mode)
        if not poses:
            return _no_way(wanted, "no route", "start and goal are the same pose: there is nothing to drive", ())
        self._standing[(wanted.machine, wanted.goal)] = poses[-1]
        length = poses[-1].chainage_m
        k = self.k_of(length)
        found = profile([(stretch.motions, stretch.lattice.hazards) for stretch in way.stretches], poses)
        checks = checks_of(found, site=self.site, machine=machine, hazards=hazards, k=k)
        holds, controls = holds_of(found, configuration)
        verdict: MoveVerdict = min((check.verdict for check in checks), key=MOVE_VERDICTS.index)
        if verdict == "pass" and controls:
            verdict = "pass with controls"
        open_kinds = [check.kind for check in checks if check.verdict in ("not proven", "fail")]
        cost = max(way.cost_m, length)
        leg = Leg(
            wanted.start, wanted.goal, length, cost, verdict, *self._passed(poses, hazards)
        )
        return Move(
            id=wanted.id, purpose=wanted.purpose, machine=wanted.machine, configuration=wanted.configuration,
            start=wanted.start, goal=wanted.goal, on=_day(wanted), verdict=verdict,
            reason=f"open: {', '.join(open_kinds)}" if open_kinds else "every check of the catalogue holds",
            length_m=length, cost_m=cost, lattice_cost_m=way.lattice_cost_m, best_possible_m=way.bound_m,
            bound=max(1.0, cost / way.bound_m), poses=poses, checks=checks, controls=controls, holds=holds,
            zones=zones_of(found, machine=machine, configuration=configuration, hazards=hazards),
            reversals=reversals(poses), refused=None, legs=(leg,), nearest_misses=(),
        )  # fmt: skip

    def _passed(self, poses: tuple[Pose, ...], hazards: Hazards) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Named areas that the body touches, and hazards within a few metres of the way, by id."""
        line = shapely.LineString([(p.x, p.y) for p in poses])
        body = line.buffer(hazards.body.reach)
        areas = tuple(area.id for area in self.site.areas if area.geometry.intersects(body))
        layers = (
            self.site.soffits,
            self.site.defects,
            self.site.walkways,
            self.site.excavations,
            self.site.line_corridors,
        )
        near = tuple(thing.id for layer in layers for thing in layer if thing.geometry.intersects(body))
        return areas, near


def _grid_text(lattice: CheckedLattice) -> str:
    return f"{lattice.grid.cell_m:.2f} m and {lattice.grid.headings} headings"


def _day(wanted: MoveWanted) -> str | None:
    return None if wanted.on is None else wanted.on.isoformat()


def _no_way(wanted: MoveWanted, verdict: MoveVerdict, reason: str, misses: tuple[NearMiss, ...]) -> Move:
    return Move(
        id=wanted.id, purpose=wanted.purpose, machine=wanted.machine, configuration=wanted.configuration,
        start=wanted.start, goal=wanted.goal, on=_day(wanted), verdict=verdict, reason=reason,
        length_m=_NAN, cost_m=_NAN,
        lattice_cost_m=_NAN, best_possible_m=_NAN, bound=_NAN, poses=(), checks=(), controls=(), holds=(), zones=(),
        reversals=0, refused=None, legs=(), nearest_misses=misses,
    )  # fmt: skip
