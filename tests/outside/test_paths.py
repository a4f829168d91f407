"""Paths: published and exact shortest curves, the stretch of a lattice and a textbook's graph, through the search's
own geometry and kernels.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards.tile import PIECE
from routeplan.search import best_first
from routeplan.search.best_first import BLOCKED, FOUND, NO_LIMIT, Frontier, Lattice
from routeplan.search.curves import curve
from routeplan.search.heap import new_heap, push
from routeplan.search.motions import solve_motions
from routeplan.search.relaxation import EXHAUSTED, UNREACHED, Relaxation, Spread, relaxed
from tests.outside.grid_maps import idle_checker

#: Goal (x, y, heading) from (0, 0, 0) at radius 1, length, source.
CURVES = [
    (4.0, 0.0, 0.0, 4.0, "AndrewWalker/Dubins-Curves tests/stableapi_tests.cpp, public copy"),
    (0.0, 2.0, math.pi, math.pi, "exact"),
    (0.0, 4.0, math.pi, math.pi + 2.0, "exact"),
    (1.0, 1.0, math.pi / 2, math.pi / 2, "exact"),
    (4.0, 4.0, math.pi / 2, math.pi / 2 + 3.0 * math.sqrt(2.0), "exact"),
    (0.0, 1.0, 0.0, 2.0 * math.pi + 1.0, "arithmetic"),
    (0.0, 10.0, 0.0, 11.392920, "arithmetic"),
    (10.0, 0.0, math.pi, 13.342267, "arithmetic"),
]


@pytest.mark.parametrize(("x", "y", "heading", "length", "source"), CURVES)
@pytest.mark.parametrize("radius", [1.0, 4.3])
def test_shortest_curves(x: float, y: float, heading: float, length: float, source: str, radius: float) -> None:
    pieces = np.zeros((3, PIECE))
    found = curve(0.0, 0.0, 0.0, radius * x, radius * y, heading, radius, pieces)
    assert found == pytest.approx(radius * length, abs=5e-6 * radius), source
    assert pieces[:, 0].sum() == pytest.approx(found, abs=1e-9)


def test_length_is_kept_when_ends_swap() -> None:
    pieces = np.zeros((3, PIECE))
    there = curve(0.0, 0.0, 0.3, 7.0, -2.0, 1.1, 2.0, pieces)
    back = curve(7.0, -2.0, 1.1 + math.pi, 0.0, 0.0, 0.3 + math.pi, 2.0, pieces)
    assert there == pytest.approx(back, abs=1e-9)


def test_stretch_of_sixteen_headings() -> None:
    """Between two headings a line costs at most 1 / cos(half their gap) more: 1.027486 at 13.283 deg (exact)."""
    headings = solve_motions(headings=16, cell_m=0.25, radius_m=3.0, pivots=False, pivot_arm_m=1.0).headings
    gap = float(np.diff(np.append(headings, headings[0] + 2.0 * math.pi)).max())
    assert math.degrees(gap) / 2.0 == pytest.approx(13.283, abs=0.0005)
    assert 1.0 / math.cos(gap / 2.0) == pytest.approx(1.027486, abs=5e-7)


#: Directed graph, distances from s and the way to x: Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms,
#: Fig. 24.6 (Dijkstra's algorithm), public copy.
VERTICES = "stxyz"
ARCS = {"st": 10, "sy": 5, "tx": 1, "ty": 2, "xz": 4, "yt": 3, "yx": 9, "yz": 2, "zs": 7, "zx": 6}
DISTANCES, WAY_TO_X = {"s": 0, "t": 8, "x": 9, "y": 5, "z": 7}, "sytx"
Ints = NDArray[np.int64]


def places(ends: str) -> Ints:
    """Vertices as exact poses beside a lattice of one node: numbered from 1, as poses and as places."""
    return np.array([1 + VERTICES.index(vertex) for vertex in ends], np.int64)


def spread_from(goal: str, arcs: dict[str, int]) -> Ints:
    """Least costs to a vertex from every place, over arcs driven as they point, by the relaxation's kernel."""
    (goal_place,), size = places(goal), 1 + len(VERTICES)
    ordered = sorted(arcs, key=lambda arc: places(arc[1])[0])
    leads, starts = (places("".join(arc[i] for arc in ordered)) for i in (1, 0))
    linked, shut = np.zeros(size, np.uint8), np.ones((1, 1), np.uint8)
    linked[leads] = 1
    relaxation = Relaxation(
        shut, np.zeros((1, 1), np.uint8), np.empty((0, 3), np.int64), np.zeros(1, np.uint8), np.empty(0, np.int64),
        leads, starts, np.array([arcs[arc] for arc in ordered]), linked,
    )  # fmt: skip
    done = np.append(shut, np.zeros(size - 1, np.uint8))
    spread = Spread(
        np.full(size, UNREACHED, np.int64), done, np.zeros(size, np.uint8), new_heap(64), np.array([UNREACHED, 0])
    )  # fmt: skip
    spread.out[goal_place] = 0
    push(spread.heap, 0, int(goal_place), 0)
    assert relaxed(relaxation, spread, 0) == EXHAUSTED
    return spread.out


def found_way(goal: str, bounds: Ints) -> tuple[int, str]:
    """Cost of the search's way from s to a vertex, and its vertices; links stand for the arcs, all in one gear."""
    arcs = sorted(ARCS, key=lambda arc: places(arc[0])[0])
    starts, ends = (places("".join(arc[i] for arc in arcs)) for i in (0, 1))
    one, none = np.zeros((1, 1), np.int64), np.zeros(1, np.uint8)
    lattice = Lattice(
        one, one, one, one, one, one - 1, one - 1, np.full((1, 1, 1, 1), BLOCKED, np.uint8),
        np.zeros((1, 1, 1), np.uint8), np.zeros(1, np.int64), none, starts, 2 * ends,
        np.array([ARCS[arc] for arc in arcs]),
    )  # fmt: skip
    states = 2 * (1 + len(VERTICES))
    frontier = Frontier(np.zeros(states, np.int64), np.zeros(states, np.int32), new_heap(512), np.zeros(1, np.int64))
    (start,), (end,) = places("s"), places(goal)
    best_first.queue(frontier, int(2 * start), 0, int(bounds[start]), 0)
    goals = np.zeros(1 + len(VERTICES), np.uint8)
    goals[end] = 1
    status, state = best_first.search(lattice, idle_checker(), bounds, goals, frontier, NO_LIMIT, NO_LIMIT)
    assert (status, state) == (FOUND, 2 * end)
    way, at = "", state
    while frontier.parent[at] != 0:
        way = arcs[(-1 - int(frontier.parent[at])) // 2][0] + way
        at = int(2 * places(way[0])[0])
    return -int(frontier.best[state]) - 1, way + goal


@pytest.mark.parametrize("blind", [True, False])
def test_textbook_graph(blind: bool) -> None:
    for goal, distance in DISTANCES.items():
        bounds = np.zeros(1 + len(VERTICES), np.int64) if blind else spread_from(goal, ARCS)
        cost, way = found_way(goal, bounds)
        assert cost == distance
        assert goal != "x" or way == WAY_TO_X


def test_textbook_graph_by_the_relaxation() -> None:
    """Costs to s over the arcs turned round are the distances from s; as they point, they are those to s."""
    turned = {arc[::-1]: cost for arc, cost in ARCS.items()}
    assert dict(zip(VERTICES, spread_from("s", turned)[1:].tolist(), strict=True)) == DISTANCES
    assert all(spread_from(goal, ARCS)[places("s")[0]] == distance for goal, distance in DISTANCES.items())
