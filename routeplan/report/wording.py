"""Figures and verdicts in words; lengths, heights and margins are rounded towards the careful side."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from routeplan.route import Check, CheckVerdict, Move

#: Below this a last digit is float noise, not a figure.
_NOISE = 1e-9
_DECIMALS = {"m": 3, "deg": 1, "1": 2}


@dataclass(frozen=True)
class VerdictWords:
    """How a verdict is shown: its words, the id of its drawn symbol, what it means for the people on site."""

    words: str
    symbol: str
    meaning: str


VERDICTS: dict[str, VerdictWords] = {
    "pass": VerdictWords("Pass", "pass", "Every check is proven along the whole way."),
    "pass with controls": VerdictWords(
        "Pass with controls", "controls", "Every check is proven as long as each control below is in place."
    ),
    "not proven": VerdictWords(
        "Not proven", "open", "At least one check is open. Do not drive until it is settled by measurement."
    ),
    "fail": VerdictWords("Fail", "fail", "At least one check is broken. Do not drive."),
    "no route": VerdictWords("No route", "none", "Proved: under these rules there is no way for this machine."),
    "search limit": VerdictWords(
        "Search limit", "limit", "The search reached its limit. Nothing is proved either way."
    ),
}
#: Check verdicts from worst to best.
WORST_FIRST: tuple[CheckVerdict, ...] = ("fail", "not proven", "pass with controls", "pass")


def down(value: float, decimals: int) -> str:
    """Return a figure rounded down; for what must not look larger than it is (headroom, margins).

    >>> down(4.2, 2), down(0.0349, 3), down(-0.0301, 3)
    ('4.20', '0.034', '-0.031')
    """
    scale = 10**decimals
    return f"{math.floor(value * scale + _NOISE * scale) / scale:.{decimals}f}"


def up(value: float, decimals: int) -> str:
    """Return a figure rounded up; for what must not look smaller than it is (depths, tops, widths).

    >>> up(0.0341, 3)
    '0.035'
    """
    scale = 10**decimals
    return f"{math.ceil(value * scale - _NOISE * scale) / scale:.{decimals}f}"


def decimals(unit: str) -> int:
    """Return how many decimals a figure of this unit is shown with."""
    return _DECIMALS.get(unit, 3)


def unit_text(unit: str) -> str:
    """Return a unit as printed; the bare ratio has none."""
    return "" if unit == "1" else unit


def quantity(text: str, unit: str) -> str:
    """Return a rounded figure with its unit, or the words for a figure that does not exist."""
    return f"{text} {unit_text(unit)}".rstrip()


def margin_text(check: Check) -> str:
    """Return the margin, rounded against the user, or ``not made``."""
    if not math.isfinite(check.margin):
        return "not made"
    return quantity(down(check.margin, decimals(check.unit)), check.unit)


def value_text(check: Check) -> str:
    """Return the value, rounded towards its limit, or ``not made``."""
    if not math.isfinite(check.value):
        return "not made"
    places = decimals(check.unit)
    upper_limit = abs(check.value + check.margin - check.limit) <= abs(check.value - check.margin - check.limit)
    return quantity(up(check.value, places) if upper_limit else down(check.value, places), check.unit)


def limit_text(check: Check) -> str:
    """Return the limit to one digit more than the margin, or ``not made``."""
    if not math.isfinite(check.limit):
        return "not made"
    return quantity(f"{check.limit:.{decimals(check.unit)}f}", check.unit)


def bound_text(move: Move) -> str:
    """Return how far the way can be from the best one, in words.

    Parameters
    ----------
    move
        Its ``bound`` is the ratio to the least possible, NaN when there is no way to measure.
    """
    if not math.isfinite(move.bound):
        return "no way to measure"
    percent = (move.bound - 1.0) * 100.0
    if percent <= _NOISE:
        return "the best on the planner's grid"
    return f"within {up(percent, 0)} % of the best on the planner's grid"


def length_text(move: Move) -> str:
    """Return the length of the way in metres, rounded up, or that there is none."""
    return f"{up(move.length_m, 1)} m" if math.isfinite(move.length_m) else "no way"


def decisive(check: Check) -> tuple[int, float, str]:
    """Return the key that sorts checks by how much they decide: worst verdict first, then smallest share of the limit.

    A limit of zero counts as one unit; a check that was not made comes last among those of its verdict.
    """
    scale = abs(check.limit) if math.isfinite(check.limit) and check.limit else 1.0
    share = check.margin / scale if math.isfinite(check.margin) else math.inf
    return (WORST_FIRST.index(check.verdict), share, check.kind)


def governing(move: Move) -> Check | None:
    """Return the check that decides the move, ``None`` when it has no checks."""
    return min(move.checks, key=decisive, default=None)


def span_text(from_m: float, to_m: float) -> str:
    """Return a stretch of the way by its chainages."""
    return f"{from_m:.1f} m to {to_m:.1f} m"


def against_text(value: float, limit: float, unit: str) -> str:
    """Return a figure beside the limit that it is held against.

    >>> against_text(0.27, 0.3, "m")
    '0.270 m, limit 0.300 m'
    """
    return f"{quantity(f'{value:.{decimals(unit)}f}', unit)}, limit {quantity(f'{limit:.{decimals(unit)}f}', unit)}"


def time_text(stamp: str) -> str:
    """Return a time of the plan as people write it; text in another form stays as it is.

    >>> time_text("2026-11-30T07:30:00Z")
    '2026-11-30 07:30 UTC'
    """
    found = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):\d\d(?:\.\d+)?(?:Z|\+00:00)", stamp)
    return f"{found[1]} {found[2]} UTC" if found else stamp


def place_text(place: tuple[float, float]) -> str:
    """Return site coordinates to a tenth of a metre, or that there is no place.

    >>> place_text((12.04, 88.5))
    'E 12.0 N 88.5'
    """
    if not all(math.isfinite(value) for value in place):
        return "no place"
    return f"E {place[0]:.1f} N {place[1]:.1f}"
