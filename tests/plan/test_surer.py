"""How sure readings make the planner: never surer than the second opinion is anywhere in the tube about a stretch."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.plan.surer import CARRIED, HELD, Doubt, Surer
from routeplan.recheck.readings import Readings
from routeplan.recheck.uncertainty import Sigmas, Sure
from tests.plan.test_set_up import hazards_of
from tests.plan.yards import planned

Floats = NDArray[np.float64]

K, BY = 2.0, (3.0, 5.0)
KINDS = (CARRIED, HELD, arrays.KERB_SIDE, arrays.STRIKE)
#: Readings on both sides of each wheel of a machine at (18, 1.5); one lies off what was surveyed.
READINGS = [(x, y, 100.0, 0.001) for x in (18.0, 19.85) for y in (1.0, 1.3, 1.7, 2.0)]
READINGS[2] = (18.0, 1.7, 100.0005, 0.001)


def told(kind: int, sure: Sure, spans: tuple[float, float], corners: Floats) -> Floats:
    """What the second opinion makes of a kind of margin in each pose."""
    pitch, roll = np.asarray(sure.pitch), np.asarray(sure.roll)
    if kind == arrays.STRIKE:
        return np.asarray(sure.point(*corners.T).max(axis=-1))
    found = {
        CARRIED: BY[0] * np.hypot(pitch, roll) + BY[1] * np.maximum(pitch / spans[0], roll / spans[1]),
        HELD: BY[0] * np.hypot(pitch, roll) + BY[1] * pitch,
        arrays.KERB_SIDE: np.degrees(roll),
    }
    return np.asarray(found[kind])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("turned", [0.0, 0.03])
def test_nowhere_in_the_tube_is_it_less_sure(kind: int, turned: float, tmp_path: Path) -> None:
    site, _ = planned(tmp_path, readings=READINGS)
    machine = site.machines["SC"]
    surer = Surer.of(site, machine, hazards_of(site, machine), ["stowed"])
    starts, ends = np.array([(17.98, 1.5, 0.0)]), np.array([(18.06, 1.5, turned)])
    very, none = np.full(1, 1e9), np.zeros(1)
    by = np.array([BY]) if kind in (CARRIED, HELD) else None
    bound = float(surer.least(Doubt(kind, starts, ends, none, very, none, by), K)[0])
    rng = np.random.default_rng(7)
    along, aside, skew = rng.uniform(0.0, 1.0, 3000), *rng.choice([-1.0, 0.0, 1.0, 0.5], (2, 3000))
    limits = site.thresholds
    heading = along * turned + skew * math.radians(limits.heading_tolerance_deg)
    x = 17.98 + 0.08 * along - np.sin(along * turned) * aside * limits.lateral_tolerance_m
    y = 1.5 + np.cos(along * turned) * aside * limits.lateral_tolerance_m
    xi, eta = (np.array([getattr(wheel, name) for wheel in machine.wheels]) for name in ("xi_m", "eta_m"))
    cos, sin = np.cos(heading)[:, None], np.sin(heading)[:, None]
    hubs = x[:, None] + cos * xi - sin * eta, y[:, None] + sin * xi + cos * eta
    sure = Sure.of(Sigmas.of(machine, site.ground.accuracy), Readings(site.ground, site.readings), *hubs, K)
    corners = np.array([corner for box in machine.configurations["stowed"].boxes for corner in box.ring])
    second = told(kind, sure, (machine.wheelbase_m, machine.track_m), corners)
    assert second.max() <= bound <= 1.5 * second.max()
    survey = told(kind, Sure.of(sure.survey, None, *hubs, K), (machine.wheelbase_m, machine.track_m), corners)
    assert second.max() < 0.97 * survey.max()
