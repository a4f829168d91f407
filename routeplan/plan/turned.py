"""Whether a move that has no way would have one with the machine the other way round at an end of it.

Its ratings go by which end is uphill, and a boom reaches farther at one end: what it is delivered as can decide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

from routeplan.plan.rounds import cheapest_round
from routeplan.plan.site_graph import SiteGraph, Stop
from routeplan.search.anchors import Anchor


def turned_text(graph: SiteGraph, ends: Sequence[Stop], mode: int) -> str:
    """Words for the fewest ends at which turning the machine end for end opens a way; none where it does not help.

    Only ends are turned at which the machine stands in one pose: elsewhere the search has tried every heading.
    """
    fixed = [stop for stop in ends if len(stop.stands) == 1]
    for some in (chosen for n in range(1, len(fixed) + 1) for chosen in combinations(fixed, n)):
        tried = [_turned(graph, stop) if stop in some else stop for stop in ends]
        if graph.without_room(*tried, mode=mode) is None and cheapest_round(graph, tried, mode):
            names = " and ".join(stop.name for stop in some)
            return f"; with the machine turned end for end at {names} there is a way: deliver or turn it so"
    return ""


def _turned(graph: SiteGraph, stop: Stop) -> Stop:
    (at,) = stop.stands
    heading = math.remainder(at.heading + math.pi, 2.0 * math.pi)
    return graph.stop(f"{stop.name}, turned end for end", {Anchor(at.x, at.y, heading): 0.0})
