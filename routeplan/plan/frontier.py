"""Why there is no way: what blocks a place, and the nearest misses where the reached ground ends."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.register import CATALOGUE
from routeplan.hazards.tile import BLOCKED
from routeplan.machine.model import Machine
from routeplan.route import NearMiss
from routeplan.search.anchors import Anchor, check_motions
from routeplan.search.lattice import CheckedLattice, NotFound

Floats = NDArray[np.float64]
#: Blocked motions at the frontier that are looked at, evenly chosen, and how far apart reported misses lie.
LOOKED_AT, APART_M = 6000, 3.0
_NAMES = {line.index: line.kind for line in CATALOGUE if line.index >= 0}


def shortfalls_mm(margins: Floats, machine: Machine) -> tuple[NDArray[np.int64], Floats]:
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
    margins, verdicts = check_motions(
        lattice.hazards, np.array([[anchor.x, anchor.y, anchor.heading]]), np.array([[[1e-6, 0.0, 0.0]]])
    )
    if verdicts[0] != BLOCKED:
        return None
    kind, short = shortfalls_mm(margins, machine)
    return _words(int(kind[0]), float(short[0]))


def _words(kind: int, short_mm: float) -> str:
    if kind == arrays.LEVELS:
        return "a level under the machine is not known"
    return f"{_NAMES[kind]} is short by {math.ceil(short_mm)} mm"


def nearest_misses(
    lattice: CheckedLattice, answer: NotFound, machine: Machine, *, most: int = 3
) -> tuple[NearMiss, ...]:
    """Where the machine would go on if a little less were in the way: blocked motions into cells it never reached."""
    grid, motions = lattice.grid, lattice.motions
    cells, heads = np.divmod(answer.reached, grid.headings)
    rows, cols = np.divmod(cells, grid.cols)
    seen = np.zeros((grid.rows, grid.cols), bool)
    seen[rows, cols] = True
    found: list[tuple[int, int]] = []
    for p in range(motions.counts.shape[1]):
        r, c = rows + motions.d_row[heads, p], cols + motions.d_col[heads, p]
        inside = (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols) & (motions.counts[heads, p] > 0)
        new = inside.copy()
        new[inside] = ~seen[r[inside], c[inside]] & (lattice.room.shut[r[inside], c[inside]] == 0)
        blocked = lattice.table[rows, cols, heads, p] == BLOCKED
        blocked[inside] |= lattice.room.taken[r[inside], c[inside]] == 1
        new &= blocked
        found += [(int(i), p) for i in np.flatnonzero(new)]
    found = found[:: max(1, len(found) // LOOKED_AT)]
    if not found:
        return ()
    which, prims = np.array(found).T
    starts = np.column_stack([
        grid.x0 + cols[which] * grid.cell_m, grid.y0 + rows[which] * grid.cell_m, motions.headings[heads[which]]
    ])  # fmt: skip
    margins, _ = check_motions(lattice.hazards, starts, motions.pieces[heads[which], prims])
    kind, short = shortfalls_mm(margins, machine)
    misses: list[NearMiss] = []
    for i in np.argsort(short, kind="stable"):
        place = (float(starts[i, 0]), float(starts[i, 1]))
        if short[i] <= 0.0 or any(math.dist(place, miss.place) < APART_M for miss in misses):
            continue
        misses.append(
            NearMiss(_NAMES[int(kind[i])], place, float(short[i]), f"{_words(int(kind[i]), float(short[i]))} here")
        )
        if len(misses) == most:
            break
    return tuple(misses)
