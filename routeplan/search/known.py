"""What was looked at while fewer areas were closed, and stays true while more are: all that lies away from those."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.edges import ClosedBesides
from routeplan.hazards.prepare import Hazards
from routeplan.search.anchors import Anchor, GridFrame, Link, link_anchor, link_line
from routeplan.search.motions import Motions
from routeplan.search.room import Room, look_again
from routeplan.site.model import Area

Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]

#: Roundings between a pose, the nodes that are looked up for it and the outlines that these are held against, in cells.
ROUNDED_CELLS = 3.0


@dataclass(frozen=True, eq=False)
class Reach:
    """How far from where a motion starts the outline of a closed area may have a say in how it is judged, m.

    The area itself says only whether the body comes into it. But what is near any outline is looked at more closely,
    and a closer look may find that less is left beside something else.
    """

    hazards: Hazards
    motions: Motions

    def of(self, pieces: Floats) -> float:
        """Of motions (n, m, 4) that are looked at by themselves; 0 where there are none."""
        body, world = self.hazards.body, self.hazards.world
        lengths, spot = np.abs(pieces[..., 0]), pieces[..., 2] > 0.0
        rates = np.where(spot, body.reach, 1.0 + body.reach * np.abs(pieces[..., 1]))
        swell_m = 0.5 * (np.where(spot, lengths, np.minimum(lengths, world.piece_m)) * rates).max(initial=0.0)
        travel_m = np.where(spot, 0.0, lengths).sum(axis=-1).max(initial=0.0)
        tube_m = body.lateral + body.reach * body.sin_heading + max(body.body_gap, body.structure_gap)
        around_m = max(float(body.rows("discs")[:, 2:4].sum(axis=1).max()), tube_m) + world.lean_m + COMFORT_M
        rounded_m = ROUNDED_CELLS * world.cell
        return float(travel_m + body.reach + swell_m + around_m + rounded_m) if len(pieces) else 0.0

    @property
    def motion_m(self) -> float:
        """Of the lattice's motions and of the poses at their ends, which are looked at from where they are."""
        world, pieces = self.hazards.world, self.motions.pieces
        lean_m = float(world.blocks["lean"].max()) * self.hazards.body.tallest
        at_a_glance_m = world.open_m + lean_m + ROUNDED_CELLS * world.cell  # tile.free_motion
        return max(self.of(pieces.reshape(-1, *pieces.shape[2:])), self.motions.travel_m + at_a_glance_m)

    @property
    def about_m(self) -> float:
        """Of the displacements between the lattice's cells, which are looked at from where a motion may come from."""
        return self.motion_m + self.motions.travel_m


class Curves(NamedTuple):
    """Links of an exact pose that has a number, and how far from it an outline may have a say in any of them."""

    pose: int
    links: list[Link]
    reach_m: float


@dataclass(eq=False)
class Judged:
    """Links of exact poses and of straight drives between them, looked at once and kept.

    ``before`` has those of a lattice with fewer areas closed: what is away from the others is as it was there.
    """

    hazards: Hazards
    motions: Motions
    grid: GridFrame
    before: Before | None = None
    curves: dict[Anchor, Curves] = field(default_factory=dict)
    lines: dict[tuple[Anchor, Anchor], list[Link]] = field(default_factory=dict)

    def to_lattice(self, anchor: Anchor, pose: int) -> list[Link]:
        """Links of an exact pose, which gets a number."""
        found = self.before.curves(anchor, pose) if self.before else None
        if found is None:
            links, tried = link_anchor(anchor, pose, hazards=self.hazards, motions=self.motions, grid=self.grid)
            found = Curves(pose, links, Reach(self.hazards, self.motions).of(tried))
        self.curves[anchor] = found
        return found.links

    def drives(self, line: Sequence[tuple[Anchor, int]]) -> list[Link]:
        """Links from each of some anchors on one line, with their numbers, to the next; see ``link_line``."""
        found: list[Link] = []
        for (at, pose), (ahead, goal) in pairwise(line):
            links = self.lines.get((at, ahead))
            if links is None and self.before is not None:
                links = self.before.line(at, ahead)
            if links is None:
                links = link_line([(at, 0), (ahead, 1)], hazards=self.hazards)
            self.lines[at, ahead] = links
            found += [replace(link, start=pose, goal=goal) for link in links]
        return found


@dataclass(frozen=True, eq=False)
class Looked:
    """All that a lattice has looked at: its tables (see ``best_first.Lattice``), its room and its links."""

    table: Bytes
    poses: Bytes
    room: Room
    judged: Judged

    @property
    def hazards(self) -> Hazards:
        """What it was looked at for."""
        return self.judged.hazards

    def by_itself(self) -> Looked:
        """The same without what it was made from."""
        return replace(self, judged=replace(self.judged, before=None))

    def apart(self) -> Looked:
        """The same with tables and nodes of its own, which ``with_closed`` may then take over."""
        judged = replace(self.judged, hazards=self.hazards.apart())
        return replace(self, table=self.table.copy(), poses=self.poses.copy(), judged=judged)

    def besides(self, areas: Iterable[Area]) -> ClosedBesides:
        """What areas that are closed besides mean as far as any of the motions reaches."""
        reach = Reach(self.hazards, self.judged.motions)
        farthest_m = max([reach.about_m, *(one.reach_m for one in self.judged.curves.values())])
        return ClosedBesides.of(areas, self.hazards.terrain, farthest_m)

    def with_closed(self, besides: ClosedBesides) -> Before:
        """What it means for a day on which areas are closed besides, which takes over its tables; the ground is never
        looked at closer here.
        """
        far_m = np.where(besides.inside, np.float32(0.0), besides.far)
        return Before(self.table, self.poses, self.room, self.judged, besides.inside, far_m)


@dataclass(frozen=True, eq=False)
class Before(Looked):
    """What a lattice knows of a machine, and how far each place is from the areas that are closed besides since then.

    Parameters
    ----------
    inside, far_m
        (rows, cols) of the fields' nodes: which lie in those areas, and how far they are from them at least.
    """

    inside: Bools
    far_m: Floats32

    def again(self, hazards: Hazards, motions: Motions) -> tuple[Bytes, Bytes, Room]:
        """Tables and room of a lattice with those areas closed: what lies near them is forgotten, or looked at again.
        """
        stride, reach = hazards.terrain.stride, Reach(hazards, motions)
        closed, far_m = self.inside[::stride, ::stride], self.far_m[::stride, ::stride]
        near = far_m <= reach.motion_m
        self.table[near], self.poses[near] = 0, 0
        room = look_again(
            self.room, hazards, motions, closed=closed, near=near, about=far_m <= reach.about_m,
            poses=self.poses, table=self.table,
        )  # fmt: skip
        return self.table, self.poses, room

    def curves(self, anchor: Anchor, pose: int) -> Curves | None:
        """Links of an exact pose with the number it now has; ``None`` where nobody knows."""
        found = self.judged.curves.get(anchor)
        if found is None or self._far_m(anchor) <= found.reach_m:
            return None
        was = found.pose
        links = [replace(lk, start=pose) if lk.start == was else replace(lk, goal=pose) for lk in found.links]
        return Curves(pose, links, found.reach_m)

    def line(self, at: Anchor, ahead: Anchor) -> list[Link] | None:
        """The link of a straight drive, if it may be driven; ``None`` where nobody knows."""
        pieces = np.array([[[math.dist((at.x, at.y), (ahead.x, ahead.y)), 0.0, 0.0, 0.0]]])
        reach_m = Reach(self.judged.hazards, self.judged.motions).of(pieces)
        return None if self._far_m(at) <= reach_m else self.judged.lines.get((at, ahead))

    def _far_m(self, anchor: Anchor) -> float:
        """How far an exact pose is from the areas at least; 0 beyond the nodes."""
        world, (rows, cols) = self.judged.hazards.world, self.far_m.shape
        row, col = round((anchor.y - world.y0) / world.cell), round((anchor.x - world.x0) / world.cell)
        return float(self.far_m[row, col]) if 0 <= row < rows and 0 <= col < cols else 0.0

