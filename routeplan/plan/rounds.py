"""A move over several stops as one weighted shortest path: the poses at all its stops are chosen together.

Its nodes are poses at stops, in travel modes. A stage, from one stop to the next, starts from every pose at what it has
cost to come to stand in it, and leads to every pose from which the whole round could still be a cheapest one
(``SiteGraph.ways``). The rest of a round costs at least what its legs cost by themselves, each between the poses that
suit it best.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from routeplan.plan.site_graph import Arrival, Node, SiteGraph, Stop
from routeplan.plan.way import Way

#: A round is first looked for that costs no more than its legs by themselves and this, m; about a change of gear.
SPARE_M = 3.0


def cheapest_round(graph: SiteGraph, stops: Sequence[Stop], mode: int) -> list[Arrival]:
    """The cheapest way over stops that starts in a mode, an arrival for each leg, as far as there is a way."""
    starts = [Node(stops[0], mode, False)]
    if len(stops) == 2:
        return graph.ways(starts, stops[1])[:1]
    least = list(_by_themselves(graph, starts, stops))
    first_m = sum(least) + SPARE_M
    stages = list(_stages(graph, starts, stops, least, first_m))
    known_m = stages[-1][0].paid_m if len(stages) == len(least) > 0 else math.inf
    if known_m > first_m:
        stages = list(_stages(graph, starts, stops, least, known_m))
    return _chain(stages) if stages else []


def _by_themselves(graph: SiteGraph, starts: Sequence[Node], stops: Sequence[Stop]) -> Iterator[float]:
    """What each leg costs from the pose and to the pose that suit it best, m; they end where there is no way."""
    for n, (start, goal) in enumerate(pairwise(stops)):
        ways = graph.ways(graph.standing(start) if n else starts, goal)
        if not ways:
            return
        yield ways[0].paid_m


def _stages(
    graph: SiteGraph, starts: Sequence[Node], stops: Sequence[Stop], least: Sequence[float], most_m: float
) -> Iterator[list[Arrival]]:
    """Arrivals at each stop, the cheapest first: one, and all that a round for less than ``most_m`` may lead over.

    They end where no way leads on.
    """
    paid_m = 0.0
    for n in range(1, len(least) + 1):
        spare_m = most_m - paid_m - sum(least[n:]) if n < len(least) else 0.0
        found = graph.ways(starts, stops[n], most_m=spare_m)
        if not found:
            return
        starts = list(_come_to(graph, stops[n], found))
        yield [replace(arrival, paid_m=paid_m + arrival.paid_m) for arrival in found]
        paid_m += found[0].paid_m


def _come_to(graph: SiteGraph, stop: Stop, found: Sequence[Arrival]) -> Iterator[Node]:
    """A stop in each mode that the machine comes there in, with what the poses cost more than the cheapest of all."""
    for mode in sorted({arrival.ends[1] for arrival in found}):
        mine = [arrival for arrival in found if arrival.ends[1] == mode]
        more_m = {arrival.ends[0]: arrival.paid_m - found[0].paid_m for arrival in mine}
        yield Node(graph.stop(stop.name, more_m), mode, False)


def _chain(stages: Sequence[Sequence[Arrival]]) -> list[Arrival]:
    """The arrivals that lead to the cheapest of the last stage."""
    chain = [stages[-1][0]]
    for stage in reversed(stages[:-1]):
        chain.append(next(arrival for arrival in stage if arrival.ends == chain[-1].begins))
    return chain[::-1]


def bounded(graph: SiteGraph, stops: Sequence[Stop], ways: Sequence[Way]) -> list[Way]:
    """Ways over stops, each with the least that any way from stop to stop can cost, whatever the poses."""
    return [
        replace(way, bound_m=min(way.bound_m, graph.least_m(*ends)))
        for way, ends in zip(ways, pairwise(stops), strict=True)
    ]
