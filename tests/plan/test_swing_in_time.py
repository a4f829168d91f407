"""The swing of a planned move, three times over: a motion in time, the bound on it, and the room that the checks leave.

Over a hole, a kerb, a plate, a ramp and regular joints, at the limits that the planner gives and at all speeds below.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.hazards.rebound import Swing, excess_bounds
from routeplan.plan.ridden import Path, path_of, rides
from routeplan.plan.speeds import Paced, least_over, paced, points_of
from routeplan.plan.swing import SWING
from routeplan.plan.whole import plan_site
from routeplan.route.model import Move
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.model import Defect, Site, Thresholds
from tests.pitch_plane import PitchPlane
from tests.plan.test_speeds import BOUNCE, ISSUED, limits, row
from tests.worlds import boom, flat_site, place, wanted

Floats = NDArray[np.float64]

DAY = dt.date(2026, 11, 24)
#: Where the rear axle starts, how far from it the front one and the end of the basket are, and the wheels' radius.
START_M, WHEELBASE_M, TIP_M, RADIUS_M = 5.0, 2.5, 7.10, 0.46
#: What its wheels carry, for the plate's sake.
LADEN: dict[str, Any] = {
    "rated_load_kg": 230.0, "gravity_xi_m": 1.1, "gravity_eta_m": 0.0, "gravity_height_m": 0.8,
    "wheel_load_max_kn": 60.0,
}  # fmt: skip
#: Eastings and levels of the motion in time.
FINE_M = 0.005
EAST = np.arange(0.0, 32.0, FINE_M)
STEP_S = 0.004
#: Rocked by hand they tell no longer period, and no less damping, than the machine of the plan.
HARD = PitchPlane(tip_xi_m=TIP_M, tip_kg=1e-3, tyre_npm=1e11, boom_damping=0.02)
SOFT = PitchPlane(tip_xi_m=TIP_M, tip_kg=300.0, tyre_npm=1e6, boom_period_s=0.8, boom_damping=0.03)
#: What levels that are equal may differ by through rounding and the steps of time, m.
ROUNDING_M = 1e-4


class Ground(NamedTuple):
    """Strips across a lane (from, to, up or down, m) or a ramp up it from 12 m on, and the bounce that is allowed.

    ``too_much`` is what even creep speed is too fast for: a bounce allowed, m, and a period, s.
    """

    strips: tuple[tuple[float, float, float], ...]
    slope: float
    limit_m: float
    too_much: tuple[float, float]

    def site(self, limit_m: float, period_s: float) -> Site:
        """A lane with it across, and a boom that is to drive over it."""
        machine = boom("TB", **LADEN, **BOUNCE | {"bounce_period_s": period_s})
        _, x = np.mgrid[0:21, 0:121] * 0.25
        return flat_site(
            30.0, 5.0, z=self.level(x.ravel(), strips=False).reshape(x.shape), machines=(machine,),
            places=(place("w", START_M, 2.5, 90.0), place("e", 20.0, 2.5, 90.0)),
            moves=(dataclasses.replace(wanted("TB", "w", "e"), on=DAY),),
            defects=tuple(map(self._feature, self.strips)), thresholds=Thresholds(bounce_limit_m=limit_m),
        )  # fmt: skip

    def _feature(self, strip: tuple[float, float, float]) -> Defect:
        first, last, up = strip
        kind: Any = "pothole" if up < 0.0 else "plate" if last - first > 1.0 else "kerb"
        proof = Proof(dt.date(2026, 11, 20), HardGround("engineer", 400.0)) if kind == "plate" else None
        return Defect(
            f"at {first}", kind, box(first, -1.0, last, 6.0), last - first, max(-up, 0.0), max(up, 0.0),
            "proven" if proof else None, proof,
        )  # fmt: skip

    def level(self, x: Floats, *, strips: bool = True) -> Floats:
        """Levels along the lane."""
        found = self.slope * np.clip(x - 12.0, 0.0, 4.0)
        for first, last, up in self.strips if strips else ():
            found = np.where((x >= first) & (x <= last), up, found)
        return np.asarray(found)

    def rolled(self) -> Floats:
        """Levels of a wheel that rolls along the lane, at ``EAST``."""
        reach = round(RADIUS_M / FINE_M)
        offsets = np.arange(-reach, reach + 1)
        arc = np.sqrt(np.maximum(RADIUS_M**2 - (offsets * FINE_M) ** 2, 0.0)) - RADIUS_M
        padded = np.pad(self.level(EAST), reach, mode="edge")
        lifted = [padded[reach + n : reach + n + EAST.size] + over for n, over in zip(offsets, arc, strict=True)]
        return np.asarray(np.max(lifted, axis=0))


GROUNDS = {
    "hole": Ground(((14.0, 14.5, -0.05),), 0.0, 0.7, (0.7, 3.0)),
    "kerb": Ground(((14.0, 14.2, 0.05),), 0.0, 0.7, (0.7, 3.0)),
    "plate": Ground(((14.0, 15.5, 0.03),), 0.0, 0.4, (0.4, 5.0)),
    "ramp": Ground((), 0.08, 0.15, (0.15, 4.0)),
    "joints": Ground(tuple((12.0 + n, 12.2 + n, -0.05) for n in range(6)), 0.0, 0.7, (0.2, 1.0)),
}


class Rooms(NamedTuple):
    """Along a path: how far each point may swing for certain ``(points, n)``, and the bound on it at some limits."""

    path: Path
    room_m: Floats
    bound_m: Any


def planned(site: Site, monkeypatch: pytest.MonkeyPatch) -> tuple[Move, Any]:
    """The move, and what its limits of speed were made from."""
    asked: list[Any] = []

    def heard(*args: Any) -> Paced:
        asked[:] = args
        return paced(*args)

    monkeypatch.setattr("routeplan.plan.outcome.paced", heard)
    return plan_site(site, issued=ISSUED).moves[0], asked


def rooms(asked: Any) -> Rooms:
    """What the planner's checks leave to swing, less what levels may err by; not least over the points, but of each."""
    found, machine, hazards, k, holds, *_ = asked
    figures = [machine.value(name) for name in ("bounce_period_s", "bounce_damping_pct")]
    swing = Swing(figures[0], figures[1] / 100.0, hazards.body.amplification / 2.0)
    path = path_of(found.poses, hazards.body, (hold.chainage_m for hold in holds))
    points = points_of(found, hazards, k)
    sure = np.array([k * hazards.sigma[kind] for kind in points.kinds])[:, None]
    ridden = list(rides(path, points.places, hazards))

    def bound_m(steps: Floats) -> Floats:
        return np.asarray(np.max([excess_bounds(ride, swing, steps) for ride in ridden], axis=0))

    return Rooms(path, least_over(points.room_m, found.along_m, path.chainage_m) - sure, bound_m)


def swung(machine: PitchPlane, levels: Floats, limit: Floats, at_m: Floats) -> tuple[Floats, Floats]:
    """How far along a motion in time is, and how far its tip is above its rigid height; ``limit`` from ``at_m`` on."""
    along, end = [0.0], float(at_m[-1])
    while along[-1] < end:
        along.append(along[-1] + STEP_S * float(limit[np.searchsorted(at_m, along[-1], side="right") - 1]))
    place = np.minimum(np.array(along), end)
    front, rear = (np.interp(START_M + place + ahead, EAST, levels) for ahead in (WHEELBASE_M, 0.0))
    return place, machine.tip(front, rear, STEP_S) - machine.rigid(front, rear)


@pytest.mark.parametrize("name", GROUNDS)
def test_a_motion_in_time_keeps_the_bound_and_the_bound_the_room(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    ground = GROUNDS[name]
    move, asked = planned(ground.site(ground.limit_m, 1.0), monkeypatch)
    assert move.verdict == "pass with controls" and row(move).verdict == "pass"
    assert 0.2 < limits(move).min() < 1.6, "it is the swing that limits the speed"
    path, room_m, bound_m = rooms(asked)
    # From a row to the next the faster limit counts.
    rows, told = np.array([pose.chainage_m for pose in move.poses]), limits(move)
    row_of = np.clip(np.searchsorted(rows, path.chainage_m[:-1] + 1e-9, side="right") - 1, 0, len(rows) - 2)
    fastest, levels, closest = np.maximum(told[row_of], told[row_of + 1]), ground.rolled(), 0.0
    for speed in np.arange(0.1, 1.61, 0.1):
        steps = np.minimum(fastest, speed)
        bound = bound_m(steps)
        assert np.all(bound <= room_m + 1e-9), f"at {speed:.2f} m/s the bound leaves the room"
        for machine in (HARD, SOFT):
            assert machine.rocked()[0] <= 1.0 + 1e-6 and machine.rocked()[1] >= 0.02 - 1e-6
            place, above = swung(machine, levels, steps, path.at_m)
            here = bound[:, np.searchsorted(path.at_m, place, side="right") - 1].max(axis=0)
            assert np.all(above <= here + ROUNDING_M), f"at {speed:.2f} m/s the motion leaves the bound"
            closest = max(closest, float(above.max() / here.max()))
    assert closest > 0.25, "of a bound that holds for softer tyres and for either plane, and for one stop anywhere"
    faster = np.minimum(1.6, told.min() + 0.05) + 0.0 * fastest
    assert not np.all(bound_m(faster) <= room_m + 1e-9), "the limit is no lower than it has to be"


@pytest.mark.parametrize("name", GROUNDS)
def test_what_even_creep_exceeds_is_not_given_to_drive(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    ground = GROUNDS[name]
    move, asked = planned(ground.site(*ground.too_much), monkeypatch)
    assert move.verdict == "fail" and not move.poses and move.refused is not None
    assert [found.kind for found in move.refused.objections] == [SWING] and "even at creep speed" in move.reason
    path, room_m, bound_m = rooms(asked)
    assert not np.all(bound_m(np.full(path.at_m.size - 1, 0.2)) <= room_m)
    assert math.isfinite(float(room_m.min()))
