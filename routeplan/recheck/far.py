"""What a whole look at a move leaves true: all of it, while what changes stays far from the machine."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from routeplan.recheck.raised import Raised, raised_as_asked
from routeplan.recheck.track import driven_in, envelope, read_rows, subdivide
from routeplan.route.model import Move
from routeplan.site.model import Site

#: Farther than this from every corner no check looks for an area, m: they look for bodies over it, and the tube is
#: less than this wide.
FAR_M = 4.0


def keeps_far(move: Move, site: Site, changed: Iterable[BaseGeometry]) -> bool:
    """Whether a move with rows to drive stays far from all that changed, as wide as its machine is raised."""
    machine = site.machines[move.machine]
    raised = raised_as_asked(move, site=site, machine=machine)
    machine = raised.machine if isinstance(raised, Raised) else machine
    shapes = [envelope(machine, one) for one in driven_in(move, machine).values()]
    corners = np.concatenate(shapes)
    track = subdivide(read_rows(move.poses), corners)
    points = shapely.points(track.x, track.y)
    reach_m = float(np.hypot(*corners.T).max()) + FAR_M
    return not any(shapely.dwithin(shape, points, reach_m).any() for shape in changed)
