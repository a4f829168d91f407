"""The table of machines by days: a column a day, days on which nothing changes folded into one, a letter a cell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from routeplan.report.calendar_words import day_text, letter_of, safe_text, span_text
from routeplan.report.markup import escape, name
from routeplan.report.wording import place_name
from routeplan.route.days import OPEN, SAFE, Calendar, MachineCalendar, MachineDay, Without
from routeplan.site.model import Site

#: Days on which nothing changes are folded from so many on, and a table is cut after so many columns.
FOLDED_FROM, MOST_COLUMNS = 4, 28
#: Most names in a cell.
MOST_NAMES = 2


@dataclass(frozen=True)
class Column:
    """Days that one column stands for, by their numbers in the calendar; ``ends`` where all days after are as it is."""

    first: int
    last: int
    ends: bool = False

    @property
    def wide(self) -> bool:
        """Whether it stands for several days."""
        return self.ends or self.last > self.first


def columns_of(calendar: Calendar) -> list[Column]:
    """The columns: one a day; days like the one before for every machine, on which nothing moves, in one."""
    found = list[Column]()
    days = _count(calendar)
    for alike, run in groupby(range(days), key=lambda n: n > 0 and _like_before(calendar, n)):
        numbers = list(run)
        if alike and len(numbers) >= FOLDED_FROM:
            found.append(Column(numbers[0], numbers[-1]))
        else:
            found += [Column(n, n) for n in numbers]
    return [*found[:-1], replace(found[-1], ends=True)] if found else []


def _count(calendar: Calendar) -> int:
    if calendar.first is None or calendar.last is None:
        return 0
    return (dt.date.fromisoformat(calendar.last) - dt.date.fromisoformat(calendar.first)).days + 1


def _like_before(calendar: Calendar, n: int) -> bool:
    placed = (machine.days for machine in calendar.machines if machine.days)
    return all(_shown(days[n]) == _shown(days[n - 1]) and not days[n].moves for days in placed)


def _shown(day: MachineDay) -> tuple[object, ...]:
    return day.place, day.planned, day.next_move, day.reach, day.out


def day_tables(calendar: Calendar, site: Site) -> str:
    """Return the tables, as HTML: at most so many columns each."""
    columns = columns_of(calendar) if any(machine.days for machine in calendar.machines) else []
    count = max(1, -(-len(columns) // MOST_COLUMNS))
    cuts = [len(columns) * n // count for n in range(count + 1)]
    parts = [columns[first:last] for first, last in pairwise(cuts) if last > first]
    return "".join(_table(calendar, site, part) for part in parts)


def _table(calendar: Calendar, site: Site, columns: Sequence[Column]) -> str:
    first, last = (_day(calendar, n) for n in (columns[0].first, columns[-1].last))
    heads = "".join(_head(calendar, column) for column in columns)
    cols = "".join(f'<col class="c-{"folded" if column.wide else "day"}"/>' for column in columns)
    bodies = "".join(_machine(machine, site, columns) for machine in calendar.machines if machine.days)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="Days {day_text(first)} to {day_text(last)}">'
        f'<table class="days" style="--days:{len(columns)}">'
        f"<caption>Machines by days, {day_text(first)} to {day_text(last)}</caption>"
        f'<colgroup><col class="c-who"/><col class="c-row"/>{cols}</colgroup>'
        f'<thead><tr><th scope="col" colspan="2">Machine</th>{heads}</tr></thead>{bodies}</table></div>'
    )


def _day(calendar: Calendar, n: int) -> str:
    assert calendar.first is not None  # there are columns
    return (dt.date.fromisoformat(calendar.first) + dt.timedelta(days=n)).isoformat()


def _head(calendar: Calendar, column: Column) -> str:
    first, last = _day(calendar, column.first), _day(calendar, column.last)
    date = dt.date.fromisoformat(first)
    if column.wide:
        said = f"{day_text(first, year=False)} "
        said += "and after" if column.ends else f"to {day_text(last, year=False)}<br>as before"
        until = "9999-12-31" if column.ends else last
        return f'<th scope="col" class="folded" data-first="{first}" data-last="{until}">{said}</th>'
    weekday, number, month = day_text(first, year=False).split()
    weekend = " weekend" if date.weekday() >= 5 else ""
    shown = f"<b>{number}</b> {month}" if number == "1" or column.first == 0 else f"<b>{number}</b>"
    return (
        f'<th scope="col" class="day{weekend}" data-first="{first}" data-last="{last}">'
        f'<abbr title="{day_text(first)}">{weekday[:2]}</abbr><br>{shown}</th>'
    )


def _machine(machine: MachineCalendar, site: Site, columns: Sequence[Column]) -> str:
    large, _ = safe_text(machine)
    head = (
        f'<th scope="rowgroup" rowspan="2" class="who"><b>{name(machine.machine)}</b>'
        f"<span>last safe<br><strong>{escape(large)}</strong></span></th>"
    )
    nexts = "".join(_next_cells(machine, columns))
    outs = "".join(_out_cells(machine, site, columns))
    return (
        f'<tbody><tr class="next">{head}<th scope="row">Next move</th>{nexts}</tr>'
        f'<tr class="out"><th scope="row">Way out</th>{outs}</tr></tbody>'
    )


def _next_cells(machine: MachineCalendar, columns: Sequence[Column]) -> Iterator[str]:
    for column in columns:
        day = machine.days[column.first]
        letter = letter_of(day.reach, planned=True)
        moves = "".join(f"<b>{name(move)}</b> " for move in day.moves)
        style = "made" if moves else "next"
        said = f"{moves}{letter}" if day.reach is not None else moves or letter
        yield f'<td class="{_style(day.reach, True)} {style}{_weekend(day, column)}">{said}</td>'


def _out_cells(machine: MachineCalendar, site: Site, columns: Sequence[Column]) -> Iterator[str]:
    """A cell a column; days without a way out run together, and say what takes it away."""

    def run_of(column: Column) -> tuple[Without | None, int]:
        day = machine.days[column.first]
        found = next((run for run in machine.without if run.first <= day.day <= (run.last or day.day)), None)
        return found, -1 if found is not None else column.first

    for (run, _), group in groupby(columns, key=run_of):
        here = list(group)
        day = machine.days[here[0].first]
        letter, style = letter_of(day.out, planned=day.planned), _style(day.out, day.planned)
        if run is not None:
            why = _shortly(run)
            narrow = " narrow" if len(here) < 3 and not any(column.wide for column in here) else ""
            title = f"{span_text(run.first, run.last)}, at {place_name(run.place, site)}"
            said = f"<b>{letter}</b> <span>{why}</span>"
            yield f'<td colspan="{len(here)}" class="{style} bad{narrow}" title="{escape(title)}">{said}</td>'
        else:
            last = day.day == machine.last_safe
            mark = '<small class="last">last</small>' if last else ""
            yield f'<td class="{style}{_weekend(day, here[0])}"><b>{letter}</b>{mark}</td>'


def _shortly(run: Without) -> str:
    """What takes the way out away, as HTML, in a word or two; the articles below name all of it."""
    names = [escape(cause.title) for cause in run.ended_by]
    if len(names) > MOST_NAMES:
        names = [*names[: MOST_NAMES - 1], f"and {len(names) - MOST_NAMES + 1} more"]
    return ", ".join(names) or ("not proven" if run.verdict == OPEN else "")


def _style(verdict: str | None, planned: bool) -> str:
    if verdict is None:
        return "v-off"
    style = "v-way" if verdict in SAFE else {"not proven": "v-open", "no route": "v-none"}.get(verdict, "v-other")
    return style if planned else f"{style} if"


def _weekend(day: MachineDay, column: Column) -> str:
    return " weekend" if not column.wide and dt.date.fromisoformat(day.day).weekday() >= 5 else ""
