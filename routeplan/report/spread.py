"""Marks that would hide one another are set apart, each a step from its place."""

from __future__ import annotations

import math
from collections.abc import Sequence

from routeplan.report.shapes import Position

#: Marks closer than this hide one another; one that gives way goes so far, in the units of the picture.
APART, STEP = 19.0, 25.0
#: The ways to give way, the first one that is free is taken: above and below first, as ways mostly lie between.
_TURNS_DEG = (90.0, 270.0, 45.0, 135.0, 225.0, 315.0, 0.0, 180.0)


def spread(spots: Sequence[Position], size: Position) -> tuple[Position, ...]:
    """Return where each mark is drawn: at its spot, or a step aside where one before it stands; in order of weight.

    Parameters
    ----------
    spots
        Where the marks belong, the one that must not move first.
    size
        Width and height of the picture; no mark is pushed over its edge.
    """
    placed: list[Position] = []
    for x, y in spots:
        turns = map(math.radians, _TURNS_DEG)
        aside = ((x + STEP * math.cos(turn), y - STEP * math.sin(turn)) for turn in turns)
        tried = ((x, y), *(spot for spot in aside if _inside(spot, size)))
        free = (spot for spot in tried if not any(_hides(spot, other) for other in placed))
        placed.append(next(free, (x, y)))
    return tuple(placed)


def _hides(one: Position, other: Position) -> bool:
    return math.dist(one, other) < APART


def _inside(spot: Position, size: Position) -> bool:
    return APART / 2.0 <= spot[0] <= size[0] - APART / 2.0 and APART / 2.0 <= spot[1] <= size[1] - APART / 2.0
