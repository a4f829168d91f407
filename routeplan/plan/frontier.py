"""Why there is no way: what blocks a place, and the nearest misses between the ground reached and the goal."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.register import CATALOGUE
from routeplan.hazards.tile import BLOCKED
from routeplan.machine.model import Machine
from routeplan.route import NearMiss
from routeplan.search.anchors import STILL, Anchor, check_motions
from routeplan.search.lattice import CheckedLattice, NotFound

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
#: How far apart reported misses lie, m; shortfalls this close count as alike, mm.
APART_M, ALIKE_MM = 3.0, 10.0
#: Blocked motions that are looked at where every place has room to stand, the nearest to where the way breaks off.
LOOKED_AT = 20_000
#: What lies wholly inside something is short by this much at least, mm (see ``clearance.inside_margins``).
INSIDE_MM = 1000.0
_NAMES = {line.index: line.kind for line in CATALOGUE if line.index >= 0}
_AROUND = [(r, c, math.hypot(r, c)) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)]


def shortfalls_mm(margins: Floats, machine: Machine) -> tuple[Ints, Floats]:
    """The check that is farthest from holding and by how much, in mm; slopes as a rise over the wheelbase or track.

    Parameters
    ----------
    margins
        (n, OUT) as the kernels give them.
    """
    short = -margins[:, : arrays.KINDS] * 1000.0
    short[:, arrays.GRADE] = (
        np.tan(np.radians(np.clip(-margins[:, arrays.GRADE], 0, 80))) * machine.wheelbase_m * 1000.0
    )
    short[:, arrays.SIDE_SLOPE] = (
        np.tan(np.radians(np.clip(-margins[:, arrays.SIDE_SLOPE], 0, 80))) * machine.track_m * 1000.0
    )
    steepest = min(machine.value(f"gradeability_basket_{way}hill_pct") for way in ("up", "down")) / 100.0
    short[:, arrays.COMBINED] = -margins[:, arrays.COMBINED] * steepest * machine.wheelbase_m * 1000.0
    short[:, arrays.WALKWAY] = -np.inf
    kind = np.argmax(short, axis=1)
    return kind, short[np.arange(len(short)), kind]


def pose_blocked(anchor: Anchor, lattice: CheckedLattice, machine: Machine) -> str | None:
    """What blocks a machine that just stands at a pose, in words; ``None`` when nothing does."""
    margins, verdicts = check_motions(lattice.hazards, np.array([[anchor.x, anchor.y, anchor.heading]]), STILL)
    if verdicts[0] != BLOCKED:
        return None
    kind, short = shortfalls_mm(margins, machine)
    return _words(int(kind[0]), float(short[0]))


def _words(kind: int, short_mm: float) -> str:
    if kind == arrays.LEVELS:
        return "a level under the machine is not known"
    inside = kind >= arrays.CLEARANCE and short_mm >= INSIDE_MM
    return f"{_NAMES[kind]} is short by {math.ceil(short_mm)} mm{' or more' if inside else ''}"


def _miss(kind: int, place: tuple[float, float], short_mm: float) -> NearMiss:
    return NearMiss(_NAMES[kind], place, short_mm, f"{_words(kind, short_mm)} here")


def _lacking(lattice: CheckedLattice, machine: Machine, starts: Floats, pieces: Floats) -> tuple[Ints, Floats]:
    """Kinds and shortfalls (mm) of motions; those that only the search's brief look blocks by what it saw."""
    margins, _ = check_motions(lattice.hazards, starts, pieces)
    kind, short = shortfalls_mm(margins, machine)
    doubtful = short <= 0.0
    margins, _ = check_motions(lattice.hazards, starts[doubtful], pieces[doubtful], brief=True)
    kind[doubtful], short[doubtful] = shortfalls_mm(margins, machine)
    return kind, np.maximum(short, 0.0)


@dataclass(frozen=True, eq=False)
class _Standing:
    """What standing in each cell of the lattice takes, at its best heading, (rows, cols).

    ``short_mm`` is 0 where the machine may stand and infinite outside the site.
    """

    kind: Ints
    short_mm: Floats


def _standing(lattice: CheckedLattice, machine: Machine) -> _Standing:
    grid, stride = lattice.grid, lattice.hazards.terrain.stride
    kind, short = np.zeros((grid.rows, grid.cols), np.int64), np.zeros((grid.rows, grid.cols))
    off_site = (lattice.hazards.world.inside[::stride, ::stride] & (1 << arrays.E_BOUNDARY)) != 0
    rows, cols = np.nonzero((lattice.room.taken == 1) & ~off_site)
    short[rows, cols], short[off_site] = np.inf, np.inf
    for heading in lattice.motions.headings:
        starts = np.column_stack([
            grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, np.full(len(rows), heading)
        ])  # fmt: skip
        kinds, shorts = _lacking(lattice, machine, starts, np.broadcast_to(STILL[0], (len(rows), 1, 3)))
        less = shorts < short[rows, cols]
        kind[rows[less], cols[less]], short[rows[less], cols[less]] = kinds[less], shorts[less]
    return _Standing(kind, short)


def _goal_cells(lattice: CheckedLattice) -> list[int]:
    """Cells (row * cols + col) that lead to the goal or from it: the anchors at the place of the last one added."""
    grid, last = lattice.grid, lattice.anchors[-1]
    goals = {grid.poses + n for n, anchor in enumerate(lattice.anchors) if (anchor.x, anchor.y) == (last.x, last.y)}
    ends = [(link.start, link.goal) for link in lattice.links]
    poses = {a for pair in ends for a, b in (pair, pair[::-1]) if b in goals and a < grid.poses}
    row, col = grid.nearest(last.x, last.y)
    return sorted({pose // grid.headings for pose in poses}) or [row * grid.cols + col]


def _least_way(short_mm: Floats, seen: Bools, goals: list[int]) -> tuple[int, int] | None:
    """The way over cells from the goal to the ground reached whose worst cell lacks least; the shortest of those alike.

    Returns
    -------
    cell, worst
        Where it meets the ground reached, and its worst cell (of those alike the last), -1 if no cell lacks anything;
        ``None`` when there is no way at all.
    """
    rows, cols = short_mm.shape
    level = np.ceil(short_mm / ALIKE_MM).ravel().tolist()
    reached, done = seen.ravel().tolist(), [math.isinf(value) for value in level]
    heap = [(level[cell], 0.0, cell, cell if level[cell] > 0.0 else -1) for cell in goals]
    heapq.heapify(heap)
    while heap:
        so_far, far, cell, worst = heapq.heappop(heap)
        if done[cell]:
            continue
        if reached[cell]:
            return cell, worst
        done[cell] = True
        for d_row, d_col, step in _AROUND:
            row, col = cell // cols + d_row, cell % cols + d_col
            other = row * cols + col
            if 0 <= row < rows and 0 <= col < cols and not done[other]:
                here = level[other]
                at = other if here > 0.0 and here >= so_far else worst
                heapq.heappush(heap, (max(so_far, here), far + step, other, at))
    return None


def _blocked_motions(lattice: CheckedLattice, reached: Ints) -> Ints:
    """Motions (n, 4: row, column, heading, primitive) between a pose that was reached and one that was not."""
    grid, motions = lattice.grid, lattice.motions
    poses = np.zeros(grid.poses, bool)
    poses[reached] = True
    poses = poses.reshape(grid.rows, grid.cols, grid.headings)
    found = []
    for h, p in np.argwhere(motions.counts > 0):
        d_row, d_col = motions.d_row[h, p], motions.d_col[h, p]
        r = np.arange(max(0, -d_row), min(grid.rows, grid.rows - d_row))
        c = np.arange(max(0, -d_col), min(grid.cols, grid.cols - d_col))
        rows, cols = np.nonzero(poses[np.ix_(r, c)][..., h] != poses[np.ix_(r + d_row, c + d_col)][..., motions.end[h, p]])
        found.append(np.column_stack([r[rows], c[cols], np.full(len(rows), h), np.full(len(rows), p)]))
    return np.concatenate(found)


def _breaks(lattice: CheckedLattice, machine: Machine, reached: Ints, cell: int) -> list[NearMiss]:
    """Blocked motions around the cell where a way breaks off that has room to stand everywhere, nearest first."""
    grid, motions = lattice.grid, lattice.motions
    tried = _blocked_motions(lattice, reached)
    far_m = np.hypot(tried[:, 0] - cell // grid.cols, tried[:, 1] - cell % grid.cols) * grid.cell_m
    nearest = np.argsort(far_m, kind="stable")[:LOOKED_AT]
    (rows, cols, heads, prims), far_m = tried[nearest].T, far_m[nearest]
    starts = np.column_stack([
        grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, motions.headings[heads]
    ])  # fmt: skip
    kind, short = _lacking(lattice, machine, starts, motions.pieces[heads, prims])
    order = np.lexsort((short, far_m // APART_M))
    return [
        _miss(int(kind[i]), (float(starts[i, 0]), float(starts[i, 1])), float(short[i]))
        for i in order if short[i] > 0.0
    ]  # fmt: skip


def nearest_misses(
    lattice: CheckedLattice, answer: NotFound, machine: Machine, *, most: int = 3
) -> tuple[NearMiss, ...]:
    """Where a way to the goal of the last move would go on if less were in the way, the least shortfall first.

    Of all ways over cells from the ground reached to the goal, each at the best heading, the one whose worst cell lacks
    least names that cell; the next ones keep clear of it. Where there is room to stand all along a way, the motions
    that are blocked where it breaks off are named.
    """
    grid = lattice.grid
    standing = _standing(lattice, machine)
    seen = np.zeros(grid.rows * grid.cols, bool)
    seen[answer.reached // grid.headings] = True
    short = np.where(seen.reshape(standing.short_mm.shape), 0.0, standing.short_mm)
    goals = _goal_cells(lattice)
    rows, cols = np.indices(short.shape)
    misses: list[NearMiss] = []
    while len(misses) < most and (way := _least_way(short, seen, goals)) is not None:
        door, worst = way
        if worst < 0:
            return _apart(_breaks(lattice, machine, answer.reached, door), most)
        row, col = divmod(worst, grid.cols)
        place = (grid.x0 + col * grid.cell_m, grid.y0 + row * grid.cell_m)
        misses.append(_miss(int(standing.kind[row, col]), place, float(short[row, col])))
        near = np.hypot(rows - row, cols - col) * grid.cell_m < APART_M
        short[near & (short > 0.0)] = np.inf
    return tuple(misses)


def _apart(found: Iterable[NearMiss], most: int) -> tuple[NearMiss, ...]:
    """The first of some misses that lie apart from each other."""
    kept: list[NearMiss] = []
    for miss in found:
        if len(kept) < most and all(math.dist(miss.place, other.place) >= APART_M for other in kept):
            kept.append(miss)
    return tuple(kept)
