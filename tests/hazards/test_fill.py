"""What the search sees of a motion is never kinder than a full look at it, and not needlessly harsher."""

from __future__ import annotations

import numpy as np
import pytest

from routeplan.hazards.arrays import KINDS, WALKWAY
from routeplan.hazards.tile import BLOCKED, COMFORTABLE, OPEN, free_motion, motion_byte, pose_free
from routeplan.search.anchors import check_motions
from routeplan.search.room import new_checker
from tests.random_sites import draw

MOTIONS = 250
#: With so much to spare in every unit (m, deg, share) a full look leaves nothing to block.
EASE = 0.06


@pytest.mark.parametrize("seed", range(12))
def test_a_brief_look_is_never_kinder_than_a_full_one(seed: int) -> None:
    drawn = draw(seed)
    lattice, motions = drawn.lattice, drawn.motions
    checker = new_checker(drawn.hazards, drawn.motions)
    rng = np.random.default_rng(1000 + seed)
    rows, cols = rng.integers(8, lattice.grid.rows - 8, MOTIONS), rng.integers(8, lattice.grid.cols - 8, MOTIONS)
    heads, prims = rng.integers(0, 16, MOTIONS), rng.integers(0, motions.counts.shape[1], MOTIONS)
    grid = lattice.grid
    starts = np.column_stack([
        grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, motions.headings[heads]
    ])  # fmt: skip
    margins, full = check_motions(drawn.hazards, starts, motions.pieces[heads, prims])
    hard = np.delete(margins[:, :KINDS], WALKWAY, axis=1).min(axis=1)
    for i, look in enumerate(map(int, full)):
        brief = motion_byte(checker, rows[i], cols[i], heads[i], prims[i])
        where = f"{rows[i]}, {cols[i]}, heading {heads[i]}, primitive {prims[i]}: {brief} for {look}"
        if brief != BLOCKED:
            assert look != BLOCKED, where
            assert brief & OPEN or not look & OPEN, where
            assert brief & ~OPEN >= look & ~OPEN, where
            assert pose_free(checker, rows[i], cols[i], heads[i]), where
        else:
            assert look != COMFORTABLE or hard[i] < EASE, where


def test_the_random_sites_hold_every_kind_of_motion() -> None:
    seen = set()
    quick = 0
    for seed in range(12):
        drawn = draw(seed)
        checker = new_checker(drawn.hazards, drawn.motions)
        rng = np.random.default_rng(2000 + seed)
        for _ in range(200):
            row, col = int(rng.integers(0, drawn.lattice.grid.rows)), int(rng.integers(0, drawn.lattice.grid.cols))
            seen.add(motion_byte(checker, row, col, int(rng.integers(0, 16)), 0))
            quick += free_motion(checker, row, col)
    assert {COMFORTABLE, 2 * COMFORTABLE, 9, BLOCKED} <= seen
    assert quick > 20
