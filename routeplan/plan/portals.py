"""Doors, gates, ramp ends and narrow gaps: what ways lead through, found from the plan, each with the line across it.

The site names some of them as places; others are gaps that leave little more than a machine wants.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from routeplan.route import Pose, heading_rad
from routeplan.search.passages import Passage
from routeplan.site.model import Place, Site

#: Kinds of places that are led through, and how far the line across reaches to either side where nothing stands, m.
KINDS = {"door": 4.0, "gate": 10.0, "ramp end": 20.0}
#: The same of a gap that is no place of the site.
GAP_REACH_M = 4.0
#: A gap this close to a portal that the site names is that portal, m.
SAME_M = 2.0
#: Rows of a way within this distance of an earlier crossing still belong to it, m.
APART_M = 3.0


@dataclass(frozen=True)
class Portal:
    """Something that ways lead through.

    Parameters
    ----------
    name
        Id of the site's place, or words for what the gap lies between.
    across
        The line from one side to the other; where the site gives a place no bearing, an area round it.
    """

    name: str
    middle: Point
    across: BaseGeometry


def _across(middle: Point, heading: float, half_m: float) -> LineString:
    dx, dy = -half_m * math.sin(heading), half_m * math.cos(heading)
    return LineString([(middle.x - dx, middle.y - dy), (middle.x + dx, middle.y + dy)])


def _clear_line(middle: Point, heading: float, reach_m: float, solid: BaseGeometry) -> LineString:
    """The line across a portal as far as nothing stands on it."""
    line = _across(middle, heading, reach_m)
    clear = line.difference(solid)
    parts = [part for part in getattr(clear, "geoms", [clear]) if part.length]
    return min(parts, key=middle.distance, default=line)


def _named(place: Place, solid: BaseGeometry) -> Portal:
    if place.bearing_deg is None:
        return Portal(place.id, place.point, place.point.buffer(SAME_M))
    across = _clear_line(place.point, heading_rad(place.bearing_deg), KINDS[place.kind], solid)
    return Portal(place.id, place.point, across)


def _neighbours(site: Site, middle: Point) -> tuple[str, ...]:
    """Ids of the two things nearest to the middle of a gap, in order of their names."""
    layers = (site.obstacles, site.excavations, site.defects, site.line_corridors)
    things = sorted((thing.geometry.distance(middle), thing.id) for layer in layers for thing in layer)
    return tuple(sorted({thing_id for _, thing_id in things[:2]}))


def portals_of(site: Site, passages: Sequence[Passage]) -> list[Portal]:
    """Portals of a site for one machine: places that are led through, and the narrow gaps that are none of them."""
    solid = shapely.unary_union([obstacle.geometry for obstacle in site.obstacles])
    found = [_named(place, solid) for place in site.places.values() if place.kind in KINDS]
    for passage in passages:
        middle = Point(passage.x, passage.y)
        if all(portal.middle.distance(middle) > SAME_M for portal in found):
            between = " and ".join(_neighbours(site, middle))
            words = f"gap between {between}" if between else "gap at the boundary"
            found.append(Portal(words, middle, _clear_line(middle, passage.heading, GAP_REACH_M, solid)))
    return found


def named_at(site: Site, at: tuple[float, float]) -> list[Place]:
    """The site's places that are led through and are as near as a gap that would be the same."""
    return [
        place for place in site.places.values() if place.kind in KINDS and place.point.distance(Point(at)) <= SAME_M
    ]  # fmt: skip


def crossings(portals: Sequence[Portal], poses: Sequence[Pose]) -> Iterator[tuple[int, str]]:
    """Rows of a way at which it has just been led through a portal, and the portal's name; in driving order.

    Shunting to and fro in a portal leads through it once, at the last of its crossings.
    """
    points = np.array([(pose.x, pose.y) for pose in poses])
    steps = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    chainage = np.array([pose.chainage_m for pose in poses])
    met: list[tuple[int, str]] = []
    for portal in portals:
        rows: NDArray[np.int64] = np.flatnonzero(shapely.intersects(steps, portal.across)) + 1
        last = np.diff(chainage[rows], append=np.inf) > APART_M
        met += [(int(row), portal.name) for row in rows[last]]
    yield from sorted(met)
