"""Places, hold points and travel modes of one machine as a graph (networkx), kept for all moves of like days.

Nodes are exact poses, each in one travel mode: places where the machine starts, stops and ends, and hold points,
square-on, on both sides of every passage that one mode can drive and another cannot (a door head that is too low with
the rails up). Edges are changes of mode at a price, and legs. Two legs in one mode never follow each other: a leg
straight from the one end to the other lies on the same lattice, and is among the edges.

A leg costs at least the straight line, and at least what the lattice says when headings and hazards are forgotten; it
is planned, once, when the cheapest way left leads over it at that price, and not before. No edge ever costs less than
it was held to cost, so the way found is the one that planning every leg would find.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, permutations
from typing import Any, NamedTuple

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
#: Lines through passages whose middles (m) and headings (rad) are nearer than this lead through the same one.
ALIKE_M, ALIKE_RAD = 0.5, math.radians(30.0)
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


class Node(NamedTuple):
    """A stop in a travel mode (its number): come there, or about to leave; only a change leads on."""

    stop: Stop
    mode: int
    leaves: bool


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
    """Hold points before and after every passage that not all modes can drive, one pair each way.

    Of lines askew through one door the tightest is kept: from jamb to jamb, square-on.
    """
    found: dict[Passage, tuple[Anchor, Anchor]] = {}
    for line in _lines(site, lattices[-1]) if len(lattices) > 1 else ():
        for turned in (0.0, math.pi):
            way = Passage(line.x, line.y, line.heading + turned, line.half_m, line.spare_m)
            ends = _ends(way, lattices[-1])
            passed = [bool(link_line([(ends[0], 0), (ends[1], 1)], hazards=one.hazards)) for one in lattices]
            if any(passed) and not all(passed) and not any(_alike(way, other) for other in found):
                found[way] = ends
    return list(found.values())


def _alike(a: Passage, b: Passage) -> bool:
    """Whether two lines lead through the same passage, driven the same way."""
    turn = math.remainder(a.heading - b.heading, 2.0 * math.pi)
    return math.dist((a.x, a.y), (b.x, b.y)) < ALIKE_M and abs(turn) < ALIKE_RAD


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
    return None if math.isinf(data["weight"]) else float(data["weight"])


@dataclass(eq=False)
class SiteGraph:
    """The graph of one machine under the conditions of a day; ``lattices`` has one for each travel mode.

    Made, and ``stop`` called, by whoever may ask the site's geometries; ``way`` asks lattices only.
    """

    site: Site
    machine: Machine
    lattices: Sequence[CheckedLattice]
    graph: networkx.DiGraph = field(default_factory=networkx.DiGraph)
    _poses: dict[tuple[Stop, int], list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._holds = [
            tuple(self.stop(f"hold point at E {anchor.x:.1f} N {anchor.y:.1f}", [anchor]) for anchor in ends)
            for ends in _decisive(self.site, self.lattices)
        ]

    def stop(self, name: str, stands: Sequence[Anchor]) -> Stop:
        """The node of a place or hold point, made once, with the mode changes that it allows."""
        stop = Stop(name, tuple(stands))
        for m, lattice in enumerate(self.lattices):
            if (stop, m) not in self._poses:
                free = [anchor for anchor in stands if pose_blocked(anchor, lattice, self.machine) is None]
                self._poses[stop, m] = [lattice.add_anchor(anchor) for anchor in free]
        for m, one in enumerate(self.lattices):
            for n, other in enumerate(self.lattices):
                if m != n and self._poses[stop, m] and self._poses[stop, n]:
                    change_m = _change_m(one, other)
                    self.graph.add_edge(Node(stop, m, False), Node(stop, n, True), weight=change_m, found=None)
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

    def _offer(self, start: Stop, goal: Stop, stops: Sequence[Stop]) -> None:
        """All legs that might be driven, each at the least it can cost; one that is planned stays as it is."""
        for a, b in permutations(stops, 2):
            for m, lattice in enumerate(self.lattices):
                if a != goal and b != start and self._poses[a, m] and self._poses[b, m]:
                    leg = Node(a, m, True), Node(b, m, False)
                    if not self.graph.has_edge(*leg) or self.graph.edges[leg]["found"] is None:
                        least = min(_apart(one, other) for one in a.stands for other in b.stands)
                        self.graph.add_edge(*leg, weight=_factor(lattice) * least, found=None)

    def way(self, start: Stop, goal: Stop, *, mode: int) -> tuple[Way | NotFound, int]:
        """The cheapest way between two nodes (see ``without_room``) that begins in a mode, and the mode it ends in.

        Where there is none, what the search for a leg straight to the goal came to, and its mode.
        """
        stops = list(dict.fromkeys([start, *self._on_the_way(start, goal), goal]))
        self._offer(start, goal, stops)
        source, bounded = Node(start, mode, False), set[Node]()
        self.graph.add_edge(source, source._replace(leaves=True), weight=0.0, found=None)
        here = networkx.subgraph_view(self.graph, filter_node=lambda node: node.stop in stops)
        while True:
            costs, paths = networkx.single_source_dijkstra(here, source, weight=_weight)
            ends = [node for node in costs if node.stop == goal and not node.leaves]
            if not ends:
                return self._refusal(start, goal)
            last = min(ends, key=lambda node: (costs[node], node.mode))
            legs = [(a, b) for a, b in pairwise(paths[last]) if a.leaves]
            unknown = [leg for leg in legs if self.graph.edges[leg]["found"] is None]
            if not unknown:
                return self._way(list(pairwise(paths[last]))), last.mode
            vague = [leg for leg in unknown if leg[1] not in bounded] if len(self.lattices) > 1 else []
            if vague:
                bounded.add(vague[0][1])
                self._bound(vague[0][1], here)
            else:
                self._plan(*min(unknown, key=lambda leg: self.graph.edges[leg]["weight"]))

    def _bound(self, goal: Node, here: networkx.DiGraph) -> None:
        """Raise what the legs to a node that nobody planned yet cost at least."""
        legs = [(a, goal) for a in here.predecessors(goal) if self.graph.edges[a, goal]["found"] is None]
        lattice = self.lattices[goal.mode]
        starts = [self._poses[a.stop, a.mode] for a, _ in legs]
        for leg, least_m in zip(legs, lattice.least_m(starts, self._poses[goal.stop, goal.mode]), strict=True):
            edge = self.graph.edges[leg]
            edge["weight"] = max(edge["weight"], _factor(lattice) * least_m)

    def _plan(self, a: Node, b: Node) -> Found | NotFound:
        """Plan a leg on the lattice of its mode."""
        lattice = self.lattices[a.mode]
        found = lattice.find(*self.ends(a.stop, b.stop, a.mode))
        cost_m = found.cost_m + OPEN_WEIGHT * found.open_m if isinstance(found, Found) else math.inf
        self.graph.add_edge(a, b, weight=_factor(lattice) * cost_m, found=found)
        return found

    def _refusal(self, start: Stop, goal: Stop) -> tuple[NotFound, int]:
        """What a leg straight to the goal came to, in the first mode that has room for both ends."""
        mode = next(m for m in range(len(self.lattices)) if all(self.ends(start, goal, m)))
        leg = Node(start, mode, True), Node(goal, mode, False)
        found = self.graph.edges[leg]["found"] or self._plan(*leg)
        assert isinstance(found, NotFound)  # else the graph has a way
        return found, mode

    def ends(self, start: Stop, goal: Stop, mode: int) -> tuple[list[int], list[int]]:
        """Poses of two nodes on the lattice of a mode."""
        return self._poses[start, mode], self._poses[goal, mode]

    def _way(self, steps: Sequence[tuple[Node, Node]]) -> Way:
        stretches, cost_m = [], 0.0
        least_m = min(_apart(one, other) for one in steps[0][0].stop.stands for other in steps[-1][1].stop.stands)
        one_leg = len({b.mode for _, b in steps}) == 1 and steps[0][0].mode == steps[0][1].mode
        for a, b in steps:
            found, lattice = self.graph.edges[a, b]["found"], self.lattices[a.mode]
            if found is None:
                cost_m += self.graph.edges[a, b]["weight"]
                continue
            cost_m += _factor(lattice) * found.cost_m
            least_m = found.bound_m if one_leg else least_m
            if found.motions:
                stretches.append(Stretch(found.motions, lattice))
        return Way(tuple(stretches), cost_m, cost_m, least_m)
