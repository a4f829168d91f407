"""The diff sheet for the noticeboard: what a change makes of each move, the old way and the new one on one plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from routeplan.report.drawing import draw_site
from routeplan.report.margins import governing, margin_text
from routeplan.report.markup import escape, name
from routeplan.report.move_html import ends, issue_line, page_cautions, stamp, until
from routeplan.report.packaged import asset, policy
from routeplan.report.plan_svg import fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing, draw_move
from routeplan.report.shapes import Layer, bounds_of, line
from routeplan.report.symbols import definitions
from routeplan.report.tables import symbol, table
from routeplan.report.wording import length_text, shown, time_text
from routeplan.route.change import MoveChange
from routeplan.route.model import Conditions, Move, Plan
from routeplan.site.model import Site

#: What is said of a move, and the symbol drawn beside it.
_WORDS = {"unchanged": ("Unchanged", "pass"), "changed": ("Changed", "controls"), "cut off": ("Cut off", "none")}
#: The most pressing first.
_ORDER = ("cut off", "changed", "unchanged")
#: Height of a plan at most, units: of the only one on the sheet, of two, of each of more.
_PLAN_UNITS = (330, 180, 140)


def write_diff_sheet(before: Plan, after: Plan, changes: Sequence[MoveChange], site: Site, path: Path) -> None:
    """Write the sheet; the same plans and site always give the same bytes."""
    path.write_bytes(diff_sheet(before, after, changes, site).encode("utf-8"))


def diff_sheet(before: Plan, after: Plan, changes: Sequence[MoveChange], site: Site) -> str:
    """Return the whole page.

    Parameters
    ----------
    before, after
        The plan before the change and after it.
    changes
        One for each move of the plan after it.
    site
        As the plan after the change was made for.
    """
    ordered = sorted(changes, key=lambda one: _ORDER.index(one.change))
    base, script = draw_site(site), asset("validity.js")
    shown = [one for one in ordered if one.change != "unchanged"]
    height = _PLAN_UNITS[min(len(shown), len(_PLAN_UNITS)) - 1]
    pictures = (_picture(number, one, after, site, base, height) for number, one in enumerate(shown, 1))
    return "".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            policy((script,)),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(after.site_name)}: what revision {escape(after.revision)} changes</title>\n",
            f"<style>{asset('style.css')}</style>\n</head>\n",
            f'<body class="diff">\n{definitions()}',
            _top(before, after),
            f"<main>{_told(before, after)}{_moves(ordered, site)}{''.join(pictures)}{page_cautions(after)}</main>\n",
            f"<script>{script}</script>\n</body>\n</html>\n",
        )
    )


def _top(before: Plan, after: Plan) -> str:
    return (
        f'<header class="top"{until(after.valid_until)}><h1>{name(after.site_name)}: what has changed</h1>'
        f'<p class="number">Revision {name(after.revision)}</p><p>{stamp(after)}</p>'
        f'<p class="issue">{issue_line(after)}</p></header>'
        f'<p class="void-old"><strong>Revision {name(before.revision)} is void.</strong> Take down and bin every sheet '
        f"of revision {name(before.revision)}, issued {escape(time_text(before.issued))}: map, move sheets, inspection "
        f"lists. Only sheets of revision {name(after.revision)} count.</p>"
    )


def _told(before: Plan, after: Plan) -> str:
    """What the change was, in words."""
    rows = "".join(f"<li>{text}</li>" for text in _differences(before.conditions, after.conditions))
    told = "".join(f'<p class="reason">{name(text)}</p>' for text in accepted(after))
    return f"<h2>The change</h2><ul>{rows or '<li>the site folder itself has changed</li>'}</ul>{told}"


def accepted(plan: Plan) -> list[str]:
    """Whether each machine that was delivered instead of another may be unloaded, in words."""
    told = []
    for ordered, delivered in plan.conditions.machines.items():
        moves = [move for move in plan.moves if move.machine == delivered.removesuffix(".toml")]
        barred = [move for move in moves if move.verdict not in ("pass", "pass with controls")]
        made_of = f"{delivered.removesuffix('.toml')}, delivered instead of {ordered}"
        if moves and not barred:
            told.append(f"ACCEPT {made_of}: every move of it passes, under its controls.")
        else:
            why = ", ".join(f"{move.id} {move.verdict}" for move in barred) or "no move is planned for it"
            told.append(f"REJECT before unloading {made_of}: {why}.")
    return told


def _differences(before: Conditions, after: Conditions) -> Iterator[str]:
    for words, then, now in (
        ("closed", before.closed, after.closed), ("taken as open against its own dates", before.opened, after.opened),
        ("added", before.added, after.added),
    ):  # fmt: skip
        yield from (f"{name(item)}: {words}" for item in now if item not in then)
        yield from (f"{name(item)}: no longer {words}" for item in then if item not in now)
    for ordered, delivered in after.machines.items():
        if before.machines.get(ordered) != delivered:
            yield f"{name(delivered)} delivered instead of {name(ordered)}"
    if after.wet and not before.wet:
        yield "rain: no move waits for dry ground"


def _moves(changes: Sequence[MoveChange], site: Site) -> str:
    """What became of every move; one that stands as it is takes a line."""
    other = [
        (_move(one, site), _now(one), name(one.why), escape(_figures(one.before)), escape(_figures(one.after)),
         "<br>".join(_hazards(one)))
        for one in changes if one.change != "unchanged"
    ]  # fmt: skip
    same = [
        (_move(one, site), _now(one), name(one.why), f"{shown(one.after).words}, {length_text(one.after)}")
        for one in changes if one.change == "unchanged"
    ]  # fmt: skip
    columns = ("Move", "Now", "Why", "Before", "After", "Hazards")
    return "".join((
        "<h2>Moves that change</h2>",
        table("Those that are cut off first", columns, other, style="changes") if other else "<p>None.</p>",
        "<h2>Moves that stand</h2>",
        table("Drive them as before, by the sheets of this revision", ("Move", "Now", "Why", "As before"), same,
              style="changes stand") if same else "<p>None.</p>",
    ))  # fmt: skip


def _move(change: MoveChange, site: Site) -> str:
    day = f", {name(change.after.on)}" if change.after.on else ""
    return f"<b>{name(change.id)}</b> {ends(change.after, site)}{day}"


def _now(change: MoveChange) -> str:
    words, drawn = _WORDS[change.change]
    return f'<span class="now">{symbol(drawn)} <b>{words}</b></span>'


def _figures(move: Move | None) -> str:
    """Verdict, length and tightest margin, in plain text."""
    if move is None:
        return "no such move"
    check = governing(move)
    tight = "" if check is None or not move.poses else f"; {check.kind}: {margin_text(check)}"
    return f"{shown(move).words}, {length_text(move)}{tight}"


def _hazards(change: MoveChange) -> Iterator[str]:
    then, now = (_met(move) for move in (change.before, change.after))
    if now - then:
        yield f"new on the way: {name(', '.join(sorted(now - then)))}"
    if then - now and change.after.poses:
        yield f"no longer: {name(', '.join(sorted(then - now)))}"


def _met(move: Move | None) -> set[str]:
    return set() if move is None else {item for leg in move.legs for item in (*leg.hazards, *leg.areas)}


def _picture(
    number: int, change: MoveChange, after: Plan, site: Site, base: Sequence[Layer], height: float
) -> str:
    """The old way and the new one of a move that changed, with what is closed now."""
    drawing = draw_move(change.after, plan=after, site=site)
    layers = (*_old_way(change.before), *drawing.layers)
    bounds = bounds_of(layer for layer in layers if layer.id != "closed") or site.boundary.bounds
    picture = plan_svg(
        (*base, *layers), fitted(bounds, height=height, snug=True), ident=f"diff-{number}",
        title=f"Move {change.id}: the way before, dashed, and the way now",
        description=f"{_WORDS[change.change][0]}. Before: {_figures(change.before)}; now: {_figures(change.after)}.",
    )  # fmt: skip
    return (
        f'<section class="changed"><h2>Move {name(change.id)}: {_WORDS[change.change][0]}</h2>'
        f'<p>{_key(change, drawing)}</p><figure class="static" tabindex="0">{picture}</figure></section>'
    )


def _old_way(before: Move | None) -> tuple[Layer, ...]:
    if before is None or not before.poses:
        return ()
    return (Layer("old", "Way before, void", (line("old-way", [(pose.x, pose.y) for pose in before.poses]),)),)


def _key(change: MoveChange, drawing: MoveDrawing) -> str:
    dashed = "Dashed: the way before, void. " if change.before is not None and change.before.poses else ""
    now = "Solid: the way now." if change.after.poses else "There is no way now: do not drive."
    closed = " Crossed out: closed." if any(layer.id == "closed" for layer in drawing.layers) else ""
    return f"{dashed}{now}{closed}"
