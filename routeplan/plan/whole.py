"""The whole plan of a site: every move planned, then judged by the second opinion before anybody sees it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from dataclasses import dataclass, replace
from functools import cache

from routeplan import __version__
from routeplan.hazards.register import NOT_CHECKED
from routeplan.hazards.terrain import Terrain, build_terrain
from routeplan.kernel import never_compiled
from routeplan.plan.accepted import Accepted
from routeplan.plan.aids import UNAIDED, Aids, Progress
from routeplan.plan.move import MovePlanner
from routeplan.plan.outcome import k_of, kept_apart
from routeplan.plan.portals import Portal, portals_of
from routeplan.plan.validity import last_day, last_day_of_all
from routeplan.recheck.opinion import second_opinion
from routeplan.route.model import CAUTIONS, Conditions, FileRecord, Move, Objection, Plan
from routeplan.route.rounding import as_written
from routeplan.search.motions import Turn, solve_motions
from routeplan.site.changes import given_by
from routeplan.site.model import GridSpec, MoveWanted, Site

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

    @property
    def day(self) -> dt.date:
        """Day of issue."""
        return dt.datetime.fromisoformat(self.issued).date()


class Earlier:
    """What earlier plans know; nothing unless a subclass says otherwise."""

    def known(self, wanted: MoveWanted, done: Sequence[Move]) -> Move | None:
        """A way for a move after the moves before it, judged like any other; ``None`` where it is searched for."""
        return None

    def was(self, move: Move) -> Move:
        """A move that has no way now, as it was if it had one: its machine is taken to stand where that leaves it."""
        return move

    def forget(self, names: Collection[str]) -> None:
        """Have some moves searched for from now on."""


def plan_site(site: Site, *, issued: str, aids: Aids = UNAIDED) -> Plan:
    """Plan and re-check every move that a site asks for.

    Parameters
    ----------
    issued
        Time of issue, ISO 8601; written in every output.
    aids
        Told what is being worked on; keep tiles.
    """
    return plan_moves(site, Issue(issued), Earlier(), aids)


def plan_moves(site: Site, issue: Issue, earlier: Earlier, aids: Aids) -> Plan:
    """Plan and re-check every move, those for which a way is known by that way as long as nobody refuses it.

    Parameters
    ----------
    site
        As what has changed since its folder was written leaves it.
    """
    issue, site = _as_of(issue, site)
    if never_compiled():
        aids.progress("first run on this machine: compiling for about half a minute, once", 0)
    run = _Run(site, issue, build_terrain(site.ground, site.grid), aids)
    parts, doubted = run.planned(earlier)
    if doubted:
        earlier.forget(doubted)
        parts, _ = run.planned(earlier)
    by_id = {move.id: move for part in parts for move in part.moves}
    moves = tuple(by_id[wanted.id] for wanted in site.moves)
    k = {move_id: part.k_by_move[move_id] for part in parts for move_id in part.k_by_move}
    return as_written(_draft(site, moves, k, issue))


@dataclass(frozen=True, eq=False)
class _Run:
    """All moves of a site, planned side by side: of each machine in one thread, and judged in another."""

    site: Site
    issue: Issue
    terrain: Terrain
    aids: Aids

    def planned(self, earlier: Earlier) -> tuple[list[Plan], set[str]]:
        """A plan of each move by itself, and moves that were known and cannot be kept: they, or one of the machine
        before them, are refused.
        """
        portals = portals_of(self.site, self.terrain)
        with ThreadPoolExecutor() as pool:
            machines = dict.fromkeys(wanted.machine for wanted in self.site.moves)
            parts = list(pool.map(lambda one: self._of_machine(one, portals, earlier), machines))
        return [plan for plans, _ in parts for plan in plans], {name for _, names in parts for name in names}

    def _of_machine(
        self, machine: str, portals: Sequence[Portal], earlier: Earlier
    ) -> tuple[list[Plan], list[str]]:
        # Two threads must not ask one geometry at once.
        (own, through), accepted = deepcopy((self.site, portals)), Accepted(self.aids.store, deepcopy(self.site))
        planner, written, kept = MovePlanner(own, self.terrain, through, self.aids), list[Plan](), set[str]()
        with ThreadPoolExecutor(1) as judge:
            answers = []
            for wanted in (wanted for wanted in own.moves if wanted.machine == machine):
                move = earlier.known(wanted, [plan.moves[0] for plan in written])
                if move is None:
                    move = _searched(wanted, planner, self.issue)
                    if not move.poses:
                        planner.take(wanted, earlier.was(move))
                else:
                    planner.take(wanted, earlier.was(move))
                    kept.add(move.id)
                written.append(_written(move, own, self.issue))
                answers.append(judge.submit(self._looked_at, written[-1], accepted, move.id in kept))
            planner.lattices.keep()
            judged = [answer.result() for answer in answers]
        was = [plan.moves[0].refused for plan in written]
        bad = next((n for n, plan in enumerate(judged) if plan.moves[0].refused != was[n]), len(judged))
        return judged, [plan.moves[0].id for plan in judged[bad:] if plan.moves[0].id in kept]


    def _looked_at(self, plan: Plan, accepted: Accepted, kept: bool) -> Plan:
        """The plan of one move as the second opinion leaves it; of one that is kept, as it left it if that still holds.
        """
        if kept and plan.moves[0].poses and accepted.still(plan):
            return plan
        judged = _looked_at(plan, accepted.site, self.aids.progress)
        if judged is plan and plan.moves[0].poses:
            accepted.note(plan)
        return judged


def planned(wanted: MoveWanted, planner: MovePlanner, issue: Issue) -> Plan:
    """Plan and re-check one move from where the planner's machine stands; the plan has no other."""
    return judged(_searched(wanted, planner, issue), planner.site, issue, planner.aids.progress)


def judged(move: Move, site: Site, issue: Issue, progress: Progress) -> Plan:
    """A plan of one move as the second opinion leaves it."""
    return _looked_at(_written(move, site, issue), site, progress)


def _searched(wanted: MoveWanted, planner: MovePlanner, issue: Issue) -> Move:
    return replace(planner.plan(wanted), under=_under(wanted, planner.site, issue.conditions))


def _written(move: Move, site: Site, issue: Issue) -> Plan:
    """A plan of one move, as a reader of its file gets it."""
    move = replace(move, valid_until=_iso(last_day(move, site, issue.day)))
    k = {move.id: k_of(site, move.length_m)} if move.poses else {}
    return as_written(_draft(site, (move,), k, issue))


def _looked_at(plan: Plan, site: Site, progress: Progress) -> Plan:
    (move,) = plan.moves
    progress(f"{move.id}: second opinion", 0)
    judged = _judged(move, plan, site)
    return plan if judged is move else replace(plan, moves=(judged,))


def _as_of(issue: Issue, site: Site) -> tuple[Issue, Site]:
    """The issue and the site where some move has no day of its own: nobody counts on what is accepted later."""
    if all(wanted.on is not None for wanted in site.moves):
        return issue, site
    on = issue.day.isoformat()
    return replace(issue, conditions=replace(issue.conditions, on=on)), given_by(site, issue.day)


def _iso(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


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
        valid_until=_iso(last_day_of_all(moves, site, issue.day)),
        revision=issue.revision,
        supersedes=issue.supersedes,
        status="draft",
        conditions=replace(issue.conditions, wet=all(wanted.wet for wanted in site.moves)),
        site_name=site.name,
        site_revision=site.revision,
        crs=site.crs,
        invented=site.invented,
        inputs=tuple(FileRecord(file.path, file.sha256) for file in site.inputs),
        grid=_grid(site.grid),
        confidence_route=site.thresholds.route_confidence,
        k_by_move=k,
        machines=site.machines,
        moves=moves,
        not_checked=NOT_CHECKED,
        cautions=CAUTIONS,
    )


@cache
def _grid(grid: GridSpec) -> dict[str, object]:
    """The lattice in words: cell, headings, and the hash of the primitives of a small machine with every steering."""
    motions = solve_motions(
        headings=grid.headings, cell_m=grid.cell_m, radius_m=1.0, pivots=True, pivot_arm_m=1.0,
        coordinated=Turn(0.5, 0.5), crab_rad=0.5,
    )  # fmt: skip
    return {
        "cell_m": grid.cell_m,
        "headings": grid.headings,
        "primitives_version": motions.version,
        "primitives_sha256": motions.sha256(),
    }
