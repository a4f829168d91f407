"""The shapes that a drawing is made of: plain values in site metres with their words.

A shape names a style; how a style looks is the business of whoever prints it. Coordinates are rounded to 10 mm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

Position = tuple[float, float]
Line = tuple[Position, ...]
Details = tuple[tuple[str, str], ...]
Bounds = tuple[float, float, float, float]

#: Outlines may leave their exact course by this much, metres.
LINE_TOLERANCE_M = 0.01


@dataclass(frozen=True)
class Shape:
    """One thing on the map.

    Parameters
    ----------
    kind
        ``area`` (filled, even-odd), ``line``, or ``mark`` (a symbol of fixed size on paper at a point).
    style
        Name of its look, in kebab-case.
    parts
        Area: polygons, each an outer ring and its holes. Line: one line a part. Mark: one point.
    title, details
        What it is, and its figures as names and values; a shape without details is background.
    label, label_at
        Short text printed beside it, and where; no text, no label.
    mark
        The character inside a mark.
    """

    kind: Literal["area", "line", "mark"]
    style: str
    parts: tuple[tuple[Line, ...], ...]
    title: str = ""
    details: Details = ()
    label: str = ""
    label_at: Position | None = None
    mark: str = ""


@dataclass(frozen=True)
class Layer:
    """Shapes of one sort, in the order in which they are drawn."""

    id: str
    title: str
    shapes: tuple[Shape, ...]


def position(x: float, y: float) -> Position:
    """Return site coordinates rounded to 10 mm."""
    return (round(x, 2) + 0.0, round(y, 2) + 0.0)


def area(style: str, geometry: BaseGeometry, *, title: str = "", details: Details = (), label: str = "") -> Shape:
    """Return a geometry's polygons as one area; its label stands inside the largest of them."""
    polygons = [part for part in _flat(geometry) if isinstance(part, Polygon) and part.area > 0.0]
    largest = max(polygons, key=lambda part: part.area, default=None)
    inside = largest.representative_point() if largest is not None else None
    return Shape(
        kind="area",
        style=style,
        parts=tuple(tuple(_line(ring) for ring in (part.exterior, *part.interiors)) for part in polygons),
        title=title,
        details=details,
        label=label if inside is not None else "",
        label_at=position(inside.x, inside.y) if inside is not None else None,
    )


def line(style: str, points: Iterable[Position], *, title: str = "", details: Details = ()) -> Shape:
    """Return a line simplified to 10 mm; one point alone gives a line of no length."""
    course = tuple(points)
    drawn = _line(LineString(course if len(course) > 1 else course * 2))
    return Shape(kind="line", style=style, parts=((drawn,),), title=title, details=details)


def mark(style: str, at: Position, character: str, *, title: str = "", details: Details = (), label: str = "") -> Shape:
    """Return a symbol at a point, with a character in it and a label beside it."""
    spot = position(*at)
    return Shape("mark", style, (((spot,),),), title, details, label, spot, character)


def bounds_of(layers: Iterable[Layer]) -> Bounds | None:
    """Return west, south, east and north of everything drawn, ``None`` when nothing is."""
    points = [
        point for layer in layers for shape in layer.shapes for part in shape.parts for ring in part for point in ring
    ]
    if not points:
        return None
    xs, ys = zip(*points, strict=True)
    return (min(xs), min(ys), max(xs), max(ys))


def _flat(geometry: BaseGeometry) -> list[BaseGeometry]:
    parts = getattr(geometry, "geoms", None)
    return [geometry] if parts is None else [piece for part in parts for piece in _flat(part)]


def _line(course: BaseGeometry) -> Line:
    simple = course.simplify(LINE_TOLERANCE_M)
    return tuple(position(point[0], point[1]) for point in simple.coords)
