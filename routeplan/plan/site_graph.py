"""Places, hold points and travel modes as a graph, for moves that may change how they are driven on the way.

Nodes are exact poses, each in one travel mode: the start, the goal, and hold points on both sides of every passage that
one mode can drive and another cannot (a door head that is too low with the rails up). Drives are planned on the lattice
of their mode when the cheapest way left depends on them, and not before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import networkx
import shapely

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_ridden
from routeplan.plan.way import Stretch, Way
from routeplan.search.anchors import Anchor, link_line
from routeplan.search.lattice import MOUTH_M, RUN_UP_M, CheckedLattice, Found, passage_room_m
from routeplan.search.passages import Passage, find_passages
from routeplan.site.model import MoveWanted, Site, TravelMode

#: What getting on or off costs, folding the rails or putting them up besides, and a metre driven from beside the
#: machine against one ridden, m.
CHANGE_M, FOLDING_M, BESIDE_FACTOR = 20.0, 10.0, 1.5
#: Hold points nearer than this, in place (m) and heading (rad), are one.
ALIKE_M, ALIKE_RAD = 0.5, math.radians(10.0)
#: Most passages that get hold points, those on the shortest detour first.
MOST = 6

Node = tuple[str, int]


def modes_of(machine: Machine, wanted: MoveWanted) -> tuple[TravelMode, ...]:
    """Travel modes that a move may be driven in; it starts in the first."""
    if wanted.travel_mode != "any":
        return (wanted.travel_mode,)
    if not_ridden(machine, wanted.configuration) is not None:
        return ("beside_rails_up",)
    folds = machine.configuration_in(wanted.configuration, "beside_rails_folded") != wanted.configuration
    return ("ridden", "beside_rails_up", "beside_rails_folded") if folds else ("ridden", "beside_rails_up")


@dataclass(frozen=True, eq=False)
class Mode:
    """One way of driving a move: its lattice, and the poses that it may start from and end at."""

    lattice: CheckedLattice
    starts: list[int]
    goals: list[int]

    @property
    def factor(self) -> float:
        """Cost of a metre against one ridden."""
        return 1.0 if self.lattice.hazards.travel_mode == "ridden" else BESIDE_FACTOR


def _lines(site: Site, lattice: CheckedLattice) -> Iterator[Passage]:
    """Narrow passages, and straight ways through under each soffit, across its longer side."""
    yield from find_passages(lattice.hazards.world, lattice.hazards.body, passage_room_m(lattice))
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


def _decisive(site: Site, modes: Sequence[Mode]) -> list[Anchor]:
    """Hold points round the passages that not all modes can drive, the ones on the shortest detour first."""
    found: list[tuple[Anchor, Anchor]] = []
    for line in _lines(site, modes[-1].lattice):
        for turned in (0.0, math.pi):
            way = Passage(line.x, line.y, line.heading + turned, line.half_m, line.spare_m)
            ends = _ends(way, modes[-1].lattice)
            passed = [bool(link_line([(ends[0], 0), (ends[1], 1)], hazards=mode.lattice.hazards)) for mode in modes]
            if any(passed) and not all(passed) and not any(_alike(ends[0], other[0]) for other in found):
                found.append(ends)
    first = modes[0].lattice
    start, goal = (first.pose_of(poses[0]) for poses in (modes[0].starts, modes[0].goals))

    def detour(ends: tuple[Anchor, Anchor]) -> float:
        return min(_apart(start, one) + _apart(one, goal) for one in ends)

    return [anchor for ends in sorted(found, key=detour)[: 2 * MOST] for anchor in ends]


def _alike(a: Anchor, b: Anchor) -> bool:
    """Whether two hold points stand for the same passage, driven the same way."""
    return _apart(a, b) < ALIKE_M and abs(math.remainder(a.heading - b.heading, 2.0 * math.pi)) < ALIKE_RAD


def _apart(a: Anchor, b: Anchor) -> float:
    return math.dist((a.x, a.y), (b.x, b.y))


def _change_m(one: Mode, other: Mode) -> float:
    """What a change of travel mode costs, m."""
    folded = [mode.lattice.hazards.travel_mode == "beside_rails_folded" for mode in (one, other)]
    return CHANGE_M + (FOLDING_M if folded[0] != folded[1] else 0.0)


class ModeGraph:
    """The graph of one move; ``modes[0]`` is the mode it starts in."""

    def __init__(self, site: Site, modes: Sequence[Mode]) -> None:
        self.modes = modes
        holds = _decisive(site, modes)
        self.poses: dict[Node, list[int]] = {}
        for m, mode in enumerate(modes):
            self.poses["start", m], self.poses["goal", m] = mode.starts, mode.goals
            for n, anchor in enumerate(holds):
                self.poses[f"hold {n + 1}", m] = [mode.lattice.add_anchor(anchor)]
        self.graph = networkx.DiGraph()
        names = ["start", *(f"hold {n + 1}" for n in range(len(holds))), "goal"]
        for m in range(len(modes)):
            for a in names[:-1]:
                for b in names[1:]:
                    if a != b and self.poses[a, m] and self.poses[b, m]:
                        self.graph.add_edge((a, m), (b, m), weight=self._least((a, m), (b, m)), found=None)
        for name in names:
            for m in range(len(modes)):
                for other in range(len(modes)):
                    if m != other and self.poses[name, m] and self.poses[name, other] and name != "goal":
                        price = _change_m(self.modes[m], self.modes[other])
                        self.graph.add_edge((name, m), (name, other), weight=price, found=())
        for m in range(len(modes)):
            self.graph.add_edge(("goal", m), "there", weight=0.0, found=())

    def _least(self, a: Node, b: Node) -> float:
        lattice = self.modes[a[1]].lattice
        from_, to = ([lattice.pose_of(pose) for pose in self.poses[node]] for node in (a, b))
        return self.modes[a[1]].factor * min(_apart(one, other) for one in from_ for other in to)

    def find(self) -> Way | None:
        """The cheapest way, or ``None``: drives on the cheapest way so far are planned until all of it is."""
        while True:
            try:
                nodes = networkx.shortest_path(self.graph, ("start", 0), "there", weight="weight")
            except (networkx.NetworkXNoPath, networkx.NodeNotFound):
                return None
            steps = list(zip(nodes, nodes[1:], strict=False))
            unknown = [step for step in steps if self.graph.edges[step]["found"] is None]
            if not unknown:
                return self._way(steps)
            self._drive(*unknown[0])

    def _drive(self, a: Node, b: Node) -> None:
        mode = self.modes[a[1]]
        found = mode.lattice.find(self.poses[a], self.poses[b])
        if isinstance(found, Found) and found.motions:
            weight = mode.factor * (found.cost_m + 1e6 * found.open_m)
            self.graph.add_edge(a, b, weight=weight, found=found)
        else:
            self.graph.remove_edge(a, b)

    def _way(self, steps: Sequence[tuple[Node, Node]]) -> Way:
        stretches, cost_m = [], 0.0
        for a, b in steps:
            edge = self.graph.edges[a, b]
            cost_m += edge["weight"] - (1e6 * edge["found"].open_m * self.modes[a[1]].factor if edge["found"] else 0.0)
            if edge["found"]:
                stretches.append(Stretch(edge["found"].motions, self.modes[a[1]].lattice))
        least_m = _apart(stretches[0].motions[0].at, stretches[-1].motions[-1].end)
        return Way(tuple(stretches), cost_m, cost_m, least_m)
