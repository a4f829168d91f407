"""The second opinion under overhead lines: how high a machine may be, what bars it, and what keeps a pass open."""

from __future__ import annotations

import dataclasses
import math

import pytest
from shapely.geometry import box

from routeplan.recheck.swing import KIND as SWING
from routeplan.recheck.uncertainty import confidence_k
from routeplan.route.model import Control, Move, Objection
from routeplan.site.model import Defect, LineCorridor, LineHeight, SafetyDistance, Site
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, with_controls, yard_for
from tests.recheck.test_just_beyond import MM, SEEDS, Straight

DISTANCE = SafetyDistance(11.0, 1.829, "invented for a test", "invented for a test")
#: So low that every line of these tests lets it be.
POSTS = (Control("overhead line", 0.0, "Goal posts, on both sides of overhead line l, crossbar at most -9.0 m up."),)


def over(straight: Straight, level_m: float, *, sag_m: float = 0.4, sigma_m: float | None = 1e-9) -> LineCorridor:
    """A line over the whole drive, measured by the survey of the levels."""
    return LineCorridor(
        "l", straight.beside(-10.0, thickness_m=20.0), 1.0, DISTANCE, LineHeight(level_m, sag_m, sigma_m, "S1")
    )


def top_m(straight: Straight) -> float:
    """The highest of box tops and the operator's head on level ground."""
    stowed = straight.machine.configurations["stowed"]
    head_m = stowed.basket.floor_height_m + straight.limits.head_height_m
    return max(head_m, *(box.top_m for box in stowed.boxes))


def driven(straight: Straight, site: Site, *, posts: tuple[Control, ...] = POSTS) -> tuple[Objection, ...]:
    move: Move = with_controls(move_of(straight.poses, straight.machine), posts)
    return opinion(move, site)


@pytest.mark.parametrize("seed", SEEDS[:4])
def test_a_millimetre_under_a_line_and_a_millimetre_too_high(seed: int) -> None:
    """Closed form on level ground: top, sag and safety distance add up."""
    for spare_m, expected in ((MM, set()), (-MM, {"line clearance", SWING})):
        straight = Straight(seed)
        level_m = top_m(straight) + 0.4 + DISTANCE.distance_m + spare_m
        assert kinds(driven(straight, straight.site(line_corridors=(over(straight, level_m),)))) == expected


def test_ten_millimetres_of_machine() -> None:
    """The same line, the same drive: 10 mm more of machine is refused, 10 mm less is not."""
    for more_m, expected in ((-0.010, set()), (0.010, {"line clearance", SWING})):
        straight = Straight(0)
        height_m = straight.machine.value("platform_floor_m") + straight.limits.head_height_m
        straight.machine = worlds.scissor(height_m=height_m + more_m)
        line = over(straight, height_m + 0.4 + DISTANCE.distance_m)
        limits = dataclasses.replace(straight.limits, head_height_m=1.5)
        assert kinds(driven(straight, straight.site(line_corridors=(line,), thresholds=limits))) == expected


def test_a_line_lowered_after_the_plan_was_made_is_refused() -> None:
    straight = Straight(0)
    level_m = top_m(straight) + 0.4 + DISTANCE.distance_m + 0.05
    assert driven(straight, straight.site(line_corridors=(over(straight, level_m),))) == ()
    swung, lowered = driven(straight, straight.site(line_corridors=(over(straight, level_m - 0.10),)))
    assert swung.kind == SWING and swung.limit == pytest.approx(-0.05, abs=1e-6)
    assert lowered.kind == "line clearance" and lowered.limit == pytest.approx(0.4 + DISTANCE.distance_m)
    assert lowered.value == pytest.approx(lowered.limit - 0.05, abs=1e-6)


def test_how_well_a_line_was_measured_counts_k_times() -> None:
    straight = Straight(1)
    sigma_m, accuracy = 0.03, straight.site().ground.accuracy
    k = confidence_k(
        straight.poses[-1].chainage_m, route_confidence=0.95, correlation_m=accuracy.correlation_m
    )
    level_m = top_m(straight) + 0.4 + DISTANCE.distance_m + k * sigma_m
    for spare_m, expected in ((MM, set()), (-MM, {"line clearance", SWING})):
        line = over(straight, level_m + spare_m, sigma_m=sigma_m)
        assert kinds(driven(straight, straight.site(line_corridors=(line,)))) == expected


def test_a_height_without_an_accuracy_is_no_pass() -> None:
    straight = Straight(0)
    vague = dataclasses.replace(POSTS[0], text="Goal posts, on both sides of overhead line l; how high is not known.")
    found = driven(straight, straight.site(line_corridors=(over(straight, 90.0, sigma_m=None),)), posts=(vague,))
    assert kinds(found) == {"line clearance", SWING} and all("line l has no sigma" in one.text for one in found)


def test_without_a_height_the_corridor_is_not_entered_however_high_it_hangs() -> None:
    straight = Straight(0)
    line = dataclasses.replace(over(straight, 90.0), height=None)
    assert kinds(driven(straight, straight.site(line_corridors=(line,)))) == {"overhead lines"}


def test_passing_under_takes_goal_posts_at_or_before_the_line() -> None:
    straight = Straight(0)
    site = straight.site(line_corridors=(over(straight, 90.0),))
    late = (dataclasses.replace(POSTS[0], chainage_m=1.0),)
    for posts in ((), late, (Control("walkway", 0.0, "goal posts"),)):
        (found,) = driven(straight, site, posts=posts)
        assert found.kind == "line clearance" and "no goal posts" in found.text
    other = dataclasses.replace(POSTS[0], text=POSTS[0].text.replace("line l", "line l-2"))
    bare = dataclasses.replace(POSTS[0], text="Goal posts, on both sides of overhead line l.")
    for said, what in (((other,), "no goal posts"), ((bare,), "how high"), ((*POSTS, bare), "how high")):
        (found,) = driven(straight, site, posts=said)
        assert found.kind == "line clearance" and what in found.text
    aside = dataclasses.replace(over(straight, 90.0), geometry=straight.beside(9.0))
    assert driven(straight, straight.site(line_corridors=(aside,)), posts=()) == ()


@pytest.mark.parametrize(("more_m", "refused"), [(0.0, False), (0.03, True)])
def test_the_crossbar_hangs_no_higher_than_the_line_lets_anything_pass(more_m: float, refused: bool) -> None:
    """20 m over level ground, less sag and safety distance, in whole centimetres."""
    machine = worlds.scissor()
    poses = drive(15.0, 15.0, 0.0, [(6.0, 0.0)], step_m=0.1)
    line = LineCorridor("l", box(18.0, 10.0, 19.0, 20.0), 1.0, DISTANCE, LineHeight(20.0, 0.4, 1e-9, "S1"))
    bar_m = math.floor(100.0 * (20.0 - 0.4 - DISTANCE.distance_m)) / 100.0 + more_m
    text = f"Goal posts on both sides of overhead line l, crossbar at most {bar_m:.2f} m above the ground."
    move = with_controls(move_of(poses, machine), (Control("overhead line", 0.0, text),))
    found = opinion(move, certain(yard_for(poses, machine, line_corridors=(line,))))
    assert [one.text for one in found] == (["the crossbar before line l hangs too high"] if refused else [])


def test_bounce_lifts_the_machine_towards_the_line() -> None:
    """The lift of a hole that no soffit is near to counts under a line too."""
    straight = Straight(0)
    hole = Defect("h", "pothole", straight.beside(-10.0, thickness_m=20.0), 0.10, 0.05, 0.0, None)
    level_m = top_m(straight) + 0.4 + DISTANCE.distance_m + MM
    limits = dataclasses.replace(straight.limits, bounce_limit_m=9.0)
    line = over(straight, level_m)
    assert "line clearance" in kinds(driven(straight, straight.site(
        line_corridors=(line,), defects=(hole,), thresholds=limits
    )))  # fmt: skip
