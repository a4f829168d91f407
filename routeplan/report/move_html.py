"""A move as HTML: its verdict, way, stops, checks and what stands in its way; on paper, one sheet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.report.markup import escape, name
from routeplan.report.plan_svg import fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer
from routeplan.report.stops import Stop
from routeplan.report.wording import (
    VERDICTS,
    against_text,
    bound_text,
    decisive,
    governing,
    length_text,
    limit_text,
    margin_text,
    place_text,
    span_text,
    time_text,
    up,
    value_text,
)
from routeplan.route import Check, Move, Plan
from routeplan.site.model import Site

_RULED = ("Driver", "Traffic marshal", "Radio channel", "Rescue: who, and how", "Walked and signed by", "Day and time")


def move_article(index: int, move: Move, drawing: MoveDrawing, base: Sequence[Layer], *, plan: Plan, site: Site) -> str:
    """Return the article of one move.

    Parameters
    ----------
    index
        Place in the plan, from 1; makes the ids on the page, so that no id comes from a name.
    drawing, base
        What is drawn of the move, and of the site under it.
    """
    return "".join(
        (
            f'<article class="move" id="move-{index}" aria-labelledby="move-{index}-h" tabindex="-1">',
            _head(plan),
            '<div class="sheet-body">',
            f'<h2 id="move-{index}-h">Move {name(move.id)}: '
            f"{_title(move.start, site)} to {_title(move.goal, site)}</h2>",
            verdict_line(move),
            _reason(move),
            _facts(move, plan),
            _figure(index, move, drawing, base, site),
            '<div class="columns"><div>',
            _stops(drawing.stops),
            _zones(move),
            _misses(move),
            _objections(move),
            _contacts(site),
            "</div><div>",
            _checks(move),
            "</div></div>",
            _ruled(),
            "</div>",
            _foot(plan),
            "</article>",
        )
    )


def verdict_line(move: Move) -> str:
    """Return the verdict, large, in words, with a symbol and a pattern; a refused route says so first."""
    words = VERDICTS[move.verdict]
    if move.refused is not None:
        return _verdict(
            "fail",
            "Refused",
            "The second opinion does not accept the route that was found. Do not drive it. "
            f"The plan says: {words.words.lower()}.",
        )
    return _verdict(words.symbol, words.words, words.meaning)


def symbol(verdict_symbol: str) -> str:
    """Return the small drawn symbol of a verdict; words always stand beside it."""
    return (
        f'<svg class="sym" viewBox="-18 -18 36 36" width="36" height="36" aria-hidden="true" focusable="false">'
        f'<use href="#v-{verdict_symbol}"/></svg>'
    )


def stamp(plan: Plan) -> str:
    """Return the state of the plan: draft or issued, and whether its data is invented."""
    state = "DRAFT" if plan.status == "draft" else "ISSUED"
    invented = '<span class="stamp invented">INVENTED DATA</span>' if plan.invented else ""
    return f'<span class="stamp state">{state}</span>{invented}'


def issue_line(plan: Plan) -> str:
    """Return revision, time of issue and end of validity."""
    valid = escape(time_text(plan.valid_until)) if plan.valid_until else "not stated"
    old = f" &middot; replaces {name(plan.supersedes)}" if plan.supersedes else ""
    return (
        f"Plan revision {name(plan.revision)} &middot; site revision {name(plan.site_revision)}{old}<br>"
        f"Issued {escape(time_text(plan.issued))} &middot; valid until <strong>{valid}</strong>"
    )


def table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]], *, style: str) -> str:
    """Return a table whose cells are HTML already; each cell carries its column's name for narrow screens."""
    head = "".join(f'<th scope="col">{column}</th>' for column in columns)
    body = "".join(
        "<tr>"
        + "".join(
            f'<td data-label="{column}"><div>{cell}</div></td>' for column, cell in zip(columns, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return (
        f'<table class="{style}"><caption>{caption}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


def _title(place_id: str, site: Site) -> str:
    found = site.places.get(place_id)
    return name(found.title if found is not None and found.title else place_id)


def _head(plan: Plan) -> str:
    return (
        f'<div class="sheet-head"><p class="sheet-site">{name(plan.site_name)}</p><p>{stamp(plan)}</p>'
        f'<p class="sheet-issue">{issue_line(plan)}</p></div>'
    )


def _verdict(verdict_symbol: str, words: str, meaning: str) -> str:
    return (
        f'<p class="verdict v-{verdict_symbol}">{symbol(verdict_symbol)}<span><strong>{escape(words)}</strong>'
        f"<span>{escape(meaning)}</span></span></p>"
    )


def _reason(move: Move) -> str:
    return f'<p class="reason">{name(move.reason)}</p>' if move.reason else ""


def _facts(move: Move, plan: Plan) -> str:
    machine = plan.machines[move.machine]
    check = governing(move)
    k = plan.k_by_move.get(move.id, math.nan)
    facts = [
        ("Machine", f"{name(move.machine)}, {name(machine.title)}, {name(move.configuration)}"),
        ("Purpose", f"{escape(move.purpose)}{f', on {escape(move.on)}' if move.on else ''}"),
        ("Length", f"{length_text(move)}, {bound_text(move)}"),
        ("Reversals", str(move.reversals)),
    ]
    if move.poses:
        facts.insert(1, ("Driven", escape(move.poses[0].travel_mode.replace("_", " "))))
        spread = f" (k = {up(k, 2)})" if math.isfinite(k) else ""
        facts.append(("Confidence", f"{plan.confidence_route * 100:g} % over the whole way{spread}"))
    if check is not None:
        facts.append(_decides(check))
    return (
        '<dl class="facts">' + "".join(f"<div><dt>{term}</dt><dd>{text}</dd></div>" for term, text in facts) + "</dl>"
    )


def _decides(check: Check) -> tuple[str, str]:
    """Return the check that decides the move, as a fact; one that was not made has nothing to be close to."""
    if not math.isfinite(check.margin):
        return ("Open", f"{escape(check.kind)} was not made, {check.verdict}")
    words = f"{escape(check.kind)}: margin {escape(margin_text(check))}, {check.verdict} {_go(check.place)}"
    return ("Closest to its limit", words)


def _go(place: tuple[float, float]) -> str:
    """Return a place as text, and as a button that moves the map there when scripts run."""
    text = place_text(place)
    if not all(math.isfinite(value) for value in place):
        return text
    return (
        f'<span class="place">{text}</span>'
        f'<button type="button" class="go" data-x="{place[0]:.2f}" data-y="{place[1]:.2f}" '
        f'aria-label="Show {text} on the map">{text}</button>'
    )


def _figure(index: int, move: Move, drawing: MoveDrawing, base: Sequence[Layer], site: Site) -> str:
    bounds = drawing.bounds or site.boundary.bounds
    counted = f"{len(drawing.stops)} numbered stops" if drawing.stops else "no stops"
    picture = plan_svg(
        (*base, *drawing.layers),
        fitted(bounds),
        ident=f"plan-{index}",
        title=f"Plan of move {move.id}",
        description=f"{VERDICTS[move.verdict].words}. {length_text(move)}, {counted}. The tables say what is drawn.",
    )
    return f'<figure class="static">{picture}</figure>'


def _stops(stops: Sequence[Stop]) -> str:
    rows = [
        (
            f"<b>{stop.number}</b>",
            f"{stop.chainage_m:.1f} m" if stop.place is not None else "whole way",
            "<br>".join(name(text) for text in stop.lines)
            + (f"<br>{_go(stop.place)}" if stop.place is not None else ""),
        )
        for stop in stops
    ]
    if not rows:
        return "<h3>Stops</h3><p>No hold points, controls or reversals.</p>"
    return "<h3>Stops</h3>" + table("Stops in driving order", ("Stop", "Along", "What to do"), rows, style="stops")


def _checks(move: Move) -> str:
    if not move.checks:
        return "<h3>Checks</h3><p>No check was made: there is no way to check.</p>"
    order = sorted(move.checks, key=decisive)
    columns = ("Check", "Verdict", "Margin", "Value", "Limit", "Where", "Source", "Rests on")
    return "<h3>Checks</h3>" + table(
        "Every check at its worst place, the most pressing first", columns, map(_check_row, order), style="checks"
    )


def _check_row(check: Check) -> tuple[str, ...]:
    along = f"{check.chainage_m:.1f} m " if math.isfinite(check.chainage_m) else ""
    assumed = "<br>".join(name(text) for text in check.assumed) or "nothing assumed"
    words = VERDICTS[check.verdict]
    return (
        name(check.kind),
        f"{symbol(words.symbol)} {words.words}",
        escape(margin_text(check)),
        escape(value_text(check)),
        escape(limit_text(check)),
        f"{along}{_go(check.place)}",
        name(check.source),
        assumed,
    )


def _zones(move: Move) -> str:
    if not move.zones:
        return ""
    rows = [
        (
            f"<b>{zone.kind[0].upper()}{number}</b> {zone.kind}",
            span_text(zone.chainage_from_m, zone.chainage_to_m),
            escape(against_text(zone.value, zone.limit, zone.unit)),
            name(zone.text),
        )
        for number, zone in enumerate(move.zones, 1)
    ]
    return "<h3>Zones</h3>" + table(
        "Where the basket feels the ground", ("Zone", "Along", "Figure", "What"), rows, style="zones"
    )


def _misses(move: Move) -> str:
    if not move.nearest_misses:
        return ""
    rows = [
        (f"<b>{number}</b>", name(miss.kind), f"{up(miss.short_mm, 0)} mm", f"{name(miss.text)} {_go(miss.place)}")
        for number, miss in enumerate(move.nearest_misses, 1)
    ]
    return "<h3>Nearest misses</h3>" + table(
        "Where a way would have gone on", ("No", "What blocks", "Short by", "How"), rows, style="misses"
    )


def _objections(move: Move) -> str:
    if move.refused is None:
        return ""
    rows = [
        (
            f"<b>{number}</b>",
            name(item.kind),
            escape(against_text(item.value, item.limit, item.unit)),
            f"{name(item.text)} {_go(item.place)}",
        )
        for number, item in enumerate(move.refused.objections, 1)
    ]
    return "<h3>Objections</h3>" + table(
        "What the second opinion does not accept", ("No", "Check", "Figures", "What"), rows, style="objections"
    )


def _contacts(site: Site) -> str:
    if not site.contacts:
        return ""
    listed = "; ".join(f"{name(contact.role)}: {name(contact.call_sign)}" for contact in site.contacts)
    return f'<p class="contacts"><b>Call</b> {listed}</p>'


def _ruled() -> str:
    return (
        '<div class="ruled" aria-hidden="true">'
        + "".join(f"<p><span>{words}</span></p>" for words in _RULED)
        + "</div>"
    )


def _foot(plan: Plan) -> str:
    return (
        '<div class="sheet-foot"><ul class="cautions">'
        + "".join(f"<li>{escape(text)}</li>" for text in plan.cautions)
        + "</ul></div>"
    )
