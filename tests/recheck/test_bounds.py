"""The quick bounds that spare exact work hide nothing: without them, on hostile ground, the opinion is the same."""

from __future__ import annotations

import math
import os
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Point, box

from routeplan.recheck import bounce, opinion, overhead, strike, sweep, swing, touch, wheels
from routeplan.recheck.track import Floats, Ints
from routeplan.route.model import Objection
from routeplan.site.model import Defect, Obstacle, Site, Soffit, Thresholds
from tests import worlds
from tests.recheck import drives

SEEDS = range(12 if os.environ.get("ROUTEPLAN_FULL") else 2)


def hostile(seed: int) -> tuple[Any, Site]:
    """A curved drive over a rough slope with holes, kerbs, low soffits and posts, each near its limit."""
    rng = np.random.default_rng(seed)
    machine = worlds.boom(ground_clearance_m=0.2) if seed % 2 else worlds.scissor(ground_clearance_m=0.05)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    z = rng.uniform(-0.1, 0.1) * x + rng.uniform(-0.1, 0.1) * y + rng.normal(0, 0.004, x.shape)
    z[rng.integers(30, 90, 6), rng.integers(40, 120, 6)] -= rng.uniform(0.01, 0.06, 6)
    poses = drives.drive(16.0, 15.0, rng.uniform(-0.5, 0.5), [(2.0, 0.2), (-1.0, 0.0)], step_m=0.04)
    posts = [Point(*place).buffer(0.1) for place in rng.uniform((12, 10), (30, 20), (12, 2))]
    holes = [Point(*place).buffer(0.3) for place in rng.uniform((12, 12), (28, 18), (3, 2))]
    defects = [Defect(f"h{n}", "pothole", hole, 0.6, 0.03, 0.0, None) for n, hole in enumerate(holes)]
    defects.append(Defect("k", "kerb", box(18.0, 13.0, 18.15, 17.0), 0.15, 0.0, float(rng.uniform(0.02, 0.1)), None))
    level = float(z[60, 60:100].max()) + rng.uniform(2.9, 3.9)
    soffits = [
        Soffit("level", box(17, 14, 19, 18), "beam", level, None, 0.05, -0.02, 0.01, "S2"),
        Soffit("clear", box(20, 10, 24, 20), "canopy", None, float(rng.uniform(2.7, 3.7)), 0.0, 0.0, 0.01, None),
    ]
    site = drives.yard_for(
        poses,
        machine,
        z=z,
        obstacles=tuple(Obstacle(f"p{n}", post, "post", float(level - 2.5)) for n, post in enumerate(posts)),
        defects=tuple(defects),
        soffits=tuple(soffits),
        thresholds=Thresholds(bounce_limit_m=float(rng.uniform(0.1, 0.4))),
    )
    return drives.move_of(poses, machine), site


def everywhere(geometry: Any, x: Floats, y: Floats, reach_m: Any) -> Ints:
    """Stands in for ``touch.near``: everything is near."""
    return np.arange(0 if geometry.is_empty else x.size)


@pytest.mark.parametrize("seed", SEEDS)
def test_bounds_hide_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    move, site = hostile(seed)
    quick = drives.opinion(move, site)
    monkeypatch.setattr(strike, "_may_strike", lambda case, stance, *_: np.ones(len(stance.rows), dtype=bool))
    for module in (bounce, swing):
        monkeypatch.setattr(module, "highest_rise", lambda case, stance: np.full((len(stance.rows), 9, 1), math.inf))
    for module in (overhead, swing):
        monkeypatch.setattr(module, "lowest_room", lambda case, stance, *_: np.full(len(stance.rows), -math.inf))
    for module in (overhead, strike, sweep, wheels, bounce):
        monkeypatch.setattr(module, "near", everywhere)
    monkeypatch.setattr(opinion, "SAMPLES_AT_ONCE", 37)
    slow = drives.opinion(move, site)

    def told(objections: tuple[Objection, ...]) -> list[tuple[Any, ...]]:
        return [(found.kind, round(found.value, 9), round(found.limit, 9)) for found in objections]

    assert told(quick) == told(slow)
    assert len(quick) >= 2


def test_near_is_exact() -> None:
    x, y = np.array([0.0, 0.0, 0.0]), np.array([1.999, 2.0, 2.001])
    assert touch.near(box(-1, -1, 1, 1), x, y, 1.0).tolist() == [0, 1]
