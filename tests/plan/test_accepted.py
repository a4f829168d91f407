"""A move that was accepted word for word is not looked at again, as long as only areas far from it have changed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from shapely.geometry import box

from routeplan.plan.accepted import Accepted
from routeplan.plan.tiles import Store
from routeplan.plan.whole import plan_site
from routeplan.recheck.far import FAR_M, keeps_far
from routeplan.route.model import Plan
from routeplan.site.changes import ALWAYS
from routeplan.site.model import Area, GridSpec, Site
from tests import worlds

ISSUED = "2026-11-24T12:00:00+00:00"
MACHINE = worlds.scissor(pivots=1.0)
#: Past the machine's way, and far from it.
BESIDE, OFF = box(9.0, 8.0, 11.0, 9.0), box(9.0, 25.0, 11.0, 27.0)


def yard(*closed: str) -> Site:
    areas = tuple(
        Area(name, name, shape, ALWAYS if name in closed else ()) for name, shape in (("beside", BESIDE), ("off", OFF))
    )
    return worlds.flat_site(
        20.0, 30.0, areas=areas, places=(worlds.place("w", 3.0, 5.0), worlds.place("e", 17.0, 5.0)),
        machines=(MACHINE,), moves=(worlds.wanted(MACHINE.id, "w", "e"),), grid=GridSpec(cell_m=0.5),
    )  # fmt: skip


@pytest.fixture(scope="module")
def plan() -> Plan:
    plan = plan_site(yard(), issued=ISSUED)
    assert plan.moves[0].poses and plan.moves[0].refused is None
    return plan


@pytest.fixture
def store(tmp_path: Path, plan: Plan) -> Store:
    store = Store(tmp_path)
    assert not Accepted(store, yard()).still(plan)
    Accepted(store, yard()).note(plan)
    return store


@pytest.mark.parametrize("damaged", [b"", b"{", b"7", b"[1]", b"\xff"])
def test_a_damaged_note_has_it_looked_at_again(store: Store, plan: Plan, damaged: bytes) -> None:
    assert store.folder is not None
    (note,) = store.folder.glob("*.note")
    note.write_bytes(damaged)
    assert not Accepted(store, yard()).still(plan)


def test_it_stands_while_nothing_changes_and_while_what_changes_is_far(store: Store, plan: Plan) -> None:
    assert Accepted(store, yard()).still(plan)
    assert Accepted(store, yard("off")).still(plan)
    conditions = replace(plan.conditions, closed=("off",))
    assert Accepted(store, yard("off")).still(replace(plan, conditions=conditions))


def test_an_area_near_it_that_closes_has_it_looked_at_again(store: Store, plan: Plan) -> None:
    assert not Accepted(store, yard("beside")).still(plan)
    assert not Accepted(store, yard()).still(replace(plan, conditions=replace(plan.conditions, closed=("beside",))))


def test_an_area_near_it_that_opens_has_it_looked_at_again(tmp_path: Path, plan: Plan) -> None:
    store = Store(tmp_path)
    Accepted(store, yard("beside")).note(plan)
    assert Accepted(store, yard("beside")).still(plan)
    assert not Accepted(store, yard()).still(plan)


def test_another_word_of_the_move_has_it_looked_at_again(store: Store, plan: Plan) -> None:
    (move,) = plan.moves
    doctored = [
        replace(move, verdict="pass", reason="fine"),
        replace(move, controls=()),
        replace(move, checks=move.checks[1:]),
        replace(move, poses=(move.poses[0]._replace(v_max_mps=9.0), *move.poses[1:])),
        replace(move, valid_until="2030-01-01"),
    ]
    for other in doctored:
        assert other == move or not Accepted(store, yard()).still(replace(plan, moves=(other,)))
    assert not Accepted(store, yard()).still(replace(plan, k_by_move={move.id: 0.1}))
    assert not Accepted(store, yard()).still(replace(plan, conditions=replace(plan.conditions, wet=False)))
    assert sum(other != move for other in doctored) >= 4


def test_another_site_or_machine_has_it_looked_at_again(store: Store, plan: Plan) -> None:
    site = yard()
    heavier = worlds.scissor(pivots=1.0, mass_kg=MACHINE.value("mass_kg") + 1.0)
    for other in (
        replace(site, ground=replace(site.ground, z=site.ground.z + 0.001)),
        replace(site, surfaces=()),
        replace(site, machines={MACHINE.id: heavier}),
        replace(site, moves=(replace(site.moves[0], on=dt.date(2026, 12, 1)),)),
        replace(site, layers_given=site.layers_given - {"defects"}),
    ):
        assert not Accepted(store, other).still(plan)


def test_far_is_farther_than_any_corner_and_what_checks_look_for(plan: Plan) -> None:
    (move,) = plan.moves
    north = max(pose.y for pose in move.poses)
    reach_m = 4.0  # more than any corner of this machine is from its origin
    assert keeps_far(move, yard(), [box(9.0, north + FAR_M + reach_m, 11.0, 29.0)])
    assert not keeps_far(move, yard(), [box(9.0, north + FAR_M, 11.0, 29.0)])
    assert keeps_far(move, yard(), [])


def test_a_machine_that_is_raised_is_as_wide_as_it_may_be_thrown(plan: Plan) -> None:
    """On ground so rough its platform is looked for farther off than any corner of it lowered."""
    (move,), machine = plan.moves, worlds.scissor(pivots=1.0, **worlds.RAISED)
    zone, rough_m = worlds.zone(0.0, 0.0, 20.0, 30.0, smooth_to_m=0.2), 0.2
    site = replace(yard(), machines={machine.id: machine}, elevated_zones=(zone,))
    north = max(pose.y for pose in move.poses)
    thrown_m, off_m = 2.0 * site.thresholds.tip_participation * 7.0 * rough_m / machine.track_m, 6.2
    assert off_m < thrown_m
    ahead = [box(9.0, north + off_m, 11.0, 29.0)]
    raised = replace(site, moves=(worlds.raised(site.moves[0]),))
    assert keeps_far(move, site, ahead) and not keeps_far(move, raised, ahead)
