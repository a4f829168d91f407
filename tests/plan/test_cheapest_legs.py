"""Legs of the site graph are planned when the cheapest way left depends on them, and a cheapest way is found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import Any

import networkx
import pytest
from shapely.geometry import box

from routeplan.machine.model import Machine
from routeplan.plan.site_graph import Node, SiteGraph, Stop
from routeplan.plan.way import Way, metre_m
from routeplan.plan.whole import plan_site
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.site.model import Obstacle, Site, Soffit
from tests import worlds
from tests.plan.test_modes import DOOR_M, folding


def halls(walls: Sequence[tuple[float, Sequence[float]]], *, head_m: float, machine: Machine) -> Site:
    """A yard, and a hall beyond walls (easting, middles of doors) whose doors have heads this high."""
    obstacles, soffits = [], []
    for x, doors in walls:
        north = -1.0
        for middle in (*doors, 30.0):
            obstacles.append(Obstacle(f"wall-{x}-{middle}", box(x, north, x + 0.3, middle - DOOR_M / 2), "wall", None))
            north = middle + DOOR_M / 2
        for middle in doors:
            head = box(x, middle - DOOR_M / 2, x + 0.3, middle + DOOR_M / 2)
            soffits.append(Soffit(f"head-{x}-{middle}", head, "door", None, head_m, 0.0, 0.0, 0.002, "S1"))
    far = walls[-1][0] + 9.0
    return worlds.flat_site(
        far + 5.0, 20.0, machines=(machine,), moves=(worlds.wanted("SC", "yard", "hall", travel_mode="any"),),
        places=(worlds.place("yard", 5.0, 9.0, 90.0), worlds.place("hall", far, 10.0, 90.0)),
        obstacles=tuple(obstacles), soffits=tuple(soffits),
    )  # fmt: skip


@dataclass
class Watched:
    """What a site graph was asked, and how many legs it planned."""

    ways: list[tuple[SiteGraph, Stop, Stop, Way]] = field(default_factory=list)
    legs: int = 0


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> Watched:
    seen = Watched()
    find, ways = CheckedLattice.find_each, SiteGraph.ways

    def counted(self: CheckedLattice, starts: Any, goals: Any, **more: Any) -> Any:
        seen.legs += 1
        return find(self, starts, goals, **more)

    def kept(self: SiteGraph, starts: Sequence[Node], goal: Stop, **more: Any) -> Any:
        found = ways(self, starts, goal, **more)
        seen.ways.append((self, starts[0].stop, goal, found[0].way))
        return found

    monkeypatch.setattr(CheckedLattice, "find_each", counted)
    monkeypatch.setattr(SiteGraph, "ways", kept)
    return seen


def all_planned(graph: SiteGraph, start: Stop, goal: Stop) -> float:
    """What the cheapest way costs when the legs between all stops in all modes are planned."""
    stops = list(dict.fromkeys(node.stop for node in graph.graph))
    every: networkx.DiGraph = networkx.DiGraph()
    for a, b, data in graph.graph.edges(data=True):
        if a.stop == b.stop and a.mode != b.mode:
            every.add_edge((a.stop, a.mode), (b.stop, b.mode), weight=data["weight"])
    for m, lattice in enumerate(graph.lattices):
        factor = metre_m(lattice)
        for a, b in permutations(stops, 2):
            found = lattice.find(*graph.ends(a, b, m)) if all(graph.ends(a, b, m)) else None
            if isinstance(found, Found):
                assert found.open_m == 0.0
                every.add_edge((a, m), (b, m), weight=factor * found.cost_m)
    costs = networkx.single_source_dijkstra_path_length(every, (start, 0))
    return float(min(costs[goal, m] for m in range(len(graph.lattices)) if (goal, m) in costs))


def test_the_way_found_is_the_one_that_planning_every_leg_finds(watched: Watched) -> None:
    site = halls([(11.0, (8.0, 14.0))], head_m=2.6, machine=worlds.scissor())
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert move.verdict == "pass with controls", move.reason
    ((graph, start, goal, way),) = watched.ways
    planned = watched.legs
    least = all_planned(graph, start, goal)
    assert way.cost_m == pytest.approx(least)
    assert 10 * planned < watched.legs - planned


def test_few_legs_are_planned_where_there_are_many_passages(watched: Watched) -> None:
    """Six doors that only folded rails pass: 26 stops in three modes leave 1803 legs, of which 13 are planned."""
    machine = folding()
    site = halls([(14.0, (4.0, 10.0, 16.0)), (24.0, (3.0, 12.0, 17.0))], head_m=2.1, machine=machine)
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert move.verdict == "pass with controls", move.reason
    assert watched.legs <= 15
