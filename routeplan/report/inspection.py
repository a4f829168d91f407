"""The inspection page: every hazard of every move in driving order, with boxes to fill in on a phone or on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from routeplan.report.inspection_line import ASK, Line, Reading
from routeplan.report.markup import data_block, escape, name
from routeplan.report.move_html import ends, issue_line, stamp, until
from routeplan.report.packaged import asset, policy
from routeplan.report.tongue import Tongue, told_in, unchecked
from routeplan.report.wording import VERDICTS, counted, time_text
from routeplan.route.model import Move, Plan
from routeplan.site.model import Site

#: How the list is used; on the page and on every sheet of paper.
RULES = (
    "Walk the whole way in driving order, on the day, before the machine moves. An empty box is not inspected.",
    "The number is the last good reading. A reading beyond it: STOP, the machine does not move.",
    "Each number holds only while everything else is as recorded. Where two readings of a move differ from what is"
    f" recorded, or one is shallower, narrower or lower than recorded: {ASK}.",
    f"No number is no permission: {ASK}. Nor is a reading short of its number: a competent person decides.",
)
#: When the list is worth nothing.
VOID_IF = (
    "the plan has been replaced, or its validity has ended",
    "it was not walked today, or a box is empty",
    "a reading is beyond its number, or a thing is not on the list",
    "ground, overheads, machine, drawing or weather have changed since the walk",
)
_RULED = ("Walked by (role)", "Day and time", "Competent person: decision", "Signature")
_START = "document.documentElement.className = 'js';"


def write_inspection_page(
    plan: Plan, site: Site, lists: Mapping[str, Sequence[Line]], path: Path, *, sha256: str,
    tongue: Tongue | None = None,
) -> None:
    """Write the page; the same plan, site and lines always give the same bytes."""
    path.write_bytes(inspection_page(plan, site, lists, sha256=sha256, tongue=tongue).encode("utf-8"))


def inspection_page(
    plan: Plan, site: Site, lists: Mapping[str, Sequence[Line]], *, sha256: str, tongue: Tongue | None = None
) -> str:
    """Return the whole page.

    Parameters
    ----------
    plan, site
        The plan, and the site on which the second opinion accepted it.
    lists
        The lines of each move, by its id.
    sha256
        Of the plan's bytes, to tie what is saved to them.
    tongue
        The language it is told in; English without. What is saved is in English always.
    """
    rows = list(_rows(plan, lists))
    data = _data(plan, rows, sha256)
    scripts = (_START, asset("inspection.js"), asset("validity.js"))
    numbers = iter(range(1, len(rows) + 1))
    moves = "".join(
        _move(index, move, lists[move.id], numbers, plan=plan, site=site, sha256=sha256)
        for index, move in enumerate(plan.moves, 1)
    )
    title = f"{plan.site_name}: route inspection, revision {plan.revision}"
    body = f"{_top(plan, sha256)}<main>{moves}</main>\n{_bottom(plan)}"
    spoken = 'lang="en"'
    if tongue is not None:
        body, spoken = f"{unchecked(tongue)}{told_in(body, tongue)}", f'lang="{tongue.code}" dir="{tongue.direction}"'
        data["words"] = {text: tongue.template(text) for text in _sayings()}
    return "".join(
        (
            f'<!DOCTYPE html>\n<html {spoken}>\n<head>\n<meta charset="utf-8">\n',
            policy(scripts),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(title)}</title>\n",
            f"<style>{asset('inspection.css')}</style>\n<script>{scripts[0]}</script>\n</head>\n<body>\n{body}",
            f'<script type="application/json" id="list">{data_block(data)}</script>\n',
            *(f"<script>{script}</script>\n" for script in scripts[1:]),
            "</body>\n</html>\n",
        )
    )


def _sayings() -> list[str]:
    """What the page's script says to readings, in English."""
    script = asset("inspection.js")
    return re.findall(r'saying\("\w*", "([^"]+)"', script) + re.findall(r'(?:stop|ask): "([^"]+)"', script)


def _rows(plan: Plan, lists: Mapping[str, Sequence[Line]]) -> Iterator[tuple[Move, int, Line, Reading | None]]:
    """Everything with boxes, in the order of the page: a reading, or a line without any."""
    for move in plan.moves:
        for number, line in enumerate(lists[move.id], 1):
            for reading in line.readings or (None,):
                yield move, number, line, reading


def _data(plan: Plan, rows: Sequence[tuple[Move, int, Line, Reading | None]], sha256: str) -> dict[str, Any]:
    """What the page's script compares with and saves."""
    return {
        "plan": {
            "site": plan.site_name, "site_revision": plan.site_revision, "revision": plan.revision,
            "issued": plan.issued, "sha256": sha256, "invented": plan.invented,
        },
        "cautions": list(plan.cautions),
        "rows": [
            {"move": move.id, "line": number, "title": line.title, **(_compared(reading) if reading else {})}
            for move, number, line, reading in rows
        ],
    }  # fmt: skip


def _compared(reading: Reading) -> dict[str, Any]:
    return {
        "thing": reading.thing,
        "figure": reading.figure,
        "unit": reading.unit,
        "recorded": float(reading.recorded),
        "last_good": float(reading.last_good) if reading.last_good else None,
        "overhead": reading.overhead,
    }


def _top(plan: Plan, sha256: str) -> str:
    index = "".join(
        f'<li><a href="#move-{number}"><b>{name(move.id)}</b> {name(move.machine)}</a></li>'
        for number, move in enumerate(plan.moves, 1)
    )
    return (
        f'<header class="top"{until(plan.valid_until)}><p class="sort">Route inspection</p>'
        f"<h1>{name(plan.site_name)}</h1>{_large(plan)}"
        f"<p>{stamp(plan)}</p><p>{issue_line(plan)}</p>{_plan_id(sha256)}</header>\n"
        f'<section class="rules"><h2>How to use it</h2>{_rules()}{_void(plan)}</section>\n'
        f'<nav aria-label="Moves"><ol>{index}</ol></nav>\n'
    )


def _rules() -> str:
    return "<ul>" + "".join(f"<li>{escape(rule)}</li>" for rule in RULES) + "</ul>"


def _large(plan: Plan) -> str:
    return f'<p class="large">Revision {name(plan.revision)}<br>{escape(time_text(plan.issued))}</p>'


def _plan_id(sha256: str) -> str:
    return f'<p class="sha">Plan sha256 {escape(sha256)}</p>'


def _void(plan: Plan) -> str:
    until = f" ({escape(time_text(plan.valid_until))})" if plan.valid_until else " (no end of validity is stated)"
    rows = [escape(text) for text in VOID_IF]
    rows[0] += until
    return f'<p class="void"><b>Void if</b> {"; ".join(rows)}.</p>'


def _move(
    index: int, move: Move, lines: Sequence[Line], numbers: Iterator[int], *, plan: Plan, site: Site, sha256: str
) -> str:
    machine = plan.machines[move.machine]
    listed = "".join(_line(number, line, numbers) for number, line in enumerate(lines, 1))
    words = VERDICTS[move.verdict]
    day = f", on {name(move.on)}" if move.on else ""
    cautions = "".join(f"<li>{escape(text)}</li>" for text in plan.cautions)
    ruled = "".join(f"<p><span>{text}</span></p>" for text in _RULED)
    return (
        f'<article class="move" id="move-{index}"{until(move.valid_until)}><div class="sheet-head">{_large(plan)}'
        f"<p>{name(plan.site_name)}<br>"
        f"Route inspection, move {name(move.id)}</p><p>{stamp(plan)}</p>{_plan_id(sha256)}{_void(plan)}</div>"
        f'<div class="sheet-body"><h2>Move {name(move.id)}: {ends(move, site)}</h2>'
        f'<p class="what">{name(move.machine)}, {name(machine.title)}{day}</p>'
        f'<p class="verdict">Plan says: <b>{words.words}</b>. {words.meaning}</p>'
        f'<div class="on-paper">{_rules()}</div><p class="sum" id="sum-{index}" role="status"></p>'
        f'<ol class="lines">{listed}</ol><div class="ruled">{ruled}</div></div>'
        f'<div class="sheet-foot"><ul class="cautions">{cautions}</ul></div></article>\n'
    )


def _line(number: int, line: Line, numbers: Iterator[int]) -> str:
    where = f'<span class="along">{line.along}</span>' + (f"<span>{line.where}</span>" if line.where else "")
    boxes = "".join(_reading(reading, next(numbers)) for reading in line.readings) or _seen(next(numbers))
    return (
        f'<li class="line"><p class="where"><b>{number}</b>{where}</p>'
        f'<div class="told"><h3>{name(line.title)}</h3><p>{name(line.look)}</p></div>'
        f'<div class="asked">{boxes}</div></li>'
    )


def _reading(reading: Reading, number: int) -> str:
    stops = f" Beyond it: {name(reading.stops)}." if reading.stops else ""
    asked = ' class="ask"' if reading.number is None else ""
    return (
        f'<div class="row"><p class="figure"><b>Measure {reading.figure}</b>, {reading.measured_from}.{stops}</p>'
        f"<p{asked}>{reading.lead}: <strong>{reading.limit}</strong>; recorded {reading.recorded} {reading.unit}</p>"
        f"{_boxes(number, f'Reading, {reading.unit}', 'decimal')}</div>"
    )


def _seen(number: int) -> str:
    return f'<div class="row">{_boxes(number, "Seen", "text")}</div>'


def _boxes(number: int, label: str, mode: str) -> str:
    def box(letter: str, text: str, kind: str) -> str:
        return (
            f'<label class="box-{letter}"><span>{text}</span>'
            f'<input type="text" id="{letter}{number}" inputmode="{kind}" autocomplete="off" maxlength="80"></label>'
        )

    fields = box("r", label, mode) + box("t", "Time", "text") + box("i", "Initials", "text")
    return f'<div class="boxes">{fields}</div><output id="s{number}" for="r{number}"></output>'


def _bottom(plan: Plan) -> str:
    cautions = "".join(f"<li>{escape(text)}</li>" for text in plan.cautions)
    unchecked = "".join(f"<li>{name(text)}</li>" for text in plan.not_checked) or "<li>nothing listed</li>"
    return (
        '<footer><p class="save"><a id="save" href="#" download="inspection_readings.json">Save the readings</a>'
        "<span>Readings are kept nowhere but on this page until they are saved.</span></p>"
        f'<section class="not-checked"><h2>Not checked by the plan</h2><ul>{unchecked}</ul></section>'
        f'<section><h2>Cautions</h2><ul class="cautions">{cautions}</ul></section></footer>\n'
    )


def summary_of(lines: Sequence[Line]) -> str:
    """Return how many lines, readings and numbers a list has."""
    readings = [reading for line in lines for reading in line.readings]
    numbered = sum(reading.number is not None for reading in readings)
    return f"{counted(len(lines), 'line')}, {counted(len(readings), 'reading')}, {counted(numbered, 'stop number')}"
