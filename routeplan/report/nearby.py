"""What of a site a move comes near, so that its plan names that and leaves the rest unnamed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer, Shape

#: Closer than this to what a move sweeps, or to its ends, stops and misses, a thing is named, metres.
NEAR_M = 3.0
#: Looks of things that a driver has to know only where they are near; rooms, areas and ground say where one is.
_NAMED_NEAR = ("hazard", "obstacle", "soffit", "walkway")


def unnamed(base: Sequence[Layer], drawing: MoveDrawing) -> tuple[int, ...]:
    """Return which shapes of the site, counted through its layers, a move's plan leaves unnamed."""
    drawn = [shape for layer in drawing.layers if layer.id != "closed" for shape in layer.shapes]
    if not drawn:
        return ()
    met = shapely.union_all([_geometry(shape) for shape in drawn])
    shapely.prepare(met)
    shapes = [shape for layer in base for shape in layer.shapes]
    asked = [number for number, shape in enumerate(shapes) if shape.label and shape.style.startswith(_NAMED_NEAR)]
    near = shapely.dwithin(met, [_geometry(shapes[number]) for number in asked], NEAR_M)
    return tuple(number for number, found in zip(asked, near, strict=True) if not found)


def named_near(base: Sequence[Layer], drawing: MoveDrawing) -> tuple[Layer, ...]:
    """Return the site's layers, with the names of what the move comes nowhere near left out."""
    silent = set(unnamed(base, drawing))
    quiet, number = [], 0
    for layer in base:
        shapes = []
        for shape in layer.shapes:
            shapes.append(replace(shape, label="") if number in silent else shape)
            number += 1
        quiet.append(replace(layer, shapes=tuple(shapes)))
    return tuple(quiet)


def _geometry(shape: Shape) -> BaseGeometry:
    if shape.kind == "mark":
        return Point(shape.parts[0][0][0])
    if shape.kind == "line":
        return shapely.union_all([LineString(part[0]) for part in shape.parts])
    return shapely.union_all([Polygon(part[0], part[1:]).buffer(0.0) for part in shape.parts])
