"""What people are told: a plan whose rows ask something of them that its controls do not say is refused."""

from __future__ import annotations

import dataclasses
import math

import pytest
from shapely.geometry import box

from routeplan.recheck.told import speed_in
from routeplan.route import Control, Hold
from routeplan.site.model import Walkway
from tests import worlds
from tests.recheck.drives import drive, move_of, opinion, yard_for

MACHINE = worlds.scissor()


def test_each_reversal_is_told_of_where_it_is_and_which_way_it_goes_on() -> None:
    poses = drive(16.0, 15.0, 0.0, [(4.0, 0.0), (-3.0, 0.0), (1.0, 0.0)], step_m=0.1)
    move, site = move_of(poses, MACHINE), yard_for(poses, MACHINE)
    first, second = move.controls
    assert opinion(move, site) == () and (first.chainage_m, second.chainage_m) == (4.0, 7.0)
    for told, missing in (
        ((first,), "along"),
        ((second,), "against"),
        ((dataclasses.replace(first, chainage_m=3.9), second), "against"),
        ((dataclasses.replace(first, text=second.text), second), "against"),
        ((dataclasses.replace(first, kind="steering"), second), "against"),
    ):
        (found,) = opinion(dataclasses.replace(move, controls=told), site)
        assert found.text == f"nobody is told to stop and drive on {missing} the arrow"


def test_a_change_of_travel_mode_is_told_of() -> None:
    poses = drive(16.0, 15.0, 0.0, [(4.0, 0.0)], step_m=0.1)
    at = poses[20]
    beside = [pose._replace(travel_mode="beside_rails_up") for pose in poses[20:]]
    site = yard_for(poses, MACHINE)
    site = dataclasses.replace(site, moves=(dataclasses.replace(site.moves[0], travel_mode="any"),))
    move = move_of([*poses[:21], *beside], MACHINE, holds=(Hold(at.chainage_m, (at.x, at.y), "Get down."),))
    told = Control("travel mode", at.chainage_m, "Get down and drive on from beside the machine.")
    assert opinion(dataclasses.replace(move, controls=(*move.controls, told)), site) == ()
    for controls in (move.controls, (*move.controls, dataclasses.replace(told, text=""))):
        (found,) = opinion(dataclasses.replace(move, controls=controls), site)
        assert found.text == "nobody is told to change to beside_rails_up"


def test_a_hold_point_at_a_walkway_takes_somebody_who_holds_people_back() -> None:
    poses = drive(16.0, 15.0, 0.0, [(5.0, 0.0)], step_m=0.1)
    site = yard_for(poses, MACHINE, walkways=(Walkway("w", box(20.0, 5.0, 20.5, 25.0), "pedestrian"),))
    hold = Hold(0.0, (16.0, 15.0), "Stop.")
    move = move_of(poses, MACHINE, verdict="pass with controls", holds=(hold,))
    assert opinion(move, site) == ()
    for controls in ((), (Control("walkway", 5.0, "late"),), (Control("marshal", 0.0, "nobody in particular"),)):
        (found,) = opinion(dataclasses.replace(move, controls=controls), site)
        assert "hold people back" in found.text


@pytest.mark.parametrize(
    ("cost_m", "best_m", "bound", "accepted"),
    [(5.0, 5.0, 1.0, True), (6.0, 5.0, 1.2, True), (6.0, 5.0, 1.19, False), (6.0, 5.0, math.nan, False),
     (4.0, 4.0, 1.0, False), (5.0, 5.0, 0.9, False)],
)  # fmt: skip
def test_a_way_is_called_no_better_than_its_figures(cost_m: float, best_m: float, bound: float, accepted: bool) -> None:
    poses = drive(16.0, 15.0, 0.0, [(5.0, 0.0)], step_m=0.1)
    move = move_of(poses, MACHINE)
    said = dataclasses.replace(move, cost_m=cost_m, best_possible_m=best_m, bound=bound)
    found = opinion(said, yard_for(poses, MACHINE))
    assert (found == ()) is accepted and all("cost" in one.text for one in found)


@pytest.mark.parametrize(
    ("text", "speed"),
    [("No faster than 0.30 m/s between 2 m and 14 m.", 0.3), ("Creep.", math.inf), ("Mind 2 m of kerb.", math.inf)],
)
def test_the_speed_that_people_are_told(text: str, speed: float) -> None:
    assert speed_in(text) == speed
