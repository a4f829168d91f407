"""Figures and verdicts in words; lengths, heights and margins are rounded towards the careful side."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from routeplan.route.model import Move
from routeplan.site.model import Site

#: Below this a last digit is float noise, not a figure.
_NOISE = 1e-9


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
#: Of a route that the second opinion does not accept, whatever the plan says.
REFUSED = VerdictWords(
    "Refused", "fail", "The second opinion does not accept the route that was found. Do not drive it."
)


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


def amount_text(value: float, unit: str, *, upwards: bool) -> str:
    """Return a rounded figure with its unit: metres below ten as millimetres, ratios as percent, degrees to a tenth.

    >>> amount_text(0.0689, "m", upwards=False), amount_text(0.0689, "1", upwards=True)
    ('68 mm', '7 %')
    """
    rounded = up if upwards else down
    if unit == "m" and abs(value) < 10.0:
        return f"{rounded(value * 1000.0, 0)} mm"
    if unit == "1":
        return f"{rounded(value * 100.0, 0)} %"
    return f"{rounded(value, 1)} {unit}"


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
    return f"costs at most {up(percent, 0)} % above the best on the planner's grid"


def length_text(move: Move) -> str:
    """Return the length of the way in metres, rounded up, or that there is none."""
    return f"{up(move.length_m, 1)} m" if math.isfinite(move.length_m) else "no way"


def driven(move: Move) -> bool:
    """Return whether a move may be driven, under its controls."""
    return move.verdict in ("pass", "pass with controls") and move.refused is None


def shown(move: Move) -> VerdictWords:
    """Return how a move is shown: by its verdict, or as refused where the second opinion does not accept it."""
    return REFUSED if move.refused is not None else VERDICTS[move.verdict]


def place_name(place_id: str, site: Site) -> str:
    """Return a place by the name that people on site use; words for a gap or hold point stay as they are."""
    found = site.places.get(place_id)
    return found.title if found is not None and found.title else place_id


def through_text(move: Move, site: Site) -> str:
    """Return what a way leads through or stops at between its ends, in driving order."""
    return ", ".join(place_name(leg.goal, site) for leg in move.legs[:-1])


def counted(number: int, what: str) -> str:
    """Return a number with the word for what is counted.

    >>> counted(0, "stop"), counted(1, "stop"), counted(2, "stop")
    ('no stops', '1 stop', '2 stops')
    """
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def span_text(from_m: float, to_m: float) -> str:
    """Return a stretch of the way by its chainages."""
    return f"{from_m:.1f} m to {to_m:.1f} m"


def against_text(value: float, limit: float, unit: str) -> str:
    """Return a figure beside the limit that it is held against; above a limit it is rounded up, below it down.

    >>> against_text(0.0889, 0.5, "m"), against_text(0.5, 0.3, "m"), against_text(0.05, 0.0, "m")
    ('88 mm, limit 500 mm', '500 mm, limit 300 mm', '50 mm')
    """
    if math.isnan(value):
        return "no figure"
    text = amount_text(value, unit, upwards=value > limit > 0.0)
    return f"{text}, limit {amount_text(limit, unit, upwards=False)}" if limit and not math.isnan(limit) else text


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
