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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, permutations
from typing import Any, NamedTuple

import networkx
import shapely

from routeplan.hazards.prepare import Hazards
from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_ridden
from routeplan.plan.frontier import pose_blocked
from routeplan.plan.way import Stretch, Way, metre_m
from routeplan.search.anchors import Anchor, link_line
from routeplan.search.best_first import OPEN_WEIGHT
from routeplan.search.lattice import MOUTH_M, RUN_UP_M, CheckedLattice, Found, NotFound
from routeplan.search.passages import Passage
from routeplan.site.model import MoveWanted, Site, TravelMode

#: What getting on or off costs, and folding the rails or putting them up besides, m.
CHANGE_M, FOLDING_M = 20.0, 10.0
#: Lines through passages whose middles (m) and headings (rad) are nearer than this lead through the same one.
ALIKE_M, ALIKE_RAD = 0.5, math.radians(30.0)
#: Costs that differ by less are the same, m.
ALIKE_COST_M = 1e-6
#: Most passages that get hold points for one leg, those on the shortest detour first.
MOST = 6


@dataclass(frozen=True)
class Stop:
    """A node of the graph in any mode: its name, the poses that the machine may be asked to stand in there, and what
    was paid to come to stand in each.
    """

    name: str
    stands: tuple[Anchor, ...]
    paid_m: tuple[float, ...]

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


@dataclass(frozen=True, eq=False)
class Arrival:
    """A way to one of the poses at a stop.

    Parameters
    ----------
    begins, ends
        Pose and travel mode at its ends.
    paid_m
        What it costs, open metres as they weigh, together with what was paid where it begins.
    closed
        Whether its bound is what it costs: one leg without an open metre.
    """

    begins: tuple[Anchor, int]
    ends: tuple[Anchor, int]
    paid_m: float
    way: Way
    closed: bool


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


def _least_apart_m(a: Stop, b: Stop) -> float:
    """Straight distance between the nearest poses of two stops, m."""
    return min(_apart(one, other) for one in a.stands for other in b.stands)


def _change_m(one: CheckedLattice, other: CheckedLattice) -> float:
    """What a change of travel mode costs, m."""
    folded = [lattice.hazards.travel_mode == "beside_rails_folded" for lattice in (one, other)]
    return CHANGE_M + (FOLDING_M if folded[0] != folded[1] else 0.0)


def _weight(a: Node, b: Node, data: dict[str, Any]) -> float | None:
    """Cost of an edge as far as it is known, open metres weighed as the search weighs them; ``None`` hides it."""
    return None if math.isinf(data["weight"]) else float(data["weight"])


def _legs(path: Sequence[Node]) -> list[tuple[Node, Node]]:
    """The steps of a path that are driven."""
    return [(a, b) for a, b in pairwise(path) if a.leaves]


@dataclass(eq=False)
class SiteGraph:
    """The graph of one machine under the conditions of a day; ``lattices`` has one for each travel mode.

    Made, and ``stop`` called, by whoever may ask the site's geometries; ``ways`` asks lattices only. An edge has its
    ``weight``, a leg also what was ``found``, the best way to each of some poses, the cheapest first, and what a way to
    any other pose there costs at least, ``more``.
    """

    site: Site
    machine: Machine
    lattices: Sequence[CheckedLattice]
    graph: networkx.DiGraph = field(default_factory=networkx.DiGraph)
    _poses: dict[tuple[Stop, int], dict[int, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._holds = [
            tuple(self.stop(f"hold point at E {anchor.x:.1f} N {anchor.y:.1f}", {anchor: 0.0}) for anchor in ends)
            for ends in _decisive(self.site, self.lattices)
        ]

    def stop(self, name: str, paid_m: Mapping[Anchor, float]) -> Stop:
        """The node of a place or hold point, made once, with the mode changes that it allows.

        Parameters
        ----------
        paid_m
            What has been paid, by pose that the machine may stand in.
        """
        stop = Stop(name, tuple(paid_m), tuple(paid_m.values()))
        if (stop, 0) in self._poses:
            return stop
        first = [self._free(stop, lattice.hazards) for lattice in self.lattices]
        free = first if any(first) else [self._free(stop, lattice.hazards.closer()) for lattice in self.lattices]
        for m, lattice in enumerate(self.lattices):
            self._poses[stop, m] = {lattice.add_anchor(anchor): paid_m[anchor] for anchor in free[m]}
        for m, one in enumerate(self.lattices):
            for n, other in enumerate(self.lattices):
                if m != n and self._poses[stop, m] and self._poses[stop, n]:
                    change_m = _change_m(one, other)
                    self.graph.add_edge(Node(stop, m, False), Node(stop, n, True), weight=change_m, found=None)
        return stop

    def _free(self, stop: Stop, hazards: Hazards) -> list[Anchor]:
        """The poses at a stop in which nothing blocks the machine."""
        return [anchor for anchor in stop.stands if pose_blocked(anchor, hazards, self.machine) is None]

    def without_room(self, start: Stop, goal: Stop, *, mode: int) -> Stop | None:
        """The first of two nodes at which the machine cannot stand: the start in a mode, the goal in any."""
        if not self._poses[start, mode]:
            return start
        reached = (m for m in range(len(self.lattices)) if self._poses[start, m])
        return None if any(self._poses[goal, m] for m in reached) else goal

    def standing(self, stop: Stop) -> list[Node]:
        """A stop in every mode that the machine can stand there in."""
        return [Node(stop, m, False) for m in range(len(self.lattices)) if self._poses[stop, m]]

    def _on_the_way(self, start: Stop, goal: Stop) -> list[Stop]:
        """Hold points worth a thought between two nodes, those on the shortest detour first."""

        def detour(ends: tuple[Stop, ...]) -> float:
            here, there = start.stands[0], goal.stands[0]
            return min(_apart(here, end.stands[0]) + _apart(end.stands[0], there) for end in ends)

        return [end for ends in sorted(self._holds, key=detour)[: 2 * MOST] for end in ends]

    def _offer(self, starts: Sequence[Stop], goal: Stop, stops: Sequence[Stop]) -> None:
        """All legs that might be driven, each at the least it can cost; one that is planned stays as it is."""
        for a, b in permutations(stops, 2):
            for m, lattice in enumerate(self.lattices):
                if a != goal and b not in starts and self._poses[a, m] and self._poses[b, m]:
                    leg = Node(a, m, True), Node(b, m, False)
                    if not self.graph.has_edge(*leg) or self.graph.edges[leg]["found"] is None:
                        self._hold_to(*leg, metre_m(lattice) * _least_apart_m(a, b))

    def _hold_to(self, a: Node, b: Node, least_m: float) -> None:
        """Offer a leg that nobody planned at the least it can cost, what was paid at its start besides."""
        weight = min(a.stop.paid_m) + least_m
        self.graph.add_edge(a, b, weight=weight, found=None, more=weight)

    def ways(self, starts: Sequence[Node], goal: Stop, *, most_m: float = 0.0) -> list[Arrival]:
        """Cheapest ways from any of some nodes of one place to the poses at a stop, in any mode, the cheapest first.

        One if there is a way at all, and all that cost less than ``most_m``, what was paid included.
        """
        ends = [node.stop for node in starts]
        stops = list(dict.fromkeys([*ends, *self._on_the_way(ends[0], goal), goal]))
        self._offer(ends, goal, stops)
        for source in starts:
            self.graph.add_edge(source, source._replace(leaves=True), weight=0.0, found=None)
        here, bounded = networkx.subgraph_view(self.graph, filter_node=lambda node: node.stop in stops), set[Node]()
        while True:
            costs, paths = networkx.multi_source_dijkstra(here, set(starts), weight=_weight)
            wanted = self._wanted(costs, paths, goal, most_m)
            if not wanted:
                return self._arrivals(costs, paths, goal, most_m)
            vague = [leg for leg in wanted if leg[1] not in bounded] if len(self.lattices) > 1 else []
            if vague:
                bounded.add(vague[0][1])
                self._bound(vague[0][1], here)
            else:
                a, b = min(wanted, key=lambda leg: self.graph.edges[leg]["weight"])
                self._plan(a, b, most_m - costs[a])

    def _unknown(self, path: Sequence[Node]) -> list[tuple[Node, Node]]:
        """Legs of a path that nobody planned."""
        return [leg for leg in _legs(path) if self.graph.edges[leg]["found"] is None]

    def _into(self, costs: Mapping[Node, float], goal: Stop) -> list[tuple[Node, Node]]:
        """Legs into a stop from nodes that are reached."""
        ends = [node for node in self.standing(goal) if node in costs]
        return [(a, node) for node in ends for a in costs if a.leaves and self.graph.has_edge(a, node)]

    def _wanted(
        self, costs: Mapping[Node, float], paths: Mapping[Node, Sequence[Node]], goal: Stop, most_m: float
    ) -> list[tuple[Node, Node]]:
        """Legs to plan next: those of the cheapest way left; if it is known, of others that may cost less than
        ``most_m``.
        """
        ends = [node for node in self.standing(goal) if node in costs]
        if not ends:
            return []
        wanted = self._unknown(paths[min(ends, key=lambda node: (costs[node], node.mode))])
        for a, node in self._into(costs, goal) if not wanted else ():
            edge, before = self.graph.edges[a, node], self._unknown(paths[a])
            if costs[a] + edge["weight" if before else "more"] < most_m - ALIKE_COST_M:
                wanted += before or [(a, node)]
        return wanted

    def _bound(self, goal: Node, here: networkx.DiGraph) -> None:
        """Raise what the legs to a node that nobody planned yet cost at least."""
        legs = [(a, goal) for a in here.predecessors(goal) if self.graph.edges[a, goal]["found"] is None]
        lattice = self.lattices[goal.mode]
        starts = [list(self._poses[a.stop, a.mode]) for a, _ in legs]
        for leg, least_m in zip(legs, lattice.least_m(starts, list(self._poses[goal.stop, goal.mode])), strict=True):
            apart_m = _least_apart_m(leg[0].stop, goal.stop)
            self._hold_to(*leg, metre_m(lattice) * max(apart_m, least_m))

    def _plan(self, a: Node, b: Node, most_m: float) -> Sequence[Found] | NotFound:
        """Plan a leg on the lattice of its mode, to every pose that it reaches for less than ``most_m``."""
        lattice, factor = self.lattices[a.mode], metre_m(self.lattices[a.mode])
        starts = {pose: paid_m / factor for pose, paid_m in self._poses[a.stop, a.mode].items()}
        goals = list(self._poses[b.stop, b.mode])
        found = lattice.find_each(starts, goals, most_m=most_m / factor)
        weight = math.inf if isinstance(found, NotFound) else self._paid_m(a, found[0])
        whole = isinstance(found, NotFound) or len(found) == len(goals)
        self.graph.add_edge(a, b, weight=weight, found=found, more=math.inf if whole else max(weight, most_m))
        return found

    def _paid_m(self, a: Node, found: Found) -> float:
        """What a way found from a node costs, with what was paid where it begins, open metres weighed."""
        cost_m = found.cost_m + OPEN_WEIGHT * found.open_m
        return self._poses[a.stop, a.mode][found.start] + metre_m(self.lattices[a.mode]) * cost_m

    def refusal(self, start: Stop, goal: Stop) -> tuple[NotFound, int]:
        """What a leg straight to the goal came to where ``ways`` has none, in the first mode that has room for both
        ends.
        """
        mode = next(m for m in range(len(self.lattices)) if all(self.ends(start, goal, m)))
        leg = Node(start, mode, True), Node(goal, mode, False)
        found = self.graph.edges[leg]["found"] or self._plan(*leg, 0.0)
        assert isinstance(found, NotFound)  # else the graph has a way
        return found, mode

    def ends(self, start: Stop, goal: Stop, mode: int) -> tuple[list[int], list[int]]:
        """Poses of two nodes on the lattice of a mode."""
        return list(self._poses[start, mode]), list(self._poses[goal, mode])

    def least_m(self, start: Stop, goal: Stop) -> float:
        """The least that a way between two stops can cost, from whatever pose to whatever pose."""
        if len(self.lattices) > 1:
            return _least_apart_m(start, goal)
        starts, goals = self.ends(start, goal, 0)
        (least_m,) = self.lattices[0].least_m([starts], goals)
        return metre_m(self.lattices[0]) * least_m

    def _arrivals(
        self, costs: Mapping[Node, float], paths: Mapping[Node, Sequence[Node]], goal: Stop, most_m: float
    ) -> list[Arrival]:
        """The cheapest arrival at each pose in each mode: at one in any case, and at all for less than ``most_m``."""
        found = [
            self._arrival([*paths[a], node], costs[a], one)
            for a, node in self._into(costs, goal)
            if not self._unknown(paths[a]) and isinstance(self.graph.edges[a, node]["found"], tuple)
            for one in self.graph.edges[a, node]["found"]
        ]
        best: dict[tuple[Anchor, int], Arrival] = {}
        for arrival in sorted(found, key=lambda one: (one.paid_m, one.ends[1])):
            if not best or arrival.paid_m < most_m:
                best.setdefault(arrival.ends, arrival)
        return list(best.values())

    def _arrival(self, path: Sequence[Node], before_m: float, last: Found) -> Arrival:
        """The way along a path of nodes whose last leg was found so."""
        legs = _legs(path)
        found = [*(self.graph.edges[leg]["found"][0] for leg in legs[:-1]), last]
        stretches, cost_m = [], sum(self.graph.edges[a, b]["weight"] for a, b in pairwise(path) if not a.leaves)
        for (a, _), one in zip(legs, found, strict=True):
            cost_m += metre_m(self.lattices[a.mode]) * one.cost_m
            if one.motions:
                stretches.append(Stretch(one.motions, self.lattices[a.mode]))
        one_leg = len({node.mode for node in path}) == 1
        # With one mode only, for another could be cheaper by the metre.
        metre = metre_m(self.lattices[0]) if len(self.lattices) == 1 else 1.0
        least_m = metre * last.bound_m if one_leg else _least_apart_m(path[0].stop, path[-1].stop)
        begins = self.lattices[legs[0][0].mode].pose_of(found[0].start), path[0].mode
        ends = self.lattices[path[-1].mode].pose_of(last.goal), path[-1].mode
        paid_m = before_m + self._paid_m(legs[-1][0], last)
        way = Way(tuple(stretches), cost_m, cost_m, least_m)
        return Arrival(begins, ends, paid_m, way, closed=one_leg and last.open_m == 0.0)
