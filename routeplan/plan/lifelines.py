"""What cuts off each move of a plan, and how people come to help where it leaves a machine at work."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy

from routeplan.hazards.terrain import build_terrain
from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.cuts import cuts
from routeplan.plan.move import MovePlanner
from routeplan.plan.portals import portals_of
from routeplan.plan.rescue import rescues
from routeplan.plan.whole import Issue
from routeplan.route.lifelines import Cuts, Lifelines, Rescue
from routeplan.route.model import Plan
from routeplan.site.model import Site


def lifelines_of(plan: Plan, site: Site, aids: Aids = UNAIDED) -> Lifelines:
    """What cuts off, and who comes to help, for every move of a plan that the second opinion accepted.

    Parameters
    ----------
    site
        That of the plan, as what has changed since its folder was written leaves it.
    """
    issue = Issue(plan.issued, plan.revision, plan.supersedes, plan.conditions)
    terrain = build_terrain(site.ground, site.grid)
    portals = portals_of(site, terrain)

    def of_machine(machine: str) -> list[Cuts]:
        own, through = deepcopy((site, portals))  # two threads must not ask one geometry at once
        return list(_cuts(plan, MovePlanner(own, terrain, through, aids), machine, issue))

    def helped() -> list[Rescue]:
        return list(rescues(deepcopy(site), plan.moves, issue, aids))

    with ThreadPoolExecutor() as pool:
        help_comes = pool.submit(helped)
        parts = list(pool.map(of_machine, dict.fromkeys(move.machine for move in plan.moves)))
        found = {cut.move: cut for part in parts for cut in part}
        told = tuple(found[move.id] for move in plan.moves if move.id in found)
        return Lifelines(told, tuple(help_comes.result()))


def _cuts(plan: Plan, planner: MovePlanner, machine: str, issue: Issue) -> Iterator[Cuts]:
    """Of the moves of one machine in their order, each from where the one before left it."""
    planned = {move.id: move for move in plan.moves}
    for wanted in (wanted for wanted in planner.site.moves if wanted.machine == machine):
        move = planned[wanted.id]
        if move.poses:
            planner.aids.progress(f"{move.id}: looking for what cuts it off", 0)
            yield cuts(planner, wanted, issue)
            planner.take(wanted, move)
