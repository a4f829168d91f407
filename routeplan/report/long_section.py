"""The long section of a move: how it leans, what is to spare, how fast it is, strip by strip over chainage."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from routeplan.report.markup import escape, plain
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.side_svg import side_data, side_figure
from routeplan.report.side_view import SideView, stands
from routeplan.report.stops import Stop
from routeplan.report.wording import amount_text, down
from routeplan.route.model import Move, SectionRow

#: Size of a strip's picture, units; it is stretched to the width there is.
_WIDE, _HIGH = 1000.0, 40.0
#: More to spare than this is drawn as this much, by unit: what decides lies below.
_MOST = {"m": 1.0, "deg": 10.0, "kN": 50.0}
#: Units as they stand after a figure.
_AFTER = {"m": " m", "deg": "\N{DEGREE SIGN}", "m/s": " m/s", "kN": " kN"}


#: Said where a strip of loads has no figure: no pass rests on it.
_UNCLAIMED = "nothing claimed of the ground, or not known"


class Strip(NamedTuple):
    """One strip: the field of the rows, its title, its unit, whether it tells what is to spare, what NaN means."""

    field: str
    title: str
    unit: str
    spare: bool
    nothing: str = "nothing near"


STRIPS = (
    Strip("head_m", "To spare overhead", "m", True),
    Strip("strike_m", "To spare under the chassis", "m", True),
    Strip("body_m", "To spare to the side", "m", True),
    Strip("bounce_m", "To spare before the basket bounces too high", "m", True),
    Strip("grade_deg", "To spare on the way up or down", "deg", True),
    Strip("side_deg", "To spare on the side slope", "deg", True),
    Strip("pitch_deg", "Front up (+) or down (-)", "deg", False),
    Strip("roll_deg", "Left side up (+) or down (-)", "deg", False),
    Strip("level_m", "Ground under the machine", "m", False),
    Strip("load_kn", "To spare of what the ground lets a wheel carry", "kN", True, _UNCLAIMED),
    Strip("v_max_mps", "Speed limit", "m/s", False),
)


def long_section(index: int, move: Move, drawing: MoveDrawing) -> str:
    """Return the section of a move with a way to drive as HTML, and buttons to walk its stops; nothing without rows.

    Parameters
    ----------
    index
        Place of the move in the plan, from 1.
    drawing
        Its stops, its tightest place and the machine from its side.
    """
    rows, side = move.section, drawing.side
    if side is None:
        return ""
    marks = "".join(_tick(stop, move) for stop in drawing.stops if math.isfinite(stop.chainage_m))
    strips = "".join(_strip(strip, rows, move.length_m) for strip in STRIPS)
    return (
        f'<section class="long" data-move="{index}" tabindex="0" aria-label="Long section of move {escape(move.id)}">'
        '<div class="long-head"><h2>Long section</h2><p class="walk">'
        '<button type="button" data-walk="back">Back</button>'
        '<button type="button" data-walk="next">Next</button>'
        '<button type="button" data-walk="tightest">Tightest</button></p>'
        '<p class="at" aria-live="polite"></p></div>'
        f"{side_figure(index, side, _row_at(rows, drawing.tightest_m))}"
        f'<p class="how">The thick line is the limit; more than {_MOST["m"]:g} m, {_MOST["deg"]:g} degrees '
        f'or {_MOST["kN"]:g} kN to spare is drawn as that, and nothing near as a gap. The checks decide, not these '
        "strips.</p>"
        f'<div class="strips"><div class="ticks" aria-hidden="true">{marks}</div>{strips}'
        '<i class="cursor" hidden></i></div></section>'
    )


def _row_at(rows: Sequence[SectionRow], chainage_m: float) -> int:
    """The row that tells of a chainage, the first where there is none; the script finds the same."""
    at_m = chainage_m if math.isfinite(chainage_m) else 0.0
    return max(bisect.bisect_right([round(row.chainage_m, 2) for row in rows], at_m + 0.011) - 1, 0)


def walk_data(move: Move, drawing: MoveDrawing, side: SideView, origin: tuple[int, int]) -> dict[str, Any]:
    """Return what the page's script walks by: rows with where the machine stands and looks, stops, the tightest place.

    Parameters
    ----------
    origin
        Local origin of the drawing, whole metres.
    """
    rows = []
    for row, pose in zip(move.section, stands(move), strict=True):
        place = [round(100 * (pose.x - origin[0])), round(100 * (pose.y - origin[1])), round(pose.bearing_deg, 1)]
        rows.append([round(row.chainage_m, 2), *place, *(_number(getattr(row, strip.field)) for strip in STRIPS)])
    told = [
        [round(stop.chainage_m, 2), plain(f"{stop.words} {stop.number}, {stop.along}: {' '.join(stop.lines)}")]
        for stop in drawing.stops
        if math.isfinite(stop.chainage_m)
    ]
    return {
        "rows": rows, "stops": told, "side": side_data(side), "tightest": _number(drawing.tightest_m),
        "length": round(move.length_m, 2), "units": [_AFTER[strip.unit] for strip in STRIPS],
        "spare": [strip.spare for strip in STRIPS], "nothing": [strip.nothing for strip in STRIPS],
    }  # fmt: skip


def _number(value: float) -> float | None:
    """A number to three places, rounded down as what is to spare is; nothing where nothing is near."""
    return math.floor(value * 1000.0 + 1e-6) / 1000.0 if math.isfinite(value) else None


def _tick(stop: Stop, move: Move) -> str:
    share = 100.0 * min(max(stop.chainage_m / move.length_m, 0.0), 1.0) if move.length_m > 0 else 0.0
    return f'<b data-share="{share:.2f}">{stop.number}</b>'


def _strip(strip: Strip, rows: Sequence[SectionRow], length_m: float) -> str:
    """A strip: its title, its least or its range in words, and the picture; in words only where nothing is near."""
    told = [(getattr(row, strip.field), row.chainage_m) for row in rows]
    known = [(value, at) for value, at in told if math.isfinite(value)]
    words = _words(strip, known)
    picture = _picture(strip, told, length_m) if known else ""
    style = "strip spare" if strip.spare else "strip"
    return (
        f'<div class="{style}" data-field="{strip.field}"><p><b>{escape(strip.title)}</b> '
        f'<span class="least">{escape(words)}</span> <span class="here"></span></p>{picture}</div>'
    )


def _words(strip: Strip, known: Sequence[tuple[float, float]]) -> str:
    if not known:
        return strip.nothing
    low, high = min(known), max(known)
    if strip.spare:
        least = amount_text(low[0], strip.unit, upwards=False).replace(" deg", _AFTER["deg"])
        return f"least {least} at {low[1]:.1f} m"
    if strip.unit == "m/s":
        return f"{down(low[0], 2)} to {down(high[0], 2)}{_AFTER[strip.unit]}"
    return f"{low[0]:.2f} to {high[0]:.2f}{_AFTER[strip.unit]}"


def _picture(strip: Strip, told: Sequence[tuple[float, float]], length_m: float) -> str:
    """A line over the length, filled down to the limit where it tells what is to spare; gaps where nothing is near."""
    values = [value for value, _ in told if math.isfinite(value)]
    low, high = min(values), max(values)
    if strip.spare:
        low, high = min(0.0, low), _MOST[strip.unit]
    elif high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    along = max(length_m, told[-1][1], 1e-9)

    def point(value: float, at: float) -> str:
        y = _HIGH - 2.0 - (_HIGH - 4.0) * (min(value, high) - low) / (high - low)
        return f"{_WIDE * at / along:.0f} {y:.1f}"

    runs: list[list[tuple[float, float]]] = [[]]
    for (value, at), (_, then) in zip(told, [*told[1:], (0.0, along)], strict=True):
        if math.isfinite(value):
            runs[-1] += [(value, at), (value, then)]
        elif runs[-1]:
            runs.append([])
    lines = [" ".join(point(value, at) for value, at in run) for run in runs if run]
    base = _HIGH - 2.0 - (_HIGH - 4.0) * (0.0 - low) / (high - low)
    zero = f'<path class="limit" d="M0 {base:.1f}H{_WIDE:g}"/>' if low <= 0.0 <= high else ""
    paths = "".join(f'<path class="line" d="M{line}"/>' for line in lines)
    return (
        f'<svg viewBox="0 0 {_WIDE:g} {_HIGH:g}" preserveAspectRatio="none" aria-hidden="true">{zero}{paths}</svg>'
    )
