"""What every sheet of a briefing has: what it is, revision and last day large, cautions, and how to see it is void."""

from __future__ import annotations

from typing import Literal, NamedTuple

from routeplan.report.markup import escape, name
from routeplan.report.move_html import stamp, until
from routeplan.report.tongue import Tongue, told_in, unchecked
from routeplan.report.wording import time_text
from routeplan.route.model import Plan

#: Printed at the top of every page.
CHECK_FIRST = (
    "Look at the board before you drive. A higher revision hangs there, or the last day is over: this sheet is void. "
    "Bin it."
)


NO_LAST_DAY = "No last day stated: ask before use"
_BODY = '<div class="sheet-body">'
Kind = Literal["board", "operator", "supervisor"]


class Sheet(NamedTuple):
    """A sheet of the pack as HTML; a board sheet is A3 lying, the others are A4 upright."""

    kind: Kind
    ident: str
    html: str


def sheet(
    kind: Kind, ident: str, title: str, of: str, body: str, plan: Plan, *, last_day: str | None, barred: bool = False
) -> Sheet:
    """Return a sheet; its head and cautions stand on each of its pages.

    Parameters
    ----------
    ident
        Unique in the pack; ASCII letters, digits and hyphens.
    title, of
        What the sheet is, and of what; ``of`` is HTML.
    body
        HTML.
    last_day
        Of what the sheet tells, ISO; ``None`` where nothing dated ends it.
    barred
        Whether nobody may drive by it on any day.
    """
    listed = "".join(f"<li>{escape(text)}</li>" for text in plan.cautions)
    last = "DO NOT DRIVE" if barred else f"Last day {time_text(last_day)}" if last_day else NO_LAST_DAY
    return Sheet(
        kind,
        ident,
        f'<article class="sheet {kind}"{until(last_day)}>{_head(title, of, plan, last)}'
        f'<div class="sheet-foot"><ul class="cautions">{listed}</ul></div>'
        f"{_BODY}{body}</div></article>\n",
    )


def in_tongue(one: Sheet, tongue: Tongue) -> Sheet:
    """Return a sheet in another language; the English one beside it decides."""
    spoken = f'<article lang="{tongue.code}" dir="{tongue.direction}" '
    told = told_in(one.html, tongue).replace("<article ", spoken, 1)
    return one._replace(html=told.replace(_BODY, f"{_BODY}{unchecked(tongue)}", 1))


def _head(title: str, of: str, plan: Plan, last: str) -> str:
    old = f"; replaces {name(plan.supersedes)}" if plan.supersedes else ""
    return (
        f'<div class="sheet-head"><div class="head"><div class="what"><p class="sort">{escape(title)}</p><p>{of}</p>'
        f"<p>{name(plan.site_name)}</p></div>"
        f'<div class="stamps">{stamp(plan)}</div>'
        f'<div class="due"><p class="large">Revision {name(plan.revision)}</p><p class="large">{escape(last)}</p>'
        f"<p>Issued {escape(time_text(plan.issued))}{old}; site revision {name(plan.site_revision)}</p></div></div>"
        f'<p class="look-first">{escape(CHECK_FIRST)}</p></div>'
    )


def earliest(*days: str | None) -> str | None:
    """Return the earliest of some last days, ISO; ``None`` where none ends.

    >>> earliest("2026-12-31", None, "2026-12-01")
    '2026-12-01'
    """
    return min((day for day in days if day), default=None)
