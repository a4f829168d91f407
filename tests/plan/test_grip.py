"""Grip, planned whole: slopes that hold or do not, limits of speed from stopping in time, and what stays open."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

import routeplan.hazards.grip
from routeplan.hazards.catalogue import by_kind
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan import move as move_module
from routeplan.plan.grip import GRIP, Gripped
from routeplan.plan.slippery import left_at
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.recheck.uncertainty import confidence_k
from routeplan.route.model import Check, Move, Plan
from routeplan.site.friction import Friction
from routeplan.site.model import Obstacle, Site, Thresholds
from tests.recheck.drives import drive, move_of, opinion, yard_for
from tests.worlds import flat_site, place, scissor, wanted

Floats = NDArray[np.float64]

ISSUED = "2026-11-24T12:00:00+00:00"
#: A ramp up to the east that comes to 10 % over 3 m from its foot on, and back to none over 3 m up to its head.
RAMP, FOOT_M, HEAD_M, ROUND_M = 0.10, 10.0, 20.0, 3.0
WEIGHT: dict[str, Any] = {
    "rated_load_kg": 230.0, "gravity_xi_m": 0.80, "gravity_eta_m": 0.0, "gravity_height_m": 0.6,
}  # fmt: skip
FAST: dict[str, Any] = {"travel_speed_mps": 1.6, "bounce_damping_pct": 20.0, "bounce_period_s": 0.1}
REAR: dict[str, Any] = {"brakes_front": 0.0, **WEIGHT}
STONE = Friction("site tests", 0.6, 0.5, None)


def level(x: Floats) -> Floats:
    """Level of the ramp: an arc, a straight and an arc."""
    def arc(along: Floats) -> Floats:
        """Twice summed up: a slope that grows by 1 over a metre."""
        return np.asarray(0.5 * np.clip(along, 0.0, None) ** 2)

    ends = arc(x - FOOT_M) - arc(x - FOOT_M - ROUND_M) - arc(x - HEAD_M + ROUND_M) + arc(x - HEAD_M)
    return np.asarray(RAMP / ROUND_M * ends)


def ramped(machine: Machine, friction: Friction | None = STONE, *, wet: bool = True, **layers: Any) -> Site:
    """A yard of 30 x 20 m with a ramp across it, and a move up the ramp to the east."""
    _, x = np.mgrid[0:81, 0:121] * 0.25
    layers.setdefault("thresholds", Thresholds(bounce_limit_m=2.0))
    site = flat_site(
        30.0, 20.0, z=level(x), machines=(machine,),
        places=(place("w", 5.0, 10.0, 90.0), place("e", 26.0, 10.0, 90.0)),
        moves=(dataclasses.replace(wanted("SC", "w", "e"), wet=wet),), **layers,
    )  # fmt: skip
    return dataclasses.replace(site, surfaces=(dataclasses.replace(site.surfaces[0], friction=friction),))


def planned(site: Site) -> Plan:
    return plan_site(site, issued=ISSUED)


def row(move: Move) -> Check:
    return next(check for check in move.checks if check.kind == GRIP)


def limits(move: Move) -> Floats:
    return np.array([pose.v_max_mps for pose in move.poses])


def measured(value: float) -> Friction:
    return Friction("site tests", value, value, None)


def test_a_ramp_that_holds_is_driven_at_travel_speed() -> None:
    move = planned(ramped(scissor(**FAST))).moves[0]
    assert (move.verdict, move.controls) == ("pass", ()) and np.all(limits(move) == 1.6)
    check = row(move)
    assert (check.verdict, check.source) == ("pass", "yard: site tests")
    assert check.margin == pytest.approx(check.limit - check.value, abs=1e-4) and check.margin > 3.0 * check.sigma
    # 1.6 m/s after a second, 1.4 m left: 0.914 m/s2, a tenth of what it weighs.
    assert check.value == pytest.approx(RAMP + 0.914 / 9.80665, abs=0.01)
    assert check.limit == pytest.approx(0.5, abs=0.01)


def test_a_ramp_on_which_it_stops_late_is_driven_slowly_and_people_are_told() -> None:
    """Wet stone of 0.17: on the level it stops from travel speed, on the ramp from less; v + v^2 / 2a = 3 m."""
    site = ramped(scissor(**FAST), measured(0.17))
    move = planned(site).moves[0]
    assert move.verdict == "pass with controls" and row(move).verdict == "pass"
    at = np.array([pose.x for pose in move.poses])
    assert np.all(limits(move)[(at > FOOT_M + 1.2) & (at < HEAD_M - 3.0)] < 1.6)
    assert limits(move)[at < 7.5].min() == 1.6 == limits(move)[at > 21.0].min()
    a = 9.80665 * (0.17 * math.cos(math.atan(RAMP)) - math.sin(math.atan(RAMP)))
    fastest = -a + math.sqrt(a**2 + 6.0 * a)
    assert 0.64 * fastest < limits(move).min() <= fastest
    (control,) = (control for control in move.controls if control.kind == "speed")
    assert control.text.endswith("held steady: from more it would not stop within 3.0 m there.")
    assert control.chainage_m < FOOT_M + ROUND_M - 1.85 - 5.0, "told before the front wheels are on the steep of it"
    raised = dataclasses.replace(move, poses=tuple(pose._replace(v_max_mps=1.6) for pose in move.poses))
    assert {found.kind for found in opinion(raised, site)} == {GRIP}


def test_a_ramp_that_does_not_hold_is_not_given_to_drive() -> None:
    plan = planned(ramped(scissor(**FAST), measured(0.09)))
    move = plan.moves[0]
    assert (move.verdict, move.poses) == ("fail", ()) and move.refused is not None
    assert move.reason.startswith("a check is broken on the route: grip, ")
    assert {objection.kind for objection in move.refused.objections} == {GRIP}


def test_wet_ground_flips_a_pass_into_a_fail() -> None:
    said = Friction("site tests", 0.5, 0.09, None)
    wet, dry = (planned(ramped(scissor(**FAST), said, wet=wet)).moves[0] for wet in (True, False))
    assert wet.verdict == "fail" and dry.verdict == "pass with controls"
    assert [control.text for control in dry.controls if control.kind == "grip"][0].startswith("Dry ground only")
    assert planned(ramped(scissor(), said, wet=False)).conditions.wet is False


def test_braked_on_the_rear_axle_it_holds_nose_up_and_not_nose_down() -> None:
    """Up the ramp the rear axle has most of the weight; turned round, at the same friction, the ramp takes it off.

    By hand, the load of 100 kg over the front corner: 0.595 of it against 0.481, times 0.195, against a slope of 0.1.
    """
    walls = (Obstacle("n", box(0, 11.5, 30, 20), "wall", None), Obstacle("s", box(0, 0, 30, 8.5), "wall", None))
    high: dict[str, Any] = REAR | {"rated_load_kg": 100.0, "gravity_height_m": 1.0}
    up = ramped(scissor(**FAST, **high), measured(0.195), obstacles=walls)
    turned = {name: dataclasses.replace(one, bearing_deg=270.0) for name, one in up.places.items()}
    moves = [planned(site).moves[0] for site in (up, dataclasses.replace(up, places=turned))]
    assert [move.verdict for move in moves] == ["pass with controls", "fail"]
    assert row(moves[0]).limit - row(moves[1]).limit > 0.015


def test_unknown_friction_is_open_and_says_what_to_measure() -> None:
    move = planned(ramped(scissor(**FAST), None)).moves[0]
    assert (move.verdict, move.reason) == ("not proven", "open: grip") and move.poses
    assert math.isnan(row(move).margin)
    assert any("yard: have its friction measured, wet and dry" in text for text in row(move).assumed)
    half = planned(ramped(scissor(**FAST), Friction("site tests", 0.6, None, None))).moves[0]
    assert half.reason == "open: grip", "a wet day of which nobody said anything"


def test_ground_of_which_nobody_said_hides_no_ice_that_lies_there_too() -> None:
    site = ramped(scissor(**FAST), None)
    ice = dataclasses.replace(site.surfaces[0], id="ice", geometry=box(11.0, -1.0, 19.0, 21.0), friction=measured(0.02))
    move = planned(dataclasses.replace(site, surfaces=(*site.surfaces, ice))).moves[0]
    assert (move.verdict, row(move).verdict, move.poses) == ("fail", "fail", ()) and row(move).margin < 0.0


@pytest.mark.parametrize("name", ["brake_mps2", "brakes_front", "drives_rear", "gravity_xi_m"])
def test_an_unknown_brake_is_open_and_says_what_to_read(name: str) -> None:
    machine = scissor(**FAST, **REAR)
    bare = dataclasses.replace(machine, figures={n: f for n, f in machine.figures.items() if n != name})
    move = planned(ramped(bare)).moves[0]
    assert (move.verdict, row(move).verdict) == ("not proven", "not proven")
    assert any(text.startswith(f"{name} is missing: ") for text in row(move).assumed)


def test_a_class_figure_is_no_pass_but_slows_down() -> None:
    machine = scissor(**FAST | {"brake_mps2": 1.5})
    assumed = dataclasses.replace(machine.figures["brake_mps2"], tag="class")
    move = planned(ramped(dataclasses.replace(machine, figures={**machine.figures, "brake_mps2": assumed}))).moves[0]
    assert (move.verdict, move.reason) == ("not proven", "open: grip") and limits(move).min() < 1.6


def test_a_slippery_band_on_the_level_slows_down_there_only() -> None:
    site = ramped(scissor(**FAST))
    grease = dataclasses.replace(site.surfaces[0], id="grease", geometry=box(23.0, -1.0, 24.0, 21.0),
                                 friction=measured(0.08))  # fmt: skip
    move = planned(dataclasses.replace(site, surfaces=(*site.surfaces, grease))).moves[0]
    at = np.array([pose.x for pose in move.poses])
    assert move.verdict == "pass with controls" and np.all(limits(move)[at < 19.5] == 1.6)
    assert np.all(limits(move)[(at > 20.9) & (at < 24.2)] < 1.6) and row(move).source == "grease: site tests"


def test_without_the_rule_the_search_lets_it_through_and_the_second_opinion_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(routeplan.hazards.grip.Footing, "left", lambda self, asked: np.ones_like(asked))
    move = planned(ramped(scissor(**FAST), measured(0.09))).moves[0]
    assert row(move).verdict == "pass" and move.verdict == "fail"
    assert move.reason.startswith("the second opinion refuses the route: grip, ")


def test_ground_that_grips_less_by_now_refuses_the_plan() -> None:
    plan = planned(ramped(scissor(**FAST)))
    now = ramped(scissor(**FAST), measured(0.15))
    assert {objection.kind for objection in recheck_plan(plan, site=now)["M1"]} == {GRIP}
    assert recheck_plan(plan, site=ramped(scissor(**FAST)))["M1"] == ()


def test_where_the_machine_is_left_is_held_too() -> None:
    """The drive ends on the ramp: only there it does not hold."""
    site = ramped(scissor(**FAST), measured(0.09))
    foot = dataclasses.replace(site, places={**site.places, "e": place("e", 7.0, 10.0, 90.0)})
    parked = dataclasses.replace(site, places={**site.places, "e": place("e", 14.0, 10.0, 90.0)})
    assert [planned(one).moves[0].verdict for one in (foot, parked)] == ["pass with controls", "fail"]


@pytest.mark.parametrize("seed", range(8))
def test_the_plan_is_never_kinder_than_the_second_opinion_on_rough_ground(seed: int) -> None:
    rng = np.random.default_rng(seed)
    held: dict[str, Any] = {"brakes_front": float(seed % 2), "brakes_rear": float(seed % 3 > 0 or seed % 2 == 0)}
    machine = scissor(**WEIGHT, **held, brake_mps2=9.0)
    poses = drive(19.0, 15.0, float(rng.uniform(-3.0, 3.0)), [(1.5, 0.4), (1.0, 0.0)], step_m=0.05)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    z = rng.uniform(-0.1, 0.1) * x + rng.uniform(-0.1, 0.1) * y + rng.normal(0.0, 0.004, x.shape)
    site = yard_for(poses, machine, z=z)
    yard = dataclasses.replace(site.surfaces[0], friction=measured(0.06))
    slick = dataclasses.replace(yard, id="slick", geometry=box(19.5, 0.0, 40.0, 30.0), friction=measured(0.03))
    site = dataclasses.replace(site, surfaces=(yard, slick))
    met = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=0.0,
        terrain=build_terrain(site.ground, site.grid),
    )  # fmt: skip
    gripped = Gripped.of(poses, machine, met.on(None, travel_m=1.0), site, site.moves[0], ("stowed",))
    k = confidence_k(2.5, route_confidence=0.95, correlation_m=2.0)
    found = gripped.check(by_kind(GRIP), k, 0.0, 9.0)
    (again,) = (one for one in opinion(move_of(poses, machine), site) if one.kind == GRIP)
    margin = again.limit - again.value
    assert margin - 0.08 <= found.margin <= margin < 0.0 and found.verdict == "fail"


#: Ice on the short way over the ramp, from 6 m north of the yard's south edge on.
ICE = box(9.0, 6.0, 21.0, 20.0)


def iced(friction: float, **layers: Any) -> Site:
    """The ramp with ice on it, but for its south end."""
    site = ramped(scissor(**FAST), **layers)
    ice = dataclasses.replace(site.surfaces[0], id="ice", geometry=ICE, friction=measured(friction))
    return dataclasses.replace(site, surfaces=(*site.surfaces, ice))


def test_a_slope_that_does_not_hold_is_gone_round(monkeypatch: pytest.MonkeyPatch) -> None:
    site = iced(0.09)
    move = planned(site).moves[0]
    assert (move.verdict, move.refused) in (("pass", None), ("pass with controls", None)), move.reason
    assert row(move).verdict == "pass"
    assert opinion(move, site) == ()
    steep = [pose.y for pose in move.poses if FOOT_M + ROUND_M < pose.x < HEAD_M - ROUND_M]
    assert steep and max(steep) < 6.0
    monkeypatch.setattr(move_module, "SPARES", ())
    straight = planned(site).moves[0]
    assert straight.verdict == "fail" and straight.refused is not None
    assert {found.kind for found in straight.refused.objections} == {GRIP}
    assert move.cost_m > straight.cost_m and move.best_possible_m == straight.best_possible_m
    assert move.bound == pytest.approx(move.cost_m / move.best_possible_m) and move.bound > 1.0


def test_where_all_of_a_slope_slips_the_first_way_is_not_given_to_drive() -> None:
    wall = Obstacle("s", box(0.0, 0.0, 30.0, 6.5), "wall", None)
    move = planned(iced(0.09, obstacles=(wall,))).moves[0]
    assert (move.verdict, move.poses) == ("fail", ())
    assert move.refused is not None and {found.kind for found in move.refused.objections} == {GRIP}


def test_what_is_left_on_a_plane_by_hand() -> None:
    """Friction less the slope, whichever way it stands; on one axle friction times its share of the weight."""
    y, x = np.mgrid[0:81, 0:121] * 0.25
    for machine, share in ((scissor(creep_speed_mps=0.0), 1.0), (scissor(**REAR, creep_speed_mps=0.0), None)):
        site = dataclasses.replace(flat_site(30.0, 20.0, z=0.08 * x + 0.06 * y, machines=(machine,)))
        hazards = encounter(
            site, machine, configuration="stowed", travel_mode="ridden", k=0.0,
            terrain=build_terrain(site.ground, site.grid),
        ).on(None, travel_m=1.0)  # fmt: skip
        friction = np.full(hazards.terrain.level.shape, 0.3)
        at = np.array([10.0]), np.array([10.0]), np.array([math.atan2(0.06, 0.08)])
        (left,) = left_at(hazards, machine, site, friction, *at)
        if share is None:  # nose up: least with nobody in the basket, or with them over its front edge
            def on_rear(carried: float) -> float:
                mass, height = 2300.0, 0.6
                ahead = mass * (0.8 - 0.1 * height) + carried * (2.13 - 0.1 * 2.2)
                return 1.0 - ahead / (mass + carried) / 1.85

            share = min(on_rear(0.0), on_rear(230.0))
        assert left == pytest.approx(0.3 * share - 0.1, abs=1e-3)
