"""What spot levels leave unsure: both rooms against simulated surveys, their errors regressed on what readings show.

The regression knows no formula of ours: it is least squares over the draws.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point, box

from routeplan.hazards import uncertainty
from routeplan.hazards.posterior import Posterior, forms_of
from routeplan.plan.surer import CARRIED, HELD, Doubt, Surer
from routeplan.recheck.grip import share_on
from routeplan.recheck.ground_load import allowed_kn, standing_loads
from routeplan.recheck.readings import Readings
from routeplan.recheck.stance import Plane, planes_of
from routeplan.recheck.uncertainty import Sigmas, Sure
from routeplan.site.bearing import Drained, Platform
from routeplan.site.model import Ground, Surface
from routeplan.site.reading import Reading
from routeplan.site.readings import put_right
from tests import worlds
from tests.recheck.test_grip import case_of

Floats = NDArray[np.float64]

DRAWS = 40_000
SIGMA_M, OWN_M = 0.01, (0.002, 0.003, 0.002, 0.005, 0.002)
MACHINE = worlds.scissor()
#: Hubs FL FR RL RR of the scissor at (5, 5) due east, and readings about them.
HUBS = np.array([(6.85, 5.35), (6.85, 4.65), (5.0, 5.35), (5.0, 4.65)])
TAKEN = np.array([(6.85, 5.35), (6.5, 4.5), (5.0, 5.5), (3.0, 5.0), (9.0, 7.0)])


def survey(correlation_m: float, z: Floats | None = None) -> Ground:
    accuracy = replace(worlds.GOOD_SURVEY, short_range_m=SIGMA_M, correlation_m=correlation_m)
    return worlds.ground(np.zeros((61, 61)) if z is None else z, accuracy=accuracy)


def readings(levels_m: Floats, where: Floats = TAKEN) -> tuple[Reading, ...]:
    rows = zip(where, levels_m, OWN_M, strict=True)
    day = dt.date(2026, 11, 9)
    return tuple(Reading(f"r{n}", Point(xy), float(z), own, day, "test") for n, (xy, z, own) in enumerate(rows))


def simulated(correlation_m: float) -> tuple[Floats, Floats, Floats]:
    """Errors of the survey under the wheels ``(DRAWS, 4)``, what readings lie off it by ``(DRAWS, 5)``, and the least
    squares of the first on the second ``(5, 4)``.
    """
    errors, off = draws(np.concatenate([HUBS, TAKEN]), len(TAKEN), correlation_m, 20261109)
    return errors, off, np.asarray(np.linalg.lstsq(off, errors, rcond=None)[0], dtype=np.float64)


def draws(places: Floats, last: int, correlation_m: float, seed: int) -> tuple[Floats, Floats]:
    """Errors of the survey at places, and what readings at the last of them lie off it by."""
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    covariance = SIGMA_M**2 * np.exp(-apart / correlation_m) + 1e-12 * np.eye(len(places))
    rng = np.random.default_rng(seed)
    errors = rng.standard_normal((DRAWS, len(places))) @ np.linalg.cholesky(covariance).T
    off = errors[:, -last:] + rng.standard_normal((DRAWS, last)) * np.array(OWN_M)
    return errors[:, :-last], off


@pytest.mark.parametrize("correlation_m", [0.5, 2.0, 10.0])
def test_both_rooms_against_simulated_surveys(correlation_m: float) -> None:
    errors, off, pulls = simulated(correlation_m)
    left = errors - off @ pulls
    pitch = max(np.std(left[:, 0] - left[:, 2]), np.std(left[:, 1] - left[:, 3])) / 1.85
    roll = max(np.std(left[:, 0] - left[:, 1]), np.std(left[:, 2] - left[:, 3])) / 0.70
    ground, taken = survey(correlation_m), readings(np.zeros(5))
    accuracy = ground.accuracy
    assert pitch < 0.97 * uncertainty.sigma_pitch(accuracy, 1.85), "readings make it surer"
    posterior, forms = Posterior.of(ground, taken), forms_of(MACHINE, [(2.13, 0.40), (-1.0, 0.0)])
    at = HUBS[None, :, 0], HUBS[None, :, 1]
    other = Sure.of(Sigmas.of(MACHINE, accuracy), Readings(ground, taken), *at, 2.0)
    for planned, second, drawn in ((forms.pitch, other.pitch, pitch), (forms.roll, other.roll, roll)):
        assert posterior.widest(*at, 0.0, planned)[0].max() == pytest.approx(drawn, rel=0.02)
        assert float(np.max(second)) == pytest.approx(drawn, rel=0.02)
    for n, (xi, eta) in enumerate([(2.13, 0.40), (-1.0, 0.0)]):
        q = xi / 1.85
        middle = (q * (left[:, 0] + left[:, 1]) + (1 - q) * (left[:, 2] + left[:, 3])) / 2
        drawn = max(np.std(middle + eta * (left[:, a] - left[:, a + 1]) / 0.70) for a in (0, 2))
        planned = posterior.widest(*at, 0.0, forms.points[2 * n : 2 * n + 2])[0].max()
        assert planned == pytest.approx(drawn, rel=0.02)
        assert float(other.point(np.array([xi]), np.array([eta]))[0, 0]) == pytest.approx(drawn, rel=0.02)


@pytest.mark.parametrize("correlation_m", [0.5, 2.0])
def test_levels_are_put_right_as_the_draws_say(correlation_m: float) -> None:
    """Nodes beside the wheels rise by what the regression makes of one set of readings."""
    levels_m = np.array([0.004, -0.006, 0.002, 0.008, -0.003])
    _, _, pulls = simulated(correlation_m)
    ground, taken = survey(correlation_m), readings(levels_m)
    right = put_right(ground, taken)
    assert right.surveyed is ground.z
    expected = levels_m @ pulls
    rise = Readings(ground, taken).rise(*HUBS.T)
    assert rise == pytest.approx(expected, abs=0.02 * 0.008)
    # 5.00 E is a node and 5.50 N too; the readings r2 and r3 lie on nodes.
    for node, xy in (((22, 20), (5.0, 5.5)), ((20, 12), (3.0, 5.0)), ((16, 20), (5.0, 4.0))):
        other = float(Readings(ground, taken).rise(np.array([xy[0]]), np.array([xy[1]]))[0])
        assert right.z[node] == pytest.approx(other, abs=1e-9)
    again = Readings(right, taken).rise(*HUBS.T)
    assert again == pytest.approx(rise, abs=1e-12), "levels put right are not put right twice"


WEIGHED = worlds.scissor(
    rated_load_kg=230.0, gravity_xi_m=0.8, gravity_eta_m=0.0, gravity_height_m=0.6, wheel_load_max_kn=0.1,
    brakes_front=0.0,
)  # fmt: skip
MU, MOMENT_KGM = 0.5, 2300.0 * 0.6 + 230.0 * 2.2
SOFT = Surface("s", box(0, 0, 9, 9), "fill", None, Platform("engineer", 0.2, 30.0, Drained(30.0, 10.0, 2.0), 1.0))


def margins(pitch: float, roll: float, errors: Floats) -> dict[str, Floats]:
    """What a machine on a slope has left on each of its planes ``(draws, 2)`` in each draw of the errors of its wheels'
    levels: of ground load on hard ground and on drained ground, kN, and of grip, all of what the levels decide.
    """
    level_m = np.array([1.85 * pitch + 0.7 * roll, 1.85 * pitch, 0.7 * roll, 0.0]) + errors
    both = planes_of(level_m, wheelbase_m=1.85, track_m=0.70, xi_rear_m=0.0, follow=(0, 0.0))
    planes = Plane(*(one.reshape(-1, 1, 1) for one in (both.level, both.pitch, both.roll)))
    load = standing_loads(WEIGHED, WEIGHED.configurations["stowed"], planes).max(axis=1)
    bears = allowed_kn(SOFT, case_of(WEIGHED), np.hypot(both.pitch, both.roll).ravel())[0]
    steepest = np.sqrt((1 + both.pitch**2) * (1 + both.roll**2) - 1).ravel()
    held = MU * share_on(case_of(WEIGHED), planes, "brakes", 0.0).ravel()
    found = {"hard ground": -load, "drained ground": bears - load, "grip": held - steepest}
    return {kind: left.reshape(-1, 2) for kind, left in found.items()}


@pytest.mark.parametrize("correlation_m", [0.5, 2.0, 10.0])
@pytest.mark.parametrize(("pitch", "roll"), [(0.0, 0.0), (0.12, 0.0), (-0.10, 0.08), (0.0, -0.04)])
def test_no_margin_is_less_sure_than_told(correlation_m: float, pitch: float, roll: float) -> None:
    """What readings leave of simulated errors, through the second room's own formulas of loads and of grip."""
    errors, off, pulls = simulated(correlation_m)
    ground, taken = survey(correlation_m), readings(np.zeros(5))
    found = margins(pitch, roll, errors - off @ pulls)
    spans, lift = (1.85, 0.70), MU * MOMENT_KGM / 2530.0 / 1.85
    surer = Surer(
        Posterior.of(ground, taken), forms_of(WEIGHED, [(2.13, 0.4)]), 1, HUBS[:, 0] - 5.0, HUBS[:, 1] - 5.0, 0.0, 0.0,
        (1.0, 1.0), spans,
    )  # fmt: skip
    hubs = HUBS[None, :, 0], HUBS[None, :, 1]
    sure = Sure.of(Sigmas.of(WEIGHED, ground.accuracy), Readings(ground, taken), *hubs, 2.0)
    p, r = float(np.max(sure.pitch)), float(np.max(sure.roll))
    moment = 9.80665e-3 * MOMENT_KGM
    falls = float(allowed_kn(SOFT, case_of(WEIGHED), np.array([math.hypot(pitch, roll)]))[1][0])
    told = {
        "hard ground": (CARRIED, (0.0, moment), moment * max(p / 1.85, r / 0.70)),
        "drained ground": (CARRIED, (falls, moment), falls * math.hypot(p, r) + moment * max(p / 1.85, r / 0.70)),
        "grip": (HELD, (1.0, lift), math.hypot(p, r) + lift * p),
    }
    at, none = np.array([(5.0, 5.0, 0.0)]), np.zeros(1)
    for kind, (index, by, second) in told.items():
        doubt = Doubt(index, at, at, none, none, none, np.array([by]))
        first = float(surer.sigma(doubt, surer.spread(doubt, (1, 1, 1)), 2.0)[0])
        assert first == pytest.approx(second, rel=1e-9), "both rooms tell the same of one pose"
        drawn = float(np.std(found[kind], axis=0).max())
        assert first >= 0.98 * drawn
        if roll < 0.0 == pitch:
            assert first <= 1.3 * drawn, "where the roll decides little is given away"


@pytest.mark.parametrize("seed", range(12))
def test_no_gap_below_an_underside_is_less_sure_than_told(seed: int) -> None:
    """The ground below is another place of the same field, taken to be as sure as surveyed and alone: readings at
    random, an underside under the machine or beyond its ends.
    """
    rng = np.random.default_rng(seed)
    correlation_m = (0.5, 2.0, 10.0)[seed % 3]
    xi, eta = float(rng.uniform(-1.5, 4.5)), float(rng.uniform(-0.5, 0.5))
    where = rng.uniform((3.5, 4.0), (9.5, 6.0), (5, 2))
    places = np.concatenate([HUBS, [(5.0 + xi, 5.0 + eta)], where])
    errors, off = draws(places, len(where), correlation_m, seed)
    after = errors - off @ np.linalg.lstsq(off, errors, rcond=None)[0]
    q = xi / 1.85
    middle = (q * (after[:, 0] + after[:, 1]) + (1 - q) * (after[:, 2] + after[:, 3])) / 2
    gaps = [middle + eta * (after[:, a] - after[:, a + 1]) / 0.70 - after[:, 4] for a in (0, 2)]
    ground, taken = survey(correlation_m), readings(np.zeros(5), where)
    sure = Sure.of(Sigmas.of(MACHINE, ground.accuracy), Readings(ground, taken), HUBS[:, 0], HUBS[:, 1], 2.0)
    second = float(sure.gap_in(np.array([xi]), np.array([eta])).max())
    planned = Posterior.of(ground, taken).widest(
        HUBS[None, :, 0], HUBS[None, :, 1], 0.0, forms_of(MACHINE, [(xi, eta)]).points
    )[0].max()  # fmt: skip
    assert second == pytest.approx(math.hypot(planned, SIGMA_M), rel=1e-9)
    assert second >= 0.98 * max(map(np.std, gaps))


def test_without_readings_near_it_is_as_sure_as_the_survey() -> None:
    ground = survey(0.5)
    far = Posterior.of(ground, readings(np.zeros(5))[4:])
    forms = forms_of(MACHINE, [(2.13, 0.40)])
    at = HUBS[None, :, 0] - 4.0, HUBS[None, :, 1] - 4.0
    accuracy = ground.accuracy
    assert far.widest(*at, 0.0, forms.pitch)[0].max() == pytest.approx(
        uncertainty.sigma_pitch(accuracy, 1.85), rel=1e-6
    )
    assert far.widest(*at, 0.0, forms.roll)[0].max() == pytest.approx(uncertainty.sigma_roll(accuracy, 0.70), rel=1e-6)
    point = uncertainty.sigma_point(accuracy, 1.85, 0.70, 2.13 / 1.85, 0.40)
    assert far.widest(*at, 0.0, forms.points)[0].max() == pytest.approx(point, rel=1e-6)


def test_the_bound_holds_wherever_the_machine_may_be() -> None:
    """A machine moved and turned at random, no hub farther than 0.1 m from where it was: never less sure than bounded,
    and the bound is no more than the survey alone.
    """
    ground, rng = survey(2.0), np.random.default_rng(3)
    posterior, forms = Posterior.of(ground, readings(np.zeros(5))), np.concatenate(forms_of(MACHINE, [(2.13, 0.4)]))
    at = HUBS[None, :, 0], HUBS[None, :, 1]
    bound, here = posterior.widest(*at, 0.1, forms)[0], posterior.widest(*at, 0.0, forms)[0]
    middle, closest = HUBS.mean(axis=0), 0.0
    for _ in range(2000):
        turn, shift = rng.uniform(-0.1, 0.1), rng.uniform(-0.1, 0.1, 2)
        spun = (HUBS - middle) @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
        moved = spun + middle + shift
        if np.hypot(*(moved - HUBS).T).max() <= 0.1:
            there = posterior.widest(moved[None, :, 0], moved[None, :, 1], 0.0, forms)[0]
            assert (there <= bound + 1e-12).all()
            closest = max(closest, float((there / bound).max()))
    assert closest > 0.85 and (here < bound).all(), "some pose comes near the bound"
    assert bound[0, 0] <= uncertainty.sigma_pitch(ground.accuracy, 1.85) + 1e-12


def test_what_is_put_right_amiss_between_nodes_is_bounded() -> None:
    """Levels between nodes against the field itself, which is known there, at 2000 places."""
    taken = readings(np.array([0.02, -0.03, 0.01, 0.03, -0.02]))
    right, other = put_right(survey(0.7), taken), Readings(survey(0.7), taken)
    x, y = np.random.default_rng(5).uniform(2.0, 9.0, (2, 2000))
    u, v = x / 0.25, y / 0.25
    col, row = u.astype(int), v.astype(int)
    u, v = u - col, v - row
    south = right.z[row, col] * (1 - u) + right.z[row, col + 1] * u
    north = right.z[row + 1, col] * (1 - u) + right.z[row + 1, col + 1] * u
    off = np.abs(south * (1 - v) + north * v - other.rise(x, y))
    assert off.max() > 0.001
    assert (off <= other.amiss(x, y)).all()
    posterior = Posterior.of(survey(0.7), taken)
    single = posterior.widest(x[:, None] + np.zeros(4), y[:, None] + np.zeros(4), 0.0, np.array([[1.0, 0.0, 0.0, 0.0]]))
    assert single[1][:, 0] == pytest.approx(other.amiss(x, y), rel=1e-9)
