"""What people are told: a plan whose rows ask something of them that its controls do not say is refused."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from shapely.geometry import box

from routeplan.recheck.told import speed_in
from routeplan.route.model import Control, Hold
from routeplan.site.model import Walkway
from tests import worlds
from tests.recheck.drives import drive, move_of, opinion, with_controls, yard_for

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
        ((dataclasses.replace(first, text=f"{first.text} Or along the wall."), second), "against"),
        ((first, dataclasses.replace(first, text=second.text), second), "against"),
    ):
        found = [one.text for one in opinion(dataclasses.replace(move, controls=told), site)]
        assert f"nobody is told to stop and drive on {missing} the arrow" in found


def test_nobody_is_told_to_reverse_where_the_rows_do_not() -> None:
    poses = drive(16.0, 15.0, 0.0, [(4.0, 0.0)], step_m=0.1)
    move = with_controls(move_of(poses, MACHINE), (Control("reversal", 2.0, "Drive on against the chassis arrow."),))
    assert [one.text for one in opinion(move, yard_for(poses, MACHINE))] == [
        "people are told to reverse where the rows do not"
    ]


@pytest.mark.parametrize(
    ("at_m", "accepted"), [(0.0, True), (4.0, True), (-0.1, False), (4.1, False), (math.nan, False)]
)
def test_controls_and_hold_points_are_on_the_way(at_m: float, accepted: bool) -> None:
    poses = drive(16.0, 15.0, 0.0, [(4.0, 0.0)], step_m=0.1)
    site = yard_for(poses, MACHINE)
    move = move_of(poses, MACHINE, verdict="pass with controls")
    for changes in ({"holds": (Hold(at_m, (16.0, 15.0), "Stop."),)}, {"controls": (Control("x", at_m, "Stop."),)}):
        found = opinion(dataclasses.replace(move, **changes), site)
        assert (found == ()) is accepted and all("on the way" in one.text for one in found)


SLOW_FROM, SLOW_TO = 3.0, 6.0


@pytest.mark.parametrize(
    ("told", "refused"),
    [
        (((3.0, "No faster than 0.20 m/s."),), None),
        (((3.0, "No faster than 0.20 m/s between 3 m and 6 m, held steady."),), None),
        (((3.0, "No faster than 0.20 m/s between 3 m and 5 m, held steady."),), "ends too early"),
        (((3.0, "No faster than 0.20 m/s."), (3.0, "No faster than 0.50 m/s.")), "faster speed"),
        (((3.0, "No faster than 0.20 m/s."), (4.0, "No faster than 0.50 m/s.")), "too early"),
        (((3.0, "No faster than 0.20 m/s at first, then 0.50 m/s."),), "faster speed"),
        (((3.0, "No slower than 0.20 m/s."),), "faster speed"),
    ],
)
def test_a_slower_stretch_is_slow_to_its_end_and_told_in_one_way(told: Any, refused: str | None) -> None:
    poses = drive(16.0, 15.0, 0.0, [(8.0, 0.0)], step_m=0.1)
    poses = tuple(p._replace(v_max_mps=0.2 if SLOW_FROM <= p.chainage_m <= SLOW_TO else 0.5) for p in poses)
    move = with_controls(move_of(poses, MACHINE), [Control("speed", *one) for one in told])
    found = opinion(move, yard_for(poses, MACHINE))
    assert found == () if refused is None else refused in " ".join(one.text for one in found)


def test_a_change_of_travel_mode_is_told_of() -> None:
    poses = drive(16.0, 15.0, 0.0, [(4.0, 0.0)], step_m=0.1)
    at = poses[20]
    beside = [pose._replace(travel_mode="beside_rails_up") for pose in poses[20:]]
    site = yard_for(poses, MACHINE)
    site = dataclasses.replace(site, moves=(dataclasses.replace(site.moves[0], travel_mode="any"),))
    move = move_of([*poses[:21], *beside], MACHINE, holds=(Hold(at.chainage_m, (at.x, at.y), "Get down."),))
    told = Control("travel mode", at.chainage_m, "Get down and drive on from beside the machine.")
    assert opinion(dataclasses.replace(move, controls=(*move.controls, told)), site) == ()
    for controls in (move.controls, (*move.controls, dataclasses.replace(told, text="Stay on, ridden."))):
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
     (4.0, 4.0, 1.0, False), (5.0, 5.0, 0.9, False), (5.0, -0.001, 1e9, False),
     (5.0, math.nan, 1.0, False), (5.0, -5.0, 1.0, False)],
)  # fmt: skip
def test_a_way_is_called_no_better_than_its_figures(cost_m: float, best_m: float, bound: float, accepted: bool) -> None:
    poses = drive(16.0, 15.0, 0.0, [(5.0, 0.0)], step_m=0.1)
    move = move_of(poses, MACHINE)
    said = dataclasses.replace(move, cost_m=cost_m, best_possible_m=best_m, bound=bound)
    found = opinion(said, yard_for(poses, MACHINE))
    assert (found == ()) is accepted and all("cost" in one.text for one in found)


@pytest.mark.parametrize(
    ("text", "speed"),
    [("No faster than 0.30 m/s between 2 m and 14 m.", 0.3), ("Creep.", math.inf), ("Mind 2 m of kerb.", math.inf),
     ("No faster than 0.2 m/s, then 0.30 m/s.", 0.3), ("No slower than 0.2 m/s.", math.inf)],
)
def test_the_speed_that_people_are_told(text: str, speed: float) -> None:
    assert speed_in(text) == speed
