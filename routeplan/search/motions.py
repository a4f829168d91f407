"""Motion primitives solved for one turning radius: how a machine moves from lattice node to lattice node."""

from __future__ import annotations

import hashlib
import math
import tomllib
from dataclasses import dataclass
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Motions:
    """Primitives of one lattice and machine; H headings, P primitives a heading.

    Parameters
    ----------
    headings
        (H,) radians anticlockwise from east, from 0 up.
    pieces
        (H, P, 3, 3): length (m; turn in rad on the spot), curvature (1/m), 1 for a turn on the spot.
    counts
        (H, P) pieces that count; 0 for a primitive that a heading does not have.
    d_row, d_col, end
        (H, P) displacement in lattice cells, and index of the heading at the end.
    length_mm
        (H, P) path length, rounded up; a turn on the spot counts the travel of its farthest wheel.
    """

    version: int
    headings: Floats
    pieces: Floats
    counts: Ints
    d_row: Ints
    d_col: Ints
    end: Ints
    length_mm: Ints

    @property
    def travel_m(self) -> float:
        """How far the origin may get from where a primitive starts, rounded up."""
        return float(np.where(self.pieces[..., 2] > 0, 0.0, np.abs(self.pieces[..., 0])).sum(axis=2).max())

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


def solve_turn(start: float, turn: float, radius_m: float, cell_m: float) -> tuple[int, int, Floats]:
    """Shortest line, arc, line from one lattice heading to another that ends on a lattice node.

    Returns
    -------
    d_col, d_row
        Displacement in cells.
    pieces
        (3, 3): see ``Motions``.
    """
    side = math.copysign(1.0, turn)
    arc = radius_m * abs(turn)
    ax = side * radius_m * (math.sin(start + turn) - math.sin(start))
    ay = -side * radius_m * (math.cos(start + turn) - math.cos(start))
    u0, v0, u1, v1 = math.cos(start), math.sin(start), math.cos(start + turn), math.sin(start + turn)
    determinant = u0 * v1 - u1 * v0
    reach = math.ceil((arc + 3.0 * radius_m + 8.0 * cell_m) / cell_m)
    d_col, d_row = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    bx, by = d_col * cell_m - ax, d_row * cell_m - ay
    before, after = (bx * v1 - by * u1) / determinant, (by * u0 - bx * v0) / determinant
    total = np.where((before > -1e-9) & (after > -1e-9), before + after, np.inf)
    best = np.unravel_index(int(np.argmin(total)), total.shape)
    pieces = np.zeros((3, 3))
    pieces[0, 0], pieces[2, 0] = max(float(before[best]), 0.0), max(float(after[best]), 0.0)
    pieces[1] = arc, side / radius_m, 0.0
    return int(d_col[best]), int(d_row[best]), pieces


def solve_motions(*, headings: int, cell_m: float, radius_m: float, pivots: bool, pivot_arm_m: float) -> Motions:
    """Solve the primitives of ``motions.toml`` for a machine's turning radius at its origin.

    Raises
    ------
    KeyError
        When the data has no set of that many headings.
    """
    data = tomllib.loads(files("routeplan.search").joinpath("motions.toml").read_text())
    vectors = heading_vectors(data["headings"][str(headings)])
    angles = np.array([math.atan2(y, x) % (2 * math.pi) for x, y in vectors])
    turns = [sign * n for n in data["turns"]["headings"] for sign in (1, -1)]
    n_h, n_p = len(vectors), len(data["straights"]["steps"]) + len(turns) + (2 if pivots else 0)
    pieces, counts = np.zeros((n_h, n_p, 3, 3)), np.zeros((n_h, n_p), np.int64)
    d_row, d_col, end, length = (np.zeros((n_h, n_p), np.int64) for _ in range(4))
    for h, (east, north) in enumerate(vectors):
        unit = math.hypot(east, north) * cell_m
        steps = data["straights"]["steps"]
        for p, step in enumerate(steps):
            pieces[h, p, 0, 0], counts[h, p] = step * unit, 1
            d_col[h, p], d_row[h, p], end[h, p] = step * east, step * north, h
        for p, turn in enumerate(turns, start=len(steps)):
            end[h, p] = (h + turn) % n_h
            angle = math.remainder(angles[end[h, p]] - angles[h], 2 * math.pi)
            d_col[h, p], d_row[h, p], pieces[h, p] = solve_turn(float(angles[h]), angle, radius_m, cell_m)
            counts[h, p] = 3
        if pivots:
            for p, turn in enumerate((1, -1), start=len(steps) + len(turns)):
                end[h, p], counts[h, p] = (h + turn) % n_h, 1
                pieces[h, p, 0] = math.remainder(angles[end[h, p]] - angles[h], 2 * math.pi), 0.0, 1.0
    travel = np.where(pieces[..., 2] > 0, pivot_arm_m, 1.0) * np.abs(pieces[..., 0])
    length = np.ceil(travel.sum(axis=2) * 1000.0 - 1e-6).astype(np.int64)
    return Motions(data["version"], angles, pieces, counts, d_row, d_col, end, length)
