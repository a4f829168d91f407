"""Tracks for the second opinion: all of a track's length is in contact with the ground, not only its ends."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import box

from routeplan.route.model import Move
from routeplan.site.model import Defect, Excavation, Obstacle, Thresholds
from tests import worlds
from tests.recheck.drives import drive, kinds, move_of, opinion, yard_for

EXACT = Thresholds(
    lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, body_gap_m=0.0, structure_clearance_m=0.0
)  # fmt: skip
SPIDER = worlds.spider()
#: In the middle of the left track of a machine at (20, 15) that turns a little on the spot.
UNDER_THE_MIDDLE = box(19.95, 15.25, 20.05, 15.35)


def turned_a_little() -> Move:
    poses = drive(20.0, 15.0, 0.0, [(0.0, 0.05)])
    told = tuple(pose._replace(steer="pivot", travel_mode="beside_rails_up") for pose in poses)
    return move_of(told, SPIDER, verdict="not proven")


@pytest.mark.parametrize(("kind", "layers"), [
    ("covers, plates and trenches", {"defects": (Defect("c", "cover", UNDER_THE_MIDDLE, 0.1, 0.0, 0.0, None),)}),
    ("excavation edge", {"excavations": (Excavation("e", UNDER_THE_MIDDLE, 0.0),)}),
    ("side clearance", {"obstacles": (Obstacle("o", UNDER_THE_MIDDLE, "plate", 0.01),)}),
])
def test_what_lies_between_the_ends_of_a_track_is_under_it(kind: str, layers: dict[str, Any]) -> None:
    move = turned_a_little()
    site = replace(yard_for(move.poses, SPIDER, thresholds=EXACT), **layers)
    assert kinds(opinion(move, site)) >= {kind}
    assert kind not in kinds(opinion(move, yard_for(move.poses, SPIDER, thresholds=EXACT)))
