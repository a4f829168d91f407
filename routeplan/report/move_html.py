"""A move as HTML: its verdict, way, stops, checks and what stands in its way; on paper, one sheet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.report.legend import key
from routeplan.report.margins import capped, decisive, figures_text, governing, made, margin_text, spare_text
from routeplan.report.markup import escape, name
from routeplan.report.plan_svg import Window, fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer
from routeplan.report.sheet import plan_units
from routeplan.report.stops import Stop
from routeplan.report.tight import zone_figures, zone_tag
from routeplan.report.wording import (
    VERDICTS,
    against_text,
    amount_text,
    bound_text,
    counted,
    length_text,
    modes_text,
    place_name,
    place_text,
    span_text,
    through_text,
    time_text,
    up,
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
    height = plan_units(move, drawing.stops, open_lines=_unsettled(move))
    window = fitted(drawing.bounds or site.boundary.bounds, height=height)
    return "".join(
        (
            f'<article class="move" id="move-{index}" aria-labelledby="move-{index}-h" tabindex="-1">',
            _head(plan, move),
            '<div class="sheet-body">',
            f'<h2 id="move-{index}-h">Move {name(move.id)}: {ends(move, site)}</h2>',
            verdict_line(move),
            _reason(move),
            _first(move, drawing, plan, site),
            _figure(index, move, drawing, (*base, *drawing.layers), window),
            key((*base, *drawing.layers), window),
            '<div class="columns"><div>',
            _objections(move),
            _misses(move),
            _stops(drawing.stops),
            _open(move),
            _zones(move),
            "</div><div>",
            _checks(move),
            "</div></div>",
            _contacts(site),
            _more(move, plan),
            _ruled(),
            "</div>",
            _foot(plan),
            "</article>",
        )
    )


def ends(move: Move, site: Site) -> str:
    """Return start and finish by the names that people on site use, as HTML."""
    return f"{name(place_name(move.start, site))} to {name(place_name(move.goal, site))}"


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
            f'<td data-label="{column}"{"" if cell else " class=none"}><div>{cell}</div></td>'
            for column, cell in zip(columns, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return (
        f'<table class="{style}"><caption>{caption}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


def _head(plan: Plan, move: Move) -> str:
    return (
        f'<div class="sheet-head"><p class="sheet-site">{name(plan.site_name)}<br>Move {name(move.id)}</p>'
        f"<p>{stamp(plan)}</p>"
        f'<p class="sheet-issue">{issue_line(plan)}</p></div>'
    )


def _verdict(verdict_symbol: str, words: str, meaning: str) -> str:
    return (
        f'<p class="verdict v-{verdict_symbol}">{symbol(verdict_symbol)}<span><strong>{escape(words)}</strong>'
        f"<span>{escape(meaning)}</span></span></p>"
    )


def _holds(move: Move) -> bool:
    return move.verdict in ("pass", "pass with controls") and move.refused is None


def _reason(move: Move) -> str:
    """Return why a move does not pass; for one that does, the reason stands with its other facts."""
    return f'<p class="reason">{name(move.reason)}</p>' if move.reason and not _holds(move) else ""


def _first(move: Move, drawing: MoveDrawing, plan: Plan, site: Site) -> str:
    """Return what a driver needs first: the machine, where it is tightest, how far, through what."""
    machine = plan.machines[move.machine]
    driven = f", {name(modes_text(move))}" if move.poses else ""
    crossed = sum(control.kind == "walkway" for control in move.controls)
    way = [length_text(move)]
    if move.poses:
        way.append(counted(move.reversals, "reversal"))
        way.append(f"crosses {counted(crossed, 'walkway')}")
    facts = [
        ("Machine", f"{name(move.machine)}, {name(machine.title)}, {name(move.configuration)}{driven}"),
        ("Way", ", ".join(way)),
    ]
    if len(move.legs) > 1:
        facts.append(("Through", name(through_text(move, site))))
    check = governing(move)
    if check is not None:
        term = {"fail": "Fails", "not proven": "Not proven"}.get(check.verdict, "Tightest")
        facts.insert(1, (term, f"{_along(check)}{name(drawing.decides)}{_go(check.place) if made(check) else ''}"))
    return _list("facts", facts)


def _along(check: Check) -> str:
    return f"at {check.chainage_m:.1f} m: " if made(check) and math.isfinite(check.chainage_m) else ""


def _more(move: Move, plan: Plan) -> str:
    """Return what stands behind the move: purpose, day, how good the way is, how sure."""
    facts = [("Purpose", f"{escape(move.purpose)}{f', on {escape(move.on)}' if move.on else ''}")]
    if move.poses:
        k = plan.k_by_move.get(move.id, math.nan)
        doubt = f"; every doubt is taken {up(k, 2)} times" if math.isfinite(k) else ""
        facts.append(("How short", escape(bound_text(move))))
        facts.append(("How sure", f"{plan.confidence_route * 100:g} % over the whole way{doubt}"))
    if move.reason and _holds(move):
        facts.append(("Reason", name(move.reason)))
    return '<h3 class="more">Behind this plan</h3>' + _list("facts more", facts)


def _list(style: str, facts: Iterable[tuple[str, str]]) -> str:
    rows = "".join(f"<div><dt>{term}</dt><dd>{text}</dd></div>" for term, text in facts)
    return f'<dl class="{style}">{rows}</dl>'


def _unsettled(move: Move) -> dict[str, list[str]]:
    """Return what must be settled, each thing once, with the checks that rest on it."""
    rests: dict[str, list[str]] = {}
    for check in sorted(move.checks, key=decisive):
        if check.verdict in ("fail", "not proven"):
            doubt = f"{check.kind}: {spare_text(check)}"
            if math.isfinite(check.k * check.sigma):
                doubt += f", doubt {amount_text(check.k * check.sigma, check.unit, upwards=True)}"
            for text in check.assumed or (doubt,):
                rests.setdefault(text, []).append(check.kind)
    return rests


def _open(move: Move) -> str:
    rows = [(name(text), escape(", ".join(kinds))) for text, kinds in _unsettled(move).items()]
    if not rows:
        return ""
    return "<h3>To settle before anybody drives</h3>" + table(
        "What is open, and the checks that wait for it", ("Open", "Checks"), rows, style="open"
    )


def _go(place: tuple[float, float]) -> str:
    """Return a place as text, and a button that moves the map there when scripts run; no place, no words."""
    if not all(math.isfinite(value) for value in place):
        return ""
    text = place_text(place)
    return (
        f' <span class="place">{text}</span>'
        f'<button type="button" class="go" data-x="{place[0]:.2f}" data-y="{place[1]:.2f}" data-place="{text}" '
        f'aria-label="Show {text} on the map">Show on map</button>'
    )


def _figure(index: int, move: Move, drawing: MoveDrawing, layers: Iterable[Layer], window: Window) -> str:
    picture = plan_svg(
        layers,
        window,
        ident=f"plan-{index}",
        title=f"Plan of move {move.id}",
        description=f"{VERDICTS[move.verdict].words}. {length_text(move)}, "
        f"{counted(len(drawing.stops), 'numbered place')}. The tables say what is drawn.",
    )
    return f'<figure class="static">{picture}</figure>'


def _stops(stops: Sequence[Stop]) -> str:
    rows = [
        (
            f"<b>{stop.number}</b> {stop.words}",
            _unbroken(stop.along) if stop.place is not None else "whole way",
            "<br>".join(name(text) for text in stop.lines) + (_go(stop.place) if stop.place is not None else ""),
        )
        for stop in stops
    ]
    if not rows:
        return "<h3>Stops</h3><p>No hold points, controls, reversals or tight places.</p>"
    return "<h3>Stops and tight places</h3>" + table(
        "In driving order; what is to spare is beyond the gap that must be kept",
        ("No", "Along", "What to do"),
        rows,
        style="stops",
    )


def _unbroken(along: str) -> str:
    """Return chainages as HTML that breaks before the second of two, and nowhere else."""
    return along.replace(" ", "&nbsp;").replace("&nbsp;to", " to")


def _checks(move: Move) -> str:
    if not move.checks:
        return "<h3>Checks</h3><p>No check was made: there is no way to check.</p>"
    order = sorted(move.checks, key=decisive)
    columns = ("Check", "Verdict", "To spare", "Figures", "Where", "Source", "Rests on")
    return "<h3>Checks</h3>" + table(
        "Every check at its worst place, the most pressing first", columns, map(_check_row, order), style="checks"
    )


def _check_row(check: Check) -> tuple[str, ...]:
    words = VERDICTS[check.verdict]
    somewhere = math.isfinite(check.chainage_m) and not capped(check)
    return (
        name(check.kind),
        f"{symbol(words.symbol)} {words.words}",
        escape(margin_text(check)),
        escape(figures_text(check)),
        f"{check.chainage_m:.1f} m{_go(check.place)}" if somewhere else "",
        name(check.source),
        "<br>".join(name(text) for text in check.assumed),
    )


def _zones(move: Move) -> str:
    if not move.zones:
        return ""
    rows = [
        (
            f"<b>{zone_tag(number, zone)}</b> {zone.kind}",
            span_text(zone.chainage_from_m, zone.chainage_to_m),
            escape(zone_figures(zone)),
            name(zone.text),
        )
        for number, zone in enumerate(move.zones, 1)
    ]
    return '<h3 class="zones">Zones</h3>' + table(
        "Where more than half of a limit is used, or less than half a metre is left overhead",
        ("Zone", "Along", "Figure", "What"),
        rows,
        style="zones",
    )


def _misses(move: Move) -> str:
    if not move.nearest_misses:
        return ""
    rows = [
        (f"<b>{number}</b>", name(miss.kind), f"{name(miss.text)} {_go(miss.place)}")
        for number, miss in enumerate(move.nearest_misses, 1)
    ]
    return "<h3>Nearest misses</h3>" + table(
        "Where a way would have gone on", ("No", "What blocks", "How"), rows, style="misses"
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
