"""What the page's script draws: whole centimetres from a local origin, and words that it shows as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from routeplan.machine.model import Machine
from routeplan.report.long_section import walk_data
from routeplan.report.markup import plain
from routeplan.report.nearby import unnamed
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Bounds, Layer, Line, Shape
from routeplan.route.model import Move, Plan

#: Whole numbers in the data are this many to the metre: 10 mm each.
_PER_METRE = 100


def map_data(
    base: Sequence[Layer], drawings: Sequence[MoveDrawing], words: Sequence[str], *, plan: Plan, extent: Bounds
) -> dict[str, Any]:
    """Return the drawing as plain lists for JSON.

    Parameters
    ----------
    base, drawings
        What is drawn of the site, and of each move.
    words
        Each move's verdict in words.
    plan
        Whose moves are walked.
    extent
        West, south, east and north of the site; its south-west corner, in whole metres, is the local origin.
    """
    origin = (math.floor(extent[0]), math.floor(extent[1]))
    return {
        "origin": origin,
        "bounds": _local(((extent[0], extent[1]), (extent[2], extent[3])), origin),
        "base": [_shape(shape, origin) for layer in base for shape in layer.shapes],
        "moves": [
            _move(drawing, shown, drawing.bounds or extent, origin)
            | {"unnamed": unnamed(base, drawing)}
            | _walk(move, drawing, plan.machines[move.machine], origin)
            for move, drawing, shown in zip(plan.moves, drawings, words, strict=True)
        ],
    }


def _move(drawing: MoveDrawing, words: str, bounds: Bounds, origin: tuple[int, int]) -> dict[str, Any]:
    return {
        "words": words,
        "bounds": _local(((bounds[0], bounds[1]), (bounds[2], bounds[3])), origin),
        "shapes": [_shape(shape, origin) for layer in drawing.layers for shape in layer.shapes],
    }


def _walk(move: Move, drawing: MoveDrawing, machine: Machine, origin: tuple[int, int]) -> dict[str, Any]:
    """What the machine is walked by: its outline ahead and to the left of its origin, and its rows."""
    if drawing.side is None:
        return {}
    footprint = machine.configurations[move.configuration].footprint
    ring = [[round(xi * _PER_METRE), round(eta * _PER_METRE)] for xi, eta in footprint]
    return {"ring": ring, "walk": walk_data(move, drawing, drawing.side, origin)}


def _shape(shape: Shape, origin: tuple[int, int]) -> list[Any]:
    """Return kind, style, parts, label with its place or 0, words or 0, and the character of a mark."""
    label: Any = 0
    if shape.label and shape.label_at is not None:
        label = [plain(shape.label), *_local((shape.label_at,), origin)]
    words: Any = 0
    if shape.details:
        words = [plain(shape.title), *([plain(term), plain(text)] for term, text in shape.details)]
    parts = [[_local(ring, origin) for ring in part] for part in shape.parts]
    return [shape.kind, shape.style, parts, label, words, plain(shape.mark)]


def _local(points: Line, origin: tuple[int, int]) -> list[int]:
    return [round((value - origin[axis]) * _PER_METRE) for point in points for axis, value in enumerate(point)]
