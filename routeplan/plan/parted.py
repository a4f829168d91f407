"""Where start and goal are parted for any machine as wide, whatever its steering and on whatever grid."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Point, Polygon

from routeplan.hazards.arrays import Body
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice
from routeplan.site.model import MoveWanted, Site

#: What is shaved off the disc for roundings, m.
SPARE_M = 0.001
#: Share of a distance that outlines are grown by: GEOS straightens them first where that moves what it draws by less
#: than a hundredth of the distance, to either side.
DRAWN = 0.99


def disc_of(body: Body) -> tuple[float, float, float]:
    """The largest disc that a box of the body covers: its middle ahead of the origin and left of it, its radius, m."""
    boxes = body.rows("boxes")
    radii = np.minimum(boxes[:, 1] - boxes[:, 0], boxes[:, 3] - boxes[:, 2]) / 2.0
    box = boxes[int(np.argmax(radii))]
    return float(box[0] + box[1]) / 2.0, float(box[2] + box[3]) / 2.0, float(radii.max())


def parted_m(
    site: Site,
    wanted: MoveWanted,
    lattices: Sequence[CheckedLattice],
    starts: Sequence[Anchor],
    goals: Sequence[Anchor],
) -> float | None:
    """Width of a disc in the body that comes from no start to any goal; ``None`` where one comes through.

    While a body moves, the middle of a disc in it moves without a jump and stays as far as its radius from all that the
    body keeps out of: the boundary, closed areas, and what stands taller than any machine, its gap besides. Where no
    such path leads from a start to a goal there is no way, however the machine turns. Outlines are grown a little less
    than that, and round corners are drawn inside their arcs, which leaves too much room and never too little; a body
    that leans covers less, and somewhere else.

    Parameters
    ----------
    lattices
        One for each travel mode that it may be driven in. Nothing is said of a body that has another disc in another.
    starts, goals
        All poses that the machine may be asked to stand in, whatever it is driven in.
    """
    bodies = [lattice.hazards.body for lattice in lattices]
    if len({disc_of(body) for body in bodies}) > 1:
        return None
    body, lean_m = bodies[0], max(lattice.hazards.world.lean_m for lattice in lattices)
    ahead, left, flat = disc_of(body)
    steepest = max(body.limit_up, body.limit_down, body.limit_side)
    radius = flat / math.hypot(1.0, steepest) - SPARE_M
    near, off = DRAWN * radius, DRAWN * (radius + body.structure_gap)
    closed = [area.geometry for area in site.areas if area.closed_on(wanted.on)]
    tall = [one.geometry for one in site.obstacles if one.top_m is None]
    taken = [shapely.buffer(closed, near), shapely.buffer(tall, off)]
    free = site.boundary.buffer(-near).difference(shapely.union_all(np.concatenate(taken)))

    def stands(at: Anchor, room: Polygon) -> bool:
        sin, cos = math.sin(at.heading), math.cos(at.heading)
        middle = Point(at.x + ahead * cos - left * sin, at.y + ahead * sin + left * cos)
        return bool(room.distance(middle) <= lean_m + SPARE_M)

    for room in shapely.get_parts(free):
        if all(any(stands(at, room) for at in poses) for poses in (starts, goals)):
            return None
    return 2.0 * radius
