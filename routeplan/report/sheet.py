"""How much of a sheet the plan may take, so that a move with an ordinary number of lines stays on one side of A4."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.report.plan_svg import HEIGHT_UNITS, UNIT_M
from routeplan.report.stops import Stop
from routeplan.route import Move

#: Of an A4 sheet upright, what head, verdict, key, ruled lines and cautions leave to plan and tables, millimetres.
_ROOM_MM = 164.0
#: A line of a table, and what a table adds around its lines, millimetres.
_LINE_MM, _AROUND_MM = 3.2, 8.5
#: Characters of the narrow column's text to a line, of a two-column cell, and of the names of checks.
_STOP_CHARS, _CELL_CHARS, _KIND_CHARS = 38, 24, 22
#: Less than this shows nothing, units of the plan.
_LEAST_UNITS = 240


def plan_units(move: Move, stops: Sequence[Stop], *, open_lines: Iterable[str] = ()) -> int:
    """Return the height of a move's plan, in units, that leaves room for its tables.

    Parameters
    ----------
    open_lines
        What is to be settled, a line of words for each row.
    """
    stop_lines = sum(1 + _lines(stop.lines, _STOP_CHARS) for stop in stops)
    rows = [[miss.text for miss in move.nearest_misses], list(open_lines)]
    rows.append([item.text for item in move.refused.objections] if move.refused is not None else [])
    tables = sum(_AROUND_MM + _LINE_MM * _lines(texts, _CELL_CHARS) for texts in rows if texts)
    left = _AROUND_MM + _LINE_MM * stop_lines + tables
    right = _AROUND_MM + _LINE_MM * 1.1 * _lines((check.kind for check in move.checks), _KIND_CHARS)
    units = (_ROOM_MM - max(left, right)) / (UNIT_M * 1000.0)
    return max(_LEAST_UNITS, min(HEIGHT_UNITS, math.floor(units)))


def _lines(texts: Iterable[str], chars: int) -> int:
    return sum(max(1, math.ceil(len(text) / chars)) for text in texts)
