"""What the body of a machine may touch on its way, driving tolerance included."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards.arrays import Body
from routeplan.machine.model import Machine
from routeplan.plan.trace import ROW_STEP_M
from routeplan.route.model import Control, Pose, heading_rad
from routeplan.site.model import Area, Defect, Excavation, LineCorridor, Soffit, Surface, Walkway

#: What a body may touch.
Thing = Area | Soffit | Surface | Defect | Walkway | Excavation | LineCorridor


@dataclass(frozen=True, eq=False)
class Covered:
    """Outlines of a body at the rows of a way, and how far it may stray from them between rows and in its tube, m."""

    poses: Sequence[Pose]
    outlines: NDArray[np.object_]
    tube_m: float

    @classmethod
    def of(cls, poses: Sequence[Pose], machine: Machine, configuration: str, body: Body) -> Covered:
        """Of a machine in the configuration that its travel mode asks for, row by row."""
        tube_m = body.lateral + body.reach * body.sin_heading + ROW_STEP_M
        return cls(poses, outlines(poses, machine, configuration), tube_m)

    def met(self, things: Iterable[Thing]) -> tuple[str, ...]:
        """Ids of the things that it may touch."""
        tree = shapely.STRtree(self.outlines)
        return tuple(
            thing.id for thing in things if len(tree.query(thing.geometry, predicate="dwithin", distance=self.tube_m))
        )

    def first(self, thing: Thing) -> Pose | None:
        """The first row from which it may touch a thing."""
        near = np.flatnonzero(shapely.dwithin(self.outlines, thing.geometry, self.tube_m))
        return self.poses[int(near[0])] if near.size else None


def outlines(poses: Sequence[Pose], machine: Machine, configuration: str) -> NDArray[np.object_]:
    """The outline of a machine in plan at each row, ``(n,)`` polygons."""
    placed = np.empty(len(poses), dtype=object)
    modes = np.array([pose.travel_mode for pose in poses])
    for mode in dict.fromkeys(modes.tolist()):
        rows = np.flatnonzero(modes == mode)
        shape = machine.configurations[machine.configuration_in(configuration, mode)]
        placed[rows] = shapely.polygons(_rings([poses[row] for row in rows.tolist()], shape.footprint))
    return placed


def _rings(poses: Sequence[Pose], footprint: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    ring = np.array(footprint)
    headings = np.array([heading_rad(pose.bearing_deg) for pose in poses])[:, None]
    x, y = (np.array([pose[axis] for pose in poses])[:, None] for axis in (0, 1))
    cos, sin = np.cos(headings), np.sin(headings)
    return np.stack([x + ring[:, 0] * cos - ring[:, 1] * sin, y + ring[:, 0] * sin + ring[:, 1] * cos], axis=-1)


def opened_on_the_way(covered: Covered, areas: Iterable[Area]) -> Iterator[Control]:
    """What people see to before a machine sets out into an area that the site's own dates may close."""
    for area in areas:
        at = covered.first(area) if area.reopened else None
        if at is not None:
            text = f"{area.title} ({area.id}) is taken as open against the site's own dates: make sure that it is."
            yield Control("opened area", at.chainage_m, text)
