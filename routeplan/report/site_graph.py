"""The site graph that a plan's moves drive, as GraphML: for programs that ask what leads where, and through what."""

from __future__ import annotations

from pathlib import Path

import networkx

from routeplan.route import Leg, Move, Plan
from routeplan.site.model import Site


def site_graph(plan: Plan, site: Site) -> networkx.MultiDiGraph:
    """Return the graph: a node for each place, hold point or gap that ways stand at or lead through, an edge a leg.

    Nodes carry ``x`` and ``y`` (site metres, where the first way meets them) and the ``kind`` and ``title`` of a place;
    edges the move, machine, travel mode, length, cost, verdict, and the areas and hazards that the body may touch. Hold
    points are numbered within their move, so their names begin with it.
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


def _node(graph: networkx.MultiDiGraph, name: str, at_m: float, move: Move, site: Site) -> str:
    """Return the node of an end of a leg, added when it is new."""
    node = f"{move.id}, {name}" if name.startswith("hold point") else name
    if node not in graph:
        pose = next((pose for pose in move.poses if pose.chainage_m >= at_m), move.poses[-1])
        place = site.places.get(name)
        kind = name.split()[0] if place is None else place.kind
        graph.add_node(node, x=pose.x, y=pose.y, kind=kind, title=node if place is None else place.title or name)
    return node


def _figures(move: Move, leg: Leg) -> dict[str, str | float]:
    return {
        "move": move.id, "machine": move.machine, "travel_mode": leg.travel_mode, "length_m": leg.length_m,
        "cost_m": leg.cost_m, "verdict": leg.verdict, "areas": "; ".join(leg.areas), "hazards": "; ".join(leg.hazards),
    }  # fmt: skip


def write_site_graph(plan: Plan, site: Site, path: Path) -> None:
    """Write the graph as GraphML (graphml.graphdrawing.org)."""
    networkx.write_graphml(site_graph(plan, site), path)
