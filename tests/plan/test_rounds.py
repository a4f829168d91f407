"""A round is the cheapest of all choices of poses at its stops, by shortest paths on an explicit graph (networkx)."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.plan.rounds import cheapest_round
from routeplan.plan.site_graph import Arrival, SiteGraph, Stop
from tests.search.explicit import BLOCKED, OPEN_PER_MM, UNIT_PER_MM, every_link, every_motion, graph_of
from tests.search.windows import Window, draw

SEEDS = range(12)


@cache
def asked(seed: int) -> tuple[Window, SiteGraph, tuple[Stop, ...]]:
    """A window, its graph, and the places of its ways as the stops of a round."""
    window = draw(seed)
    graph = SiteGraph(window.site, window.machine, (window.lattice,))
    places = [poses for pair in window.asked for poses in pair]
    anchors = [[window.lattice.pose_of(pose) for pose in poses] for poses in places]
    return window, graph, tuple(graph.stop(f"stop {n}", dict.fromkeys(at, 0.0)) for n, at in enumerate(anchors))


@cache
def legs(seed: int) -> list[NDArray[np.float64]]:
    """What each leg of a round costs from every pose at its start to every pose at its end, infinite without a way."""
    window, graph, stops = asked(seed)
    moves = np.concatenate([every_motion(window), every_link(window)])
    explicit, found = graph_of(moves[moves[:, 3] != BLOCKED]), []
    explicit.add_nodes_from(range(2 * (window.lattice.grid.poses + len(window.lattice.anchors))))
    for ends in pairwise(stops):
        starts, goals = graph.ends(*ends, 0)
        costs = [nx.multi_source_dijkstra_path_length(explicit, {2 * pose, 2 * pose + 1}) for pose in starts]
        found.append(np.array([[_least(reached, goal) for goal in goals] for reached in costs]))
    return found


def _least(costs: dict[int, float], pose: int) -> float:
    return min(costs.get(2 * pose + gear, np.inf) for gear in (0, 1))


def _after(paid: NDArray[np.float64], leg: NDArray[np.float64]) -> NDArray[np.float64]:
    """What it costs at best to come to every pose at the end of a leg."""
    best: NDArray[np.float64] = (paid[:, None] + leg).min(axis=0)
    return best


def every_choice(seed: int) -> list[float]:
    """The least that any choice of poses costs, up to each stop of a round as far as there is a way."""
    paid, least = np.zeros(len(legs(seed)[0])), []
    for leg in legs(seed):
        paid = _after(paid, leg)
        if np.isinf(paid).all():
            break
        least.append(float(paid.min()))
    return least


def stop_by_stop(seed: int) -> float:
    """What a round costs that leaves each stop in the pose that the cheapest way there ends in."""
    paid = np.zeros(len(legs(seed)[0]))
    for leg in legs(seed):
        paid = _after(paid, leg)
        paid[paid > paid.min()] = np.inf
    return float(paid.min())


def units(arrival: Arrival) -> int:
    return round(arrival.paid_m * 1000 * UNIT_PER_MM)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_round_costs_the_least_of_all_choices_of_poses(seed: int) -> None:
    _, graph, stops = asked(seed)
    chain = cheapest_round(graph, stops, 0)
    assert [units(arrival) for arrival in chain][-1:] == every_choice(seed)[-1:]
    assert len(chain) == len(every_choice(seed))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_legs_of_a_round_meet_at_the_poses_chosen_and_add_up(seed: int) -> None:
    _, graph, stops = asked(seed)
    chain = cheapest_round(graph, stops, 0)
    paid = 0
    for arrival, (start, goal) in zip(chain, pairwise(stops), strict=False):
        way = arrival.way
        driven = round(way.cost_m * 1000 * UNIT_PER_MM)
        assert (units(arrival) - paid - driven) % OPEN_PER_MM == 0
        assert arrival.begins[0] in start.stands and arrival.ends[0] in goal.stands
        paid = units(arrival)
    assert all(one.ends == other.begins for one, other in pairwise(chain))


def test_poses_chosen_stop_by_stop_make_rounds_dearer() -> None:
    """Else nothing above would tell the one choice from the other."""
    whole = [seed for seed in SEEDS if len(every_choice(seed)) == len(legs(seed))]
    dearer = [seed for seed in whole if stop_by_stop(seed) > every_choice(seed)[-1]]
    assert len(dearer) >= 4
