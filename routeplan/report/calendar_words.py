"""A calendar of machines and days in words: letters, dates, what is stranded, last safe dates, what a slip does."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path

from routeplan.report.wording import counted, place_name, time_text
from routeplan.route.days import OPEN, SAFE, Calendar, MachineCalendar, Slip, Without
from routeplan.route.model import MoveVerdict
from routeplan.site.model import Site

#: Letter of each verdict of a day; small where a machine would only be there if it had stayed.
LETTERS: dict[MoveVerdict, str] = {
    "pass": "Y", "pass with controls": "Y", "not proven": "?", "fail": "R", "search limit": "L", "no route": "N",
}  # fmt: skip
#: What each letter says, in the order of the legend.
MEANINGS: dict[str, str] = {
    "Y": "yes, there is a way: every check is proven, each control in place",
    "N": "no way: proved under these rules, on the planner's grid",
    "?": "not proven: there may be a way, but a check is open; counts as no way",
    "R": "refused: the way that was found does not hold; counts as no way",
    "L": "search limit: the search gave up, nothing is proved; counts as no way",
}
#: How a calendar is read; on the page and on paper.
RULES = (
    "A machine stands where its dated moves leave it, in the evening of each day; where a move has no way on its day,"
    " what follows holds only if it gets there all the same.",
    "Next move: would the move that is made next have a way on that day? Way out: from where it then stands, is there a"
    " way to where it is collected, or else to where it was delivered?",
    "The last safe collection date is the last day before the first one without a way out, less the hire desk's notice"
    " and the buffer, in calendar days. Later days with a way out are told apart.",
    "After the last day shown nothing dated is known: it stays as it then is until somebody enters another date.",
)
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: What is said of days without a way out.
WITHOUT: dict[MoveVerdict, str] = {
    "no route": "no way out", "fail": "the way out is refused", "search limit": "the search for a way out gave up",
    "not proven": "the way out is not proven",
}  # fmt: skip


def day_text(day: str, *, year: bool = True) -> str:
    """Return a day as people read it.

    >>> day_text("2026-12-04"), day_text("2026-12-04", year=False)
    ('Fri 4 Dec 2026', 'Fri 4 Dec')
    """
    date = dt.date.fromisoformat(day)
    text = f"{_DAYS[date.weekday()]} {date.day} {_MONTHS[date.month - 1]}"
    return f"{text} {date.year}" if year else text


def span_text(first: str, last: str | None) -> str:
    """Return days one after the other; ``None`` is no end that is known.

    >>> span_text("2026-12-04", "2026-12-04"), span_text("2026-12-03", "2026-12-04")
    ('on Fri 4 Dec 2026', 'from Thu 3 Dec to Fri 4 Dec 2026')
    """
    if last is None:
        return f"from {day_text(first)} for good"
    return f"on {day_text(first)}" if first == last else f"from {day_text(first, year=False)} to {day_text(last)}"


def causes_text(without: Without) -> str:
    """Return what takes a way out away, empty where nothing dated does."""
    names = [cause.title for cause in without.ended_by]
    if not names:
        return ""
    kinds = {cause.kind for cause in without.ended_by}
    word = "closed" if kinds == {"area"} else "not accepted" if kinds == {"surface"} else "taken away"
    word = word if len(kinds) == 1 else "closed, not accepted or taken away"
    joined = ", ".join(names)
    if len(names) == 1:
        return f"{joined} ({word})"
    return f"{joined} ({word}; {'opening any one brings the way back' if without.alone else 'all together'})"


def alarms(calendar: Calendar, site: Site) -> Iterator[tuple[str, str]]:
    """Yield what people must see first, each as a word and a sentence: who is stranded, then who is not proven, of whom
    nobody knows where it stands, whose move has no way.
    """
    for stranded in (True, False):
        for machine in calendar.machines:
            runs = [run for run in machine.without if run.planned and run.stranded == stranded]
            if runs:
                told = "; ".join(_run_text(run, site) for run in runs)
                yield "Stranded" if stranded else "Not proven", f"{machine.machine} {told}"
    for machine in calendar.machines:
        if machine.unplaced is not None:
            yield "Not known", f"{machine.machine}: nobody knows where it stands, {machine.unplaced}"
        for day in (day for day in machine.days if day.moves and day.reach not in SAFE and day.planned):
            what = "not proven" if day.reach == OPEN else "no way"
            yield "Move", f"{machine.machine}: {' and '.join(day.moves)} on {day_text(day.day)}: {what}"
        if machine.spare_days is not None and machine.spare_days < 0 and machine.collected and machine.last_safe:
            yield "Late", (
                f"{machine.machine}: last safe collection date {day_text(machine.last_safe)}; planned "
                f"{day_text(machine.collected)}{_room(machine)}"
            )


def _run_text(run: Without, site: Site) -> str:
    """Days without a way out, where, and why."""
    why = causes_text(run) or (run.reason if run.verdict == OPEN else "nothing dated bars it")
    return f"{span_text(run.first, run.last)}, at {place_name(run.place, site)}: {WITHOUT[run.verdict]}, {why}"


def safe_text(machine: MachineCalendar) -> tuple[str, str]:
    """Return the last safe date, large, and how it comes about."""
    if machine.unplaced is not None:
        return "Not known", machine.unplaced
    if machine.first_without is None:
        return "No end known", "a way out on every day that is shown, and nothing dated ends it"
    if machine.last_way_out is None:
        return "None", f"no way out from the first day, {day_text(machine.first_without)}"
    told = f"last day with a way out {day_text(machine.last_way_out)}"
    if machine.last_safe is None:
        return "Ask the hire desk", f"{told}; the site does not say what notice and buffer to take off ([hire])"
    less = " and ".join(
        f"{counted(days or 0, 'day')} of {what}"
        for days, what in ((machine.notice_days, "notice"), (machine.buffer_days, "buffer"))
    )
    return day_text(machine.last_safe), f"{told}, less {less}"


def facts_of(machine: MachineCalendar, site: Site) -> Iterator[tuple[str, str]]:
    """Yield the facts of a machine's last safe date, each with its name, in plain text."""
    ending = next((run for run in machine.without if run.first == machine.first_without), None)
    if ending is not None:
        what = causes_text(ending) or ending.reason
        yield "Ended by", f"{what}, {span_text(ending.first, ending.last)}"
    if machine.collected is not None:
        yield "Planned", f"{machine.collection} on {day_text(machine.collected)}{_room(machine)}"
    elif machine.days:
        yield "Planned", "no collection is planned"
    if machine.in_hand_days is not None:
        days = machine.in_hand_days
        yield "From issue", f"{counted(days, 'day')} in hand" if days >= 0 else f"passed {counted(-days, 'day')} before"
    if machine.later:
        yield "Later", "; ".join(span_text(window.first, window.last) for window in machine.later)
    yield from _slips(machine)


def _room(machine: MachineCalendar) -> str:
    """How many days the planned collection is before or after the last safe date, and which later days it is among."""
    days, on = machine.spare_days, machine.collected or ""
    if days is None:
        return ""
    if days >= 0:
        return f": {counted(days, 'day')} in hand"
    later = next((one for one in machine.later if one.first <= on and (one.last is None or on <= one.last)), None)
    where = "" if later is None else f", among later days with a way out, {span_text(later.first, later.last)}"
    return f": late by {counted(-days, 'day')}{where}"


def _slips(machine: MachineCalendar) -> Iterator[tuple[str, str]]:
    if machine.unplaced is None:
        if machine.collected is not None:
            yield "Collection slips", slip_text(machine.slip_collection)
        yield "All work slips", slip_text(machine.slip_work)


def slip_text(slip: Slip | None) -> str:
    """Return what a slip does.

    >>> slip_text(Slip(2, "from 2026-12-11 no way out from bay for good"))
    'up to 2 days: a way all the while; 3 days: from Fri 11 Dec 2026 no way out from bay for good'
    """
    if slip is None:
        return "not safe as planned"
    if not slip.beyond:
        return f"up to {counted(slip.good_days, 'day')}: a way all the while; more was not looked at"
    good = f"up to {counted(slip.good_days, 'day')}: a way all the while; " if slip.good_days else ""
    beyond = re.sub(r"\d{4}-\d\d-\d\d", lambda day: day_text(day[0]), slip.beyond)
    return f"{good}{counted(slip.good_days + 1, 'day')}: {beyond}"


def summary_of(calendar: Calendar, site: Site, folder: Path) -> str:
    """Return the answer of the command: who is stranded first, then every machine's last safe date."""
    of = f"{calendar.site_name}, revision {calendar.site_revision}"
    lines = [f"{of}. Calendar issued {time_text(calendar.issued)}, DRAFT."]
    lines += [f"{word.upper()}  {text}" for word, text in alarms(calendar, site)]
    for machine in calendar.machines:
        large, how = safe_text(machine)
        lines.append(f"{machine.machine}  last safe collection date: {large.upper()} ({how})")
        lines += [f"    {name.lower()}: {text}" for name, text in facts_of(machine, site)]
    return "\n".join([*lines, "", *calendar.cautions, "", f"Page: {folder / 'calendar.html'}"])


def letter_of(verdict: MoveVerdict | None, *, planned: bool) -> str:
    """Return the letter of a day, a dot where the machine is not on site."""
    if verdict is None:
        return "\N{MIDDLE DOT}"
    return LETTERS[verdict] if planned else LETTERS[verdict].lower()

