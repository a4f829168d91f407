"""The whole plan of a site: every move planned, then judged by the second opinion before anybody sees it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from dataclasses import dataclass, replace

from routeplan import __version__
from routeplan.hazards.register import NOT_CHECKED
from routeplan.hazards.terrain import build_terrain
from routeplan.kernel import never_compiled
from routeplan.plan.move import MovePlanner, Progress, speechless
from routeplan.plan.outcome import k_of, kept_apart
from routeplan.plan.portals import portals_of
from routeplan.plan_rounding import as_written
from routeplan.recheck.opinion import second_opinion
from routeplan.route import CAUTIONS, Conditions, FileRecord, Move, Objection, Plan
from routeplan.search.motions import Turn, solve_motions
from routeplan.site.changes import given_by
from routeplan.site.model import MoveWanted, Site

SOFTWARE = f"routeplan {__version__}"


@dataclass(frozen=True)
class Issue:
    """What a plan says of itself: its time of issue (ISO 8601), its number, what it takes the place of, and what has
    changed since the site folder was written.
    """

    issued: str
    revision: str = "1"
    supersedes: str | None = None
    conditions: Conditions = Conditions()


#: A way that is known for a move after the moves before it, to be judged like any other; None where it is searched for.
Known = Callable[[MoveWanted, Sequence[Move]], Move | None]


def plan_site(site: Site, *, issued: str, progress: Progress = speechless) -> Plan:
    """Plan and re-check every move that a site asks for.

    Parameters
    ----------
    issued
        Time of issue, ISO 8601; written in every output.
    progress
        Told what is being worked on.
    """
    return plan_moves(site, Issue(issued), lambda wanted, before: None, progress)


def plan_moves(site: Site, issue: Issue, known: Known, progress: Progress) -> Plan:
    """Plan and re-check every move, those for which a way is known by that way as long as nobody refuses it.

    Parameters
    ----------
    site
        As what has changed since its folder was written leaves it.
    """
    issue, site = _as_of(issue, site)
    if never_compiled():
        progress("first run on this machine: compiling for about half a minute, once", 0)
    terrain = build_terrain(site.ground, site.grid)
    portals = portals_of(site, terrain)

    def of_machine(machine_id: str) -> list[Plan]:
        own, through = deepcopy((site, portals))  # two threads must not ask one geometry at once
        planner, done = MovePlanner(own, terrain, through, progress), list[Plan]()
        for wanted in (wanted for wanted in site.moves if wanted.machine == machine_id):
            done.append(of_move(wanted, planner, [move for plan in done for move in plan.moves]))
        return done

    def of_move(wanted: MoveWanted, planner: MovePlanner, before: Sequence[Move]) -> Plan:
        way = known(wanted, before)
        if way is not None:
            plan = judged(way, planner.site, issue, progress)
            if plan.moves[0].refused == way.refused:
                planner.take(wanted, way)
                return plan
        under = _under(wanted, planner.site, issue.conditions)
        return judged(replace(planner.plan(wanted), under=under), planner.site, issue, progress)

    with ThreadPoolExecutor() as pool:  # machines search side by side; a machine's moves follow one another
        machines = dict.fromkeys(wanted.machine for wanted in site.moves)
        parts = [part for of_one in pool.map(of_machine, machines) for part in of_one]
    planned = {move.id: move for part in parts for move in part.moves}
    moves = tuple(planned[wanted.id] for wanted in site.moves)
    k = {move_id: part.k_by_move[move_id] for part in parts for move_id in part.k_by_move}
    return as_written(_draft(site, moves, k, issue))


def judged(move: Move, site: Site, issue: Issue, progress: Progress) -> Plan:
    """The plan of one move, as the second opinion leaves it."""
    k = {move.id: k_of(site, move.length_m)} if move.poses else {}
    plan = as_written(_draft(site, (move,), k, issue))
    progress(f"{move.id}: second opinion", 0)
    return replace(plan, moves=tuple(_judged(move, plan, site) for move in plan.moves))


def _as_of(issue: Issue, site: Site) -> tuple[Issue, Site]:
    """The issue and the site where some move has no day of its own: nobody counts on what is accepted later."""
    if all(wanted.on is not None for wanted in site.moves):
        return issue, site
    day = dt.datetime.fromisoformat(issue.issued).date()
    return replace(issue, conditions=replace(issue.conditions, on=day.isoformat())), given_by(site, day)


def _under(wanted: MoveWanted, site: Site, conditions: Conditions) -> Conditions:
    """What a move was planned under."""
    closed = tuple(sorted(area.id for area in site.areas if area.closed_on(wanted.on)))
    return replace(conditions, closed=closed, opened=(), wet=wanted.wet)


def _judged(move: Move, plan: Plan, site: Site) -> Move:
    """The move as the second opinion leaves it: a route that it refuses is kept apart from what people drive."""
    if not move.poses:
        return move
    objections = tuple(_broken(move)) or second_opinion(
        move, plan.k_by_move.get(move.id), site=site, machine=site.machines[move.machine], conditions=plan.conditions
    )
    if not objections:
        return move
    who = "a check is broken on" if move.verdict == "fail" else "the second opinion refuses"
    reason = f"{who} the route: {objections[0].kind}, {objections[0].text}"
    return kept_apart(move, reason, objections)


def _broken(move: Move) -> Iterator[Objection]:
    """What the plan itself objects to: checks that fail on the way that was found."""
    for row in move.checks:
        if row.verdict == "fail":
            text = f"{row.value:.4g} against {row.limit:.4g} {row.unit}: {row.source}"
            yield Objection(row.kind, row.chainage_m, row.place, row.value, row.limit, row.unit, text)


def _draft(site: Site, moves: tuple[Move, ...], k: dict[str, float], issue: Issue) -> Plan:
    return Plan(
        software=SOFTWARE,
        issued=issue.issued,
        valid_until=_valid_until(site),
        revision=issue.revision,
        supersedes=issue.supersedes,
        status="draft",
        conditions=replace(issue.conditions, wet=all(wanted.wet for wanted in site.moves)),
        site_name=site.name,
        site_revision=site.revision,
        crs=site.crs,
        invented=site.invented,
        inputs=tuple(FileRecord(file.path, file.sha256) for file in site.inputs),
        grid=_grid(site),
        confidence_route=site.thresholds.route_confidence,
        k_by_move=k,
        machines=site.machines,
        moves=moves,
        not_checked=NOT_CHECKED,
        cautions=CAUTIONS,
    )


def _grid(site: Site) -> dict[str, object]:
    """The lattice in words: cell, headings, and the hash of the primitives of a small machine with every steering."""
    motions = solve_motions(
        headings=site.grid.headings, cell_m=site.grid.cell_m, radius_m=1.0, pivots=True, pivot_arm_m=1.0,
        coordinated=Turn(0.5, 0.5), crab_rad=0.5,
    )  # fmt: skip
    return {
        "cell_m": site.grid.cell_m,
        "headings": site.grid.headings,
        "primitives_version": motions.version,
        "primitives_sha256": motions.sha256(),
    }


def _valid_until(site: Site) -> str | None:
    """The day before the first dated closure that begins after the moves; a walk before each move is asked for
    anyway.
    """
    days = [wanted.on for wanted in site.moves if wanted.on is not None]
    if not days:
        return None
    changes = [first for area in site.areas for first, _ in area.closures if first > max(days)]
    return (min(changes) - dt.timedelta(days=1)).isoformat() if changes else None
