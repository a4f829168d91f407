"""Bounds of the relaxation: never above what a way costs, and never falling by more than a motion costs."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.search.heap import grown, new_heap, push
from routeplan.search.relaxation import FULL, UNREACHED, Relaxation, Spread, relaxed
from tests.search.explicit import BLOCKED, UNIT_PER_MM, edges_of, every_link, every_motion, graph_of
from tests.search.windows import Window, draw

Ints = NDArray[np.int64]
SEEDS = range(12)
FAR_MM = 1_000_000


def places_of(window: Window, poses: Ints) -> Ints:
    """Places (cells, then anchors) of poses."""
    grid = window.lattice.grid
    cells = grid.rows * grid.cols
    places: Ints = np.where(poses < grid.poses, poses // grid.headings, cells + poses - grid.poses)
    return places


def free_moves(window: Window) -> Ints:
    """Motions and links that are not blocked."""
    moves = np.concatenate([every_motion(window), every_link(window)])
    free: Ints = moves[moves[:, 3] != BLOCKED]
    return free


def relaxation_of(window: Window) -> Relaxation:
    """What the search relaxes a window to."""
    lattice = window.lattice
    return lattice._relaxation(lattice._arrays()[1], lattice.room.taken)


def bounds_of(relaxation: Relaxation, goals: Ints, watched: Ints, spare_mm: int, *, room: int = 1) -> Ints:
    """Bounds on the cost to some places; the search stops so far beyond the first of those watched."""
    places = len(relaxation.linked)
    done, marks = np.zeros(places, np.uint8), np.zeros(places, np.uint8)
    done[: relaxation.shut.size], marks[watched] = relaxation.shut.ravel(), 1
    heap = new_heap(len(goals) + room)
    spread = Spread(np.full(places, UNREACHED, np.int64), done, marks, heap, np.array([UNREACHED, 0]))
    for place in goals[done[goals] == 0]:
        spread.out[place] = 0
        push(spread.heap, 0, int(place), 0)
    while relaxed(relaxation, spread, spare_mm * UNIT_PER_MM) == FULL:
        spread = spread._replace(heap=grown(spread.heap))
    return spread.out


@pytest.mark.parametrize("spare_mm", [0, 1500, FAR_MM])
@pytest.mark.parametrize("seed", SEEDS)
def test_bounds_are_admissible_and_consistent(seed: int, spare_mm: int) -> None:
    window = draw(seed)
    moves = free_moves(window)
    relaxation, edges = relaxation_of(window), edges_of(moves)
    back = graph_of(moves).reverse(copy=False)
    for starts, goals in window.asked:
        ends, first = np.unique(places_of(window, np.array(goals))), places_of(window, np.array(starts))
        bounds = bounds_of(relaxation, ends, first, spare_mm)
        here, there = (bounds[places_of(window, edges[:, n] // 2)] for n in (0, 1))
        on = there != UNREACHED
        assert (here[on] != UNREACHED).all()
        assert (here[on] <= edges[on, 2] + there[on]).all()
        sources = {2 * pose + gear for pose in goals for gear in (0, 1)} & set(back)
        if not sources:
            continue
        costs = nx.multi_source_dijkstra_path_length(back, sources)
        states, truth = np.array(list(costs.items())).T
        found = bounds[places_of(window, states // 2)]
        assert (found != UNREACHED).all() and (found <= truth).all()


def test_bounds_say_something() -> None:
    """Far from the goal they are most of what a way costs, and some places are proven to lead nowhere."""
    shares, nowhere = [], 0
    for seed in SEEDS:
        window = draw(seed)
        back = graph_of(free_moves(window)).reverse(copy=False)
        relaxation = relaxation_of(window)
        for starts, goals in window.asked:
            ends, first = np.unique(places_of(window, np.array(goals))), places_of(window, np.array(starts))
            bounds = bounds_of(relaxation, ends, first, FAR_MM)
            nowhere += int((bounds[: relaxation.shut.size] == UNREACHED).sum())
            sources = {2 * pose + gear for pose in goals for gear in (0, 1)} & set(back)
            costs = nx.multi_source_dijkstra_path_length(back, sources) if sources else {}
            shares += [bounds[places_of(window, np.array([s // 2]))[0]] / c for s, c in costs.items() if c > 0]
    assert np.mean(shares) > 0.25
    assert nowhere > 1000


@pytest.mark.parametrize("seed", SEEDS)
def test_a_look_that_stops_early_bounds_no_higher(seed: int) -> None:
    window = draw(seed)
    relaxation = relaxation_of(window)
    for starts, goals in window.asked:
        ends, first = np.unique(places_of(window, np.array(goals))), places_of(window, np.array(starts))
        whole = bounds_of(relaxation, ends, first, FAR_MM)
        early = bounds_of(relaxation, ends, first, 0, room=5000)
        reached = whole != UNREACHED
        assert (early[reached] <= whole[reached]).all()
        assert (early[first] == whole[first]).all()
