"""A round is the cheapest of all choices of poses at its stops, by shortest paths on an explicit graph (networkx).

Small drawn windows, every motion looked at beforehand; and a hall whose door is passed in another travel mode.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise, product

import networkx as nx
import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.plan import move, rounds
from routeplan.plan.rounds import bounded, cheapest_round
from routeplan.plan.site_graph import CHANGE_M, Arrival, Node, SiteGraph, Stop
from routeplan.plan.way import metre_m
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.search.lattice import Found
from routeplan.site.model import MoveWanted, Obstacle, Site
from tests import worlds
from tests.plan.test_finer import bent
from tests.plan.test_modes import hall
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


@pytest.mark.parametrize("seed", SEEDS)
def test_no_choice_of_poses_costs_less_than_the_bounds(seed: int) -> None:
    _, graph, stops = asked(seed)
    chain = cheapest_round(graph, stops, 0)
    least = sum(way.bound_m for way in bounded(graph, stops[: len(chain) + 1], [arrival.way for arrival in chain]))
    costs = every_choice(seed)
    assert least * 1000 * UNIT_PER_MM <= (costs[-1] if costs else 0.0) + 1.0
    if chain and all(arrival.closed for arrival in chain):
        assert round(sum(arrival.way.bound_m for arrival in chain) * 1000 * UNIT_PER_MM) == costs[-1]


@pytest.mark.parametrize("spare_m", [0.0, 1e6])
def test_what_is_looked_at_first_makes_no_difference(spare_m: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A round that costs more than was allowed for at first is looked for again."""
    monkeypatch.setattr(rounds, "SPARE_M", spare_m)
    for seed in SEEDS[:6]:
        window = draw(seed)
        _, _, stops = asked(seed)
        fresh = SiteGraph(window.site, window.machine, (window.lattice,))
        own = [fresh.stop(stop.name, dict.fromkeys(stop.stands, 0.0)) for stop in stops]
        assert [units(arrival) for arrival in cheapest_round(fresh, own, 0)][-1:] == every_choice(seed)[-1:]


def yard(*moves: MoveWanted) -> Site:
    """An open yard, four places without a bearing, and a boom, which turns in much room."""
    spots = {"west": (10.0, 8.0), "south": (26.0, 8.0), "north": (28.0, 22.0), "back": (10.0, 22.0)}
    places = tuple(worlds.place(name, *at) for name, at in spots.items())
    return worlds.flat_site(40.0, 30.0, machines=(worlds.boom("SC"),), moves=moves, places=places)


def planned(*moves: MoveWanted) -> tuple[Move, ...]:
    return plan_site(yard(*moves), issued="2026-11-24T12:00:00+00:00").moves


def test_a_round_costs_less_than_its_legs_one_after_the_other_and_is_bounded_by_what_it_costs() -> None:
    """Single moves that follow one another leave each stop in the pose that the way there ended in."""
    names = ("west", "south", "north", "back")
    single = [worlds.wanted("SC", *ends, move_id=f"M{n}") for n, ends in enumerate(pairwise(names))]
    (together,) = planned(replace(worlds.wanted("SC", "west", "back"), via=names[1:-1]))
    assert together.verdict in ("pass", "pass with controls"), together.reason
    assert together.lattice_cost_m < sum(one.lattice_cost_m for one in planned(*single)) - 1.0
    assert together.best_possible_m == pytest.approx(together.lattice_cost_m)


def test_a_round_is_found_where_the_cheapest_way_to_a_stop_leads_no_further() -> None:
    """A closed aisle too narrow to turn in, and a goal that faces west: east of the start it is reversed to, all along.

    To the stop alone it is cheaper to drive along the arrow, facing east.
    """
    walls = tuple(Obstacle(f"wall-{n}", box(0.0, y, 40.0, y + 1.0), "wall", None) for n, y in enumerate((1.8, 5.2)))
    asked = replace(worlds.wanted("SC", "start", "goal"), via=("stop",))
    places = (worlds.place("start", 5.0, 4.0), worlds.place("stop", 20.0, 4.0), worlds.place("goal", 35.0, 4.0, 270.0))
    site = worlds.flat_site(
        40.0, 8.0, machines=(worlds.scissor(),), moves=(asked,), places=places, obstacles=walls
    )  # fmt: skip
    (driven,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert driven.verdict in ("pass", "pass with controls"), driven.reason
    assert {pose.gear for pose in driven.poses} == {-1}


def test_the_bound_of_a_round_holds_for_all_poses_at_a_stop_that_only_a_finer_look_came_to() -> None:
    """The finer look chose the pose at the stop, so what the way on costs from there is no bound."""
    site = bent(3.0)
    places = {**site.places, "n": worlds.place("n", 26.0, 22.0)}
    moves = worlds.wanted("SC", "e", "n"), replace(worlds.wanted("SC", "w", "n", move_id="M2"), via=("e",))
    on, round_ = plan_site(replace(site, places=places, moves=moves), issued="2026-11-24T12:00:00+00:00").moves
    assert round_.verdict in ("pass", "pass with controls"), round_.reason
    apart_m = places["w"].point.distance(places["e"].point)
    assert round_.best_possible_m <= apart_m + on.lattice_cost_m + 1e-3


def over_every_pose(graph: SiteGraph, stops: Sequence[Stop]) -> dict[tuple[Stop, int, int], float]:
    """What it costs to come to a stop, by mode and stops behind it, when all legs between all poses are planned.

    Nodes are where it stands, the mode, whether it leaves, and how many stops are behind it. Of the two last stops, the
    first is there pose by pose.
    """
    start, middle, goal = stops
    holds = [stop for stop in dict.fromkeys(node.stop for node in graph.graph) if stop.name.startswith("hold point")]
    poses = [graph.stop(middle.name, {at: 0.0}) for at in middle.stands]
    parts = ((start, *holds), (*holds, *poses)), ((*poses, *holds), (*holds, goal))
    every: nx.DiGraph = nx.DiGraph()
    every.add_edge((start, 0, False, 0), (start, 0, True, 0), weight=0.0)
    for m, n in product(range(len(graph.lattices)), repeat=2):
        for here in (start, *holds, *poses):
            if graph.ends(here, here, m)[0] and graph.ends(here, here, n)[0] and (m != n or here in poses):
                price_m = CHANGE_M if m != n else 0.0
                for before, after in [(0, 1)] if here in poses else [(0, 0), (1, 1)]:
                    every.add_edge((here, m, False, before), (here, n, True, after), weight=price_m)
    for (behind, (sources, goals)), (m, lattice) in product(enumerate(parts), enumerate(graph.lattices)):
        factor = metre_m(lattice)
        for a, b in product(sources, goals):
            found = lattice.find(*graph.ends(a, b, m)) if a != b and all(graph.ends(a, b, m)) else None
            if isinstance(found, Found):
                assert found.open_m == 0.0
                every.add_edge((a, m, True, behind), (b, m, False, behind), weight=factor * found.cost_m)
    costs = nx.single_source_dijkstra_path_length(every, (start, 0, False, 0))
    return {(stop, m, behind): cost for (stop, m, leaves, behind), cost in costs.items() if not leaves}


def test_a_round_in_changing_modes_costs_the_least_of_all_choices_of_poses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Into a hall whose door is driven through from beside only, and out again."""
    asked_for: list[tuple[SiteGraph, Sequence[Stop], list[Arrival]]] = []

    def kept(graph: SiteGraph, stops: Sequence[Stop], mode: int) -> list[Arrival]:
        asked_for.append((graph, stops, cheapest_round(graph, stops, mode)))
        return asked_for[-1][2]

    monkeypatch.setattr(move, "cheapest_round", kept)
    monkeypatch.setattr(rounds, "SPARE_M", 0.0)
    site = hall(2.6, machine=worlds.scissor())
    bay = worlds.place("bay", 8.0, 15.0)
    moves = (replace(site.moves[0], via=("hall",), goal="bay"),)
    (driven,) = plan_site(
        replace(site, places={**site.places, "bay": bay}, moves=moves), issued="2026-11-24T12:00:00+00:00"
    ).moves
    assert driven.verdict == "pass with controls", driven.reason
    assert {pose.travel_mode for pose in driven.poses} == {"ridden", "beside_rails_up"}
    ((graph, stops, chain),) = asked_for
    costs = over_every_pose(graph, stops)
    assert chain[-1].paid_m == pytest.approx(min(costs.get((stops[2], m, 1), math.inf) for m in (0, 1)))
    most_m = chain[0].paid_m + CHANGE_M + 5.0
    arrivals = graph.ways([Node(stops[0], 0, False)], stops[1], most_m=most_m)
    assert {arrival.ends[1] for arrival in arrivals} == {0, 1}
    assert {(arrival.ends, round(arrival.paid_m, 3)) for arrival in arrivals} == {
        ((stop.stands[0], m), round(cost, 3))
        for (stop, m, behind), cost in costs.items()
        if stop.name == stops[1].name and not behind and cost < most_m
    }
