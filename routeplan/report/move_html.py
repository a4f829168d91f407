"""A move as HTML: its verdict, way, stops, checks and what stands in its way; on paper, one sheet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.machine.model import Machine
from routeplan.report.driving import (
    after_text,
    before_text,
    facing_text,
    modes_text,
    orientation_text,
    speed_text,
    steering_text,
)
from routeplan.report.legend import key
from routeplan.report.legs import leg_words, legs_of
from routeplan.report.long_section import long_section
from routeplan.report.margins import (
    capped,
    decisive,
    figures_text,
    governing,
    idle,
    idle_words,
    made,
    margin_text,
    rests_on,
)
from routeplan.report.markup import escape, name
from routeplan.report.nearby import named_near
from routeplan.report.plan_svg import Window, fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer
from routeplan.report.sheet import plan_units
from routeplan.report.stops import Stop
from routeplan.report.tables import contacts, facts, go, symbol, table
from routeplan.report.tight import zone_figures, zone_tag
from routeplan.report.trouble import trouble, unsettled
from routeplan.report.wording import (
    VERDICTS,
    bound_text,
    counted,
    driven,
    length_text,
    place_name,
    shown,
    span_text,
    time_text,
    up,
)
from routeplan.route.model import Check, Move, Plan
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
    machine = plan.machines[move.machine]
    wide = [" ".join(row) for row in leg_words(move, drawing.stops, site)], [*unsettled(move, machine)]
    first = _first(move, drawing, plan)
    height = plan_units(move, drawing.stops, facts=[" ".join(row) for row in first], wide=wide)
    window = fitted(drawing.bounds or site.boundary.bounds, height=height)
    return "".join(
        (
            f'<article class="move" id="move-{index}" aria-labelledby="move-{index}-h" tabindex="-1"',
            f"{until(move.valid_until)}>",
            _head(plan, move),
            '<div class="sheet-body"><div class="sheet-flow">',
            f'<h2 id="move-{index}-h">Move {name(move.id)}: {ends(move, site)}</h2>',
            verdict_line(move),
            _reason(move),
            facts("facts", first),
            _figure(index, move, drawing, (*named_near(base, drawing), *drawing.layers), window),
            key((*base, *drawing.layers), window),
            long_section(index, move, drawing),
            trouble(move, machine, site),
            legs_of(move, drawing.stops, site),
            '<div class="columns"><div>',
            _stops(drawing.stops),
            _zones(move),
            "</div><div>",
            checks_of(move, machine),
            "</div></div>",
            contacts(site) if site.contacts else "",
            more_of(move, plan),
            _ruled(),
            "</div></div>",
            _foot(plan),
            "</article>",
        )
    )


def ends(move: Move, site: Site) -> str:
    """Return start and finish by the names that people on site use, as HTML."""
    return f"{name(place_name(move.start, site))} to {name(place_name(move.goal, site))}"


def verdict_line(move: Move) -> str:
    """Return the verdict, large, in words, with a symbol and a pattern; a refused route says so first."""
    words = shown(move)
    more = f" The plan says: {VERDICTS[move.verdict].words.lower()}." if move.refused is not None else ""
    return _verdict(words.symbol, words.words, f"{words.meaning}{more}")


def stamp(plan: Plan) -> str:
    """Return the state of the plan: draft or issued, and whether its data is invented."""
    state = "DRAFT" if plan.status == "draft" else "ISSUED"
    invented = '<span class="stamp invented">INVENTED DATA</span>' if plan.invented else ""
    return f'<span class="stamp state">{state}</span>{invented}'


def until(day: str | None) -> str:
    """Return the attribute by which a part of a page says so itself once its last day is over."""
    return f' data-until="{escape(day)}"' if day else ""


def issue_line(plan: Plan) -> str:
    """Return revision, time of issue and end of validity."""
    valid = escape(time_text(plan.valid_until)) if plan.valid_until else "not stated"
    old = f" &middot; replaces {name(plan.supersedes)}" if plan.supersedes else ""
    return (
        f"Plan revision {name(plan.revision)} &middot; site revision {name(plan.site_revision)}{old}<br>"
        f"Issued {escape(time_text(plan.issued))} &middot; valid until <strong>{valid}</strong>{_made_for(plan)}"
    )


def _made_for(plan: Plan) -> str:
    """What the plan was made for beyond the site folder, as HTML; nothing where there is nothing."""
    told = plan.conditions
    rows = [f"{name(item)} closed" for item in told.closed]
    rows += [f"{name(item)} taken as open against its own dates" for item in told.opened]
    rows += [f"hazards of {name(item)}" for item in told.added]
    rows += [f"{name(new.removesuffix('.toml'))} instead of {name(old)}" for old, new in told.machines.items()]
    return f"<br>Made for: {'; '.join(rows)}" if rows else ""


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


def _reason(move: Move) -> str:
    """Return why a move does not pass; for one that does, the reason stands with its other facts."""
    return f'<p class="reason">{name(move.reason)}</p>' if move.reason and not driven(move) else ""


def _first(move: Move, drawing: MoveDrawing, plan: Plan) -> list[tuple[str, str]]:
    """Return what a driver needs first: the machine, where it is tightest, how far, driven how, and left how."""
    machine = plan.machines[move.machine]
    driven = f", {escape(modes_text(move.poses))}" if move.poses else ""
    if move.platform_height_m is not None:
        driven += f", platform raised, its floor {up(move.platform_height_m, 2)} m up"
    crossed = sum(control.kind == "walkway" for control in move.controls)
    way = [length_text(move)]
    if move.poses:
        way.append(counted(move.reversals, "reversal"))
        way.append(f"crosses {counted(crossed, 'walkway')}")
        way += [text for text in (facing_text(move), orientation_text(move)) if text]
    check = governing(move)
    term, tightest = "Tightest", ""
    if check is not None:
        term = {"fail": "Fails", "not proven": "Not proven"}.get(check.verdict, term)
        tightest = f"{_along(check)}{name(drawing.decides)}{go(check.place) if made(check) else ''}"
    rows = [
        ("Machine", f"{name(move.machine)}, {name(machine.title)}, {name(move.configuration)}{driven}"),
        (term, tightest),
        ("Way", ", ".join(way)),
        ("Steering", escape(steering_text(move, machine))),
        ("Speed", escape(speed_text(move.poses))),
        ("Before", escape(before_text(move, plan))),
        ("After", escape(after_text(move, plan))),
    ]
    return [(term, text) for term, text in rows if text]


def _along(check: Check) -> str:
    return f"at {check.chainage_m:.1f} m: " if made(check) and math.isfinite(check.chainage_m) else ""


def more_of(move: Move, plan: Plan) -> str:
    """Return what stands behind the move: purpose, day, how good the way is, how sure."""
    rows = [("Purpose", f"{escape(move.purpose)}{f', on {escape(move.on)}' if move.on else ''}")]
    if move.valid_until:
        rows.append(("Last day", f"{escape(move.valid_until)}: then something dated changes where it goes"))
    if move.poses:
        k = plan.k_by_move.get(move.id, math.nan)
        doubt = f"; every doubt is taken {up(k, 2)} times" if math.isfinite(k) else ""
        rows.append(("How good", escape(bound_text(move))))
        rows.append(("How sure", f"{plan.confidence_route * 100:g} % over the whole way{doubt}"))
    if move.reason and driven(move):
        rows.append(("Reason", name(move.reason)))
    return '<h3 class="more">Behind this plan</h3>' + facts("facts more", rows)


def _figure(index: int, move: Move, drawing: MoveDrawing, layers: Iterable[Layer], window: Window) -> str:
    picture = plan_svg(
        layers,
        window,
        ident=f"plan-{index}",
        title=f"Plan of move {move.id}",
        description=f"{VERDICTS[move.verdict].words}. {length_text(move)}, "
        f"{counted(len(drawing.stops), 'numbered place')}. The tables say what is drawn.",
    )
    return f'<figure class="static" tabindex="0">{picture}</figure>'


def _stops(stops: Sequence[Stop]) -> str:
    rows = [
        (
            f"<b>{stop.number}</b> {stop.words}",
            _unbroken(stop.along) if stop.place is not None else "whole way",
            "<br>".join(name(text) for text in stop.lines) + (go(stop.place) if stop.place is not None else ""),
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


#: Of the tables of checks.
_COLUMNS = ("Check", "Verdict", "To spare", "Figures", "Where", "Source", "Rests on")


def checks_of(move: Move, machine: Machine) -> str:
    """Return the tables of a move's checks, the most pressing first, each with its source and what it rests on."""
    if not move.checks:
        return "<h3>Checks</h3><p>No check was made: there is no way to check.</p>"
    order = sorted(move.checks, key=decisive)
    at_rest = [check for check in order if idle(check)]
    told = table(
        "Every check at its worst place, the most pressing first", _COLUMNS,
        (_check_row(check, machine) for check in order if not idle(check)), style="checks",
    )  # fmt: skip
    if not at_rest:
        return f"<h3>Checks</h3>{told}"
    rest = table(
        "Checks that pass with nothing near, or nothing to check", _COLUMNS,
        (_check_row(check, machine) for check in at_rest), style="checks idle",
    )  # fmt: skip
    return f'<h3>Checks</h3>{told}{rest}<p class="idle-words">{escape(idle_words(move))}</p>'


def _check_row(check: Check, machine: Machine) -> tuple[str, ...]:
    words = VERDICTS[check.verdict]
    somewhere = math.isfinite(check.chainage_m) and not capped(check)
    return (
        name(check.kind),
        f"{symbol(words.symbol)} {words.words}",
        escape(margin_text(check)),
        escape(figures_text(check)),
        f"{check.chainage_m:.1f} m{go(check.place)}" if somewhere else "",
        name(check.source),
        "<br>".join(name(text) for text in rests_on(check, machine)),
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


def page_cautions(plan: Plan) -> str:
    """Return the cautions as they end a page."""
    rows = "".join(f"<li>{escape(text)}</li>" for text in plan.cautions)
    return f'<section class="page-cautions"><h2>Cautions</h2><ul class="cautions">{rows}</ul></section>'
