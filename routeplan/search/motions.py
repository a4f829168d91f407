"""Motion primitives solved for one turning radius: how a machine moves from lattice node to lattice node."""

from __future__ import annotations

import hashlib
import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.sweep import along

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


#: What a metre in another steer than front counts: it must save as much again ("common practice, no source").
OTHER_STEER = 2.0


class Turn(NamedTuple):
    """A way of turning: about a point abeam of one that lies ``ahead_m`` of the origin, at least ``radius_m`` off.

    Front steer turns abeam of the origin, coordinated steer abeam of the middle of the wheelbase. The point ahead
    always travels along the arrow; the origin follows on an arc of its own, at a constant angle to the arrow.
    """

    radius_m: float
    ahead_m: float

    @property
    def origin_radius_m(self) -> float:
        """Radius of the origin's own arc."""
        return math.hypot(self.radius_m, self.ahead_m)

    @property
    def slip(self) -> float:
        """How far the origin travels to the left, per metre, in a turn to the left; opposite to the right."""
        return -self.ahead_m / self.origin_radius_m


#: Heading at the end, columns, rows and pieces of a motion from a lattice node.
Primitive = tuple[int, int, int, Floats]


def worth_m(pieces: Floats) -> Floats:
    """Metres that driven pieces (..., 4) count in the search, one for each: in another steer than front twice."""
    worth: Floats = np.abs(pieces[..., 0]) * np.where(pieces[..., 3] != 0.0, OTHER_STEER, 1.0)
    return worth


@dataclass(frozen=True, eq=False)
class Motions:
    """Primitives of one lattice and machine; H headings, P primitives a heading.

    Parameters
    ----------
    headings
        (H,) radians anticlockwise from east, from 0 up.
    pieces
        (H, P, 3, 4): length (m; turn in rad on the spot), curvature (1/m), 1 for a turn on the spot, slip (sine of the
        angle from the arrow to where the origin travels); see ``hazards.tile.PIECE``.
    counts
        (H, P) pieces that count; 0 for a primitive that a heading does not have.
    d_row, d_col, end
        (H, P) displacement in lattice cells, and index of the heading at the end.
    length_mm
        (H, P) path length as ``worth_m`` counts it, rounded up; a turn on the spot counts the travel of its farthest
        wheel.
    turns
        The machine's ways of turning, front steer first.
    """

    version: int
    headings: Floats
    pieces: Floats
    counts: Ints
    d_row: Ints
    d_col: Ints
    end: Ints
    length_mm: Ints
    turns: tuple[Turn, ...]

    @property
    def travel_m(self) -> float:
        """How far the origin may get from where a primitive starts, rounded up."""
        return float(np.where(self.pieces[..., 2] > 0, 0.0, np.abs(self.pieces[..., 0])).sum(axis=2).max())

    def into(self) -> tuple[Ints, Ints]:
        """Heading and primitive (H, n) of all that lead into a heading; -1 where there are no more."""
        lists: list[list[tuple[int, int]]] = [[] for _ in self.headings]
        for h, p in zip(*np.nonzero(self.counts), strict=True):
            lists[self.end[h, p]].append((int(h), int(p)))
        table = np.full((2, len(lists), max(map(len, lists)) + 1), -1, np.int64)
        for h, entries in enumerate(lists):
            for m, (h0, p) in enumerate(entries):
                table[:, h, m] = h0, p
        return np.ascontiguousarray(table[0]), np.ascontiguousarray(table[1])

    def sha256(self) -> str:
        """Hash of the solved table, written in every plan."""
        digest = hashlib.sha256(str(self.version).encode())
        for array in (self.headings, self.pieces, self.d_row, self.d_col, self.end, self.length_mm):
            digest.update(np.round(array, 9).astype(np.float64).tobytes())
        return digest.hexdigest()


def heading_vectors(octant: list[list[int]]) -> list[tuple[int, int]]:
    """All headings' vectors from those of the first octant, anticlockwise from east.

    >>> heading_vectors([[1, 0], [2, 1]])[:5]
    [(1, 0), (2, 1), (1, 1), (1, 2), (0, 1)]
    """
    first = [(a, b) for a, b in octant] + [(1, 1)] + [(b, a) for a, b in reversed(octant[1:])]
    quadrants = [(1, 0, 0, 1), (0, -1, 1, 0), (-1, 0, 0, -1), (0, 1, -1, 0)]
    return [(a * x + b * y, c * x + d * y) for a, b, c, d in quadrants for x, y in first]


def solve_turn(start: float, turn: float, way: Turn, cell_m: float) -> tuple[int, int, Floats]:
    """Shortest line, arc, line from one lattice heading to another that ends on a lattice node.

    Returns
    -------
    d_col, d_row
        Displacement in cells.
    pieces
        (3, 4): see ``Motions``.
    """
    side, radius_m = math.copysign(1.0, turn), way.origin_radius_m
    bend = np.array([radius_m * abs(turn), side / radius_m, 0.0, side * way.slip])
    ax, ay, _ = along(0.0, 0.0, start, *bend)
    u0, v0, u1, v1 = math.cos(start), math.sin(start), math.cos(start + turn), math.sin(start + turn)
    determinant = u0 * v1 - u1 * v0
    reach = math.ceil((bend[0] + 3.0 * radius_m + 8.0 * cell_m) / cell_m)
    d_col, d_row = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    bx, by = d_col * cell_m - ax, d_row * cell_m - ay
    before, after = (bx * v1 - by * u1) / determinant, (by * u0 - bx * v0) / determinant
    total = np.where((before > -1e-9) & (after > -1e-9), before + after, np.inf)
    best = np.unravel_index(int(np.argmin(total)), total.shape)
    pieces = np.zeros((3, 4))
    pieces[0, 0], pieces[2, 0] = max(float(before[best]), 0.0), max(float(after[best]), 0.0)
    pieces[1] = bend
    return int(d_col[best]), int(d_row[best]), pieces


def solve_slip(heading: float, side: int, crab_rad: float, cell_m: float, data: Any) -> tuple[int, int, Floats] | None:
    """Shortest line aslant, on one side (+1 left) and within the crab angle, that ends on a lattice node.

    Returns
    -------
    d_col, d_row, pieces
        As ``solve_turn``, one piece; ``None`` where no node within reach lies so little off the arrow.
    """
    reach = data["reach"]
    d_col, d_row = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    off = side * np.remainder(np.arctan2(d_row, d_col) - heading + math.pi, 2 * math.pi) - side * math.pi
    far = np.hypot(d_row, d_col)
    within = (far > 0) & (off >= math.radians(data["least_deg"])) & (off <= crab_rad + 1e-12)
    far = np.where(within, far, np.inf)
    best = np.unravel_index(int(np.argmin(far)), far.shape)
    if not np.isfinite(far[best]):
        return None
    pieces = np.array([[far[best] * cell_m, 0.0, 0.0, side * math.sin(off[best])]])
    return int(d_col[best]), int(d_row[best]), pieces


def solve_motions(
    *, headings: int, cell_m: float, radius_m: float, pivots: bool, pivot_arm_m: float,
    coordinated: Turn | None = None, crab_rad: float = 0.0,
) -> Motions:
    """Solve the primitives of ``motions.toml`` for a machine.

    Parameters
    ----------
    radius_m
        Turning radius of the origin in front steer.
    coordinated
        How it turns in coordinated steer, where it has that.
    crab_rad
        Largest angle off the arrow in crab steer; 0 without.

    Raises
    ------
    KeyError
        When the data has no set of that many headings.
    """
    data = tomllib.loads(files("routeplan.search").joinpath("motions.toml").read_text())
    vectors = heading_vectors(data["headings"][str(headings)])
    angles = np.array([math.atan2(y, x) % (2 * math.pi) for x, y in vectors])
    ways = (Turn(radius_m, 0.0),) if coordinated is None else (Turn(radius_m, 0.0), coordinated)
    turns = [(way, sign * n) for way in ways for n in data["turns"]["headings"] for sign in (1, -1)]
    table: list[list[Primitive]] = []
    for h, (east, north) in enumerate(vectors):
        solved: list[Primitive] = []
        for step in data["straights"]["steps"]:
            ahead = np.array([[step * math.hypot(east, north) * cell_m, 0.0, 0.0, 0.0]])
            solved.append((h, step * east, step * north, ahead))
        for way, turn in turns:
            to, angle = turned(angles, h, turn)
            solved.append((to, *solve_turn(float(angles[h]), angle, way, cell_m)))
        for turn in (1, -1) if pivots else ():
            to, angle = turned(angles, h, turn)
            solved.append((to, 0, 0, np.array([[angle, 0.0, 1.0, 0.0]])))
        for side in (1, -1) if crab_rad else ():
            slip = solve_slip(float(angles[h]), side, crab_rad, cell_m, data["crab"])
            solved += [] if slip is None else [(h, *slip)]
        table.append(solved)
    return _as_arrays(data["version"], angles, table, ways, pivot_arm_m)


def turned(angles: Floats, heading: int, by: int) -> tuple[int, float]:
    """The lattice heading some steps on, and the turn to it, rad."""
    to = (heading + by) % len(angles)
    return to, math.remainder(angles[to] - angles[heading], 2 * math.pi)


def _as_arrays(
    version: int, angles: Floats, table: list[list[Primitive]], ways: tuple[Turn, ...], pivot_arm_m: float
) -> Motions:
    n_h, n_p = len(table), max(map(len, table))
    pieces, counts = np.zeros((n_h, n_p, 3, 4)), np.zeros((n_h, n_p), np.int64)
    d_row, d_col, end = (np.zeros((n_h, n_p), np.int64) for _ in range(3))
    for h, solved in enumerate(table):
        for p, (to, cols, rows, driven) in enumerate(solved):
            end[h, p], d_col[h, p], d_row[h, p], counts[h, p] = to, cols, rows, len(driven)
            pieces[h, p, : len(driven)] = driven
    travel = np.where(pieces[..., 2] > 0, pivot_arm_m, 1.0) * worth_m(pieces)
    length = np.ceil(travel.sum(axis=2) * 1000.0 - 1e-6).astype(np.int64)
    return Motions(version, angles, pieces, counts, d_row, d_col, end, length, ways)
