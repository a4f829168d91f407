"""Narrow ways through: gaps between two edges that a machine fits, each with the exact line to drive through it.

A lattice meets a gap at its own places and headings only. Where two things to keep clear of face each other and leave
little more than the machine wants, the line midway between what each of them asks for is driven as it lies.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards.arrays import E_WALKWAY, LAST_BODY_EDGE, Body, World
from routeplan.hazards.clearance import wanted_gap

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Both ends: x0, y0, x1, y1.
Edge = tuple[float, ...]

#: Edges closer to parallel than this bound a corridor; the others a gap that is crossed at its narrowest, rad.
PARALLEL = math.radians(5.0)
#: Lines nearer than this to one kept already, in place (m) and direction (rad), lead through the same passage.
SAME_M, SAME_RAD = 0.3, math.radians(5.0)
#: Most passages kept, the tightest first.
MOST = 64


@dataclass(frozen=True)
class Passage:
    """A line through a gap: the middle of its narrow part, direction (rad anticlockwise from east), half its length.

    ``spare_m`` is what the gap leaves beyond what the machine wants on both sides together.
    """

    x: float
    y: float
    heading: float
    half_m: float
    spare_m: float

    def at(self, along_m: float, aside_m: float = 0.0) -> tuple[float, float]:
        """Place on the line, measured from its middle, or so far to its left."""
        c, s = math.cos(self.heading), math.sin(self.heading)
        return self.x + along_m * c - aside_m * s, self.y + along_m * s + aside_m * c

    def turned(self) -> Passage:
        """The same line, driven the other way."""
        return replace(self, heading=self.heading + math.pi)

    def same_as_any(self, others: Floats) -> bool:
        """Whether a line leads through the same gap, side by side, as one of some others (n, 4: x, y, heading, half_m).
        """
        turn = np.remainder(others[:, 2] - self.heading + math.pi / 2, math.pi) - math.pi / 2
        dx, dy = others[:, 0] - self.x, others[:, 1] - self.y
        along = dx * math.cos(self.heading) + dy * math.sin(self.heading)
        aside = dy * math.cos(self.heading) - dx * math.sin(self.heading)
        near = np.abs(along) <= self.half_m + others[:, 3] + SAME_M
        return bool(np.any((np.abs(turn) < SAME_RAD) & (np.abs(aside) < SAME_M) & near))


def _half_widths(body: Body, kinds: NDArray[np.uint8], extra: Floats) -> Floats:
    """How far from the machine's middle line an edge must lie, m: per edge, for a straight drive on level ground."""
    tube = body.lateral + body.reach * body.sin_heading
    found = np.empty(len(kinds))
    for kind in np.unique(kinds):
        mine = kinds == kind
        if kind > LAST_BODY_EDGE:
            wide = float(np.abs(body.wheel_eta).max()) + body.wheel_gap + wanted_gap(body, int(kind), 0.0, -1)
        else:
            wide = tube + max(
                float(np.abs(box[2:4]).max()) + wanted_gap(body, int(kind), 0.0, n)
                for n, box in enumerate(body.rows("boxes"))
            )
        found[mine] = wide + extra[mine]
    return found


def _facing(world: World, body: Body, room_m: float) -> Iterator[tuple[int, int, float, float]]:
    """Pairs of edges, the half widths that each wants, whose distance is what is wanted and at most ``room_m`` more."""
    kept = np.flatnonzero(world.edge_kind != E_WALKWAY)
    wide = _half_widths(body, world.edge_kind[kept], world.edges[kept, 4])
    lines = shapely.linestrings(world.edges[kept, :4].reshape(-1, 2, 2))
    first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=2.0 * float(wide.max()) + room_m)
    pair = first < second
    first, second = first[pair], second[pair]
    spare = shapely.distance(lines[first], lines[second]) - wide[first] - wide[second]
    for i in np.flatnonzero((spare >= 0.0) & (spare <= room_m)):
        yield int(kept[first[i]]), int(kept[second[i]]), float(wide[first[i]]), float(wide[second[i]])


def line_through(one: Floats, other: Floats, wide_one: float, wide_other: float) -> Passage:
    """The line between two edges (x0, y0, x1, y1), shared out by what each wants."""
    return _line_through(tuple(one.tolist()), tuple(other.tolist()), wide_one, wide_other)


@lru_cache(maxsize=1 << 14)
def _line_through(first: Edge, second: Edge, wide_one: float, wide_other: float) -> Passage:
    """The same of numbers: most pairs of edges are there again when one more area is closed."""
    one, other = np.array(first), np.array(second)
    ways = [math.atan2(edge[3] - edge[1], edge[2] - edge[0]) for edge in (one, other)]
    turn = math.remainder(ways[1] - ways[0], math.pi)
    line = shapely.shortest_line(shapely.linestrings(one.reshape(2, 2)), shapely.linestrings(other.reshape(2, 2)))
    (ax, ay), (bx, by) = shapely.get_coordinates(line)
    heading = math.atan2(by - ay, bx - ax) + math.pi / 2
    low = high = 0.0
    if abs(turn) < PARALLEL:
        c, s = math.cos(ways[0] + turn / 2), math.sin(ways[0] + turn / 2)
        spans = [sorted(x * c + y * s for x, y in edge.reshape(2, 2)) for edge in (one, other)]
        low, high = max(span[0] for span in spans), min(span[1] for span in spans)
        if low < high:
            heading = ways[0] + turn / 2
            ax, ay = _opposite(one, c, s, (low + high) / 2)
            bx, by = _opposite(other, c, s, (low + high) / 2)
    apart = math.hypot(bx - ax, by - ay)
    spare = apart - wide_one - wide_other
    share = (wide_one + spare / 2) / apart
    return Passage(ax + share * (bx - ax), ay + share * (by - ay), heading, max(high - low, 0.0) / 2, spare)


def _opposite(edge: Floats, c: float, s: float, along: float) -> tuple[float, float]:
    """The point of an edge at a distance along a direction."""
    t0, t1 = edge[0] * c + edge[1] * s, edge[2] * c + edge[3] * s
    t = (along - t0) / (t1 - t0)
    return float(edge[0] + t * (edge[2] - edge[0])), float(edge[1] + t * (edge[3] - edge[1]))


def _free(passage: Passage, world: World) -> bool:
    """Whether the middle of a passage lies in nothing."""
    row, col = round((passage.y - world.y0) / world.cell), round((passage.x - world.x0) / world.cell)
    rows, cols = world.nodes.shape
    return 0 <= row < rows and 0 <= col < cols and int(world.nodes["inside"][row, col]) in (0, 1 << E_WALKWAY)


def find_passages(world: World, body: Body, room_m: float) -> list[Passage]:
    """Passages that leave at most ``room_m`` beyond what the machine wants, longest and then tightest first."""
    found = [
        line_through(world.edges[i, :4], world.edges[j, :4], wide_i, wide_j)
        for i, j, wide_i, wide_j in _facing(world, body, room_m)
    ]
    kept, lines = list[Passage](), np.empty((len(found), 4))
    for passage in sorted(found, key=lambda p: (-round(p.half_m, 1), p.spare_m, p.x, p.y)):
        if _free(passage, world) and not passage.same_as_any(lines[: len(kept)]):
            lines[len(kept)] = passage.x, passage.y, passage.heading, passage.half_m
            kept.append(passage)
    return sorted(kept, key=lambda p: p.spare_m)[:MOST]
