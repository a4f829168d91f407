"""The search against an explicit graph: the same costs to the last unit, and ways exactly where there are ways.

The motions of random windows are looked at by single looks that neither wait until they are asked for nor take calm
ground on trust; shortest paths come from networkx. Twenty seeded windows run by default, two hundred when the
environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from routeplan.search.anchors import Anchor, check_motions
from routeplan.search.lattice import Found
from routeplan.search.straighten import Motion
from tests.search.explicit import (
    BLOCKED,
    CALM,
    EIGHTHS,
    OPEN,
    OPEN_PER_MM,
    SWITCH,
    UNIT_PER_MM,
    every_link,
    every_motion,
    graph_of,
)
from tests.search.windows import Window, draw

#: A line through a passage may be counted a millimetre too long on each of its three drives, at worst at 3 * 24.
ROUNDED_UP = 3 * 3 * 24
#: The last of the few is the first with a way that is open.
SEEDS = range(200) if os.environ.get("ROUTEPLAN_FULL") else (*range(20), 31)


def cheapest(graph: nx.DiGraph, starts: Iterable[int], goals: Iterable[int]) -> int | None:
    """Cost of the best way in either gear from any start to any goal; ``None`` where there is none."""
    sources = {2 * pose + gear for pose in starts for gear in (0, 1)} & set(graph)
    if not sources:
        return None
    costs = nx.multi_source_dijkstra_path_length(graph, sources)
    found = [costs[state] for pose in goals for state in (2 * pose, 2 * pose + 1) if state in costs]
    return min(found, default=None)


def total(found: Found) -> int:
    """What a way costs in the search, the weight of its open length included."""
    return round(found.cost_m * 1000 * UNIT_PER_MM) + round(found.open_m * 1000) * OPEN_PER_MM


def driven(motions: Sequence[Motion], window: Window) -> int:
    """Cost of a way, looked at and added up motion by motion."""
    along = [motion.reversed() if motion.gear < 0 else motion for motion in motions]
    pieces = np.array([np.pad(motion.pieces, ((0, 3 - len(motion.pieces)), (0, 0))) for motion in along])
    starts = np.array([(motion.at.x, motion.at.y, motion.at.heading) for motion in along])
    _, verdicts = check_motions(window.hazards, starts, pieces, brief=True)
    arm_m = math.hypot(window.machine.wheelbase_m, window.machine.track_m / 2)
    gears = [motion.gear for motion in motions if motion.gear]
    cost = SWITCH * sum(one != other for one, other in pairwise(gears))
    for motion, byte in zip(motions, map(int, verdicts), strict=True):
        length_m = float(np.abs(motion.pieces[:, 0]).sum()) * (arm_m if motion.gear == 0 else 1.0)
        length_mm = math.ceil(length_m * 1000.0 - 1e-6)
        assert byte != BLOCKED or length_mm == 0
        cost += length_mm * ((byte & EIGHTHS) * (3 if motion.gear < 0 else 2) + (OPEN_PER_MM if byte & OPEN else 0))
    return cost


@dataclass(frozen=True)
class Answer:
    """Costs of one way asked for: by the graph, by the search, by the search's own way, and on calm ground.

    ``None`` where there is no way; ``calm`` counts the same motions and links as if no hazard were near any of them.
    """

    wanted: int | None
    found: int | None
    driven: int | None
    calm: int | None
    whole: bool
    least: int


@dataclass(frozen=True)
class Each:
    """Costs of ways to each of some goals in their order, what was paid at their starts included; ``asked`` at most."""

    wanted: dict[int, int]
    found: list[tuple[int, int]]
    asked: int


@cache
def answers(seed: int) -> tuple[Answer, ...]:
    """What the ways asked for in a window come to."""
    window = draw(seed)
    moves = np.concatenate([every_motion(window), every_link(window)])
    graph = graph_of(moves[moves[:, 3] != BLOCKED])
    moves[:, 3] = CALM
    calm = graph_of(moves)
    return tuple(_answer(window, graph, calm, starts, goals) for starts, goals in window.asked)


@cache
def each(seed: int) -> tuple[Each, ...]:
    """What the ways asked for in a window come to when some was paid at their starts, and every goal is wanted."""
    window = draw(seed)
    moves = np.concatenate([every_motion(window), every_link(window)])
    graph = graph_of(moves[moves[:, 3] != BLOCKED])
    return tuple(_each(window, graph, starts, goals) for starts, goals in window.asked)


def _each(window: Window, graph: nx.DiGraph, starts: Sequence[int], goals: Sequence[int]) -> Each:
    paid = {pose: UNIT_PER_MM * 700 * (n % 5) for n, pose in enumerate(starts)}
    before = graph.copy()
    before.add_weighted_edges_from((-1, 2 * pose + gear, cost) for pose, cost in paid.items() for gear in (0, 1))
    costs = nx.single_source_dijkstra_path_length(before, -1)
    reached = {pose: [costs[state] for state in (2 * pose, 2 * pose + 1) if state in costs] for pose in goals}
    wanted = {pose: min(least) for pose, least in reached.items() if least}
    asked = sorted(wanted.values())[len(wanted) // 2] if wanted else 0
    paid_m = {pose: cost / UNIT_PER_MM / 1000 for pose, cost in paid.items()}
    found = window.lattice.find_each(paid_m, goals, most_m=asked / UNIT_PER_MM / 1000)
    ways = found if isinstance(found, tuple) else ()
    return Each(wanted, [(way.goal, paid[way.start] + total(way)) for way in ways], asked)


def _answer(
    window: Window, graph: nx.DiGraph, calm: nx.DiGraph, starts: Sequence[int], goals: Sequence[int]
) -> Answer:
    answer = window.lattice.find(starts, goals)
    wanted, at_best = cheapest(graph, starts, goals), cheapest(calm, starts, goals)
    if not isinstance(answer, Found):
        return Answer(wanted, None, None, at_best, answer.why == "exhausted", 0)
    ends = [(answer.motions[0].at, starts), (answer.motions[-1].end, goals)]
    ends_meet = all(min(gap(end, window.lattice.pose_of(pose)) for pose in poses) < 1e-6 for end, poses in ends)
    joined = all(gap(one.end, other.at) < 1e-6 for one, other in pairwise(answer.motions))
    least = round(answer.bound_m * 1000 * UNIT_PER_MM)
    return Answer(wanted, total(answer), driven(answer.motions, window), at_best, ends_meet and joined, least)


def gap(one: Anchor, other: Anchor) -> float:
    """How far two poses lie apart, m and rad together."""
    turned = abs(math.remainder(one.heading - other.heading, 2.0 * math.pi))
    return math.hypot(one.x - other.x, one.y - other.y) + turned


@pytest.mark.parametrize("seed", SEEDS)
def test_costs_and_reach_are_those_of_the_explicit_graph(seed: int) -> None:
    for answer in answers(seed):
        assert answer.found == answer.wanted
        if answer.found is not None and answer.driven is not None:
            assert 0 <= answer.found - answer.driven <= ROUNDED_UP
        assert answer.whole


@pytest.mark.parametrize("seed", SEEDS)
def test_ways_to_several_goals_are_the_cheapest_to_each_and_all_that_were_asked_for(seed: int) -> None:
    for answer in each(seed):
        assert dict(answer.found) == {pose: cost for pose, cost in answer.wanted.items() if cost <= answer.asked}
        assert len(dict(answer.found)) == len(answer.found)
        assert [cost for _, cost in answer.found] == sorted(cost for _, cost in answer.found)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_way_beats_its_bound(seed: int) -> None:
    for answer in answers(seed):
        if answer.wanted is not None:
            assert answer.least <= answer.wanted
            assert answer.wanted >= OPEN_PER_MM or answer.least == answer.wanted


def test_the_windows_hold_ways_of_every_kind() -> None:
    """Of three ways a window, some are there and some are not, and hazards stretch, open or cut off some of them."""
    every = [answer for seed in SEEDS for answer in answers(seed)]
    there = [answer for answer in every if answer.wanted is not None]
    assert len(there) >= len(every) // 3
    dearer = [answer for answer in there if answer.wanted != answer.calm]
    assert len(dearer) >= len(every) // 6
    assert len([answer for answer in every if answer.wanted is None and answer.calm is not None]) >= len(every) // 10
    assert any(answer.wanted is not None and answer.wanted >= OPEN_PER_MM for answer in every)
    several = [answer for seed in SEEDS for answer in each(seed) if len(answer.wanted) > 1]
    assert len([answer for answer in several if 1 < len(answer.found) < len(answer.wanted)]) >= 5


@pytest.mark.parametrize("seed", SEEDS)
def test_links_lead_from_where_they_start_to_where_they_say(seed: int) -> None:
    lattice = draw(seed).lattice
    for link in lattice.links:
        motion = Motion(link.at, link.pieces, 1)
        assert gap(link.at, lattice.pose_of(link.start)) < 1e-6
        assert gap(motion.end, lattice.pose_of(link.goal)) < 1e-6
        assert 0.0 <= link.length_mm / 1000.0 - np.abs(link.pieces[:, 0]).sum() < 0.001 + 1e-9
        assert (np.abs(link.pieces[:, 1]) <= 1.0 / lattice.motions.turns[0].radius_m + 1e-12).all()
