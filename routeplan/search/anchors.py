"""Exact poses off the lattice (starts, goals, the ends of passages) and the checked curves that link them to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.arrays import ALL, EDGES, MIDDLE
from routeplan.hazards.ground import OUT
from routeplan.hazards.prepare import Hazards, new_scratch
from routeplan.hazards.tile import BLOCKED, PIECE, judge
from routeplan.search.best_first import FORWARD_FACTOR, REVERSE_FACTOR, motion_cost
from routeplan.search.curves import curves_to
from routeplan.search.motions import Motions, Turn, worth_m

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

#: Curves tried per lattice heading and side of an anchor, best first, and how many good ones are kept.
TRIED, KEPT = 24, 3
#: A motion as good as standing still.
STILL = np.array([[[1e-6, 0.0, 0.0, 0.0]]])
#: A linking curve may be this much longer than the straight distance: a factor and metres.
DETOUR, DETOUR_M = 1.15, 0.3


@dataclass(frozen=True)
class Anchor:
    """An exact pose: site metres, and heading in radians anticlockwise from east."""

    x: float
    y: float
    heading: float


@dataclass(frozen=True, eq=False)
class Link:
    """A checked forward motion between two poses, each a lattice pose id or an anchor's.

    ``pieces`` (3, 4) starts at ``start``. It may also be driven backwards, from ``goal`` to ``start``.
    """

    start: int
    goal: int
    at: Anchor
    pieces: Floats
    byte: int
    length_mm: int

    def judged(self, hazards: Hazards) -> Link:
        """The same motion as a look at all of it finds it."""
        start = np.array([[self.at.x, self.at.y, self.at.heading]])
        _, (verdict,) = check_motions(hazards, start, self.pieces[None], brief=True)
        return replace(self, byte=int(verdict))


def check_motions(
    hazards: Hazards, starts: Floats, pieces: Floats, *, brief: bool = False, glance: bool = False
) -> tuple[Floats, Bytes]:
    """Margins (n, OUT) and verdict bytes (n,) of single motions; see ``hazards.tile.judge``.

    Where a closer look is taken, ``glance`` is all of it, and too kind; a brief one begins at the edges of tubes.

    Raises
    ------
    ValueError
        Poses or pieces of another shape, which a kernel would read beyond.
    """
    if starts.shape[1:] != (3,) or pieces.ndim != 3 or pieces.shape[::2] != (len(starts), PIECE):
        raise ValueError(f"poses {starts.shape} and pieces {pieces.shape}: wanted (n, 3) and (n, m, {PIECE})")
    margins, verdicts = np.empty((len(starts), OUT)), np.empty(len(starts), np.uint8)
    looks = (MIDDLE,) if glance else (EDGES, ALL) if brief and hazards.world.closer else (ALL,)
    left = np.arange(len(starts))
    for look in looks:
        seen, told = np.empty((len(left), OUT)), np.empty(len(left), np.uint8)
        scratch = new_scratch(hazards.body, look)
        judge(hazards.world, hazards.body, hazards.blocking, starts[left], pieces[left], scratch, brief, seen, told)
        margins[left], verdicts[left] = seen, told
        left = left[told != BLOCKED]
    return margins, verdicts


def link_cost(link: Link, gear: int) -> int:
    """Cost of driving a link; gear 0 along the arrow, 1 backwards."""
    return motion_cost(link.length_mm, link.byte, REVERSE_FACTOR if gear else FORWARD_FACTOR)


def _candidates(
    anchor: Anchor, motions: Motions, grid: GridFrame, reach_m: float, *, outward: bool
) -> tuple[Ints, Ints, Ints]:
    """Rows, columns and heading indices of lattice poses worth a curve: ahead of (or behind) the anchor, alike in
    heading.
    """
    sign = 1.0 if outward else -1.0
    n = math.ceil(reach_m / grid.cell_m)
    row, col = grid.nearest(anchor.x, anchor.y)
    r, c = np.meshgrid(np.arange(row - n, row + n + 1), np.arange(col - n, col + n + 1), indexing="ij")
    dx, dy = grid.x0 + c * grid.cell_m - anchor.x, grid.y0 + r * grid.cell_m - anchor.y
    ahead = sign * (dx * math.cos(anchor.heading) + dy * math.sin(anchor.heading))
    aside = np.abs(dy * math.cos(anchor.heading) - dx * math.sin(anchor.heading))
    good = (ahead > 0.2) & (np.hypot(dx, dy) <= reach_m) & (aside <= 0.3 + ahead)
    good &= (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols)
    turned = np.abs(np.remainder(motions.headings - anchor.heading + math.pi, 2 * math.pi) - math.pi)
    alike = np.flatnonzero(turned <= math.radians(50.0))
    rows, cols = r[good], c[good]
    shape = (len(alike), len(rows))
    return (
        np.broadcast_to(rows, shape).ravel(),
        np.broadcast_to(cols, shape).ravel(),
        np.broadcast_to(alike[:, None], shape).ravel(),
    )


@dataclass(frozen=True)
class GridFrame:
    """Where the lattice lies: node (row, col) stands at (x0 + col * cell_m, y0 + row * cell_m)."""

    x0: float
    y0: float
    cell_m: float
    rows: int
    cols: int
    headings: int

    def nearest(self, x: float, y: float) -> tuple[int, int]:
        """Row and column of the node nearest to a point, inside the grid or not."""
        return round((y - self.y0) / self.cell_m), round((x - self.x0) / self.cell_m)

    def snapped(self, x: float, y: float, tolerance_m: float) -> tuple[float, float]:
        """The nearest node when it lies within a tolerance of a point, otherwise the point itself."""
        row, col = self.nearest(x, y)
        nx, ny = self.x0 + col * self.cell_m, self.y0 + row * self.cell_m
        return (nx, ny) if math.hypot(nx - x, ny - y) <= tolerance_m else (x, y)

    def pose_id(self, row: int, col: int, heading: int) -> int:
        """Number of a lattice pose."""
        return (row * self.cols + col) * self.headings + heading

    def cell_of(self, pose: int) -> tuple[int, int]:
        """Row and column of a lattice pose."""
        return divmod(pose // self.headings, self.cols)

    def pose_of(self, pose: int, headings: Floats) -> Anchor:
        """The pose with a number."""
        row, col = self.cell_of(pose)
        heading = float(headings[pose % self.headings])
        return Anchor(self.x0 + col * self.cell_m, self.y0 + row * self.cell_m, heading)

    @property
    def poses(self) -> int:
        """Number of lattice poses; anchors are numbered from here on."""
        return self.rows * self.cols * self.headings


def link_anchor(
    anchor: Anchor, pose: int, *, hazards: Hazards, motions: Motions, grid: GridFrame
) -> tuple[list[Link], Floats]:
    """Checked curves from an anchor to the lattice and from the lattice to it, in every way of turning; none but itself
    where it lies on a node. And the pieces (n, 3, 4) of all that were looked at for it.
    """
    row, col = grid.nearest(anchor.x, anchor.y)
    off = math.hypot(grid.x0 + col * grid.cell_m - anchor.x, grid.y0 + row * grid.cell_m - anchor.y)
    turned = np.abs(np.remainder(motions.headings - anchor.heading + math.pi, 2 * math.pi) - math.pi)
    if off < 1e-4 and turned.min() < 1e-6:
        node = grid.pose_id(row, col, int(np.argmin(turned)))
        still = np.zeros((1, 4))
        return [Link(pose, node, anchor, still, 8, 0), Link(node, pose, anchor, still, 8, 0)], np.empty((0, 3, 4))
    found = [
        _curves(anchor, pose, hazards, motions, grid, way, outward=outward)
        for way in motions.turns
        for outward in (True, False)
    ]
    return [link for links, _ in found for link in links], np.concatenate([tried for _, tried in found])


def _curves(
    anchor: Anchor, pose: int, hazards: Hazards, motions: Motions, grid: GridFrame, way: Turn, *, outward: bool,
) -> tuple[list[Link], Floats]:
    """Checked curves out of an anchor, or into it: a few of the best for every heading of the lattice; and all pieces
    that were looked at.
    """
    reach_m = max(3.0, 2.2 * way.radius_m)
    rows, cols, heads = _candidates(anchor, motions, grid, reach_m, outward=outward)
    xs = (grid.x0 + cols * grid.cell_m).astype(np.float64)
    ys = (grid.y0 + rows * grid.cell_m).astype(np.float64)
    lengths, pieces = np.empty(len(xs)), np.empty((len(xs), 3, 4))
    curves_to(
        anchor.x, anchor.y, anchor.heading, outward, xs, ys, motions.headings[heads], way.radius_m, way.ahead_m,
        lengths, pieces,
    )  # fmt: skip
    fit = lengths <= DETOUR * np.hypot(xs - anchor.x, ys - anchor.y) + DETOUR_M
    tried: list[Ints] = []
    for h in np.unique(heads[fit]):
        mine = np.flatnonzero(fit & (heads == h))
        tried.append(mine[np.argsort(lengths[mine], kind="stable")][:: max(1, len(mine) // TRIED)][:TRIED])
    if not tried:
        return [], np.empty((0, 3, 4))
    chosen = np.concatenate(tried)
    starts = np.column_stack([xs[chosen], ys[chosen], motions.headings[heads[chosen]]])
    if outward:
        starts[:] = anchor.x, anchor.y, anchor.heading
    _, verdicts = check_motions(hazards, starts, pieces[chosen], brief=True, glance=bool(hazards.world.closer))
    links: list[Link] = []
    for h in np.unique(heads[chosen]):
        good = np.flatnonzero((heads[chosen] == h) & (verdicts != BLOCKED))
        for n in good[:: max(1, len(good) // KEPT)][:KEPT]:
            i = chosen[n]
            other = grid.pose_id(int(rows[i]), int(cols[i]), int(heads[i]))
            start, goal = (pose, other) if outward else (other, pose)
            length_mm = math.ceil(float(worth_m(pieces[i]).sum()) * 1000.0 - 1e-6)
            at = Anchor(*map(float, starts[n]))
            links.append(Link(start, goal, at, pieces[i].copy(), int(verdicts[n]), length_mm))
    return links, pieces[chosen]


def link_line(line: Sequence[tuple[Anchor, int]], *, hazards: Hazards) -> list[Link]:
    """Checked straight drives from each of some anchors on one line to the next; what is blocked is left out."""
    links = []
    for (anchor, pose), (ahead, goal) in pairwise(line):
        length_m = math.dist((anchor.x, anchor.y), (ahead.x, ahead.y))
        pieces = np.array([[length_m, 0.0, 0.0, 0.0]])
        links.append(Link(pose, goal, anchor, pieces, BLOCKED, math.ceil(length_m * 1000.0)).judged(hazards))
    return [link for link in links if link.byte != BLOCKED]
