"""From a row's geometry to outlines in plan: flat, finite, valid, in one piece each, and as wide as they are."""

from __future__ import annotations

import math
import re
from typing import cast

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.site.faults import Door, at
from routeplan.site.layers import RawFeature

#: Segments in a quarter circle of a widened point.
QUAD_SEGS = 8

#: A polygon of 4 * QUAD_SEGS corners drawn round a circle, not inside it, so that nothing is smaller than it is.
ROUND_OUT = 1.0 / math.cos(math.pi / (4 * QUAD_SEGS))

#: Half the way round the earth, metres; no coordinate of a projected system in use is larger.
FARTHEST_M = 2.1e7

_SINGLE = {
    "Polygon": "Polygon",
    "MultiPolygon": "Polygon",
    "LineString": "LineString",
    "MultiLineString": "LineString",
    "Point": "Point",
    "MultiPoint": "Point",
}

_WORDS = {"Polygon": "an area", "LineString": "a line", "Point": "a point"}


def checked(raw: RawFeature, *, kinds: tuple[str, ...], door: Door) -> BaseGeometry | None:
    """Return the row's geometry in plan when it is sound, else None with a fault.

    Parameters
    ----------
    raw
        The row.
    kinds
        Kinds that the layer takes: ``"Polygon"``, ``"LineString"``, ``"Point"``; their Multi forms go with them.
    door
        Faults and repairs.
    """
    geometry = raw.geometry
    if raw.broken:
        return None
    if geometry is None or geometry.is_empty:
        door.faults.add(
            "geometry-empty", raw.where, "it has no geometry that can be read", "draw it, or delete the row"
        )
        return None
    geometry = shapely.force_2d(geometry)
    if not all(math.isfinite(value) for value in shapely.get_coordinates(geometry).ravel()):
        door.faults.add("coordinates-not-finite", raw.where, "a coordinate is NaN or infinite", "draw it again")
        return None
    if abs(shapely.get_coordinates(geometry)).max() > FARTHEST_M:
        door.faults.add("coordinates-absurd", raw.where, "a coordinate is larger than the earth", "draw it again")
        return None
    if _SINGLE.get(geometry.geom_type) not in kinds:
        wanted = " or ".join(_WORDS[kind] for kind in kinds)
        door.faults.add("geometry-type", raw.where, f"it is a {geometry.geom_type}", f"this layer takes {wanted}")
        return None
    return geometry if geometry.is_valid else _invalid(raw, geometry, door)


def _invalid(raw: RawFeature, geometry: BaseGeometry, door: Door) -> BaseGeometry | None:
    """Mend an invalid outline where the site asked for it; else a fault that names the place."""
    reason, place = _reason(geometry)
    mendable = geometry.geom_type in {"Polygon", "MultiPolygon"}
    if not (door.repair and mendable):
        mend = (
            'draw it again, or write repair = "make_valid" to have it mended and listed'
            if mendable
            else "draw it again"
        )
        door.faults.add("geometry-invalid", f"{raw.where}{place}", reason, mend)
        return None
    # "structure" merges rings that overlap; the other method would leave holes where an outline covers itself twice.
    mended = shapely.make_valid(geometry, method="structure", keep_collapsed=False)
    pieces = [
        part
        for part in shapely.get_parts(mended, return_index=False)
        if part.geom_type == "Polygon" and part.area > 0.0
    ]
    if not pieces:
        door.faults.add(
            "geometry-empty", f"{raw.where}{place}", f"{reason}; nothing is left when mended", "draw it again"
        )
        return None
    whole = pieces[0] if len(pieces) == 1 else MultiPolygon(pieces)
    door.repairs.append(
        f"{raw.where}{place}: {reason}; mended to {whole.area:.2f} m2 in {len(pieces)} "
        f"piece{'s' if len(pieces) > 1 else ''}"
    )
    return whole


def _reason(geometry: BaseGeometry) -> tuple[str, str]:
    """Return why an outline is invalid, and ``", at ..."`` where."""
    text = str(shapely.is_valid_reason(geometry))
    match = re.fullmatch(r"(.*)\[(\S+) (\S+)\]", text)
    if not match:
        return f"the outline is invalid: {text}", ""
    return f"the outline is invalid: {match[1].strip()}", f", {at(float(match[2]), float(match[3]))}"


def widened(
    raw: RawFeature, *, width_m: float | None, kinds: tuple[str, ...], door: Door
) -> tuple[tuple[str, Polygon], ...]:
    """Return the row's outlines in plan with their ids; several parts are numbered ``id#1``, ``id#2``.

    Parameters
    ----------
    raw
        A row with an id.
    width_m
        Full width of a line, diameter of a point; not used for areas.
    kinds, door
        As for `checked`.
    """
    geometry = checked(raw, kinds=kinds, door=door)
    if geometry is None:
        return ()
    parts = shapely.get_parts(geometry, return_index=False)
    if _SINGLE[geometry.geom_type] != "Polygon" and width_m is None and raw.columns.get("width_m") is not None:
        return ()  # the width given is at fault, and that has been told
    if _SINGLE[geometry.geom_type] != "Polygon" and width_m is None:
        kind = _WORDS[_SINGLE[geometry.geom_type]]
        door.faults.add("width-missing", raw.where, f"it is {kind} without width_m", "give its width in metres")
        return ()
    outlines = [_widen(part, width_m) for part in parts]
    name = raw.id or "1"
    return tuple((name if len(parts) == 1 else f"{name}#{n}", outline) for n, outline in enumerate(outlines, start=1))


def _widen(part: BaseGeometry, width_m: float | None) -> Polygon:
    """Give a line or a point its width."""
    if part.geom_type == "Polygon" or width_m is None:
        return cast(Polygon, part)
    if part.geom_type == "Point":
        return cast(Polygon, part.buffer(width_m / 2.0 * ROUND_OUT, quad_segs=QUAD_SEGS))
    return cast(Polygon, part.buffer(width_m / 2.0, cap_style="flat", join_style="mitre"))


def longest_side_m(outline: Polygon) -> float:
    """Return the longer side of the smallest rectangle round an outline, metres.

    >>> longest_side_m(Polygon([(0, 0), (2, 0), (2, 1), (0, 1)]))
    2.0
    """
    corners = shapely.get_coordinates(outline.minimum_rotated_rectangle)
    return max(math.dist(a, b) for a, b in zip(corners[:-1], corners[1:], strict=True))


def single_point(raw: RawFeature, *, door: Door) -> Point | None:
    """Return the one point of a row, else None with a fault."""
    geometry = checked(raw, kinds=("Point",), door=door)
    if geometry is None:
        return None
    parts = shapely.get_parts(geometry, return_index=False)
    if len(parts) > 1:
        door.faults.add("geometry-type", raw.where, f"it has {len(parts)} points", "give each place one point")
        return None
    return cast(Point, parts[0])
