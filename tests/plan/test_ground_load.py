"""Ground that claims what wheels may weigh, planned whole: gone round, driven over, refused, or left open."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from shapely import Point, union_all
from shapely.geometry import Polygon, box

import routeplan.plan.ground_load
from routeplan.hazards.bearing import Patch, limit_kn
from routeplan.hazards.catalogue import by_kind
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.uncertainty import sigma_pitch, sigma_roll
from routeplan.hazards.wheel_loads import KN_PER_KG
from routeplan.machine.model import Machine
from routeplan.plan.ground_load import ground_load_check
from routeplan.plan.surer import Surer
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import Check, Plan
from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform
from routeplan.site.model import Acceptance, Defect, Site, Surface
from tests.recheck.drives import drive, move_of, opinion, yard_for
from tests.worlds import GOOD_SURVEY, ROUGH, flat_site, place, scissor, wanted

ISSUED = "2026-11-24T12:00:00+00:00"
#: What a rear wheel carries with people in the corner over it: the rear axle has 2300 x 1.05 / 1.85 and
#: 230 x 2.12 / 1.85 kg, its side 2300 / 2 and 230 (0.5 + 0.405 / 0.7) kg, the lesser.
LEVEL_KN = (1150.0 + 230.0 * (0.5 + 0.405 / 0.7)) * 9.80665e-3
ACROSS, HALF = box(14.0, -1.0, 15.0, 21.0), box(14.0, -1.0, 15.0, 12.0)
WORD = Acceptance("engineer", dt.date(2026, 11, 1), 50_000.0)


def weighed(**changes: float) -> Machine:
    weight = {"rated_load_kg": 230.0, "gravity_xi_m": 0.80, "gravity_eta_m": 0.0, "gravity_height_m": 0.6}
    return scissor(**{"wheel_load_max_kn": 9.0, **weight, **changes})  # type: ignore[arg-type]


def deck(bearing: Bearing | None, outline: Polygon = ACROSS, *, machine: Machine | None = None, **layers: Any) -> Site:
    """A yard of 30 x 20 m with a deck in it, and a move from west to east."""
    yard = Surface("yard", box(0, 0, 30, 20), "stone", WORD, friction=ROUGH)
    return flat_site(
        30.0, 20.0, machines=(machine or weighed(),), places=(place("w", 5.0, 10.0), place("e", 23.0, 10.0)),
        moves=(wanted("SC", "w", "e"),), surfaces=(yard, Surface("deck", outline, "deck", WORD, bearing, ROUGH)),
        **layers,
    )  # fmt: skip


def planned(site: Site) -> Plan:
    return plan_site(site, issued=ISSUED)


def row(plan: Plan) -> Check:
    return next(check for check in plan.moves[0].checks if check.kind == "ground load")


@pytest.mark.parametrize("seed", range(6))
def test_the_plan_is_never_kinder_than_the_second_opinion_on_rough_ground(seed: int) -> None:
    """A deck that bears next to nothing under an arc over bumps: the load found is no less, and not far above."""
    rng = np.random.default_rng(seed)
    machine, poses = weighed(), drive(19.0, 15.0, float(rng.uniform(-3.0, 3.0)), [(1.5, 0.4), (1.0, 0.0)], step_m=0.05)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    z = rng.uniform(-0.08, 0.08) * x + rng.uniform(-0.05, 0.05) * y + rng.normal(0.0, 0.004, x.shape)
    yard = yard_for(poses, machine, z=z)
    site = dataclasses.replace(
        yard, surfaces=(dataclasses.replace(yard.surfaces[0], bearing=HardGround("engineer", 0.1)),)
    )
    met = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=0.0,
        terrain=build_terrain(site.ground, site.grid),
    )  # fmt: skip
    hazards = met.on(None, travel_m=1.0)
    found = ground_load_check(
        by_kind("ground load"), poses, site=site, machine=machine, hazards=hazards, k=0.0, wet=True,
        configurations=("stowed",), surer=Surer.of(site, machine, hazards, ("stowed",)),
    )  # fmt: skip
    again = next(one for one in opinion(move_of(poses, machine), site) if one.kind == "ground load")
    assert again.value <= found.value <= 1.25 * again.value


def test_what_a_platform_on_drained_ground_loses_with_the_slope_makes_it_less_sure() -> None:
    """Up 4 %: to what the slope makes of the load comes the slope's own doubt times what the ground bears less for it.
    """
    _, x = np.mgrid[0:81, 0:121] * 0.25
    soil = Platform("engineer", 0.2, 30.0, Drained(30.0, 10.0, 2.0), 1.0)
    machine = weighed(mass_kg=300.0, rated_load_kg=1.0, wheel_load_max_kn=1.0)
    found = []
    for bearing in (soil, dataclasses.replace(soil, below=100.0)):
        check = row(planned(dataclasses.replace(deck(bearing, machine=machine, z=0.04 * x))))
        assert check.verdict == "pass"
        found.append(check)
    accuracy = GOOD_SURVEY
    pitch, roll = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
    loads = KN_PER_KG * (300.0 * 0.6 + 1.0 * 2.2) * max(pitch / machine.wheelbase_m, roll / machine.track_m)
    assert found[1].sigma == pytest.approx(loads, abs=1e-4)
    slope, little = 0.04, 1e-4
    patch = Patch.of(machine)
    bears = [limit_kn(soil, patch, at, wet=True) for at in (slope - little, slope + little)]
    lost = (bears[0] - bears[1]) / (2 * little) * math.hypot(pitch, roll)
    assert lost > 0.005 and loads + 0.9 * lost < found[0].sigma < loads + 1.1 * lost


SILL = Defect("s", "sill", box(14.4, -1.0, 14.5, 21.0), 0.1, 0.0, 0.001, None)


def test_a_deck_that_bears_the_wheels_is_driven_over_and_says_what_it_bears() -> None:
    plan = planned(deck(HardGround("engineer", LEVEL_KN + 1.0)))
    check = row(plan)
    assert (plan.moves[0].verdict, check.verdict) == ("pass", "pass")
    assert check.limit == pytest.approx(LEVEL_KN + 1.0)
    assert check.value == pytest.approx(LEVEL_KN, abs=0.3) and check.value >= LEVEL_KN - 1e-9
    assert check.margin == pytest.approx(check.limit - check.value, abs=1e-4) and check.source == "deck: engineer"


def test_a_deck_that_does_not_bear_the_standing_machine_is_gone_round() -> None:
    plan = planned(deck(HardGround("engineer", LEVEL_KN - 1.0), HALF))
    move = plan.moves[0]
    assert move.verdict == "pass" and move.length_m > 18.3
    assert all(Point(pose.x, pose.y).distance(HALF) > 0.4 for pose in move.poses)
    assert row(plan).source.endswith("no surface on the way claims what wheels may weigh")
    straight = planned(deck(None, HALF))
    assert straight.moves[0].length_m < move.length_m, "with nothing claimed its acceptance decides"


def test_a_deck_from_side_to_side_that_does_not_bear_it_leaves_no_way() -> None:
    move = planned(deck(HardGround("engineer", LEVEL_KN - 1.0))).moves[0]
    assert move.verdict == "no route" and all(miss.kind == "surface acceptance" for miss in move.nearest_misses)


#: Where the scissor's way leads over soft ground: laid with trackway, and with pads 0.2 m apart under its wheels.
WAY = box(13.5, 8.0, 15.5, 12.0)
PADS = [
    box(x, y, x + 0.5, y + 0.5) for x in 13.5 + 0.7 * np.arange(3) for y in 8.0 + 0.7 * np.arange(6)
]  # fmt: skip


@pytest.mark.parametrize(("laid", "verdict"), [([WAY], "pass"), (PADS, "no route"), ([], "no route")])
def test_a_wheel_rolls_on_continuous_trackway_and_never_from_pad_to_pad(laid: list[Polygon], verdict: str) -> None:
    soft = ACROSS.buffer(0.4).difference(union_all(laid))
    yard = deck(None)
    firm = Surface("yard", box(0, 0, 30, 20).difference(ACROSS.buffer(0.4)), "stone", WORD, friction=ROUGH)
    mats = [Surface(f"m{n}", mat, "trackway", WORD, HardGround("maker", 20.0), ROUGH) for n, mat in enumerate(laid)]
    plan = planned(dataclasses.replace(yard, surfaces=(firm, Surface("soft", soft, "fill", None), *mats)))
    assert plan.moves[0].verdict == verdict
    if verdict == "pass":
        assert row(plan).limit == pytest.approx(20.0)
    else:
        assert all(miss.kind == "surface acceptance" for miss in plan.moves[0].nearest_misses)


def test_a_sill_on_the_deck_breaks_the_limit_and_the_route_is_kept_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    site = deck(HardGround("engineer", 1.5 * LEVEL_KN), defects=(SILL,))
    move = planned(site).moves[0]
    assert (move.verdict, move.poses) == ("fail", ()) and move.refused is not None
    assert move.reason.startswith("a check is broken on the route: ground load, ")
    assert {objection.kind for objection in move.refused.objections} == {"ground load"}
    monkeypatch.setattr(routeplan.plan.ground_load, "STEP_FACTOR", 1.0)
    unruled = planned(site)
    assert row(unruled).verdict == "pass", "without the rule the search's side would let it through"
    assert unruled.moves[0].verdict == "fail"
    assert unruled.moves[0].reason.startswith("the second opinion refuses the route: ground load, ")


def test_a_limit_edited_by_hand_does_not_bring_a_refused_route_back() -> None:
    site = deck(HardGround("engineer", 1.5 * LEVEL_KN), defects=(SILL,))
    plan = planned(site)
    move = plan.moves[0]
    assert move.refused is not None
    checks = tuple(
        dataclasses.replace(check, verdict="pass", limit=99.0, margin=99.0 - check.value)
        if check.kind == "ground load" else check for check in move.checks
    )  # fmt: skip
    edited = dataclasses.replace(
        move, verdict="pass", poses=move.refused.poses, refused=None, checks=checks, reversals=0
    )
    found = recheck_plan(dataclasses.replace(plan, moves=(edited,), k_by_move={"M1": 9.0}), site=site)["M1"]
    assert "ground load" in {objection.kind for objection in found}


def test_a_deck_that_bears_less_by_now_refuses_the_plan() -> None:
    plan = planned(deck(HardGround("engineer", LEVEL_KN + 1.0)))
    now = deck(HardGround("engineer", LEVEL_KN - 0.1))
    assert {objection.kind for objection in recheck_plan(plan, site=now)["M1"]} == {"ground load"}


def test_a_machine_that_nobody_weighed_is_open_on_the_deck_only() -> None:
    plan = planned(deck(HardGround("engineer", 40.0), machine=scissor(wheel_load_max_kn=9.0)))
    check = row(plan)
    assert (plan.moves[0].verdict, check.verdict, check.value) == ("not proven", "not proven", 9.0)
    assert any("gravity_xi_m is missing" in text for text in check.assumed) and plan.moves[0].poses
    assert planned(deck(None, machine=scissor())).moves[0].verdict == "pass"


def test_clay_asks_what_the_tyre_covers() -> None:
    machine = weighed()
    bare = {name: figure for name, figure in machine.figures.items() if name != "contact_area_m2"}
    plan = planned(deck(Clay("engineer", 500.0, 1.0, 3000.0, 1.0), machine=dataclasses.replace(machine, figures=bare)))
    assert row(plan).verdict == "not proven"
    assert any("contact_area_m2 is missing" in text for text in row(plan).assumed)


def test_wet_ground_that_does_not_bear_the_standing_machine_is_gone_round_and_dry_it_is_driven_over() -> None:
    """The clay bears a fifth more than the worst wheel, dry; wet it bears half."""
    machine = weighed(wheel_load_max_kn=LEVEL_KN)
    area_m2 = machine.value("contact_area_m2")
    clay = Clay("engineer", 1.2 * LEVEL_KN / area_m2 / 6.17, 1.0, 3000.0, 0.5)
    site = deck(clay, HALF, machine=machine)
    over = {}
    for wet in (True, False):
        moves = (dataclasses.replace(site.moves[0], wet=wet),)
        (move,) = planned(dataclasses.replace(site, moves=moves)).moves
        assert (move.verdict, move.refused) == ("pass" if wet else "pass with controls", None), move.reason
        over[wet] = any(HALF.dwithin(Point(pose.x, pose.y), 0.1) for pose in move.poses)
    assert over == {True: False, False: True}


def test_clay_of_which_nobody_said_what_is_left_in_the_wet_is_open() -> None:
    check = row(planned(deck(Clay("engineer", 500.0, 1.0, 3000.0))))
    assert check.verdict == "not proven" and np.isnan(check.margin)
    assert check.assumed == (
        "nobody said what deck bears in the wet: have wet_factor said with it, 1 where its figures are of wet ground",
    )  # fmt: skip


def test_the_long_section_tells_what_the_deck_leaves_where_wheels_are_on_it() -> None:
    """Rows with a wheel on the deck, from 11 m to 17 m east, and its tube; in its middle the worst wheel tells."""
    plan = planned(deck(HardGround("engineer", 30.0), box(11.0, -1.0, 17.0, 21.0)))
    told = [(one.load_kn, one.chainage_m) for one in plan.moves[0].section if not math.isnan(one.load_kn)]
    assert min(told)[0] == pytest.approx(row(plan).margin, abs=1e-4)
    assert 3.0 < min(at for _, at in told) < 6.5 and 11.0 < max(at for _, at in told) < 13.5
    middle = [left for left, at in told if 8.0 < at < 10.0]
    assert middle and middle == pytest.approx([30.0 - LEVEL_KN] * len(middle), abs=0.3)


def test_what_nobody_knows_the_ground_to_bear_is_told_as_no_figure() -> None:
    plan = planned(deck(Clay("engineer", 500.0, 1.0, 3000.0, None)))
    assert math.isnan(row(plan).margin) and plan.moves[0].section
    assert all(math.isnan(one.load_kn) for one in plan.moves[0].section)
