"""What a stretch says of how the machine then stands: orientation goes by the slope, facing by the gear."""

from __future__ import annotations

import numpy as np
import pytest

from routeplan.machine.model import Machine
from routeplan.plan.whole import plan_site
from tests import worlds

#: Metres east that are driven, too short for turning round.
DRIVEN_M = 6.0


def slope_text(machine: Machine, grade: float, *, arrow: float) -> str:
    """What the slope says of a machine that is driven due east, its chassis arrow to the east (90) or west (270)."""
    z = grade * np.mgrid[0:81, 0:121][1] * 0.25
    ends = worlds.place("w", 12.0, 10.0, arrow), worlds.place("e", 12.0 + DRIVEN_M, 10.0, arrow)
    site = worlds.flat_site(
        30.0, 20.0, z=z, machines=(machine,), places=ends, moves=(worlds.wanted(machine.id, "w", "e"),)
    )  # fmt: skip
    (move,) = plan_site(site, issued="2026-11-24T12:00:00+00:00").moves
    assert move.verdict == "pass with controls" or move.verdict == "pass", move.reason
    (zone,) = (zone for zone in move.zones if zone.kind == "slope")
    return zone.text


@pytest.mark.parametrize(
    ("grade", "arrow", "says"),
    [
        (0.25, 90.0, "basket end uphill, leading"),
        (-0.25, 90.0, "basket end downhill, leading"),
        (0.25, 270.0, "basket end downhill, trailing"),
        (-0.25, 270.0, "basket end uphill, trailing"),
    ],
)
def test_orientation_goes_by_the_slope_and_facing_by_the_gear(grade: float, arrow: float, says: str) -> None:
    """The basket of the boom is beyond the end that the arrow points to."""
    assert slope_text(worlds.boom(), grade, arrow=arrow).endswith(f"; {says}")


def test_a_platform_over_the_whole_chassis_goes_by_the_arrow() -> None:
    assert slope_text(worlds.scissor(), 0.15, arrow=90.0).endswith("; arrow end uphill, leading")
