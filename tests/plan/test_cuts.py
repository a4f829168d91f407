"""What cuts a move off, against planning under every set of closures, on drawn yards and on yards drawn by hand.

Five drawn yards run by default, 100 when the environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import datetime as dt
import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.cuts import cuts, hitting
from routeplan.plan.move import MovePlanner
from routeplan.plan.whole import Issue, planned
from routeplan.recheck.opinion import second_opinion
from routeplan.route.lifelines import Cuts
from routeplan.route.model import Conditions, Move, Objection
from routeplan.site.changes import ALWAYS
from routeplan.site.model import Area, GridSpec, MoveWanted, Obstacle, Site
from tests import worlds

FULL = bool(os.environ.get("ROUTEPLAN_FULL"))
SEEDS = range(100 if FULL else 5)
ISSUE = Issue("2026-11-24T12:00:00+00:00")
EAST_M, NORTH_M = 14.0, 10.0
MACHINE = worlds.scissor(pivots=1.0)


def yard(areas: Iterable[Polygon], walls: Iterable[Polygon] = ()) -> Site:
    """A level yard with a move from west to east and areas named a, b, c in their order, all open."""
    ends = worlds.place("w", 2.0, NORTH_M / 2), worlds.place("e", EAST_M - 2.5, NORTH_M / 2)
    return worlds.flat_site(
        EAST_M, NORTH_M, machines=(MACHINE,), places=ends, moves=(worlds.wanted(MACHINE.id, "w", "e"),),
        areas=tuple(Area(name, f"Area {name}", shape, ()) for name, shape in zip("abcde", areas, strict=False)),
        obstacles=tuple(Obstacle(f"o{n}", wall, "wall", None) for n, wall in enumerate(walls)),
        grid=GridSpec(cell_m=0.5),
    )  # fmt: skip


def found(site: Site) -> Cuts:
    """What cuts off a site's move."""
    return cuts(MovePlanner(site, build_terrain(site.ground, site.grid), ()), site.moves[0], ISSUE)


def drawn(seed: int) -> Site:
    """Three to five areas that reach from the north or the south to somewhere, some over the gap of a wall."""
    rng = np.random.default_rng(4000 + seed)
    areas, walls = list[Polygon](), list[Polygon]()
    if rng.random() < 0.5:
        x, gap = rng.uniform(6.0, 7.5), rng.uniform(3.5, NORTH_M - 3.5)
        walls = [box(x, 0.0, x + 0.2, gap - 1.4), box(x, gap + 1.4, x + 0.2, NORTH_M)]
    for _ in range(int(rng.integers(3, 6)) - len(areas)):
        x, wide, deep = rng.uniform(4.5, EAST_M - 6.5), rng.uniform(0.5, 1.5), rng.uniform(2.0, 8.0)
        south = 0.0 if rng.random() < 0.5 else NORTH_M - deep
        areas.append(box(x, south, x + wide, south + deep))
    return yard(areas, walls)


def afresh(site: Site, closed: tuple[str, ...]) -> Move:
    """The move with some areas closed, by a planner that knows nothing yet."""
    shut = tuple(replace(area, closures=ALWAYS) if area.id in closed else area for area in site.areas)
    own = replace(site, areas=shut)
    return planned(site.moves[0], MovePlanner(own, build_terrain(own.ground, own.grid), ()), ISSUE).moves[0]


def brute(site: Site) -> tuple[tuple[str, ...], ...]:
    """The smallest sets of areas under which no way is found, by planning under all sets as small."""
    names = [area.id for area in site.areas]
    for size in range(len(names) + 1):
        sets = tuple(closed for closed in combinations(names, size) if afresh(site, closed).verdict == "no route")
        if sets:
            return sets
    return ()


@cache
def both(seed: int) -> tuple[Cuts, tuple[tuple[str, ...], ...]]:
    return found(drawn(seed)), brute(drawn(seed))


@pytest.mark.parametrize("seed", SEEDS)
def test_cuts_are_those_of_planning_under_every_set(seed: int) -> None:
    told, by_hand = both(seed)
    assert not told.unsettled
    assert not told.why or by_hand == ((),), told.why
    assert told.smallest == (by_hand if by_hand != ((),) else ())


def test_the_yards_show_something() -> None:
    """Cuts of one, of two and of more areas, and yards that no closure cuts, come up among them."""
    sizes = Counter(len(told.smallest[0]) if told.smallest else 0 for told, _ in map(both, SEEDS))
    print(f"\nsizes of the smallest cuts of {len(SEEDS)} yards: {dict(sorted(sizes.items()))}")
    assert len(sizes) > 1
    assert not FULL or (sizes[0] and sizes[1] and sizes[2])


def test_two_lanes_are_cut_by_both_and_a_neck_by_one() -> None:
    """Two lanes round a block, each under an area; beyond, a neck under a third: the neck alone cuts."""
    lanes = box(5.0, 0.0, 6.0, 4.0), box(5.0, 6.0, 6.0, NORTH_M)
    block = box(4.5, 4.0, 6.5, 6.0)
    told = found(yard(lanes, [block]))
    assert told.smallest == (("a", "b"),) and told.every_way == ()
    assert told.words() == "no area alone cuts M1 off; the smallest closures that do: a and b"
    neck = box(8.0, 0.0, 8.6, NORTH_M)
    told = found(yard([*lanes, neck], [block]))
    assert told.smallest == (("c",),) and told.every_way == ("c",)
    assert told.words() == "every way passes c: closing it cuts M1 off"
    two = Cuts("M1", ("c", "d"), (("c",), ("d",)))
    assert two.words() == "every way passes c, d: closing one of them cuts M1 off"


def test_areas_that_leave_room_cut_nothing() -> None:
    told = found(yard([box(5.0, 0.0, 6.0, 2.0), box(5.0, 8.0, 6.0, NORTH_M)]))
    assert told == Cuts("M1", ("a", "b"), ())
    assert told.words() == "no closure of named areas cuts M1 off"


def test_an_area_closed_on_the_day_is_not_up_to_anybody() -> None:
    day = dt.date(2026, 12, 1)
    site = yard([box(5.0, 0.0, 6.0, 5.0), box(5.0, 5.0, 6.0, NORTH_M)])
    shut = replace(site.areas[0], closures=((day, day),))
    site = replace(site, areas=(shut, site.areas[1]), moves=(replace(site.moves[0], on=day),))
    assert found(site) == Cuts("M1", ("b",), (("b",),))


def test_where_there_is_no_way_anyhow_nothing_is_said_to_cut() -> None:
    told = found(yard([box(5.0, 0.0, 6.0, 2.0)], [box(8.0, 0.0, 8.2, NORTH_M)]))
    assert told.smallest == () and told.why.startswith("with all of them open there is none to drive: no route")
    assert told.words().startswith("not known what cuts M1 off")


def test_a_search_that_gives_up_proves_no_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    """A set under which the search hit its limit, or whose way the second opinion refuses, is told as not settled."""
    plan = MovePlanner.plan

    def gives_up(self: MovePlanner, wanted: MoveWanted) -> Move:
        move = plan(self, wanted)
        return replace(move, verdict="search limit", reason="gave up") if move.verdict == "no route" else move

    monkeypatch.setattr(MovePlanner, "plan", gives_up)
    told = found(yard([box(5.0, 0.0, 6.0, NORTH_M)]))
    assert told.smallest == () and told.unsettled == (("a",),)
    assert told.words() == "not known of a: search limit, gave up"


def test_a_way_that_is_refused_is_no_witness(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither does it prove a cut: with the area closed a way is found, and the second opinion refuses it."""
    def refuses(
        move: Move, k: float | None, *, site: Site, machine: Machine, conditions: Conditions
    ) -> tuple[Objection, ...]:
        closed = any(area.closures for area in site.areas)
        more = (Objection("form", 0.0, (0.0, 0.0), 0.0, 0.0, "", "refused for a test"),) if closed else ()
        return second_opinion(move, k, site=site, machine=machine, conditions=conditions) + more

    monkeypatch.setattr("routeplan.plan.whole.second_opinion", refuses)
    told = found(yard([box(5.0, 3.0, 6.0, NORTH_M)]))
    assert told.smallest == () and told.unsettled == (("a",),) and "refuses" in told.why


def test_hitting_sets_are_those_counted_out() -> None:
    rng = np.random.default_rng(1)
    names = "abcdef"
    for _ in range(200):
        witnesses = [
            frozenset(rng.choice(list(names), int(rng.integers(1, 4)), replace=False).tolist())
            for _ in range(int(rng.integers(1, 7)))
        ]
        size = next(n for n in range(1, 7) if any(hitting(witnesses, n)))
        every = {frozenset(one) for one in combinations(names, size) if all(set(one) & met for met in witnesses)}
        assert set(hitting(witnesses, size)) == every
        assert not any(all(set(one) & met for met in witnesses) for one in combinations(names, size - 1))
