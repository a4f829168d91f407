"""The board sheet: every move of the site on one A3, for everybody who passes the board."""

from __future__ import annotations

from collections.abc import Sequence

from routeplan.report.briefing.sheet import Sheet, earliest, sheet
from routeplan.report.legend import key
from routeplan.report.margins import governing
from routeplan.report.markup import escape, name
from routeplan.report.move_html import ends
from routeplan.report.plan_svg import fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer, Line, Shape, bounds_of
from routeplan.report.tables import contacts, symbol, table
from routeplan.report.wording import counted, driven, shown, time_text
from routeplan.route.model import Move, Plan
from routeplan.site.model import Site
from routeplan.site.spans import span_words

#: The picture on A3 lying, beside the table of moves, units of a quarter of a millimetre.
WIDE_UNITS, HIGH_UNITS = 980, 820
RULES = (
    "Only moves on this sheet, only by the operator's sheet of the same revision, only inspected and signed today.",
    "Keep off the blue bands while a machine travels. Nothing is stored on them, and nobody walks beside or under a "
    "machine.",
    "Whoever closes an area, digs, moves a fence or hangs anything over a band tells the access coordinator first: "
    "this sheet is then void.",
)  # fmt: skip


def board_sheet(plan: Plan, site: Site, base: Sequence[Layer], drawings: Sequence[MoveDrawing]) -> Sheet:
    """Return the sheet: the plan of everything to scale, the moves in the order of the plan, whom to call."""
    drivable = [pair for pair in zip(plan.moves, drawings, strict=True) if driven(pair[0])]
    ways = tuple(_named(move, drawing) for move, drawing in drivable)
    bands = tuple(layer for _, drawing in drivable for layer in drawing.layers if layer.id == "band")
    layers = (*base, *bands, *ways)
    window = fitted(bounds_of(base) or site.boundary.bounds, width=WIDE_UNITS, height=HIGH_UNITS)
    told = "; ".join(f"{move.id}, {shown(move).words.lower()}" for move in plan.moves)
    picture = plan_svg(
        layers, window, ident="board-plan", title=f"Plan of {plan.site_name}",
        description=f"The site and every way. Moves: {told}. The table tells each.",
    )  # fmt: skip
    rules = "".join(f"<li>{escape(text)}</li>" for text in RULES)
    body = (
        f'<div class="beside"><div><figure class="static" tabindex="0">{picture}</figure>{key(layers, window)}</div>'
        f'<div class="told">{_moves(plan, site)}<ul class="rules">{rules}</ul>'
        f"{_closures(plan, site)}{contacts(site)}</div></div>"
    )
    of = f"{counted(len(plan.moves), 'move')}, all machines"
    return sheet("board", "board", "Board sheet", of, body, plan, last_day=plan.valid_until)


def _named(move: Move, drawing: MoveDrawing) -> Layer:
    """The way of a move that may be driven, its name beside the middle of it."""
    shapes = [shape for layer in drawing.layers if layer.id == "way" for shape in layer.shapes if shape.kind != "mark"]
    middle = move.poses[len(move.poses) // 2]
    at = (middle.x, middle.y)
    course: tuple[tuple[Line, ...], ...] = (((at,),),)
    return Layer("way", "Ways", (*shapes, Shape("mark", "route", course, label=move.id, label_at=at)))


def _moves(plan: Plan, site: Site) -> str:
    barred = "<b>DO NOT<br>DRIVE</b>"
    rows = [
        (
            f"<b>{name(move.id)}</b>",
            f"{name(move.machine)}<br>{name(move.on) if move.on else 'any day'}",
            ends(move, site),
            f"{symbol(shown(move).symbol)} <b>{shown(move).words}</b><br>{_tightest(move)}",
            name(time_text(earliest(plan.valid_until, move.valid_until) or "not stated")) if driven(move) else barred,
        )
        for move in plan.moves
    ]
    columns = ("Move", "Machine, day", "From and to", "Verdict, decided by", "Last day")
    return table("Every move", columns, rows, style="moves-on-board")


def _closures(plan: Plan, site: Site) -> str:
    """Areas that close on some days, which the picture does not show."""
    dated = [area for area in site.areas if area.closures]
    told = [f"{name(area.title or area.id)} {', '.join(map(span_words, area.closures))}" for area in dated]
    told += [f"{name(area)} for this revision" for area in plan.conditions.closed]
    return f'<p class="closes"><b>Closed</b> {"; ".join(told)}</p>' if told else ""


def _tightest(move: Move) -> str:
    check = governing(move)
    return name(check.kind) if check is not None else name(move.reason)
