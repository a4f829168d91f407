"""What keeps a move from being driven, as tables: objections, what blocks, and what is to be settled first."""

from __future__ import annotations

import math

from routeplan.machine.model import Machine
from routeplan.report.margins import decisive, rests_on, spare_text
from routeplan.report.markup import escape, name
from routeplan.report.settling import measured_text
from routeplan.report.tables import go, table
from routeplan.report.tight import names_at
from routeplan.report.wording import against_text, amount_text
from routeplan.route.model import Move
from routeplan.site.model import Site


def trouble(move: Move, machine: Machine, site: Site) -> str:
    """Return the tables of a move that may not be driven as it stands; nothing for one that may."""
    return f"{_objections(move)}{_misses(move, site)}{_open(move, machine)}"


def unsettled(move: Move, machine: Machine) -> dict[str, list[str]]:
    """Return what must be settled, each thing once, with the checks that rest on it."""
    rests: dict[str, list[str]] = {}
    for check in sorted(move.checks, key=decisive):
        if check.verdict in ("fail", "not proven"):
            doubt = f"{check.kind}: {spare_text(check)}"
            if math.isfinite(check.k * check.sigma):
                doubt += f", doubt {amount_text(check.k * check.sigma, check.unit, upwards=True)}"
            measured = measured_text(check)
            by_itself = (f"{doubt}; {measured}",) if measured else ()
            for text in (*rests_on(check, machine), *by_itself) or (doubt,):
                rests.setdefault(text, []).append(check.kind)
    return rests


def _open(move: Move, machine: Machine) -> str:
    rows = [(name(text), escape(", ".join(kinds))) for text, kinds in unsettled(move, machine).items()]
    if not rows:
        return ""
    return "<h3>To settle before anybody drives</h3>" + table(
        "What is open, and the checks that wait for it", ("Open", "Checks"), rows, style="open"
    )


def _misses(move: Move, site: Site) -> str:
    if not move.nearest_misses:
        return ""
    rows = [
        (
            f"<b>{number}</b>",
            ", ".join(name(word) for word in (miss.kind, *names_at(miss, site))),
            f"{name(miss.text)} {go(miss.place)}",
        )
        for number, miss in enumerate(move.nearest_misses, 1)
    ]
    return "<h3>Nearest misses</h3>" + table(
        "Where a way would have gone on; the check that does not hold, and what stands there",
        ("No", "What blocks", "How"),
        rows,
        style="misses",
    )


def _objections(move: Move) -> str:
    if move.refused is None:
        return ""
    rows = [
        (
            f"<b>{number}</b>",
            name(item.kind),
            escape(against_text(item.value, item.limit, item.unit)),
            f"{name(item.text)} {go(item.place)}",
        )
        for number, item in enumerate(move.refused.objections, 1)
    ]
    return "<h3>Objections</h3>" + table(
        "What the second opinion does not accept", ("No", "Check", "Figures", "What"), rows, style="objections"
    )
