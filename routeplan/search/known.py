"""What was looked at while fewer areas were closed, and stays true while more are: all that lies away from those."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.edges import ClosedBesides
from routeplan.hazards.prepare import Hazards
from routeplan.search.anchors import Anchor, GridFrame, Link, link_anchor, link_line, linking_m
from routeplan.search.motions import Motions
from routeplan.search.room import Room, look_again

Bools = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Floats32 = NDArray[np.float32]

#: Roundings between a pose, the nodes that are looked up for it and the outlines that these are held against, in cells.
ROUNDED_CELLS = 3.0


@dataclass(frozen=True, eq=False)
class Reach:
    """How far from where a motion starts an outline may have a say in whether and how well it can be driven."""

    hazards: Hazards
    motions: Motions

    def _m(self, swell_m: float) -> float:
        """From the middle of a piece; quick looks at it take in ``swell_m`` more than the body (``sweep.piece_edges``).
        """
        body, world = self.hazards.body, self.hazards.world
        tube_m = body.lateral + body.reach * body.sin_heading + max(body.body_gap, body.structure_gap)
        around_m = max(float(body.rows("discs")[:, 2:4].sum(axis=1).max()), tube_m) + world.lean_m
        square_m = math.sqrt(2.0) * (swell_m + around_m + COMFORT_M)
        return float(body.reach + square_m + ROUNDED_CELLS * world.cell)

    @property
    def motion_m(self) -> float:
        """Of the lattice's motions and of the poses at their ends."""
        pieces, body, world = self.motions.pieces, self.hazards.body, self.hazards.world
        rates = np.where(pieces[..., 2] > 0.0, body.reach, 1.0 + body.reach * np.abs(pieces[..., 1]))
        looked_at_m = self._m(0.5 * float((np.abs(pieces[..., 0]) * rates).max()))
        lean = float(world.blocks["lean"].max()) * body.tallest
        at_a_glance_m = world.open_m + lean + ROUNDED_CELLS * world.cell  # tile.free_motion
        return self.motions.travel_m + max(looked_at_m, at_a_glance_m)

    def line_m(self, length_m: float) -> float:
        """Of a straight drive."""
        return length_m + self._m(0.5 * self.motions.travel_m)

    @property
    def curves_m(self) -> float:
        """Of the curves that link an exact pose to the lattice."""
        bent = 1.0 + self.hazards.body.reach / min(way.radius_m for way in self.motions.turns)
        return max(map(linking_m, self.motions.turns)) + self._m(0.5 * self.motions.travel_m * bent)


@dataclass(eq=False)
class Judged:
    """Links of exact poses and of straight drives between them, looked at once and kept.

    ``before`` has those of a lattice with fewer areas closed: what is away from the others is as it was there.
    """

    hazards: Hazards
    motions: Motions
    grid: GridFrame
    before: Before | None = None
    curves: dict[Anchor, tuple[int, list[Link]]] = field(default_factory=dict)
    lines: dict[tuple[Anchor, Anchor], list[Link]] = field(default_factory=dict)

    def to_lattice(self, anchor: Anchor, pose: int) -> list[Link]:
        """Links of an exact pose, which gets a number."""
        links = self.before.curves(anchor, pose) if self.before else None
        if links is None:
            links = link_anchor(anchor, pose, hazards=self.hazards, motions=self.motions, grid=self.grid)
        self.curves[anchor] = pose, links
        return links

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
class Before:
    """What a lattice knows of a machine, and how far each place is from the areas that are closed besides since then.

    Parameters
    ----------
    table, poses, room
        See ``best_first.Lattice`` and ``Room``.
    judged
        Links.
    inside, far_m
        (rows, cols) of the fields' nodes: which lie in those areas, and how far they are from them at least.
    """

    table: Bytes
    poses: Bytes
    room: Room
    judged: Judged
    inside: Bools
    far_m: Floats32

    @classmethod
    def of(cls, table: Bytes, poses: Bytes, room: Room, judged: Judged, besides: ClosedBesides) -> Before:
        """Of a lattice's tables and links."""
        far_m = np.where(besides.inside, np.float32(0.0), besides.far)
        return cls(table, poses, room, judged, besides.inside, far_m)

    def again(self, hazards: Hazards, motions: Motions) -> tuple[Bytes, Bytes, Room]:
        """Tables and room of a lattice with those areas closed: what lies near them is forgotten, or looked at again.
        """
        stride, near_m = hazards.terrain.stride, Reach(hazards, motions).motion_m
        closed, far_m = self.inside[::stride, ::stride], self.far_m[::stride, ::stride]
        near, table, poses = far_m <= near_m, self.table.copy(), self.poses.copy()
        table[near], poses[near] = 0, 0
        room = look_again(
            self.room, hazards, motions, closed=closed, near=near, about=far_m <= near_m + motions.travel_m,
            poses=poses, table=table,
        )  # fmt: skip
        return table, poses, room

    def curves(self, anchor: Anchor, pose: int) -> list[Link] | None:
        """Links of an exact pose with the number it now has; ``None`` where nobody knows."""
        reach = Reach(self.judged.hazards, self.judged.motions)
        if anchor not in self.judged.curves or self._far_m(anchor) <= reach.curves_m:
            return None
        was, links = self.judged.curves[anchor]
        return [replace(lk, start=pose) if lk.start == was else replace(lk, goal=pose) for lk in links]

    def line(self, at: Anchor, ahead: Anchor) -> list[Link] | None:
        """The link of a straight drive, if it may be driven; ``None`` where nobody knows."""
        line_m = Reach(self.judged.hazards, self.judged.motions).line_m(math.dist((at.x, at.y), (ahead.x, ahead.y)))
        return None if self._far_m(at) <= line_m else self.judged.lines.get((at, ahead))

    def _far_m(self, anchor: Anchor) -> float:
        """How far an exact pose is from the areas at least; 0 beyond the nodes."""
        world, (rows, cols) = self.judged.hazards.world, self.far_m.shape
        row, col = round((anchor.y - world.y0) / world.cell), round((anchor.x - world.x0) / world.cell)
        return float(self.far_m[row, col]) if 0 <= row < rows and 0 <= col < cols else 0.0

