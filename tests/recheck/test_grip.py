"""What holds a machine and stops it: closed forms, just inside and just beyond, by the second opinion and the first."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.hazards.grip import BRAKED, Footing, axles, friction_on, least_share, lever, steepness
from routeplan.machine.model import Machine
from routeplan.recheck.case import Case
from routeplan.recheck.grip import coefficient, share_on
from routeplan.recheck.stance import Plane
from routeplan.recheck.track import envelope, read_rows, subdivide
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.route.model import Conditions, Control, Move
from routeplan.site.friction import Friction, Loose
from routeplan.site.model import Site, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, slowly, with_controls, yard_for

G = 9.80665
#: No load, and the weight as low as its figure says; a machine of which a ramp may ask anything.
WEIGHT: dict[str, Any] = {
    "rated_load_kg": 1e-9, "gravity_xi_m": 0.80, "gravity_eta_m": 0.0, "gravity_height_m": 0.60,
    "gradeability_basket_uphill_pct": 100.0, "gradeability_basket_downhill_pct": 100.0, "side_slope_pct": 100.0,
}  # fmt: skip
REAR = {"brakes_front": 0.0, "brakes_rear": 1.0}
POSES = drive(19.0, 15.0, 0.0, [(1.0, 0.0)], step_m=0.05)
#: It may take all the time and way in the world to stop, so that what holds it decides.
PATIENT = Thresholds(heading_tolerance_deg=0.0, bounce_limit_m=2.0, stopping_distance_m=1e6)
#: All of the weight that acts over the rear axle, and what a slope of 1 takes off it.
REAR_SHARE, LIFT = 1.0 - 0.80 / 1.85, 0.60 / 1.85


def scissor(**changes: Any) -> Machine:
    return worlds.scissor(**WEIGHT | changes)


def sloping(
    machine: Machine, friction: Friction | None, pitch: float = 0.0, roll: float = 0.0, **layers: Any
) -> Site:
    """A plane under a drive to the east: nose up where the pitch is positive."""
    y, x = np.mgrid[0:121, 0:161] * 0.25
    layers.setdefault("thresholds", PATIENT)
    site = yard_for(POSES, machine, z=pitch * x + roll * y, **layers)
    return certain(dataclasses.replace(site, surfaces=(dataclasses.replace(site.surfaces[0], friction=friction),)))


def measured(value: float) -> Friction:
    return Friction("a test", value, value, None)


def at_speed(speed_mps: float, machine: Machine, **claims: Any) -> Move:
    poses = [pose._replace(v_max_mps=speed_mps) for pose in POSES]
    told = (slowly(0.0, speed_mps),) if speed_mps < machine.value("travel_speed_mps") else ()
    return with_controls(move_of(poses, machine, **claims), told)


def refused(site: Site, *, speed_mps: float = 0.2, **claims: Any) -> bool:
    """Whether the second opinion objects to the grip, and to nothing else."""
    found = kinds(opinion(at_speed(speed_mps, site.machines["SC"], **claims), site))
    assert found <= {"grip"}
    return bool(found)


@pytest.mark.parametrize(("pitch", "roll"), [(0.3, 0.0), (-0.3, 0.0), (0.0, 0.15), (0.15, -0.1)])
def test_a_slope_at_friction_times_the_braked_share(pitch: float, roll: float) -> None:
    """Braked on all wheels the share is 1, and it holds where friction is the slope, whichever way it lies."""
    slope = math.sqrt((1 + pitch**2) * (1 + roll**2) - 1)
    for more, expected in ((1e-5, False), (-1e-5, True)):
        machine = scissor()
        assert refused(sloping(machine, measured(slope + more), pitch, roll)) is expected


@pytest.mark.parametrize("pitch", [0.12, -0.12])
def test_braked_on_the_rear_axle_nose_up_and_nose_down_differ(pitch: float) -> None:
    """Standing nose up loads the rear axle, nose down takes weight off it: mu (share +- h/L tan) = tan."""
    held = abs(pitch) / (REAR_SHARE + LIFT * pitch)
    for more, expected in ((1e-4, False), (-1e-4, True)):
        assert refused(sloping(scissor(**REAR), measured(held + more), pitch)) is expected
    assert (held < 0.12 / REAR_SHARE) == (pitch > 0.0)


def test_driven_on_one_axle_it_has_to_climb_too() -> None:
    climbs = 0.12 / (REAR_SHARE + LIFT * 0.12)
    for more, expected in ((1e-4, False), (-1e-4, True)):
        machine = scissor(drives_front=0.0)
        assert refused(sloping(machine, measured(climbs + more), 0.12)) is expected


def test_brakes_weaker_than_the_slope_do_not_hold_it() -> None:
    """On the level they give what the sheet says; on a slope its share of gravity comes off it."""
    theta = math.atan(0.2)
    for more, expected in ((1e-3, False), (-1e-3, True)):
        machine = scissor(brake_mps2=G * math.sin(theta) + more)
        assert refused(sloping(machine, measured(0.9), 0.2)) is expected


@pytest.mark.parametrize("grade", [0.0, 0.1, -0.1])
def test_the_fastest_row_that_stops_in_time(grade: float) -> None:
    """v t + v^2 / (2 a) = S with a = g (mu cos - sin): a machine braked on all wheels, and one on its rear ones."""
    wanted = dataclasses.replace(PATIENT, stopping_distance_m=1.5, reaction_s=1.0)
    theta, mu = math.atan(abs(grade)), 0.3
    for machine, share, lift in (
        (scissor(travel_speed_mps=3.0), 1.0, 0.0),
        (scissor(travel_speed_mps=3.0, **REAR), REAR_SHARE + LIFT * grade, LIFT),
    ):
        a = G * (mu * share * math.cos(theta) - math.sin(theta)) / (1.0 + mu * lift)
        fastest = -a + math.sqrt(a**2 + 2.0 * a * 1.5)
        assert fastest + fastest**2 / (2.0 * a) == pytest.approx(1.5)
        site = sloping(machine, measured(mu), grade, thresholds=wanted)
        for more, expected in ((-1e-4, False), (1e-4, True)):
            assert refused(site, speed_mps=fastest + more) is expected


def test_the_brakes_limit_the_speed_where_tyres_would_hold_more() -> None:
    wanted = dataclasses.replace(PATIENT, stopping_distance_m=1.5, reaction_s=0.5)
    machine = scissor(travel_speed_mps=3.0, brake_mps2=1.0)
    fastest = -0.5 + math.sqrt(0.25 + 3.0)
    site = sloping(machine, measured(0.9), thresholds=wanted)
    for more, expected in ((-1e-4, False), (1e-4, True)):
        assert refused(site, speed_mps=fastest + more) is expected


def test_one_who_needs_all_the_way_to_react_never_stops_in_time() -> None:
    wanted = dataclasses.replace(PATIENT, stopping_distance_m=0.5, reaction_s=2.6)
    assert refused(sloping(scissor(), measured(1.2), thresholds=wanted))


def test_the_loose_and_the_wet_state_count_where_they_are_less() -> None:
    said = Friction("a test", 0.6, 0.4, Loose("grit", 0.5))
    assert [coefficient(worlds.flat_site().surfaces[0], wet) for wet in (True, False)] == [0.9, 0.9]
    for friction, wet, expected in (
        (said, True, 0.4), (said, False, 0.5), (dataclasses.replace(said, loose=None), False, 0.6),
        (Friction("a test", None, 0.4, None), False, 0.4), (Friction("a test", 0.6, None, None), True, math.nan),
        (None, False, math.nan),
    ):  # fmt: skip
        surface = dataclasses.replace(worlds.flat_site().surfaces[0], friction=friction)
        assert coefficient(surface, wet) == pytest.approx(expected, nan_ok=True)
        assert friction_on(friction, wet=wet) == pytest.approx(expected, nan_ok=True)


def test_wet_ground_flips_a_pass_and_a_dry_only_move_has_to_say_so() -> None:
    said = Friction("a test", 0.5, 0.15, None)
    site = sloping(scissor(), said, 0.2)
    dry = dataclasses.replace(site, moves=(dataclasses.replace(site.moves[0], wet=False),))
    move = at_speed(0.2, site.machines["SC"])
    told = with_controls(move, (*move.controls, Control("grip", 0.0, "dry ground only")))
    assert kinds(opinion(told, site)) == {"grip"} and kinds(opinion(told, dry)) == set()
    late = with_controls(move, (*move.controls, Control("grip", 0.5, "dry ground only")))
    vague = with_controls(move, (*move.controls, Control("grip", 0.0, "in any weather")))
    for untold in (move, late, vague):
        assert [found.text for found in opinion(untold, dry)] == ["nobody is told that it is for dry ground only"]
    assert kinds(opinion(told, dry, conditions=Conditions(wet=True))) == {"grip"}


@pytest.mark.parametrize("missing", sorted({*worlds.HELD, "travel_speed_mps"}))
def test_a_figure_that_nobody_gave_is_never_a_pass(missing: str) -> None:
    whole = scissor()
    bare = dataclasses.replace(whole, figures={n: f for n, f in whole.figures.items() if n != missing})
    site = sloping(bare, measured(0.9))
    found = opinion(move_of(POSES, bare), site)
    assert "grip" in kinds(found) and any(f"{missing} is missing" in one.text for one in found)
    rows = {"grip": "not proven", **({"basket swing": "not proven"} if missing == "travel_speed_mps" else {})}
    assert kinds(opinion(move_of(POSES, bare, verdict="pass", rows=rows), site)) == {"verdict"}


def test_friction_that_nobody_measured_is_open_but_weak_brakes_break_it_all_the_same() -> None:
    site = sloping(scissor(), None)
    assert refused(site)
    assert any("how tyres grip yard" in found.text for found in opinion(at_speed(0.2, site.machines["SC"]), site))
    assert not refused(sloping(scissor(), None), verdict="not proven")
    assert refused(sloping(scissor(brake_mps2=1.0), None, 0.2), verdict="not proven")


def test_ground_of_which_nobody_said_hides_no_ice_that_lies_there_too() -> None:
    """Whatever it is, it grips no better than the least that is known: 0.02 does not hold on 10 %."""
    site = sloping(scissor(), measured(0.9), 0.1)
    (yard,) = site.surfaces
    ice = dataclasses.replace(yard, id="ice", friction=measured(0.02))
    odd = dataclasses.replace(yard, id="odd", friction=None)
    opened: dict[str, Any] = {"verdict": "not proven"}
    for surfaces, expected in (((yard, odd), False), ((yard, ice, odd), True), ((yard, odd, ice), True)):
        assert refused(dataclasses.replace(site, surfaces=surfaces), **opened) is expected


def test_braked_on_one_axle_it_rests_on_where_the_weight_acts() -> None:
    whole = scissor(**REAR)
    for name in ("gravity_xi_m", "gravity_height_m", "rated_load_kg"):
        bare = dataclasses.replace(whole, figures={n: f for n, f in whole.figures.items() if n != name})
        assert refused(sloping(bare, measured(0.9)))
        loose = {**whole.figures, name: dataclasses.replace(whole.figures[name], tag="memory")}
        assert refused(sloping(dataclasses.replace(whole, figures=loose), measured(0.9)))
    assert not refused(sloping(worlds.scissor(), measured(0.9)))


def test_a_slope_that_does_not_hold_is_refused_even_as_open() -> None:
    assert refused(sloping(scissor(), measured(0.19), 0.2), verdict="not proven")


def test_only_what_tyres_meet_counts() -> None:
    site = sloping(scissor(), measured(0.9))
    ice = dataclasses.replace(site.surfaces[0], id="ice", friction=measured(0.02))
    wanted, reach = dataclasses.replace(PATIENT, stopping_distance_m=1.0), 0.35 + 0.055 + 0.15
    for gap_m, expected in ((0.001, False), (-0.001, True)):
        beside = dataclasses.replace(ice, geometry=box(15.0, 15.0 + reach + gap_m, 25.0, 20.0))
        both = dataclasses.replace(site, thresholds=wanted, surfaces=(*site.surfaces, beside))
        assert refused(both, speed_mps=0.5) is expected


def test_sigma_of_the_slopes_counts_with_what_it_makes_of_the_share() -> None:
    machine, accuracy, mu = scissor(**REAR), worlds.GOOD_SURVEY, 0.5
    sigmas = Sigmas.of(machine, accuracy)
    sigma = math.hypot(sigmas.pitch, sigmas.roll) + mu * LIFT * sigmas.pitch
    k = confidence_k(1.0, route_confidence=0.95, correlation_m=2.0)
    grade = (mu * REAR_SHARE - k * sigma) / (1.0 + mu * LIFT)
    for more, expected in ((-1e-4, False), (1e-4, True)):
        site = sloping(machine, measured(mu), -(grade + more))
        site = dataclasses.replace(site, ground=dataclasses.replace(site.ground, accuracy=accuracy))
        assert refused(site) is expected


def test_a_row_raised_by_hand_is_refused_with_its_figures() -> None:
    """The plan's own row of the check changes nothing."""
    wanted = dataclasses.replace(PATIENT, stopping_distance_m=1.0, reaction_s=0.5)
    machine = scissor(travel_speed_mps=2.0)
    site = sloping(machine, measured(0.5), thresholds=wanted)
    assert kinds(opinion(at_speed(0.5, machine), site)) == set()
    (found,) = opinion(at_speed(2.0, machine), site)
    assert (found.kind, found.unit) == ("grip", "1") and found.value > found.limit == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_the_first_is_never_kinder_than_the_second_on_a_plane(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ends = [(1, 0), (0, 1), (1, 1)][seed % 3]
    make = scissor if seed % 2 else boom
    machine = make(
        brakes_front=float(ends[0]), brakes_rear=float(ends[1]), brake_mps2=float(rng.uniform(1, 8)),
        rated_load_kg=float(rng.uniform(1, 500)), gravity_xi_m=float(rng.uniform(0.2, 1.6)),
        gravity_height_m=float(rng.uniform(0.3, 1.2)),
    )  # fmt: skip
    pitch, roll, mu = rng.uniform(-0.3, 0.3), rng.uniform(-0.2, 0.2), rng.uniform(0.2, 0.9)
    shape, held = machine.configurations["stowed"], axles(machine, BRAKED)
    flat = np.array([float(pitch)]), np.array([float(roll)])
    footing = Footing(
        np.array([mu]), steepness(*flat), np.array([least_share(machine, shape, held, (pitch, pitch), (roll, roll))]),
        np.ones(1), lever(machine, shape, held), machine.value("brake_mps2"), np.zeros(1),
    )  # fmt: skip
    plane = Plane(np.zeros((1, 1, 1)), np.full((1, 1, 1), pitch), np.full((1, 1, 1), roll))
    for slowing in (0.0, 0.1, 0.3):
        asked = footing.slope + slowing
        share = float(share_on(case_of(machine), plane, "brakes", slowing).min())
        upright = float(plane.rotation()[2][2].item())
        slope = math.sqrt(1.0 - upright**2) / upright
        second = min(mu * share, machine.value("brake_mps2") / (G * upright), mu + slowing) - slope - slowing
        assert footing.left(asked)[0] <= second + 1e-9
        assert footing.left(asked)[0] >= second - 0.05


def case_of(machine: Machine) -> Case:
    move = move_of(POSES, machine)
    track = subdivide(read_rows(POSES), envelope(machine, machine.configurations["stowed"]))
    return Case.of(move, track, site=yard_for(POSES, machine), machine=machine, conditions=Conditions())


def boom(**changes: float) -> Machine:
    return worlds.boom(**WEIGHT | changes)


@pytest.mark.parametrize("seed", range(20))
def test_from_the_fastest_speed_nothing_is_left_and_from_a_slower_one_more(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n, lift = 50, float(rng.uniform(0.0, 0.5))
    friction, slope, share = rng.uniform(0.2, 0.9, n), rng.uniform(0.0, 0.4, n), rng.uniform(0.3, 1.0, n)
    footing = Footing(friction, slope, share, np.full(n, 9.0), lift, float(rng.uniform(1, 8)), rng.uniform(0, 0.02, n))
    stop, reaction, k = float(rng.uniform(0.5, 5.0)), float(rng.uniform(0.3, 2.0)), 3.0
    fastest = footing.fastest(k, stop, reaction)
    held = fastest > 0.0
    assert held.any() and not held.all()
    left = footing.left(footing.asked(fastest, stop, reaction)) - k * footing.sigma
    assert left[held] == pytest.approx(np.zeros(held.sum()), abs=1e-9) and (left[~held] < 0.0).all()
    slower = footing.left(footing.asked(0.9 * fastest, stop, reaction)) - k * footing.sigma
    assert (slower[held] > 0.0).all()
