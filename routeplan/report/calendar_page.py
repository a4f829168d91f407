"""The calendar page: who is stranded, last safe dates, and the table of machines by days; one file, no network."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

from routeplan.report.calendar_table import day_tables
from routeplan.report.calendar_words import MEANINGS, RULES, WITHOUT, alarms, facts_of, safe_text, span_text
from routeplan.report.markup import escape, name
from routeplan.report.packaged import asset, policy
from routeplan.report.wording import place_name, time_text
from routeplan.route.days import SAFE, Calendar, MachineCalendar
from routeplan.site.model import Site


def write_calendar_page(calendar: Calendar, site: Site, path: Path) -> None:
    """Write the page; the same calendar and site always give the same bytes."""
    path.write_bytes(calendar_page(calendar, site).encode("utf-8"))


def calendar_page(calendar: Calendar, site: Site) -> str:
    """Return the whole page."""
    script = asset("calendar.js")
    return "".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            policy((script,)),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(calendar.site_name)}: calendar of ways in and out</title>\n",
            f"<style>{asset('calendar.css')}</style>\n</head>\n<body>\n",
            _top(calendar),
            "<main>",
            _alarms(calendar, site),
            f'<section class="table" aria-label="Table of days">{day_tables(calendar, site)}{_legend()}</section>\n',
            "".join(_machine(machine, site) for machine in calendar.machines),
            "</main>\n",
            _bottom(calendar),
            f"<script>{script}</script>\n</body>\n</html>\n",
        )
    )


def _top(calendar: Calendar) -> str:
    invented = ' <span class="stamp invented">INVENTED DATA</span>' if calendar.invented else ""
    days = "" if calendar.first is None else f" Days shown: {span_text(calendar.first, calendar.last)}."
    return (
        f'<header class="top"><p class="sort">Calendar of ways in and out</p><h1>{name(calendar.site_name)}</h1>'
        f'<p><span class="stamp">DRAFT</span>{invented}</p><p>Issued {escape(time_text(calendar.issued))}, site'
        f" revision {name(calendar.site_revision)}.{days}</p></header>\n"
    )


def _alarms(calendar: Calendar, site: Site) -> str:
    found = list(alarms(calendar, site))
    if not any(word == "Stranded" for word, _ in found):
        found.insert(0, ("Not stranded", "as planned, no machine stands anywhere without a way out"))
    rows = "".join(
        f'<li class="a-{word.lower().replace(" ", "-")}"><b>{word}</b> <span>{escape(text)}</span></li>'
        for word, text in found
    )
    return f'<section class="alarms" aria-label="What to act on first"><ul>{rows}</ul></section>\n'


def _legend() -> str:
    rows = "".join(f"<li><b>{letter}</b> {escape(text)}</li>" for letter, text in MEANINGS.items())
    small = "<li><b>y n</b> small: as if it were still there after its planned collection</li>"
    dot = "<li><b>\N{MIDDLE DOT}</b> not on site, or no move left</li>"
    return f'<details class="legend" open><summary>Letters</summary><ul>{rows}{small}{dot}</ul></details>'


def _machine(machine: MachineCalendar, site: Site) -> str:
    large, how = safe_text(machine)
    facts = "".join(f"<div><dt>{term}</dt><dd>{escape(text)}</dd></div>" for term, text in facts_of(machine, site))
    runs = "".join(f"<li>{text}</li>" for text in _runs(machine, site))
    words = f'<details open><summary>Way out, in words</summary><ul class="runs">{runs}</ul></details>' if runs else ""
    return (
        f'<article class="machine"><h2>{name(machine.machine)} <span>{name(machine.title)}</span></h2>'
        f'<p class="safe">Last safe collection date<br><strong>{escape(large)}</strong></p><p>{escape(how)}.</p>'
        f"<dl>{facts}</dl>{words}</article>\n"
    )


def _runs(machine: MachineCalendar, site: Site) -> Iterator[str]:
    """The row of the way out in words: days, place, answer, and what a search said."""
    for (place, planned, verdict), run in groupby(machine.days, key=lambda day: (day.place, day.planned, day.out)):
        here = list(run)
        if place is None or verdict is None:
            continue
        said = "a way out" if verdict in SAFE else WITHOUT[verdict]
        why = next((one.reason for one in machine.without if one.first == here[0].day), "")
        still = "" if planned else " if it were still there"
        more = f": {escape(why)}" if why else ""
        days = span_text(here[0].day, None if here[-1] is machine.days[-1] else here[-1].day)
        yield (
            f"<b>{escape(days)}</b>{still}, at {name(place_name(place, site))}: "
            f"{escape(said)}{more}"
        )


def _bottom(calendar: Calendar) -> str:
    rules = "".join(f"<li>{escape(text)}</li>" for text in RULES)
    unchecked = "".join(f"<li>{name(text)}</li>" for text in calendar.not_checked)
    cautions = "".join(f"<li>{escape(text)}</li>" for text in calendar.cautions)
    return (
        f'<footer><section><h2>How to read it</h2><ul>{rules}</ul></section><section><h2>Not checked here</h2>'
        f'<ul>{unchecked}</ul></section><section><h2>Cautions</h2><ul class="cautions">{cautions}</ul></section>'
        "</footer>\n"
    )
