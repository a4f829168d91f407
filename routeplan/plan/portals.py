"""Doors, gates, ramp ends and narrow gaps: what ways lead through, found from the plan, each with the line across it.

The site names some of them as places. Others are gaps in walls, the ends of ramps, and gaps that leave little more than
a machine wants; each lies square-on, across the wall's middle or the ramp's fall.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.terrain import Terrain
from routeplan.plan.ramps import Ramp, ramps_of
from routeplan.route.model import Pose, heading_rad
from routeplan.search.passages import Passage, line_through
from routeplan.site.model import Place, Site

#: Kinds of places that are led through, and how far the line across reaches to either side where nothing stands, m.
KINDS = {"door": 4.0, "gate": 10.0, "ramp end": 20.0}
#: The same of a gap that is no place of the site.
GAP_REACH_M = 4.0
#: A gap is a door or gate when a wall goes on this far on both sides of it, m, when it is this wide at most and not
#: deeper than this (common practice, no source): columns, corridors and alleys are none.
WALL_M, WIDEST_M, DEEPEST_M = 1.0, 8.0, 3.0
#: Outlines closer than this leave no gap, m.
CLOSED_M = 0.3
#: A gap this close to a portal that the site names is that portal, m; so is the nearer end of a ramp, which people name
#: where a machine stands before it.
SAME_M, SAME_END_M = 2.0, 10.0
#: The line across the end of a ramp reaches this far beyond it on both sides, m.
BESIDE_M = 1.0
#: A ramp is near a place or an area that is at most this far from its middle, m.
NEAR_M = 40.0
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


def _neighbours(site: Site, middle: Point, across: LineString) -> tuple[str, ...]:
    """Ids of what stands at the two ends of the line across a gap; else of the two things nearest to its middle."""
    stands = [
        min(((obstacle.geometry.distance(Point(end)), obstacle.id) for obstacle in site.obstacles), default=None)
        for end in across.coords
    ]
    sides = {nearest[1] for nearest in stands if nearest is not None and nearest[0] < CLOSED_M}
    if len(sides) < len(stands):
        layers = (site.obstacles, site.excavations, site.defects, site.line_corridors)
        things = sorted((thing.geometry.distance(middle), thing.id) for layer in layers for thing in layer)
        sides = {thing_id for _, thing_id in things[:2]}
    return tuple(sorted(sides))


def _segments(solid: BaseGeometry) -> NDArray[np.float64]:
    """Every straight piece of some outlines (n, 4: x0, y0, x1, y1)."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(solid))]
    return np.concatenate([np.empty((0, 4)), *(np.hstack([ring[:-1], ring[1:]]) for ring in rings)])


def _doors(solid: BaseGeometry) -> list[Passage]:
    """Gaps in walls, from jamb to jamb, whatever the machine: the deepest and then the narrowest of each gap first."""
    edges = _segments(solid)
    lines = shapely.linestrings(edges.reshape(-1, 2, 2))
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=WIDEST_M)
    apart = shapely.distance(lines[first], lines[second])
    pairs = np.flatnonzero((first < second) & (apart > CLOSED_M))
    gaps = [line_through(edges[first[i]], edges[second[i]], 0.0, 0.0) for i in pairs]
    shapely.prepare(solid)
    facing = [gap for gap in gaps if 0.0 < 2.0 * gap.half_m <= DEEPEST_M and gap.spare_m <= WIDEST_M]
    doors = [gap for gap in facing if _in_wall(gap, solid)]
    return sorted(doors, key=lambda gap: (-round(gap.half_m, 1), gap.spare_m, gap.x, gap.y))


def _in_wall(gap: Passage, solid: BaseGeometry) -> bool:
    """Whether nothing stands in a gap, and a wall stands on both sides of it, in line."""
    square_on = replace(gap, heading=gap.heading + math.pi / 2)
    half_m, off_m = gap.spare_m / 2, CLOSED_M / 4
    inside = LineString([square_on.at(off_m - half_m), square_on.at(half_m - off_m)])
    return not solid.intersects(inside) and all(
        solid.covers(LineString([square_on.at(side * (half_m + far)) for far in (off_m, WALL_M)])) for side in (-1, 1)
    )


def _gap_name(site: Site, middle: Point, across: LineString) -> str:
    between = " and ".join(_neighbours(site, middle, across))
    return f"gap between {between}" if between else "gap at the boundary"


def _near(site: Site, at: Point) -> str:
    """Words for where a ramp is: the nearest place or area, else its middle."""
    named = {place.id: place.point for place in site.places.values() if place.kind not in KINDS}
    named |= {area.id: area.geometry for area in site.areas}
    distance_m, nearest = min(((at.distance(shape), name) for name, shape in named.items()), default=(math.inf, ""))
    return f"near {nearest}" if distance_m <= NEAR_M else f"at E {at.x:.0f} N {at.y:.0f}"


def _ramp_ends(site: Site, ramp: Ramp, solid: BaseGeometry) -> Iterator[Portal]:
    """Foot and head of a ramp, without an end that a place of the site stands for."""
    near = _near(site, LineString([ramp.foot, ramp.head]).centroid)
    reach_m = ramp.half_m + BESIDE_M
    ends = {"foot": Point(ramp.foot), "head": Point(ramp.head)}
    across = {end: _clear_line(middle, ramp.heading, reach_m, solid) for end, middle in ends.items()}
    named = set[str]()
    for place in site.places.values():
        if place.kind == "ramp end":
            distance_m, end = min((line.distance(place.point), end) for end, line in across.items())
            named |= {end} if distance_m <= SAME_END_M else set()
    for end, middle in ends.items():
        if end not in named:
            yield Portal(f"{end} of the ramp {near}", middle, across[end])


def portals_of(site: Site, terrain: Terrain) -> list[Portal]:
    """Portals of a site whatever the machine: places that are led through, other gaps in walls, other ends of ramps."""
    solid = shapely.unary_union([obstacle.geometry for obstacle in site.obstacles])
    named = {kind: [_named(p, solid) for p in site.places.values() if p.kind == kind] for kind in KINDS}
    found = with_gaps([*named["door"], *named["gate"]], site, _doors(solid)) + named["ramp end"]
    for ramp in ramps_of(site.boundary.difference(solid), terrain):
        for end in _ramp_ends(site, ramp, solid):
            twice = any(portal.name == end.name for portal in found)
            at = f" at E {end.middle.x:.0f} N {end.middle.y:.0f}" if twice else ""
            found.append(replace(end, name=end.name + at))
    return found


def with_gaps(portals: Sequence[Portal], site: Site, gaps: Sequence[Passage]) -> list[Portal]:
    """Some portals, and those of some gaps that are none of them."""
    solid = shapely.unary_union([obstacle.geometry for obstacle in site.obstacles])
    found = list(portals)
    for gap in gaps:
        middle = Point(gap.x, gap.y)
        across = _clear_line(middle, gap.heading, max(GAP_REACH_M, gap.spare_m), solid)
        if all(portal.middle.distance(across) > SAME_M for portal in found):
            found.append(Portal(_gap_name(site, middle, across), middle, across))
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
