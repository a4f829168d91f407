"""Signs of a move: what endangers on its way and what must be done, drawn for this project, always with words.

Outlines and colours are those of ISO 3864-1: a triangle warns, a disc commands, a ring with a bar forbids, a square
shows where help is. None of the pictures is one of ISO 7010.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import groupby

from routeplan.machine.model import Machine
from routeplan.report.margins import capped, made
from routeplan.report.markup import escape
from routeplan.report.wording import down
from routeplan.route.model import Move

_SHAPES = {
    "warn": '<path d="M24 4L45 42H3Z" fill="#ffd200" stroke="#111" stroke-width="3" stroke-linejoin="round"/>',
    "must": '<circle cx="24" cy="24" r="21" fill="#0a4da2"/>',
    "not": '<circle cx="24" cy="24" r="19.5" fill="#fff" stroke="#c8102e" stroke-width="4.5"/>',
    "safe": '<path d="M3 3H45V45H3Z" fill="#007a4d"/>',
}
#: Drawn over the picture: the bar of what is forbidden.
_BAR = '<path d="M10.5 10.5L37.5 37.5" stroke="#c8102e" stroke-width="4.5"/>'
#: Picture by sign: the outline, and what is drawn in it.
_PICTURES: dict[str, tuple[str, str]] = {
    "overhead": (
        "warn",
        '<path d="M12 19H36V22H12Z" fill="#111"/><circle cx="24" cy="26" r="2.6" fill="#111"/>'
        '<path d="M20 30H28V34H20ZM17 34H31V39H17Z" fill="#111"/>',
    ),
    "ground": (
        "warn",
        '<path d="M8 31H17V38H31V31H40" fill="none" stroke="#111" stroke-width="2.6"/><circle cx="24" cy="30" r="6.4"'
        ' fill="#111"/><path d="M24 12V20M20 17L24 21L28 17" fill="none" stroke="#111" stroke-width="2.4"/>',
    ),
    "slope": ("warn", '<path d="M12 38H37V27Z" fill="#111"/><path d="M14 32L26 26L25 23L13 29Z" fill="#111"/>'),
    "line": ("warn", '<path d="M26 16L18 29H23L21 39L31 25H26L29 16Z" fill="#111"/>'),
    "people": (
        "warn",
        '<circle cx="22" cy="19" r="2.8" fill="#111"/>'
        '<path d="M22 23L20 31L15 38M20 31L26 38M22 24L28 28M22 24L16 29" fill="none" stroke="#111"'
        ' stroke-width="2.8"/>',
    ),
    "reverse": (
        "warn",
        '<path d="M26 37H41V30H36V26H29V30H26Z" fill="#111"/><path d="M24 33H16M19 29.5L15.5 33L19 36.5" fill="none"'
        ' stroke="#111" stroke-width="2.4"/><circle cx="10.5" cy="31" r="2" fill="#111"/>'
        '<path d="M10.5 33V38" stroke="#111" stroke-width="2.6"/>',
    ),
    "walk": (
        "must",
        '<path d="M9 19Q24 7 39 19Q24 31 9 19Z" fill="#fff"/><circle cx="24" cy="19" r="4.6" fill="#0a4da2"/>'
        '<path d="M12 38L36 32" stroke="#fff" stroke-width="4" stroke-dasharray="5 3.4"/>',
    ),
    "down": (
        "must",
        '<path d="M13 33H35V38H13ZM15 12H33V15H15Z" fill="#fff"/>'
        '<path d="M24 17V29M18.5 24L24 30L29.5 24" fill="none" stroke="#fff" stroke-width="3.2"/>',
    ),
    "raised": (
        "must",
        '<path d="M13 34H35V39H13ZM15 10H33V14H15Z" fill="#fff"/>'
        '<path d="M17 16L31 32M31 16L17 32" stroke="#fff" stroke-width="3"/>',
    ),
    "wait": (
        "must",
        '<circle cx="17" cy="14" r="3.6" fill="#fff"/><path d="M17 18V29L13 39M17 29L21 39M17 20L10 27M17 20L24 9"'
        ' fill="none" stroke="#fff" stroke-width="3.4" stroke-linecap="round"/>'
        '<path d="M30 20V34M30 26H41" stroke="#fff" stroke-width="4"/>',
    ),
    "turn": (
        "must",
        '<path d="M13 29A12 12 0 1 1 29 35" fill="none" stroke="#fff" stroke-width="3.6"/>'
        '<path d="M8 25L13.5 33L19 26Z" fill="#fff"/>',
    ),
    "keep-out": (
        "not",
        '<circle cx="24" cy="14" r="3.4" fill="#111"/><path d="M24 18V28L18 37M24 28L30 37M24 20L32 25M24 20L16 25"'
        ' fill="none" stroke="#111" stroke-width="3.2"/>' + _BAR,
    ),
    "rescue": (
        "safe",
        '<path d="M24 9V39M9 24H39" stroke="#fff" stroke-width="8"/>',
    ),
}  # fmt: skip
#: What lies this far overhead or more, m, asks for no sign.
_OVERHEAD_M = 1.0


def signs(move: Move) -> str:
    """Return the signs of a move that is driven, most pressing first, as a list in HTML."""
    drawn = "".join(
        f'<li><svg class="sign" viewBox="0 0 48 48" width="48" height="48" aria-hidden="true" focusable="false">'
        f"{_SHAPES[_PICTURES[ident][0]]}{_PICTURES[ident][1]}</svg><span>{escape(words)}</span></li>"
        for ident, words in signs_of(move)
    )
    return f'<ul class="signs" aria-label="Signs">{drawn}</ul>'


def signs_of(move: Move) -> Iterator[tuple[str, str]]:
    """Yield the id of each sign that a move asks for, and its words."""
    yield "walk", "Walk the route first"
    if move.platform_height_m is None:
        yield "down", "Platform down while it travels"
    else:
        yield "raised", f"Platform floor no higher than {down(move.platform_height_m, 2)} m"
    over = [row.head_m for row in move.section if math.isfinite(row.head_m)]
    if min(over, default=math.inf) < _OVERHEAD_M:
        yield "overhead", "Low overhead: look up, hands in"
    if any(zone.kind == "bounce" for zone in move.zones):
        yield "ground", "Edge or hole: keep to the line"
    if any(one.orientation != "level" for one in move.stands):
        yield "slope", "Slope: face it as the sheet says"
    if any(_met(move, kind) for kind in ("line clearance", "overhead lines")):
        yield "line", "Live line: keep out"
    kinds = {control.kind for control in move.controls}
    if "walkway" in kinds:
        yield "people", "People cross here"
        yield "wait", "Stop; go when the marshal says"
    if "turning" in kinds:
        yield "turn", "The line turns the machine: follow it"
    if move.reversals:
        yield "reverse", "Backwards: marshal in sight"
    beside = any(pose.travel_mode != "ridden" for pose in move.poses)
    yield "keep-out", "Only its driver beside it, nobody under it" if beside else "Nobody beside or under it"
    yield "rescue", "Rescuer named before it moves"


def facing_signs(move: Move, machine: Machine) -> str:
    """Return the machine from above as it drives, once for each change of its leading end, as pictures without words.

    In it the arrow of the chassis and the basket; over it the way it drives.
    """
    basket = machine.configurations[move.configuration].basket.end
    drawn = []
    for facing, _ in groupby(move.stands, key=lambda one: one.facing):
        forwards = (facing == "leading") == (basket != "rear")
        drive = "M22 4H50M44 0L51 4L44 8" if forwards else "M50 4H22M28 0L21 4L28 8"
        box = {"front": "M52 15H62V27H52Z", "rear": "M10 15H20V27H10Z"}.get(basket or "", "")
        drawn.append(
            '<svg class="faces" viewBox="6 -2 60 34" width="60" height="34" aria-hidden="true" focusable="false">'
            f'<path d="{drive}" fill="none" stroke="#111" stroke-width="2.4"/>'
            f'<path d="M20 13H52V29H20Z{box}" fill="#fff" stroke="#0a3d78" stroke-width="1.8"/>'
            '<path d="M27 21H43M38 17L44 21L38 25" fill="none" stroke="#0a3d78" stroke-width="2"/></svg>'
        )
    return "".join(drawn)


def _met(move: Move, kind: str) -> bool:
    """Whether anything that a check of a kind looks at is near a move."""
    return any(check.kind == kind and made(check) and not capped(check) for check in move.checks)
