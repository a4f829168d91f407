"""The site graph that a plan's moves drive, as GraphML: for programs that ask what leads where, and through what."""

from __future__ import annotations

from pathlib import Path

import networkx

from routeplan.route.model import Leg, Move, Plan, Pose
from routeplan.site.model import Site


def site_graph(plan: Plan, site: Site) -> networkx.MultiDiGraph:
    """Return the graph: a node for each place, hold point, gap or ramp end that ways stand at or lead through.

    Nodes carry ``x`` and ``y`` (site metres, where the first way meets them) and the ``kind`` and ``title`` of a place.
    An edge is a leg: its move, machine, configuration and travel mode, grid bearings of the chassis arrow at both ends,
    length, cost, verdict, and the areas and hazards that the body may touch. Hold points are numbered within their
    move, so their names begin with it.
    """
    graph = networkx.MultiDiGraph(site=plan.site_name, issued=plan.issued, cautions=" ".join(plan.cautions))
    for move in plan.moves:
        for leg in move.legs:
            graph.add_edge(
                _node(graph, leg.start, leg.chainage_from_m, move, site),
                _node(graph, leg.goal, leg.chainage_to_m, move, site),
                key=f"{move.id} from {leg.chainage_from_m:.2f} m", **_figures(move, leg),
            )  # fmt: skip
    return graph


def _pose(move: Move, at_m: float) -> Pose:
    return next((pose for pose in move.poses if pose.chainage_m >= at_m), move.poses[-1])


def _kind(name: str) -> str:
    """Return the kind of a node that is no place of the site, from the words that name it."""
    first = name.split()[0]
    return "ramp end" if first in ("foot", "head") else first


def _node(graph: networkx.MultiDiGraph, name: str, at_m: float, move: Move, site: Site) -> str:
    """Return the node of an end of a leg, added when it is new."""
    node = f"{move.id}, {name}" if name.startswith("hold point") else name
    if node not in graph:
        pose, place = _pose(move, at_m), site.places.get(name)
        kind = _kind(name) if place is None else place.kind
        graph.add_node(node, x=pose.x, y=pose.y, kind=kind, title=node if place is None else place.title or name)
    return node


def _figures(move: Move, leg: Leg) -> dict[str, str | float]:
    return {
        "move": move.id, "machine": move.machine, "configuration": move.configuration, "travel_mode": leg.travel_mode,
        "from_bearing_deg": _pose(move, leg.chainage_from_m).bearing_deg,
        "to_bearing_deg": _pose(move, leg.chainage_to_m).bearing_deg, "length_m": leg.length_m,
        "cost_m": leg.cost_m, "verdict": leg.verdict, "areas": "; ".join(leg.areas), "hazards": "; ".join(leg.hazards),
    }  # fmt: skip


def write_site_graph(plan: Plan, site: Site, path: Path) -> None:
    """Write the graph as GraphML (graphml.graphdrawing.org)."""
    networkx.write_graphml(site_graph(plan, site), path)
