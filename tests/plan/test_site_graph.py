"""The site graph: rounds of several stops; legs planned once, cut at doors and gaps, and checked by themselves."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import networkx
import pytest
from shapely.geometry import Polygon, box

from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.report.site_graph import write_site_graph
from routeplan.report.wording import through_text
from routeplan.route.model import Move, Plan
from routeplan.search.lattice import CheckedLattice
from routeplan.site.model import Area, MoveWanted, Obstacle, Site, Walkway
from tests import worlds

EAST_M, NORTH_M = 30.0, 20.0
ROUND = replace(worlds.wanted("SC", "yard", "bay"), via=("hall", "store"))


def planned(site: Site) -> Plan:
    return plan_site(site, issued="2026-11-24T12:00:00+00:00")


def two_rooms(*moves: MoveWanted, **layers: Any) -> Site:
    """A yard and a hall with a wall between them; the door in it, 5 m wide, is a place of the site."""
    walls = (box(14.0, -1.0, 14.3, 7.5), box(14.0, 12.5, 14.3, NORTH_M + 1.0))
    return worlds.flat_site(
        EAST_M, NORTH_M, machines=(worlds.scissor(),), moves=moves or (worlds.wanted("SC", "yard", "hall"),),
        places=(
            worlds.place("yard", 5.0, 10.0), worlds.place("hall", 24.0, 10.0), worlds.place("store", 24.0, 15.0, 0.0),
            worlds.place("bay", 5.0, 4.0), worlds.place("door", 14.15, 10.0, 90.0, kind="door"),
        ),
        obstacles=tuple(Obstacle(f"wall-{n}", wall, "wall", None) for n, wall in enumerate(walls)), **layers,
    )  # fmt: skip


def ends(move: Move) -> list[tuple[str, str]]:
    return [(leg.start, leg.goal) for leg in move.legs]


def test_a_way_is_cut_at_the_door_that_it_leads_through_and_reads_in_words() -> None:
    site = two_rooms()
    (move,) = planned(site).moves
    assert ends(move) == [("yard", "door"), ("door", "hall")]
    assert through_text(move, site) == "door"
    first = move.legs[0]
    at_door = [pose for pose in move.poses if pose.chainage_m <= first.chainage_to_m][-1]
    assert at_door.x == pytest.approx(14.15, abs=0.11)


def test_legs_follow_one_another_and_add_up_to_the_move() -> None:
    (move,) = planned(two_rooms(ROUND)).moves
    assert [leg.chainage_from_m for leg in move.legs] == [0.0, *(leg.chainage_to_m for leg in move.legs[:-1])]
    assert move.legs[-1].chainage_to_m == pytest.approx(move.length_m, abs=1e-4)
    assert sum(leg.length_m for leg in move.legs) == pytest.approx(move.length_m, abs=1e-4)
    assert sum(leg.cost_m for leg in move.legs) == pytest.approx(move.cost_m, abs=1e-3)


def test_a_round_stops_at_every_place_in_order_and_the_second_opinion_agrees() -> None:
    site = two_rooms(ROUND)
    plan = planned(site)
    (move,) = plan.moves
    assert (move.verdict, move.refused) == ("pass", None), move.reason
    assert [end for end, _ in ends(move)] == ["yard", "door", "hall", "store", "door"]
    stops = [hold for hold in move.holds if hold.text.startswith("Stop at ")]
    assert [hold.text.split()[2].rstrip(".") for hold in stops] == ["hall", "store"]
    assert math.dist(stops[0].place, (24.0, 10.0)) < 0.11 and math.dist(stops[1].place, (24.0, 15.0)) < 0.11
    assert not recheck_plan(plan, site=site)["M1"]


@pytest.mark.parametrize("spoil", ["no hold", "other order", "left out"])
def test_the_second_opinion_refuses_a_round_that_is_not_driven(spoil: str) -> None:
    site = two_rooms(ROUND)
    plan = planned(site)
    (move,) = plan.moves
    changed = {
        "no hold": replace(move, holds=move.holds[1:]),
        "other order": replace(move, via=("store", "hall")),
        "left out": replace(move, via=("hall",)),
    }[spoil]
    asked = replace(site, moves=(replace(ROUND, via=changed.via),)) if spoil == "other order" else site
    assert recheck_plan(replace(plan, moves=(changed,)), site=asked)["M1"]


def test_a_stop_where_nothing_can_stand_is_named() -> None:
    block = Obstacle("block", box(23.0, 9.0, 25.0, 11.0), "block", None)
    site = two_rooms(ROUND)
    (move,) = planned(replace(site, obstacles=(*site.obstacles, block))).moves
    assert move.verdict == "no route" and "cannot stand at hall" in move.reason


@pytest.fixture
def searched(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, ...]]:
    """Ends of every leg that is searched for, in order."""
    seen: list[tuple[int, ...]] = []
    find = CheckedLattice.find_each

    def counted(self: CheckedLattice, starts: Any, goals: Any, **more: Any) -> Any:
        seen.append((*starts, -1, *goals))
        return find(self, starts, goals, **more)

    monkeypatch.setattr(CheckedLattice, "find_each", counted)
    return seen


def test_a_leg_is_planned_once(searched: list[tuple[int, ...]]) -> None:
    """There, back, and there again: the third move drives the leg of the first."""
    there, back = worlds.wanted("SC", "store", "bay"), worlds.wanted("SC", "bay", "store", move_id="M2")
    moves = planned(two_rooms(there, back, replace(there, id="M3"), replace(back, id="M4"))).moves
    assert moves[2].poses == moves[0].poses and moves[3].poses == moves[1].poses
    assert len(searched) == 2


def test_a_round_drives_a_leg_again_and_leaves_a_stop_as_it_came(searched: list[tuple[int, ...]]) -> None:
    """To and fro twice: there and back by themselves, and again for the poses at the bay; then nothing new."""
    to_and_fro = replace(worlds.wanted("SC", "store", "bay"), via=("bay", "store", "bay", "store"))
    (move,) = planned(two_rooms(to_and_fro)).moves
    assert move.verdict == "pass", move.reason
    assert len(searched) == 4
    at_stop = [
        [pose[:3] for pose in move.poses if pose.chainage_m == pytest.approx(leg.chainage_to_m, abs=1e-6)]
        for leg in move.legs
        if leg.goal in ("bay", "store")
    ]
    assert len(at_stop) == 5 and all(len(set(poses)) == 1 for poses in at_stop)


def test_a_leg_is_judged_by_itself() -> None:
    """A walkway in the yard makes controls of the leg through the yard, and of no other."""
    crossing = Walkway("footway", box(9.0, -1.0, 10.0, NORTH_M + 1.0), "footway")
    (move,) = planned(two_rooms(walkways=(crossing,))).moves
    assert move.verdict == "pass with controls"
    assert [leg.verdict for leg in move.legs] == ["pass with controls", "pass"]
    assert [leg.hazards for leg in move.legs] == [("footway",), ()]


def test_a_move_that_only_turns_on_the_spot_is_one_leg() -> None:
    """Nothing is driven, so nothing can be shared out by what it costs to drive."""
    machine = worlds.scissor(pivots=1.0)
    site = worlds.flat_site(
        14.0, 14.0, machines=(machine,), moves=(worlds.wanted("SC", "north", "east"),),
        places=(worlds.place("north", 7.0, 7.0, 0.0), worlds.place("east", 7.0, 7.0, 90.0)),
    )  # fmt: skip
    (move,) = planned(site).moves
    assert move.poses and move.length_m == 0.0
    assert [(leg.start, leg.goal, leg.cost_m) for leg in move.legs] == [("north", "east", move.cost_m)]


def area(area_id: str, geometry: Polygon) -> Area:
    """A named area that closes long after the moves."""
    return Area(area_id, area_id, geometry, ((dt.date(2030, 1, 1), dt.date(2030, 1, 2)),))


def test_areas_of_a_leg_are_those_that_the_body_may_touch() -> None:
    """Half of the body is 0.405 m wide, its tube 0.15 m and a turn of 2 deg; rows are up to 0.1 m apart."""
    move_on = replace(worlds.wanted("SC", "yard", "hall"), on=dt.date(2026, 12, 1))
    (probe,) = planned(two_rooms(move_on)).moves
    leg = probe.legs[1]
    top = max(pose.y for pose in probe.poses if leg.chainage_from_m <= pose.chainage_m)
    near = area("near", box(16.0, top + 0.405 + 0.14, 22.0, top + 3.0))
    far = area("far", box(16.0, top + 0.405 + 0.15 + 2.2 * 0.035 + 0.15, 22.0, top + 3.0))
    (move,) = planned(two_rooms(move_on, areas=(near, far))).moves
    assert [pose[:3] for pose in move.poses] == [pose[:3] for pose in probe.poses]
    assert move.legs[1].areas == ("near",)


def test_the_graph_reads_back_with_its_places_and_legs(tmp_path: Path) -> None:
    site = two_rooms(ROUND)
    plan = planned(site)
    write_site_graph(plan, site, tmp_path / "graph.graphml")
    graph = networkx.read_graphml(tmp_path / "graph.graphml", force_multigraph=True)
    assert set(graph) == {"yard", "door", "hall", "store", "bay"}
    assert graph.nodes["door"]["kind"] == "door"
    assert sum(length for *_, length in graph.edges(data="length_m")) == pytest.approx(plan.moves[0].length_m, abs=1e-3)
    assert {verdict for *_, verdict in graph.edges(data="verdict")} == {"pass"}
    assert "competent person" in graph.graph["cautions"]


def test_no_way_is_cheaper_by_the_graph_than_by_the_lattice() -> None:
    """A round's first leg costs what the direct move does: the graph never leads round where the lattice is better."""
    direct, round_ = (planned(two_rooms(move)).moves[0] for move in (worlds.wanted("SC", "yard", "hall"), ROUND))
    first = sum(leg.cost_m for leg in round_.legs[:2])
    assert first == pytest.approx(direct.cost_m, abs=0.05)
    assert all(a.chainage_m <= b.chainage_m for a, b in pairwise(round_.poses))
