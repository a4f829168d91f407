"""How much of a sheet the plan may take, so that a move with an ordinary number of lines stays on one side of A4."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.report.margins import idle, idle_words
from routeplan.report.plan_svg import HEIGHT_UNITS, UNIT_M
from routeplan.report.stops import Stop
from routeplan.route.model import Move

#: Of an A4 sheet upright, what head, verdict, key, ruled lines and cautions leave to plan and tables, millimetres.
_ROOM_MM = 163.0
#: A line of a table, and what a table adds around its lines, millimetres.
_LINE_MM, _AROUND_MM = 3.2, 8.5
#: A line of the facts, millimetres.
_FACT_MM = 3.5
#: Characters to a line of the narrow column's text, of a table over the whole width, of the names of checks, and of
#: the words for those that tell nothing more.
_STOP_CHARS, _WIDE_CHARS, _KIND_CHARS, _IDLE_CHARS = 43, 125, 27, 80
#: Less than this shows nothing, units of the plan.
_LEAST_UNITS = 190


def plan_units(
    move: Move, stops: Sequence[Stop], *, facts: Sequence[str] = (), wide: Iterable[Sequence[str]] = ()
) -> int:
    """Return the height of a move's plan, in units, that leaves room for its tables.

    Parameters
    ----------
    facts
        What a driver needs first, a line of words for each fact.
    wide
        Tables over the whole width besides those of misses and objections: of each a line of words for each row.
    """
    across = [*wide, [miss.text for miss in move.nearest_misses]]
    across.append([item.text for item in move.refused.objections] if move.refused is not None else [])
    above = sum(_AROUND_MM + _LINE_MM * 1.1 * _lines(texts, _WIDE_CHARS) for texts in across if texts)
    above += _FACT_MM * _lines(facts, _WIDE_CHARS)
    left = _AROUND_MM + _LINE_MM * sum(1 + _lines(stop.lines, _STOP_CHARS) for stop in stops)
    kinds = [check.kind for check in move.checks if not idle(check)]
    right = _AROUND_MM + _LINE_MM * (1.1 * _lines(kinds, _KIND_CHARS) + _lines([idle_words(move)], _IDLE_CHARS))
    units = (_ROOM_MM - above - max(left, right)) / (UNIT_M * 1000.0)
    return max(_LEAST_UNITS, min(HEIGHT_UNITS, math.floor(units)))


def _lines(texts: Iterable[str], chars: int) -> int:
    return sum(max(1, math.ceil(len(text) / chars)) for text in texts)
