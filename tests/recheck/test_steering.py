"""Coordinated and crab steer for the second opinion: what is steered as it says is accepted, all else refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import LineString

from routeplan.machine.model import Machine, Tag
from routeplan.recheck.steering import turn_radius_m
from routeplan.route.model import Control, Move, Objection, Pose
from routeplan.site.model import Obstacle, Thresholds
from tests import worlds
from tests.recheck.drives import Aslant, Stretch, drive, move_of, opinion, with_controls, yard_for

CRAB = math.radians(20.0)


def machine(*, tag: Tag = "sheet", **changes: float) -> Machine:
    """The test scissor with both: 2.3 m outside in front steer, 1.9 m in coordinated steer, 20 deg of crab."""
    changes = {"turn_radius_outside_coordinated_m": 1.9, "crab_angle_deg": 20.0} | changes
    return worlds.scissor("SC", tag=tag, **changes)


def arc(one: Machine, turn: float, *, share: float = 1.0, gear: int = 1) -> Aslant:
    """A turn in coordinated steer at a share of its smallest radius."""
    half = one.wheelbase_m / 2
    radius = share * math.sqrt(turn_radius_m(one, "coordinated") ** 2 - half**2)
    drift = -math.copysign(math.atan2(half, radius), turn * gear)
    return gear * abs(turn) * math.hypot(radius, half), turn, drift


def told(poses: Sequence[Pose]) -> tuple[Control, ...]:
    """What people are told of the steering."""
    before = ["front", *(pose.steer for pose in poses)]
    new = [pose for pose, steer in zip(poses, before, strict=False) if pose.steer != steer]
    return tuple(Control("steering", pose.chainage_m, setting(pose.steer)) for pose in new)


def setting(steer: str) -> str:
    words = {"front": "front wheels only", "pivot": "turn on the spot"}
    return f"Stop, set steering to {words.get(steer, steer)}."


def said(move: Move, one: Machine) -> str:
    found: tuple[Objection, ...] = opinion(move, yard_for(move.poses, one))
    return "\n".join(objection.text for objection in found)


def driven(one: Machine, stretches: Sequence[Stretch | Aslant], heading: float = 0.3, **changes: Any) -> Move:
    poses = drive(20.0, 15.0, heading, stretches, step_m=0.03, turn_deg=1.5)
    return replace(with_controls(move_of(poses, one), told(poses)), **changes)


def relabelled(move: Move, steer: str) -> Move:
    return replace(move, poses=tuple(pose._replace(steer=steer) for pose in move.poses))


@pytest.mark.parametrize("gear", [1, -1])
@pytest.mark.parametrize("side", [1, -1])
def test_what_each_steering_can_do_is_accepted(side: int, gear: int) -> None:
    one = machine()
    assert said(driven(one, [arc(one, side * 1.2, gear=gear)]), one) == ""
    assert said(driven(one, [(gear * 2.0, 0.0, side * CRAB)]), one) == ""
    whole = driven(one, [(gear * 1.0, 0.0), arc(one, side * 0.8, gear=gear), (gear * 1.0, 0.0, side * 0.2)])
    assert [pose.steer for pose in whole.poses if pose.chainage_m in (0.0, whole.length_m)] == ["front", "crab"]
    assert len(whole.controls) == 2 and said(whole, one) == ""


@pytest.mark.parametrize("wrong", ["front", "crab", "pivot", "sideways"])
def test_a_turn_in_coordinated_steer_is_no_other(wrong: str) -> None:
    one = machine()
    move = relabelled(driven(one, [arc(one, 1.2)]), wrong)
    assert said(move, one) != ""


@pytest.mark.parametrize("wrong", ["front", "coordinated", "pivot"])
def test_a_way_aslant_is_no_other(wrong: str) -> None:
    one = machine()
    assert said(relabelled(driven(one, [(2.0, 0.0, CRAB)]), wrong), one) != ""


def test_a_turn_in_front_steer_is_not_coordinated() -> None:
    one = machine()
    turn = (1.5, 1.5 / turn_radius_m(one))
    move = driven(one, [turn])
    assert said(move, one) == ""
    assert "no arc about a point abeam" in said(replace(relabelled(move, "coordinated"), controls=(
        Control("steering", 0.0, setting("coordinated")),
    )), one)  # fmt: skip


@pytest.mark.parametrize("step_m", [0.08, 0.01])
@pytest.mark.parametrize(("off_m", "refused"), [(0.0, False), (0.05, True), (-0.05, True)])
def test_the_turning_centre_lies_abeam_of_the_middle(off_m: float, refused: bool, step_m: float) -> None:
    """Coarse steps are refused one by one, fine ones together."""
    one = machine()
    half = one.wheelbase_m / 2 + off_m
    radius = math.hypot(3.0, half)
    poses = drive(20.0, 15.0, 0.3, [(1.5, 1.5 / radius, -math.atan2(half, 3.0))], step_m=step_m, turn_deg=1.9)
    move = with_controls(move_of(poses, one), told(poses))
    assert ("no arc" in said(move, one)) is refused


@pytest.mark.parametrize(("share", "refused"), [(1.02, False), (0.97, True)])
def test_no_turn_is_tighter_than_the_sheet_says(share: float, refused: bool) -> None:
    one = machine()
    assert ("tighter" in said(driven(one, [arc(one, 1.2, share=share)]), one)) is refused


@pytest.mark.parametrize(("more_deg", "refused"), [(0.0, False), (0.3, True)])
def test_no_way_lies_further_off_the_arrow_than_the_crab_angle(more_deg: float, refused: bool) -> None:
    one = machine()
    move = driven(one, [(2.0, 0.0, CRAB + math.radians(more_deg))])
    assert ("further off the arrow" in said(move, one)) is refused


def test_the_bearing_stays_in_crab_steer() -> None:
    one = machine()
    move = driven(one, [(2.0, 0.0, 0.2)])
    turned = tuple(pose._replace(bearing_deg=pose.bearing_deg + 0.05 * n) for n, pose in enumerate(move.poses))
    assert "bearing changes in crab steer" in said(replace(move, poses=turned), one)


def test_the_steering_changes_standing_still_and_people_are_told() -> None:
    one = machine()
    move = driven(one, [(1.0, 0.0), (1.0, 0.0, CRAB)])
    at = next(n for n, pose in enumerate(move.poses) if pose.steer == "crab")
    assert "steering changes while the machine moves" in said(
        replace(move, poses=move.poses[: at - 1] + move.poses[at:]), one
    )
    assert "nobody is told to set the steering to crab" in said(replace(move, controls=()), one)
    (control,) = move.controls
    two = f"{setting('crab')} {setting('coordinated')}"
    for text in ("Stop, set the steering.", setting("front"), setting("coordinated"), two):
        wrong = replace(move, controls=(replace(control, text=text),))
        assert "nobody is told to set the steering to crab" in said(wrong, one)
    both = replace(move, controls=(control, replace(control, text=setting("coordinated"))))
    assert "nobody is told to set the steering to crab" in said(both, one)
    assert "nobody is told to set the steering to coordinated" in said(
        replace(driven(one, [arc(one, 1.0)]), controls=()), one
    )


@pytest.mark.parametrize(("figure", "stretch"), [
    ("crab_angle_deg", (2.0, 0.0, 0.2)), ("turn_radius_outside_coordinated_m", None),
])
def test_a_machine_without_the_figure_has_no_such_steering(figure: str, stretch: Aslant | None) -> None:
    one = machine()
    move = driven(one, [stretch or arc(one, 1.0)])
    without = replace(one, figures={name: value for name, value in one.figures.items() if name != figure})
    assert f"not known to have: no {figure}" in said(move, without)


@pytest.mark.parametrize(("figure", "stretch"), [
    ("crab_angle_deg", (2.0, 0.0, 0.2)), ("turn_radius_outside_coordinated_m", None),
])
def test_no_pass_of_turning_rests_on_a_figure_of_the_class(figure: str, stretch: Aslant | None) -> None:
    one = machine()
    figures = {**one.figures, figure: replace(one.figures[figure], tag="class")}
    doubtful = replace(one, figures=figures)
    text = f"{figure} is a class figure"
    assert text in said(driven(doubtful, [stretch or arc(one, 1.0)]), doubtful)
    assert text not in said(driven(doubtful, [(2.0, 0.0)]), doubtful), "it is not driven in"


def test_crab_steer_strays_square_to_where_it_travels() -> None:
    """A wall along the way: beside the body the tube is lateral / cos d square to the arrow, lateral to the way."""
    one = machine(crab_angle_deg=30.0)
    d, lateral = math.radians(30.0), 0.15
    poses = drive(20.0, 15.0, 0.0, [(2.0, 0.0, d)], step_m=0.03)
    way = LineString([(15.0, 15.0 - 5.0 * math.tan(d)), (30.0, 15.0 + 10.0 * math.tan(d))])
    limits = Thresholds(
        lateral_tolerance_m=lateral, heading_tolerance_deg=0.0, body_gap_m=0.0, structure_clearance_m=0.0
    )
    right = 0.405 * math.cos(d) + 2.13 * math.sin(d) + lateral
    move = with_controls(move_of(poses, one), told(poses))
    for spare_m, refused in ((0.001, False), (-0.001, True)):
        wall = way.offset_curve(-right - spare_m).buffer(-0.2, single_sided=True)
        site = yard_for(poses, one, obstacles=(Obstacle("w", wall, "wall", None),), thresholds=limits)
        assert any(found.kind == "side clearance" for found in opinion(move, site)) is refused
