"""Why there is no way: what blocks a place, and the nearest misses between the ground reached and the goal."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.ground import BETWEEN_STANCES_M
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.tile import BLOCKED
from routeplan.machine.model import Machine
from routeplan.route.model import NearMiss
from routeplan.search.anchors import STILL, Anchor, check_motions
from routeplan.search.lattice import CheckedLattice, NotFound

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
#: How far apart reported misses lie, m; shortfalls this close count as alike, mm; checks that a miss names at most.
APART_M, ALIKE_MM, NAMED = 3.0, 10.0, 3
#: Blocked motions that are looked at where every place has room to stand, the nearest to where the way breaks off.
#: A metre farther from there counts like this much more to lack, mm.
LOOKED_AT, FARTHER_MM = 20_000, 100.0
#: Short by this much, mm: at least, what lies wholly inside something (``clearance.inside_margins``); an unknown level.
INSIDE_MM = 1000.0
#: Shortfalls differ by less through rounding, mm.
ROUNDING_MM = 0.001
#: Added to shortfalls when they are compared: what stands in the way outweighs what is some millimetres short, and what
#: is not known outweighs both, mm.
IN_THE_WAY_MM, UNKNOWN_MM = 1e5, 1e6
#: Checks where something stands in the way.
_THINGS = (arrays.CLEARANCE, arrays.ACCEPTANCE, arrays.COVERS, arrays.EXCAVATION, arrays.LINES, arrays.CLOSED)
#: What the shortfall of an angle is told over: a slope's rise, and how much sooner one wheel of an axle meets a kerb.
_ACROSS = (arrays.SIDE_SLOPE, arrays.KERB_ANGLE, arrays.KERB_SIDE)
_OVER = dict.fromkeys(_ACROSS, " over the track") | dict.fromkeys(
    (arrays.GRADE, arrays.COMBINED), " over the wheelbase"
)  # fmt: skip
_NAMES = {line.index: line.kind for line in CATALOGUE if line.index >= 0}
_AROUND = [(r, c, math.hypot(r, c)) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)]


def shortfalls_mm(margins: Floats, machine: Machine) -> Floats:
    """By how much each check does not hold (n, KINDS), mm, 0 where it does; slopes as a rise over wheelbase or track.

    Parameters
    ----------
    margins
        (n, OUT) as the kernels give them.
    """
    short = -margins[:, : arrays.KINDS] * 1000.0
    short[:, arrays.STRIKE] += BETWEEN_STANCES_M * 1000.0
    bases = {arrays.GRADE: machine.wheelbase_m} | dict.fromkeys(_ACROSS, machine.track_m)
    for kind, base_m in bases.items():
        short[:, kind] = np.tan(np.radians(np.clip(-margins[:, kind], 0, 80))) * base_m * 1000.0
    steepest = min(machine.value(f"gradeability_basket_{way}hill_pct") for way in ("up", "down")) / 100.0
    short[:, arrays.COMBINED] *= steepest * machine.wheelbase_m
    short[:, arrays.WALKWAY] = 0.0
    # Clearances of a machine that leans far beyond its slopes are not looked at but set so (``sweep.piece_edges``).
    tipped = (margins[:, arrays.COMBINED] < 0.0) & (margins[:, arrays.CLEARANCE] == -1.0)
    short[tipped, arrays.CLEARANCE] = 0.0
    # An unknown level under the body, or one that a soffit is measured from (``bounce``, ``fields.soffit_fields``).
    for kind, unknown in ((arrays.STRIKE, -1.0), (arrays.HEAD, -np.inf), (arrays.OVERHEAD, -np.inf)):
        short[margins[:, kind] == unknown, arrays.LEVELS] = INSIDE_MM
        short[margins[:, kind] == unknown, kind] = 0.0
    return np.maximum(short, 0.0)


def _weighed(short_mm: Floats) -> Floats:
    """Shortfalls (n, KINDS) as they are compared with each other."""
    weighed = short_mm.copy()
    for kind in _THINGS:
        weighed[:, kind] += IN_THE_WAY_MM * (short_mm[:, kind] >= INSIDE_MM)
    weighed[:, arrays.LEVELS] += UNKNOWN_MM * (short_mm[:, arrays.LEVELS] > 0.0)
    return weighed


def pose_blocked(anchor: Anchor, hazards: Hazards, machine: Machine) -> str | None:
    """What blocks a machine that just stands at a pose, in words; ``None`` when nothing does."""
    margins, verdicts = check_motions(hazards, np.array([[anchor.x, anchor.y, anchor.heading]]), STILL)
    return _words(shortfalls_mm(margins, machine)[0], hazards)[1] if verdicts[0] == BLOCKED else None


def _words(short_mm: Floats, hazards: Hazards) -> tuple[int, str]:
    """The check of one row of shortfalls that counts most, and the checks that do not hold in words.

    A body that meets an obstacle is short of its gap, and nobody knows by how much more.
    """
    order = np.argsort(-_weighed(short_mm[None])[0], kind="stable")
    kinds = [int(kind) for kind in order[:NAMED] if short_mm[kind] > 0.0]
    if kinds[0] == arrays.LEVELS:
        return arrays.LEVELS, "a level under the machine is not known"
    parts = []
    for kind in kinds:
        least_mm = 1000.0 * hazards.body.structure_gap if kind == arrays.CLEARANCE else INSIDE_MM
        more = " or more" if kind in _THINGS and short_mm[kind] >= least_mm - ROUNDING_MM else ""
        parts.append(f"{_NAMES[kind]} is short by {math.ceil(short_mm[kind])} mm{more}{_OVER.get(kind, '')}")
    return kinds[0], ", ".join(parts)


def _miss(at: Floats, short_mm: Floats, lattice: CheckedLattice) -> NearMiss:
    """A miss at a pose (x, y, heading) with one row of shortfalls."""
    kind, words = _words(short_mm, lattice.hazards)
    return NearMiss(_NAMES[kind], (float(at[0]), float(at[1])), float(short_mm[kind]), f"{words} here")


def _lacking(lattice: CheckedLattice, machine: Machine, starts: Floats, pieces: Floats) -> Floats:
    """Shortfalls (n, KINDS) of motions, mm; where a full look finds none, those of the search's brief look."""
    margins, _ = check_motions(lattice.hazards, starts, pieces)
    short = shortfalls_mm(margins, machine)
    held = ~short.any(axis=1)
    margins, _ = check_motions(lattice.hazards, starts[held], pieces[held], brief=True)
    short[held] = shortfalls_mm(margins, machine)
    return short


def _starts(lattice: CheckedLattice, rows: Ints, cols: Ints, heads: Ints) -> Floats:
    """Lattice poses (n, 3: x, y, heading in rad)."""
    grid = lattice.grid
    return np.column_stack([
        grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, lattice.motions.headings[heads]
    ])  # fmt: skip


def _standing(lattice: CheckedLattice, machine: Machine) -> tuple[Ints, Floats]:
    """The best heading to stand with in each cell (rows, cols), and what it then lacks (weighed, mm).

    Nothing is lacking where the machine may stand, and everything outside the site.
    """
    grid, stride = lattice.grid, lattice.hazards.terrain.stride
    best, lack = np.zeros((grid.rows, grid.cols), np.int64), np.zeros((grid.rows, grid.cols))
    off_site = (lattice.hazards.world.nodes["inside"][::stride, ::stride] & (1 << arrays.E_BOUNDARY)) != 0
    rows, cols = np.nonzero((lattice.room.taken == 1) & ~off_site)
    lack[rows, cols], lack[off_site] = np.inf, np.inf
    still = np.broadcast_to(STILL[0], (len(rows), *STILL[0].shape))
    for heading in range(grid.headings):
        starts = _starts(lattice, rows, cols, np.full(len(rows), heading))
        weighed = _weighed(_lacking(lattice, machine, starts, still)).max(axis=1)
        less = weighed < lack[rows, cols]
        best[rows[less], cols[less]], lack[rows[less], cols[less]] = heading, weighed[less]
    return best, lack


def _goal_cells(lattice: CheckedLattice, goals: Sequence[int]) -> list[int]:
    """Cells (row * cols + col) that lead to any of the goal poses or from it; else the nearest ones."""
    grid, ends = lattice.grid, set(goals)
    links = [(link.start, link.goal) for link in lattice.links]
    poses = {a for pair in links for a, b in (pair, pair[::-1]) if b in ends and a < grid.poses}
    nearest = (grid.nearest(at.x, at.y) for at in map(lattice.pose_of, goals))
    return sorted({pose // grid.headings for pose in poses}) or [row * grid.cols + col for row, col in nearest]


def _least_way(lack: Floats, seen: Bools, goals: list[int]) -> tuple[int, int] | None:
    """The way over cells from the goal to the ground reached whose worst cell lacks least; the shortest of those alike.

    Returns
    -------
    cell, worst
        Where it meets the ground reached, and its worst cell (of those alike the last), -1 if no cell lacks anything;
        ``None`` when there is no way at all.
    """
    rows, cols = lack.shape
    level = np.ceil(lack / ALIKE_MM).ravel().tolist()
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
    flat = np.zeros(grid.poses, bool)
    flat[reached] = True
    poses = flat.reshape(grid.rows, grid.cols, grid.headings)
    found = []
    for h, p in np.argwhere(motions.counts > 0):
        d_row, d_col = motions.d_row[h, p], motions.d_col[h, p]
        r = np.arange(max(0, -d_row), min(grid.rows, grid.rows - d_row))
        c = np.arange(max(0, -d_col), min(grid.cols, grid.cols - d_col))
        start, end = poses[np.ix_(r, c)][..., h], poses[np.ix_(r + d_row, c + d_col)][..., motions.end[h, p]]
        rows, cols = np.nonzero(start != end)
        found.append(np.column_stack([r[rows], c[cols], np.full(len(rows), h), np.full(len(rows), p)]))
    return np.concatenate(found)


def _breaks(
    lattice: CheckedLattice, machine: Machine, reached: Ints, cell: int, most: int
) -> tuple[NearMiss, ...]:
    """The best blocked motions, apart from each other, where a way breaks off that has room to stand everywhere."""
    grid = lattice.grid
    tried = _blocked_motions(lattice, reached)
    far_m = np.hypot(tried[:, 0] - cell // grid.cols, tried[:, 1] - cell % grid.cols) * grid.cell_m
    nearest = np.argsort(far_m, kind="stable")[:LOOKED_AT]
    rows, cols, heads, prims = tried[nearest].T
    starts = _starts(lattice, rows, cols, heads)
    short = _lacking(lattice, machine, starts, lattice.motions.pieces[heads, prims])
    lack = _weighed(short).max(axis=1)
    order = np.argsort(lack + FARTHER_MM * far_m[nearest], kind="stable")
    left, kept = order[lack[order] > 0.0], list[int]()
    while len(left) and len(kept) < most:
        kept.append(int(left[0]))
        left = left[np.hypot(*(starts[left, :2] - starts[left[0], :2]).T) >= APART_M]
    return tuple(_miss(starts[i], short[i], lattice) for i in kept)


def nearest_misses(
    lattice: CheckedLattice, answer: NotFound, machine: Machine, *, goals: Sequence[int], most: int = 3
) -> tuple[NearMiss, ...]:
    """Where a way to any of the goal poses would go on if less were in the way, the least shortfall first.

    Of all ways over cells from the ground reached to the goal, each at the best heading, the one whose worst cell lacks
    least names that cell; the next ones keep clear of it. Where there is room to stand all along a way, the motions
    that are blocked where it breaks off are named.
    """
    grid = lattice.grid
    seen = np.zeros((grid.rows, grid.cols), bool)
    seen.ravel()[answer.reached // grid.headings] = True
    best, lack = _standing(lattice, machine)
    lack[seen] = 0.0
    cells = _goal_cells(lattice, goals)
    rows, cols = np.indices(lack.shape)
    misses: list[NearMiss] = []
    while len(misses) < most and (way := _least_way(lack, seen, cells)) is not None:
        door, worst = way
        if worst < 0:
            return _breaks(lattice, machine, answer.reached, door, most)
        row, col = np.divmod(np.array([worst]), grid.cols)
        starts = _starts(lattice, row, col, best[row, col])
        misses.append(_miss(starts[0], _lacking(lattice, machine, starts, STILL)[0], lattice))
        near = np.hypot(rows - row, cols - col) * grid.cell_m < APART_M
        lack[near & (lack > 0.0)] = np.inf
    return tuple(misses)
