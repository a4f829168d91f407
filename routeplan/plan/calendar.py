"""Machines by days: who reaches its work, who gets out, until when, and what ends it (docs/method.md, section 16)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from itertools import groupby

from routeplan.hazards.register import NOT_CHECKED
from routeplan.hazards.terrain import build_terrain
from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.dated import ONE, cause_of, changes_of
from routeplan.plan.move import MovePlanner
from routeplan.plan.portals import portals_of
from routeplan.plan.slips import slip_of_collection, slip_of_work
from routeplan.plan.stays import Stay, stays_of, unplaced
from routeplan.plan.terms import with_terms
from routeplan.plan.way_by_day import WayByDay
from routeplan.plan.whole import SOFTWARE, Issue
from routeplan.route.days import OPEN, SAFE, Calendar, Cause, MachineCalendar, MachineDay, Without
from routeplan.route.model import CAUTIONS, MOVE_VERDICTS, FileRecord, MoveVerdict
from routeplan.site.hire import UNSAID
from routeplan.site.model import MoveWanted, Site

_NOW = dt.timedelta()


def calendar_of(site: Site, *, issued: str, aids: Aids = UNAIDED) -> Calendar:
    """The calendar of all machines of a site that have moves.

    Parameters
    ----------
    issued
        Time of issue, ISO 8601: what is past by then is not asked for.
    """
    days, issue = days_of(site, dt.datetime.fromisoformat(issued).date()), Issue(issued)
    terrain = build_terrain(site.ground, site.grid)
    portals = portals_of(site, terrain)

    def of_machine(machine: str) -> list[MachineCalendar]:
        own, through = deepcopy((site, portals))  # two threads must not ask one geometry at once
        planner = MovePlanner(own, terrain, through, aids)
        moves = [move for move in own.moves if move.machine == machine]
        return list(machine_calendars(machine, moves, days, planner, issue))

    with ThreadPoolExecutor() as pool:
        machines = dict.fromkeys(move.machine for move in site.moves)
        parts = [part for of_one in pool.map(of_machine, machines) for part in of_one]
    return Calendar(
        software=SOFTWARE, issued=issued, status="draft", site_name=site.name, site_revision=site.revision,
        invented=site.invented, inputs=tuple(FileRecord(file.path, file.sha256) for file in site.inputs),
        first=days[0].isoformat(), last=days[-1].isoformat(), machines=tuple(parts), not_checked=NOT_CHECKED,
        cautions=CAUTIONS,
    )  # fmt: skip


def days_of(site: Site, today: dt.date) -> list[dt.date]:
    """From the first day on which anything dated begins, or today, until all that is dated has changed for good."""
    moved = {move.on for move in site.moves if move.on is not None}
    dated = changes_of(site) | moved | {day + ONE for day in moved} or {today}
    first = max(today, min(dated))
    return [first + n * ONE for n in range((max(first, *dated) - first).days + 1)]


def machine_calendars(
    machine: str, moves: Sequence[MoveWanted], days: Sequence[dt.date], planner: MovePlanner, issue: Issue
) -> Iterator[MachineCalendar]:
    """The calendar of a machine, one for each time that it is on the site and not gone before the first day."""
    site, hire = planner.site, planner.site.hire.get(machine, UNSAID)
    bare = MachineCalendar(
        machine, site.machines[machine].title, unplaced(moves), hire.notice_days, hire.buffer_days
    )
    if bare.unplaced is not None:
        yield bare
        return
    for stay in stays_of(moves, planner, issue):
        if stay.collection is None or stay.collection.day >= days[0]:
            yield _calendar(stay, days, bare, issue)


def _calendar(stay: Stay, days: Sequence[dt.date], bare: MachineCalendar, issue: Issue) -> MachineCalendar:
    _ask_all(stay, days)
    rows = list(_days(stay, days))
    without = tuple(_without(stay, rows, days[-1]))
    today = dt.datetime.fromisoformat(issue.issued).date()
    return with_terms(
        bare, rows, without, today=today, collection=stay.collection.wanted if stay.collection else None,
        slips=(slip_of_collection(stay), slip_of_work(stay, today)),
    )  # fmt: skip


def _ask_all(stay: Stay, days: Sequence[dt.date]) -> None:
    """Ask for every way on every day on which it counts, all at once, so that ways of one day serve others."""
    made = {day: stay.moved_by(day, _NOW, day) for day in days}
    for number, out in enumerate(stay.outs):
        if out is not None:
            out.ask(day for day in days if stay.stands(made[day]) is stay.outs[number])
    for number, step in enumerate(stay.steps):
        step.reach.ask(day for day in days if made[day] <= number or step.day == day)


def _days(stay: Stay, days: Sequence[dt.date]) -> Iterator[MachineDay]:
    """A machine day by day. A collection that is not safe on its day leaves it where it is."""
    gone = False
    for day in days:
        made = stay.moved_by(day, _NOW, day)
        out, today = stay.stands(made), [step for step in stay.steps if step.day == day]
        following = today or stay.steps[made : made + 1]
        answer = out.on(day) if out is not None else None
        collected = stay.collection is not None and day >= stay.collection.day
        yield MachineDay(
            day.isoformat(), out.wanted.start if out is not None else None, not gone,
            tuple(step.wanted.id for step in today), following[0].wanted.id if following else None,
            _worst([step.reach.on(day).verdict for step in following]), answer.verdict if answer is not None else None,
        )  # fmt: skip
        gone = gone or (collected and answer is not None and answer.safe)


def _worst(verdicts: Sequence[MoveVerdict]) -> MoveVerdict | None:
    return min(verdicts, key=MOVE_VERDICTS.index) if verdicts else None


def _without(stay: Stay, rows: Sequence[MachineDay], end: dt.date) -> Iterator[Without]:
    """Runs of days without a way out; the last one has no end where it lasts until nothing dated changes any more."""
    before: MachineDay | None = None
    for (_, planned, verdict), run in groupby(rows, key=lambda row: (row.place, row.planned, row.out)):
        here = list(run)
        place = here[0].place
        if place is not None and verdict is not None and verdict not in SAFE:
            first, last = (dt.date.fromisoformat(row.day) for row in (here[0], here[-1]))
            out = stay.stands(stay.moved_by(first, _NOW, first))
            assert out is not None  # it has a place
            yesterday = first - ONE if before and before.place == place and before.out in SAFE else None
            things, alone = _ended_by(out, first, yesterday, verdict)
            yield Without(
                here[0].day, None if last == end else here[-1].day, place, planned, verdict, out.on(first).reason,
                things, alone, planned and verdict != OPEN,
            )  # fmt: skip
        before = here[-1]


def _ended_by(
    out: WayByDay, day: dt.date, before: dt.date | None, verdict: MoveVerdict
) -> tuple[tuple[Cause, ...], bool]:
    """What takes the way out away; of a way that is not proven the reason says what is open."""
    if verdict == OPEN:
        return (), False
    things, alone = out.ended_by(day, before)
    return tuple(map(cause_of, things)), alone
