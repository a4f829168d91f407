"""One move planned: its lattice, its ends, the best way, and what that way says of itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise
from threading import Lock

import shapely

from routeplan.hazards.edges import accepted_on
from routeplan.hazards.prepare import Hazards, prepare
from routeplan.hazards.terrain import Terrain, build_terrain
from routeplan.hazards.uncertainty import sigmas_wanted
from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_modelled
from routeplan.plan.finer import look_finer
from routeplan.plan.frontier import nearest_misses, pose_blocked
from routeplan.plan.profile import checks_of, holds_of, profile, turn_radius_m, unmade_checks, zones_of
from routeplan.plan.site_graph import Mode, ModeGraph, modes_of
from routeplan.plan.trace import reversals, trace
from routeplan.plan.way import Way, way_on
from routeplan.route import MOVE_VERDICTS, Leg, Move, MoveVerdict, NearMiss, Pose, heading_rad
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice, NotFound
from routeplan.search.motions import solve_motions
from routeplan.site.model import MoveWanted, Site

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
        why = not_modelled(machine)
        if why is not None:
            return replace(_no_way(wanted, "not proven", why, ()), checks=unmade_checks(why))
        options = [replace(wanted, travel_mode=mode) for mode in modes_of(machine, wanted)]
        with self.alone:
            modes = [self._mode(option, machine) for option in options]
            trouble = self._trouble(wanted, machine, modes)
        if trouble is not None:
            return trouble
        first = modes[0]
        self.progress(f"{wanted.id}: searching", 0)
        if len(modes) == 1:
            answer = first.lattice.find(first.starts, first.goals)
        with self.alone:
            if len(modes) > 1:
                way = ModeGraph(self.site, modes).find()
                if way is not None:
                    return self._driven(wanted, machine, way)
                answer = first.lattice.find(first.starts, first.goals)
            if isinstance(answer, NotFound):
                return self._unfound(options[0], machine, first, answer)
            return self._driven(wanted, machine, way_on(first.lattice, answer))

    def _mode(self, wanted: MoveWanted, machine: Machine) -> Mode:
        """One way of driving a move, with the poses it may start from and end at."""
        lattice = self._lattice(wanted, machine)
        standing = self._standing.get((wanted.machine, wanted.start))
        ends = (self._standings(lattice, wanted.start, standing), self._standings(lattice, wanted.goal, None))
        starts, goals = (
            [lattice.add_anchor(a) for a in anchors if pose_blocked(a, lattice, machine) is None] for anchors in ends
        )
        return Mode(lattice, starts, goals)

    def _standings(self, lattice: CheckedLattice, name: str, standing: Pose | None) -> list[Anchor]:
        """Every way the machine may be asked to stand at a place."""
        place = self.site.places[name]
        if standing is not None:
            return [Anchor(standing.x, standing.y, heading_rad(standing.bearing_deg))]
        if place.bearing_deg is not None:
            return [Anchor(place.point.x, place.point.y, heading_rad(place.bearing_deg))]
        x, y = lattice.grid.snapped(place.point.x, place.point.y, place.tolerance_m)
        return [Anchor(x, y, float(heading)) for heading in lattice.motions.headings]

    def _trouble(self, wanted: MoveWanted, machine: Machine, modes: Sequence[Mode]) -> Move | None:
        """The move as it is when the machine cannot stand at one of its ends."""
        name = wanted.start if not modes[0].starts else wanted.goal
        if modes[0].starts and any(mode.goals for mode in modes):
            return None
        lattice = modes[0].lattice
        standing = self._standing.get((wanted.machine, name)) if name == wanted.start else None
        why = [pose_blocked(anchor, lattice, machine) for anchor in self._standings(lattice, name, standing)]
        text = f"the machine cannot stand at {name}: {why[-1]}"
        point = self.site.places[name].point
        return _no_way(wanted, "no route", text, (NearMiss("place", (point.x, point.y), _NAN, text),))

    def _lattice(self, wanted: MoveWanted, machine: Machine) -> CheckedLattice:
        """The lattice of a machine under the conditions of a day; days that change nothing for it share one."""
        configuration = machine.configuration_in(wanted.configuration, wanted.travel_mode)
        mass_kg = machine.configurations[configuration].mass_kg
        closed = frozenset(area.id for area in self.site.areas if area.id in self.closed or area.closed_on(wanted.on))
        accepted = frozenset(s.id for s in self.site.surfaces if accepted_on(s, mass_kg, wanted.on))
        key = (machine.id, configuration, wanted.travel_mode, closed, accepted)
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
            site, machine, configuration=machine.configuration_in(wanted.configuration, wanted.travel_mode),
            travel_mode=wanted.travel_mode, day=wanted.on,
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

    def _unfound(
        self, wanted: MoveWanted, machine: Machine, mode: Mode, answer: NotFound
    ) -> Move:
        lattice = mode.lattice
        grid = _grid_text(lattice)
        if answer.why == "limit":
            text = f"the search gave up after {answer.expanded} states on a grid of {grid}; this proves nothing"
            return _no_way(wanted, "search limit", text, ())
        misses = nearest_misses(lattice, answer, machine)
        self.progress(f"{wanted.id}: looking closer at what blocks", 0)

        def closer(part: Site) -> CheckedLattice:
            return self._new_lattice(wanted, machine, part, build_terrain(part.ground, part.grid))

        look = look_finer(lattice, answer, misses, starts=mode.starts, goals=mode.goals, closer=closer)
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
        hazards = way.hazards
        poses = trace(way.stretches, machine)
        if not poses:
            return _no_way(wanted, "no route", "start and goal are the same pose: there is nothing to drive", ())
        self._standing[(wanted.machine, wanted.goal)] = poses[-1]
        length = poses[-1].chainage_m
        k = self.k_of(length)
        found = profile(way.stretches, poses)
        driven = dict.fromkeys(stretch.lattice.hazards.configuration.id for stretch in way.stretches)
        checks = checks_of(found, site=self.site, machine=machine, hazards=hazards, k=k, configurations=driven)
        holds, controls = holds_of(found, configuration)
        verdict: MoveVerdict = min((check.verdict for check in checks), key=MOVE_VERDICTS.index)
        if verdict == "pass" and controls:
            verdict = "pass with controls"
        open_kinds = [check.kind for check in checks if check.verdict in ("not proven", "fail")]
        cost = max(way.cost_m, length)
        return Move(
            id=wanted.id, purpose=wanted.purpose, machine=wanted.machine, configuration=wanted.configuration,
            start=wanted.start, goal=wanted.goal, on=_day(wanted), verdict=verdict,
            reason=f"open: {', '.join(open_kinds)}" if open_kinds else "every check of the catalogue holds",
            length_m=length, cost_m=cost, lattice_cost_m=way.lattice_cost_m, best_possible_m=way.bound_m,
            bound=max(1.0, cost / way.bound_m), poses=poses, checks=checks, controls=controls, holds=holds,
            zones=zones_of(found, machine=machine, configuration=configuration, hazards=hazards),
            reversals=reversals(poses), refused=None, nearest_misses=(),
            legs=tuple(self._legs(wanted, poses, cost, verdict, hazards)),
        )  # fmt: skip

    def _legs(
        self, wanted: MoveWanted, poses: tuple[Pose, ...], cost_m: float, verdict: MoveVerdict, hazards: Hazards
    ) -> Iterator[Leg]:
        """The parts of a move between its ends and the hold points where its travel mode changes."""
        runs = [tuple(run) for _, run in groupby(poses, key=lambda pose: pose.travel_mode)]
        names = [wanted.start, *(f"hold point {n}" for n in range(1, len(runs))), wanted.goal]
        for run, (start, goal) in zip(runs, pairwise(names), strict=True):
            length = run[-1].chainage_m - run[0].chainage_m
            share = length / poses[-1].chainage_m if poses[-1].chainage_m else 1.0
            yield Leg(start, goal, length, cost_m * share, verdict, *self._passed(run, hazards))

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
