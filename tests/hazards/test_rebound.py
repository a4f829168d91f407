"""The bound on how far a basket swings: never below a motion in time, and close to it where a closed form is known.

The motion in time is the tests' own (``tests/pitch_plane.py``), itself held against outside numbers in
``tests/outside/test_shock_spectra.py``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards.rebound import Ride, Swing, excess_bounds
from tests.pitch_plane import PitchPlane, rough_road

Floats = NDArray[np.float64]
Ground = Callable[[np.random.Generator, Floats], Floats]

#: Path between two steps of the motion in time, m, between two samples of the bound, and how many one has of the other.
FINE_M = 0.005
PATH_STEP_M = 0.01
EVERY = round(PATH_STEP_M / FINE_M)
PATH = np.arange(0.0, 30.0, FINE_M)
RADIUS_M = 0.3
#: A machine whose tyres and chassis do not give: its tip is a single mass on the boom's spring.
HARD = PitchPlane(tip_kg=1e-3, tyre_npm=1e11)
#: What levels that are equal may differ by through rounding and the steps of time, m.
ROUNDING_M = 5e-5


def rolled(levels: Floats) -> Floats:
    """Levels of a rolling disc."""
    reach = round(RADIUS_M / FINE_M)
    offsets = np.arange(-reach, reach + 1)
    arc = np.sqrt(RADIUS_M**2 - (offsets * FINE_M) ** 2) - RADIUS_M
    padded = np.pad(levels, reach, mode="edge")
    lifted = [padded[reach + n : reach + n + levels.size] + over for n, over in zip(offsets, arc, strict=True)]
    return np.asarray(np.max(lifted, axis=0))


def hole(rng: np.random.Generator, s: Floats) -> Floats:
    at = rng.uniform(8, 20)
    return np.where((s > at) & (s < at + rng.uniform(0.1, 1.5)), -rng.uniform(0.01, 0.1), 0.0)


def kerb(rng: np.random.Generator, s: Floats) -> Floats:
    return np.where(s > rng.uniform(8, 20), rng.uniform(0.02, 0.12), 0.0)


def plate(rng: np.random.Generator, s: Floats) -> Floats:
    at = rng.uniform(8, 20)
    return np.where((s > at) & (s < at + rng.uniform(0.5, 2)), rng.uniform(0.01, 0.04), 0.0)


def ramp(rng: np.random.Generator, s: Floats) -> Floats:
    return np.clip(s - rng.uniform(8, 14), 0.0, rng.uniform(3, 10)) * rng.uniform(-0.15, 0.15)


def joints(rng: np.random.Generator, s: Floats) -> Floats:
    return np.where((s > 8) & (s % rng.uniform(0.4, 5) < 0.06), -rng.uniform(0.005, 0.03), 0.0)


def rough(rng: np.random.Generator, s: Floats) -> Floats:
    return np.interp(s, np.arange(0, 31, 0.25), rng.normal(0.0, 0.01, 124)) * np.clip(s - 5, 0, 1)


def road(rng: np.random.Generator, s: Floats) -> Floats:
    """Of the spectrum that ISO 8608 gives class C (``tests/outside/test_shock_spectra.py`` holds it), after 8 m."""
    return rough_road(rng, s) * np.clip(s - 8.0, 0.0, 1.0)


def everything(rng: np.random.Generator, s: Floats) -> Floats:
    return np.asarray(np.sum([part(rng, s) for part in (hole, kerb, ramp, joints, rough)], axis=0))


GROUNDS: list[Ground] = [hole, kerb, plate, ramp, joints, rough, road, everything]


def axles(machine: PitchPlane, ground: Ground, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Wheel levels of both axles along the path."""
    levels = rolled(ground(rng, PATH))
    behind = round(machine.wheelbase_m / FINE_M)
    return levels[behind:], levels[:-behind]


def ride_of(height_m: Floats, halts_m: Sequence[float] = ()) -> Ride:
    """One point at finely spaced heights, on a machine whose two planes are one."""
    middle = height_m[::EVERY]
    halts = np.zeros(middle.size, bool)
    halts[[round(at / PATH_STEP_M) for at in halts_m]] = True
    return Ride(np.arange(middle.size, dtype=np.float64) * PATH_STEP_M, middle, np.zeros_like(middle), halts)


def over(machine: PitchPlane, front: Floats, rear: Floats, speed: float) -> Floats:
    """How far the tip is above its rigid height at the bound's samples, at a steady speed, m."""
    above = machine.tip(front, rear, FINE_M / speed) - machine.rigid(front, rear)
    return np.asarray(above[::EVERY])


def random_machine(rng: np.random.Generator, **figures: float) -> PitchPlane:
    drawn = PitchPlane(boom_period_s=rng.uniform(0.4, 1.4), boom_damping=rng.uniform(0.01, 0.1))
    return replace(drawn, **figures)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("speed", [0.1, 0.3, 1.0, 1.6])
def test_no_motion_on_hard_tyres_exceeds_the_bound(ground: Ground, speed: float) -> None:
    """Whatever the boom's period and damping, as long as they are not slower and not less than told."""
    rng = np.random.default_rng(round(100 * speed))
    for _ in range(3):
        machine = random_machine(rng, tip_kg=1e-3, tyre_npm=1e11)
        front, rear = axles(machine, ground, rng)
        told = Swing(machine.boom_period_s * rng.choice([1.0, 1.3]), machine.boom_damping * rng.choice([1.0, 0.4]), 1.0)
        bound = excess_bounds(ride_of(machine.rigid(front, rear)), told, speed)
        assert np.all(over(machine, front, rear, speed) <= bound + ROUNDING_M)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("speed", [0.2, 0.5, 1.6])
def test_tyres_that_give_are_held_in_the_tip_participation(ground: Ground, speed: float) -> None:
    """Tyres from 1 MN/m an axle (value from memory); the machine as rocked by hand: longest period, least damping."""
    rng = np.random.default_rng(7 + round(100 * speed))
    for tyre_npm in (1e6, 2e6, 5e6):
        machine = random_machine(rng, tyre_npm=tyre_npm)
        front, rear = axles(machine, ground, rng)
        bound = excess_bounds(ride_of(machine.rigid(front, rear)), Swing(*machine.rocked(), 1.6), speed)
        assert np.all(over(machine, front, rear, speed) <= bound + ROUNDING_M)


def test_tyres_that_give_go_beyond_a_participation_of_one() -> None:
    """So the worst of the range stands in the thresholds: with 1.0, soft tyres under a boom are not bounded."""
    machine = PitchPlane(tyre_npm=1e6, boom_period_s=0.6)
    front, rear = axles(machine, kerb, np.random.default_rng(3))
    bound = excess_bounds(ride_of(machine.rigid(front, rear)), Swing(*machine.rocked(), 1.0), 1.0)
    assert np.any(over(machine, front, rear, 1.0) > 1.05 * bound + ROUNDING_M)


def driven(machine: PitchPlane, height: Callable[[Floats], Floats], legs: Sequence[tuple[float, float]]) -> Floats:
    """Largest excess of the tip over the rigid height while it is driven at speeds (m/s) for times (s)."""
    step_s = 0.002
    speeds = np.concatenate([np.full(round(time / step_s), speed) for speed, time in legs])
    at = np.append(0.0, np.cumsum(speeds) * step_s)
    ground = height(at)
    return machine.tip(ground, ground, step_s) - ground


def climb(s: Floats) -> Floats:
    """Up 10 %."""
    return 0.1 * s


#: Half a swing of HARD: what changes again after it adds to what is there.
HALF_S = HARD.boom_period_s / 2 / math.sqrt(1 - HARD.boom_damping**2)


@pytest.mark.parametrize(
    ("legs", "limits", "halts_m"),
    [
        # A stop anywhere, and a start when it does most, long after the climb began.
        ([(1.0, 20.0), (0.0, HALF_S), (1.0, 2.0)], [(25.0, 1.0)], ()),
        # The same just before a halt that the plan knows of.
        ([(1.0, 20.0), (0.0, HALF_S), (1.0, HALF_S), (0.0, HALF_S), (1.0, 2.0)], [(25.0, 1.0)], (20.5,)),
        # The same just before a lower limit.
        ([(1.0, 20.0), (0.0, HALF_S), (1.0, HALF_S), (0.0, HALF_S), (0.2, 1.0)], [(20.5, 1.0), (25.0, 0.2)], ()),
        # The start of a move, half a swing before a stop.
        ([(0.0, 0.1), (1.0, HALF_S), (0.0, HALF_S), (1.0, 2.0)], [(25.0, 1.0)], ()),
    ],
)
def test_stops_starts_and_other_limits_are_bounded(
    legs: list[tuple[float, float]], limits: list[tuple[float, float]], halts_m: tuple[float, ...]
) -> None:
    path = np.arange(0.0, 25.0 + FINE_M / 2, FINE_M)
    steps = path[EVERY::EVERY]
    limit = np.array([next(speed for end, speed in limits if s <= end + 1e-9) for s in steps])
    ride = ride_of(climb(path), halts_m)
    bound = excess_bounds(ride, Swing(HARD.boom_period_s, HARD.boom_damping, 1.0), limit)
    swung = driven(HARD, climb, legs)
    reached = sum(speed * time for speed, time in legs)
    here = bound[math.floor((reached - 3.0) / PATH_STEP_M) if reached > 3.0 else 0 : math.ceil(reached / PATH_STEP_M)]
    assert 0.7 * here.max() < swung.max() <= here.max() + ROUNDING_M


def test_a_snap_from_plane_to_plane_is_bounded() -> None:
    """A chassis that rocks at the worst place of all goes up by all that its planes are apart, and swings beyond."""
    path = np.arange(0.0, 10.0 + FINE_M / 2, FINE_M)
    apart = 0.06 * np.sin(path / 3.0) ** 2
    ride = replace(ride_of(np.zeros_like(path)), apart_m=apart[::EVERY])
    bound = excess_bounds(ride, Swing(HARD.boom_period_s, HARD.boom_damping, 1.0), 0.1)
    snap_at = 4.7
    height = np.where(path < snap_at, -0.5, 0.5) * apart
    swung = HARD.tip(height, height, FINE_M / 0.1) - height
    assert 0.7 * bound.max() < swung.max() <= bound.max() + ROUNDING_M


def test_a_snap_rings_on_where_both_planes_are_one_again() -> None:
    """60 mm apart up to 10 m: either plane may have been stood on, half of that to the level of both, and a snap."""
    ride = replace(ride_of(np.zeros_like(PATH)), apart_m=np.where(PATH < 10.0, 0.06, 0.0)[::EVERY])
    bound = excess_bounds(ride, Swing(1.0, 0.02, 1.0), 1.0)
    left = math.exp(-0.02 * 2.0 * math.pi * 5.0)
    assert bound[round(15.0 / PATH_STEP_M)] == pytest.approx((0.03 + 0.06) * left, rel=0.005)


def test_the_bound_of_a_single_step_is_the_step() -> None:
    """An oscillator on a step swings beyond it by exp(-pi zeta / sqrt(1 - zeta^2)) of it at most: closed form."""
    step = ride_of(np.where(PATH < 15.0, 0.0, 0.1))
    swing = Swing(1.0, 0.02, 1.0)
    most = excess_bounds(step, swing, 1.6).max()
    assert 0.1 * math.exp(-math.pi * 0.02 / math.sqrt(1 - 0.02**2)) <= most
    assert most == pytest.approx(0.1, rel=0.001)


def test_a_start_on_a_slope_swings_by_speed_times_slope_over_frequency() -> None:
    """Closed form without damping: g v / omega; and a stop with its start wherever, twice as much."""
    bound = excess_bounds(ride_of(climb(PATH)), Swing(1.0, 1e-6, 1.0), 0.8)
    once = 0.1 * 0.8 / (2.0 * math.pi)
    assert bound[:-2].max() == pytest.approx(3.0 * once, rel=0.001)
    # At its end a move stands, whatever is left of it.
    assert bound[-1] == pytest.approx(4.0 * once, rel=0.001)
    # A stop on a slope still rings where that is left behind; the end of the slope adds to it.
    bound = excess_bounds(ride_of(np.minimum(climb(PATH), 1.5)), Swing(1.0, 1e-6, 1.0), 0.8)
    assert bound[round(20.0 / PATH_STEP_M)] == pytest.approx(4.0 * once, rel=0.001)


@pytest.mark.parametrize("ground", GROUNDS)
def test_it_rises_with_speed_and_period(ground: Ground) -> None:
    front, rear = axles(HARD, ground, np.random.default_rng(5))
    ride = ride_of(HARD.rigid(front, rear))

    def bound(speed: float, period: float) -> Floats:
        return excess_bounds(ride, Swing(period, 0.03, 1.6), speed)

    for speed in (0.1, 0.4, 1.6):
        here = bound(speed, 1.0)
        assert np.all(bound(1.1 * speed, 1.0) >= here - 1e-12)
        assert np.all(bound(speed, 1.1) >= here - 1e-12)


#: Both axles' levers on the tip of HARD.
LEVER = float(np.abs(HARD.shares).max())


def allowance_m(defect_m: float) -> float:
    """What the search allows for, docs/method.md 6, at a participation of 1."""
    return 2.0 * LEVER * defect_m


@pytest.mark.parametrize("width_m", [0.15, 0.4, 1.0])
@pytest.mark.parametrize("size_m", [-0.06, -0.02, 0.02, 0.10])
def test_the_search_allows_for_one_defect_at_creep(width_m: float, size_m: float) -> None:
    """At 0.3 m/s and any period up to a second the bound on one hole or bump is less than the search's allowance."""
    levels = rolled(np.where(np.abs(PATH - 12.0) < width_m / 2, size_m, 0.0))
    behind = round(HARD.wheelbase_m / FINE_M)
    bound = excess_bounds(ride_of(HARD.rigid(levels[behind:], levels[:-behind])), Swing(1.0, 0.02, 1.0), 0.3)
    assert bound.max() <= allowance_m(abs(levels).max())


def test_planes_that_part_and_meet_in_time_with_the_boom_are_bounded() -> None:
    """A chassis on one of its planes all along rises and falls with it, though the middle of both is level."""
    speed = 0.5
    path = np.arange(0.0, 10.0 + FINE_M / 2, FINE_M)
    apart = 0.02 * (1.0 - np.cos(2.0 * math.pi * path / (speed * HARD.boom_period_s)))
    ride = replace(ride_of(np.zeros_like(path)), apart_m=apart[::EVERY])
    bound = excess_bounds(ride, Swing(HARD.boom_period_s, HARD.boom_damping, 1.0), speed)
    swung = HARD.tip(0.5 * apart, 0.5 * apart, FINE_M / speed) - 0.5 * apart
    assert np.all(swung[::EVERY] <= bound + ROUNDING_M)
    assert swung.max() > 2.0 * apart.max()


def test_what_changes_counts_from_the_sample_before_it() -> None:
    """Where in a step the ground changes nobody knows."""
    ride = ride_of(np.maximum(0.1 * PATH, 0.3 * PATH - 0.2 * 15.0))
    bound = excess_bounds(ride, Swing(1.0, 0.02, 1.0), 0.8)
    kink = round(15.0 / PATH_STEP_M)
    assert bound[kink - 1] > bound[kink - 2] + 0.2 * 0.8 / (2.0 * math.pi)
    bound = excess_bounds(ride_of(np.where(PATH < 15.0, 0.0, 0.1)), Swing(1.0, 0.02, 1.0), 0.8)
    assert bound[kink - 2] == 0.0 and bound[kink - 1] == pytest.approx(0.1, rel=0.001)


def test_the_search_allows_for_no_joints_and_no_ramps() -> None:
    """Why its allowance alone proves nothing of them even at creep: they pump the basket, or are no defect at all."""
    swing = Swing(1.0, 0.02, 1.0)
    behind = round(HARD.wheelbase_m / FINE_M)
    cut = rolled(np.where((PATH > 8.0) & (PATH % 1.0 < 0.06), -0.02, 0.0))
    pumped = excess_bounds(ride_of(HARD.rigid(cut[behind:], cut[:-behind])), swing, 0.2).max()
    assert pumped > allowance_m(abs(cut).max())
    up = 0.12 * np.clip(PATH - 10.0, 0.0, 5.0)
    assert excess_bounds(ride_of(HARD.rigid(up[behind:], up[:-behind])), swing, 0.2).max() > 0.03


def test_where_a_level_is_not_known_nothing_is_bounded_from_there_on() -> None:
    height = np.zeros_like(PATH)
    height[height.size // 2] = math.nan
    bound = excess_bounds(ride_of(height), Swing(1.0, 0.02, 1.6), 1.0)
    unknown = bound.size // 2
    assert np.all(bound[: unknown - 1] == 0.0) and np.all(np.isnan(bound[unknown - 1 :]))
