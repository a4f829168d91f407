"""Public grid maps as the search's own arrays: eight moves a cell, no corner cut, every motion judged beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.tile import BLOCKED, COMFORTABLE, FREE, Checker
from routeplan.search import best_first
from routeplan.search.best_first import FOUND, NO_LIMIT, PAUSED, UNIT_PER_MM, Frontier, Lattice
from routeplan.search.heap import grown, new_heap, push
from routeplan.search.motions import solve_motions
from routeplan.search.relaxation import FULL, UNREACHED, Relaxation, Spread, relaxed
from routeplan.search.room import new_checker
from tests import worlds

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A side of a cell in the search's whole lengths, so that a diagonal's rounding is 2.5e-6 of it.
SIDE = 100_000
#: Rows and columns of the eight moves; a way is driven forwards only, for each has its own.
MOVES = np.array([(r, c) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)], np.int64)
LENGTHS = np.round(np.hypot(MOVES[:, 0], MOVES[:, 1]) * SIDE).astype(np.int64)
OPPOSITE = len(MOVES) - 1  # move m is undone by OPPOSITE - m
NONE = np.empty(0, np.int64)


@dataclass(frozen=True)
class Scenario:
    """A way asked for, rows and columns from the map's first line, and the published length of the shortest."""

    start: tuple[int, int]
    goal: tuple[int, int]
    length: float


def read_map(text: str) -> Bools:
    """Passable cells of an octile map, as its format says: ground and grass."""
    kind, height, width, head, *lines = text.splitlines()
    rows = lines[: int(height.removeprefix("height "))]
    assert (kind, head) == ("type octile", "map") and all(len(row) == int(width.removeprefix("width ")) for row in rows)
    return np.array([[cell in ".G" for cell in row] for row in rows])


def read_scenarios(text: str) -> list[Scenario]:
    """Scenarios of a map: bucket, map, width, height, column and row of start and goal, length."""
    rows = [line.split("\t") for line in text.splitlines() if "\t" in line]
    return [Scenario((int(r[5]), int(r[4])), (int(r[7]), int(r[6])), float(r[8])) for r in rows]


def _shifted(cells: Bools, d_row: int, d_col: int) -> Bools:
    """``out[r, c] = cells[r + d_row, c + d_col]``, false beyond the edge."""
    rows, cols = cells.shape
    return np.pad(cells, 1)[1 + d_row : 1 + d_row + rows, 1 + d_col : 1 + d_col + cols]


def possible_moves(free: Bools) -> Bools:
    """Which of the eight moves each cell allows (rows, cols, 8): to a free cell, past free cells on both sides."""
    return np.stack(
        [free & _shifted(free, r, c) & _shifted(free, r, 0) & _shifted(free, 0, c) for r, c in MOVES.tolist()], axis=-1
    )


@cache
def idle_checker() -> Checker:
    """A checker of the right make that is never asked: every motion of a grid map is known."""
    machine = worlds.scissor()
    site = worlds.flat_site(8.0, 8.0, machines=(machine,))
    motions = solve_motions(headings=16, cell_m=site.grid.cell_m, radius_m=2.0, pivots=False, pivot_arm_m=2.0)
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=motions.travel_m)  # fmt: skip
    return new_checker(hazards, motions)


class GridMap:
    """A grid map, searched by the product's kernels."""

    def __init__(self, free: Bools) -> None:
        self.free, self.possible = free, possible_moves(free)
        rows, cols = free.shape
        heads, ends = np.zeros((1, len(MOVES) + 1), np.int64), np.arange(len(MOVES) + 1)
        heads[0, -1] = -1
        self.lattice = Lattice(
            np.ascontiguousarray(MOVES[None, :, 0]), np.ascontiguousarray(MOVES[None, :, 1]),
            np.zeros((1, len(MOVES)), np.int64), LENGTHS[None], np.ones((1, len(MOVES)), np.int64), heads, ends[None],
            np.where(self.possible, COMFORTABLE, BLOCKED).astype(np.uint8)[:, :, None, :],
            np.full((rows, cols, 1), FREE, np.uint8), np.zeros(1, np.int64), np.zeros(rows * cols, np.uint8),
            NONE, NONE, NONE,
        )  # fmt: skip

    def bounds(self, scenario: Scenario, *, corners: bool) -> Ints:
        """The kernel's least costs from every cell to the goal; with the corners cut or not."""
        rows, cols = self.free.shape
        barred = NONE if corners else np.flatnonzero((~self.possible & self.free[..., None]).ravel())
        hops = np.zeros(rows * cols, np.uint8)
        hops[barred // len(MOVES)] = 1
        relaxation = Relaxation(
            (~self.free).astype(np.uint8), np.zeros((rows, cols), np.uint8),
            np.column_stack([MOVES, LENGTHS * UNIT_PER_MM]), hops, barred, NONE, NONE, NONE,
            np.zeros(rows * cols, np.uint8),
        )  # fmt: skip
        watched = np.zeros(rows * cols, np.uint8)
        watched[scenario.start[0] * cols + scenario.start[1]] = 1
        spread = Spread(
            np.full(rows * cols, UNREACHED, np.int64), (~self.free).astype(np.uint8).ravel(), watched,
            new_heap(1 << 12), np.array([UNREACHED, 0]),
        )  # fmt: skip
        goal = scenario.goal[0] * cols + scenario.goal[1]
        spread.out[goal] = 0
        push(spread.heap, 0, goal, 0)
        while relaxed(relaxation, spread, 10 * SIDE * UNIT_PER_MM) == FULL:
            spread = spread._replace(heap=grown(spread.heap))
        return spread.out

    def search(self, scenario: Scenario, bounds: Ints) -> int:
        """Cost of the way that the kernel finds from start to goal under some bounds."""
        rows, cols = self.free.shape
        start, goal = (r * cols + c for r, c in (scenario.start, scenario.goal))
        goals = np.zeros(rows * cols, np.uint8)
        goals[goal] = 1
        frontier = Frontier(
            np.zeros(2 * rows * cols, np.int64), np.zeros(2 * rows * cols, np.int32), new_heap(1 << 12),
            np.zeros(1, np.int64),
        )  # fmt: skip
        for gear in (0, 1):
            best_first.queue(frontier, 2 * start + gear, 0, int(bounds[start]), 0)
        status = PAUSED
        while status in (PAUSED, FULL):
            status, state = best_first.search(self.lattice, idle_checker(), bounds, goals, frontier, NO_LIMIT, NO_LIMIT)
            if status == FULL:
                frontier = frontier._replace(heap=grown(frontier.heap))
        assert status == FOUND and state // 2 == goal and self.lattice.checked[0] == 0, "no hazard is asked"
        return -int(frontier.best[state]) - 1
