"""Places, hold points and travel modes of one machine as a graph (networkx), kept for all moves of like days.

Nodes are exact poses, each in one travel mode: places where the machine starts, stops and ends, and hold points,
square-on, on both sides of every passage that one mode can drive and another cannot (a door head that is too low with
the rails up). Edges are changes of mode at a price, and legs: each is planned on the lattice of its mode when the
cheapest way left depends on it, once, and not before. A leg straight from start to goal is always among them, so the
direct way on the lattice wins where nothing else is cheaper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import networkx
import shapely

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_ridden
from routeplan.plan.frontier import pose_blocked
from routeplan.plan.way import Stretch, Way
from routeplan.search.anchors import Anchor, link_line
from routeplan.search.best_first import OPEN_WEIGHT
from routeplan.search.lattice import MOUTH_M, RUN_UP_M, CheckedLattice, Found, NotFound
from routeplan.search.passages import Passage
from routeplan.site.model import MoveWanted, Site, TravelMode

#: What getting on or off costs, folding the rails or putting them up besides, and a metre driven from beside the
#: machine against one ridden, m.
CHANGE_M, FOLDING_M, BESIDE_FACTOR = 20.0, 10.0, 1.5
#: Hold points nearer than this, in place (m) and heading (rad), are one.
ALIKE_M, ALIKE_RAD = 0.5, math.radians(10.0)
#: Most passages that get hold points for one leg, those on the shortest detour first.
MOST = 6


@dataclass(frozen=True)
class Stop:
    """A node of the graph in any mode: its name, and the poses that the machine may be asked to stand in there."""

    name: str
    stands: tuple[Anchor, ...]

    def nearest(self, at: Anchor) -> Anchor:
        """The pose that a way which ends here stands in, free of what rounding the way there added."""

        def off(stand: Anchor) -> float:
            return _apart(stand, at) + abs(math.remainder(stand.heading - at.heading, 2.0 * math.pi))

        return min(self.stands, key=off)


Node = tuple[Stop, int]


def modes_of(machine: Machine, wanted: MoveWanted) -> tuple[TravelMode, ...]:
    """Travel modes that a move may be driven in; it starts in the first."""
    if wanted.travel_mode != "any":
        return (wanted.travel_mode,)
    if not_ridden(machine, wanted.configuration) is not None:
        return ("beside_rails_up",)
    folds = machine.configuration_in(wanted.configuration, "beside_rails_folded") != wanted.configuration
    return ("ridden", "beside_rails_up", "beside_rails_folded") if folds else ("ridden", "beside_rails_up")


def _lines(site: Site, lattice: CheckedLattice) -> Iterator[Passage]:
    """Narrow passages, and straight ways through under each soffit, across its longer side."""
    yield from lattice.passages
    for soffit in site.soffits:
        ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(soffit.geometry))[:3]
        sides = [(math.dist(a, b), math.atan2(b[1] - a[1], b[0] - a[0])) for a, b in zip(ring, ring[1:], strict=False)]
        (short_m, heading), _ = sorted(sides)
        middle = soffit.geometry.centroid
        yield Passage(middle.x, middle.y, heading, short_m / 2, 0.0)


def _ends(line: Passage, lattice: CheckedLattice) -> tuple[Anchor, Anchor]:
    """Hold points on a line: where the body does not yet reach into the passage, and where it has left it."""
    hull = lattice.hazards.body.hull
    before = -line.half_m - float(hull[1]) - MOUTH_M - RUN_UP_M
    after = line.half_m - float(hull[0]) + MOUTH_M + RUN_UP_M
    return Anchor(*line.at(before), line.heading), Anchor(*line.at(after), line.heading)


def _decisive(site: Site, lattices: Sequence[CheckedLattice]) -> list[tuple[Anchor, Anchor]]:
    """Hold points before and after every passage that not all modes can drive, one pair each way."""
    found: list[tuple[Anchor, Anchor]] = []
    for line in _lines(site, lattices[-1]) if len(lattices) > 1 else ():
        for turned in (0.0, math.pi):
            way = Passage(line.x, line.y, line.heading + turned, line.half_m, line.spare_m)
            ends = _ends(way, lattices[-1])
            passed = [bool(link_line([(ends[0], 0), (ends[1], 1)], hazards=one.hazards)) for one in lattices]
            if any(passed) and not all(passed) and not any(_alike(ends[0], other[0]) for other in found):
                found.append(ends)
    return found


def _alike(a: Anchor, b: Anchor) -> bool:
    """Whether two hold points stand for the same passage, driven the same way."""
    return _apart(a, b) < ALIKE_M and abs(math.remainder(a.heading - b.heading, 2.0 * math.pi)) < ALIKE_RAD


def _apart(a: Anchor, b: Anchor) -> float:
    return math.dist((a.x, a.y), (b.x, b.y))


def _change_m(one: CheckedLattice, other: CheckedLattice) -> float:
    """What a change of travel mode costs, m."""
    folded = [lattice.hazards.travel_mode == "beside_rails_folded" for lattice in (one, other)]
    return CHANGE_M + (FOLDING_M if folded[0] != folded[1] else 0.0)


def _factor(lattice: CheckedLattice) -> float:
    """Cost of a metre against one ridden."""
    return 1.0 if lattice.hazards.travel_mode == "ridden" else BESIDE_FACTOR


def _weight(a: Node, b: Node, data: dict[str, Any]) -> float | None:
    """Cost of an edge as far as it is known, open metres weighed as the search weighs them; ``None`` hides it."""
    return None if isinstance(data["found"], NotFound) else float(data["weight"])


@dataclass(eq=False)
class SiteGraph:
    """The graph of one machine under the conditions of a day; ``lattices`` has one for each travel mode.

    Made, and ``stop`` called, by whoever may ask the site's geometries; ``way`` asks lattices only.
    """

    site: Site
    machine: Machine
    lattices: Sequence[CheckedLattice]
    graph: networkx.DiGraph = field(default_factory=networkx.DiGraph)
    _poses: dict[Node, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._holds = [
            tuple(self.stop(f"hold point at E {anchor.x:.1f} N {anchor.y:.1f}", [anchor]) for anchor in ends)
            for ends in _decisive(self.site, self.lattices)
        ]

    def stop(self, name: str, stands: Sequence[Anchor]) -> Stop:
        """The node of a place or hold point, made once, with the mode changes that it allows."""
        stop = Stop(name, tuple(stands))
        for m, lattice in enumerate(self.lattices):
            self.graph.add_node((stop, m))
            if (stop, m) not in self._poses:
                free = [anchor for anchor in stands if pose_blocked(anchor, lattice, self.machine) is None]
                self._poses[stop, m] = [lattice.add_anchor(anchor) for anchor in free]
        for m, one in enumerate(self.lattices):
            for n, other in enumerate(self.lattices):
                if m != n and self._poses[stop, m] and self._poses[stop, n]:
                    self.graph.add_edge((stop, m), (stop, n), weight=_change_m(one, other), found=None)
        return stop

    def without_room(self, start: Stop, goal: Stop, *, mode: int) -> Stop | None:
        """The first of two nodes at which the machine cannot stand: the start in a mode, the goal in any."""
        if not self._poses[start, mode]:
            return start
        reached = (m for m in range(len(self.lattices)) if self._poses[start, m])
        return None if any(self._poses[goal, m] for m in reached) else goal

    def _on_the_way(self, start: Stop, goal: Stop) -> list[Stop]:
        """Hold points worth a thought between two nodes, those on the shortest detour first."""

        def detour(ends: tuple[Stop, ...]) -> float:
            here, there = start.stands[0], goal.stands[0]
            return min(_apart(here, end.stands[0]) + _apart(end.stands[0], there) for end in ends)

        return [end for ends in sorted(self._holds, key=detour)[: 2 * MOST] for end in ends]

    def _offer(self, a: Node, b: Node) -> None:
        """A leg that might be driven, at the least it can cost; one that is known stays as it is."""
        if not self._poses[a] or not self._poses[b] or self.graph.has_edge(a, b):
            return
        least = min(_apart(one, other) for one in a[0].stands for other in b[0].stands)
        self.graph.add_edge(a, b, weight=_factor(self.lattices[a[1]]) * least, found=None)

    def way(self, start: Stop, goal: Stop, *, mode: int) -> tuple[Way | NotFound, int]:
        """The cheapest way between two nodes (see ``without_room``) that begins in a mode, and the mode it ends in.

        Where there is none, what the search for a leg straight to the goal came to, and its mode.
        """
        stops = list(dict.fromkeys([start, *self._on_the_way(start, goal), goal]))
        for m in range(len(self.lattices)):
            for a in stops:
                for b in stops:
                    if a != b and a != goal and b != start:
                        self._offer((a, m), (b, m))
        here = networkx.subgraph_view(self.graph, filter_node=lambda node: node[0] in stops)
        while True:
            costs, paths = networkx.single_source_dijkstra(here, (start, mode), weight=_weight)
            ends = [(costs[goal, m], m) for m in range(len(self.lattices)) if (goal, m) in costs]
            if not ends:
                return self._refusal(start, goal)
            last = min(ends)[1]
            steps = list(pairwise(paths[goal, last]))
            unknown = [(a, b) for a, b in steps if a[1] == b[1] and self.graph.edges[a, b]["found"] is None]
            if not unknown:
                return self._way(steps), last
            self._plan(*unknown[0])

    def _plan(self, a: Node, b: Node) -> None:
        """Plan a leg on the lattice of its mode."""
        lattice = self.lattices[a[1]]
        found = lattice.find(self._poses[a], self._poses[b])
        edge = self.graph.edges[a, b]
        edge["found"] = found
        if isinstance(found, Found):
            edge["weight"] = _factor(lattice) * (found.cost_m + OPEN_WEIGHT * found.open_m)

    def _refusal(self, start: Stop, goal: Stop) -> tuple[NotFound, int]:
        edges = ((self.graph.get_edge_data((start, m), (goal, m)), m) for m in range(len(self.lattices)))
        return next((edge["found"], m) for edge, m in edges if edge is not None)

    def ends(self, start: Stop, goal: Stop, mode: int) -> tuple[list[int], list[int]]:
        """Poses of two nodes on the lattice of a mode."""
        return self._poses[start, mode], self._poses[goal, mode]

    def _way(self, steps: Sequence[tuple[Node, Node]]) -> Way:
        stretches, cost_m = [], 0.0
        least_m = min(_apart(one, other) for one in steps[0][0][0].stands for other in steps[-1][1][0].stands)
        for a, b in steps:
            found, lattice = self.graph.edges[a, b]["found"], self.lattices[a[1]]
            if found is None:
                cost_m += self.graph.edges[a, b]["weight"]
                continue
            cost_m += _factor(lattice) * found.cost_m
            least_m = found.bound_m if len(steps) == 1 else least_m
            if found.motions:
                stretches.append(Stretch(found.motions, lattice))
        return Way(tuple(stretches), cost_m, cost_m, least_m)
