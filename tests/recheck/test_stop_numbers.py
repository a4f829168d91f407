"""Stop numbers: the last good reading keeps the second opinion content, one millimetre beyond it does not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely.geometry import box

from routeplan.recheck.stop_numbers import stop_numbers
from routeplan.route.model import Conditions, Measured, Move, StopNumber
from routeplan.site.model import Defect, Site, Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import drive, kinds, move_of, opinion, yard_for

MM = 0.001
LIMITS = Thresholds(kerb_angle_deg=90.0, lateral_tolerance_m=0.05, heading_tolerance_deg=0.5, bounce_limit_m=0.5)
BOOM = worlds.boom()
POSES = drive(14.0, 15.0, 0.0, [(8.0, 0.0)], step_m=0.1)
MOVE = move_of(POSES, BOOM)

HOLE = Defect("hole", "pothole", box(17.6, 15.8, 18.6, 16.4), 1.0, 0.02, 0.0, None)
SLOT = Defect("slot", "pothole", box(17.6, 15.8, 17.9, 16.4), 0.3, 0.4, 0.0, None)
KERB = Defect("kerb", "kerb", box(18.0, 15.8, 18.3, 16.4), 0.3, 0.0, 0.01, None)
BEAM = Soffit("beam", box(20.0, 10.0, 21.0, 20.0), "beam", 3.6, None, 0.0, 0.0, 0.005, "S1")
DUCT = Soffit("duct", box(20.0, 10.0, 21.0, 20.0), "duct", None, 3.6, 0.0, 0.0, 0.005, "S1")


def numbers(site: Site, move: Move = MOVE) -> tuple[StopNumber, ...]:
    """Stop numbers of a move, on a day without conditions."""
    return stop_numbers(move, site=site, machine=site.machines[move.machine], conditions=Conditions())


def found(thing: Defect | Soffit, what: Measured, reading_m: float) -> Site:
    """The yard with a thing as somebody measured it."""
    changes: dict[str, object] = {"clear_m" if what == "clear height" else f"{what}_m": reading_m}
    if isinstance(thing, Soffit):
        return yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(replace(thing, **changes),))  # type: ignore[arg-type]
    if what == "width":
        changes["geometry"] = thing.geometry.buffer((reading_m - thing.width_m) / 2.0, join_style="mitre")
    return yard_for(POSES, BOOM, thresholds=LIMITS, defects=(replace(thing, **changes),))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("thing", "what", "sign"),
    [
        (HOLE, "depth", 1), (SLOT, "width", 1), (KERB, "height", 1), (BEAM, "level", -1), (DUCT, "clear height", -1),
    ],
)
def test_fed_back_a_stop_number_flips_the_verdict_within_a_millimetre(
    thing: Defect | Soffit, what: Measured, sign: int
) -> None:
    recorded = {"depth": 0.02, "width": 0.3, "height": 0.01, "level": 3.6, "clear height": 3.6}[what]
    (number,) = [one for one in numbers(found(thing, what, recorded)) if one.what == what]
    assert number.feature == thing.id and number.recorded_m == recorded
    assert opinion(MOVE, found(thing, what, number.last_good_m)) == ()
    refused = opinion(MOVE, found(thing, what, number.last_good_m + sign * MM))
    assert kinds(refused) == set(number.stops) != set()
    assert number.chainage_m == pytest.approx(min(one.chainage_m for one in refused), abs=0.06)


def test_a_slot_that_wheels_bridge_has_no_number_for_its_depth_but_for_its_width() -> None:
    assert [one.what for one in numbers(found(SLOT, "depth", 0.4))] == ["width"]


def test_what_no_change_brings_into_the_way_has_no_number() -> None:
    high = replace(BEAM, id="high", level_m=9.0)
    far = replace(HOLE, id="far", geometry=box(17.6, 25.0, 18.6, 26.0))
    site = yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(high,), defects=(far,))
    assert numbers(site) == ()


def test_numbers_stand_in_driving_order() -> None:
    site = yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(BEAM,), defects=(HOLE,))
    chainages = [one.chainage_m for one in numbers(site)]
    assert len(chainages) == 2 and chainages == sorted(chainages)


def test_an_open_check_has_the_number_at_which_it_fails() -> None:
    """Under a soffit without a sigma the gap is not proven, whatever it is: it stops the move where it is too small."""
    bare = replace(BEAM, sigma_m=None)
    site = yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(bare,))
    known = yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(BEAM,))
    (open_,), (proven,) = numbers(site), numbers(known)
    assert open_.last_good_m < proven.last_good_m
    move = move_of(POSES, BOOM, verdict="not proven")
    lower = replace(bare, level_m=open_.last_good_m - MM)
    assert opinion(move, yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(lower,))) != ()
    lower = replace(bare, level_m=open_.last_good_m)
    assert opinion(move, yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(lower,))) == ()


#: Slow to ring down: the basket still swings where nothing near the hole is in reach any more.
LIVELY = worlds.boom(bounce_period_s=1.0, bounce_damping_pct=2.0, travel_speed_mps=1.6, creep_speed_mps=0.2)
FAST = tuple(pose._replace(v_max_mps=1.6) for pose in drive(3.0, 15.0, 0.0, [(26.0, 0.0)], step_m=0.1))
RUT = Defect("rut", "pothole", box(8.0, 5.0, 8.6, 25.0), 0.6, 0.02, 0.0, None)
LINTEL = Soffit("lintel", box(35.0, 5.0, 35.4, 25.0), "beam", 2.9, None, 0.0, 0.0, 0.001, "S1")


@pytest.mark.parametrize(("what", "sign"), [("depth", 1), ("level", -1)])
def test_a_stop_number_keeps_the_gap_of_a_basket_that_swings(what: Measured, sign: int) -> None:
    """A rut passed long before, or the lintel itself, stops the move before the head gap alone would."""
    move = move_of(FAST, LIVELY)

    def measured(by_m: float) -> Site:
        rut = replace(RUT, depth_m=RUT.depth_m + by_m) if what == "depth" else RUT
        lintel = replace(LINTEL, level_m=2.9 + by_m) if what == "level" else LINTEL
        limits = Thresholds(bounce_limit_m=9.0)
        return yard_for(FAST, LIVELY, thresholds=limits, defects=(rut,), soffits=(lintel,))

    (number,) = [one for one in numbers(measured(0.0), move) if one.what == what]
    good_m = number.last_good_m - number.recorded_m
    assert number.stops == ("basket swing",) and 0.0 < sign * good_m < 0.1
    assert opinion(move, measured(good_m)) == ()
    (refused,) = opinion(move, measured(good_m + sign * MM))
    assert refused.kind == "basket swing" and refused.chainage_m > 24.0


def test_a_move_that_nobody_drives_has_none() -> None:
    site = yard_for(POSES, BOOM, thresholds=LIMITS, soffits=(BEAM,))
    assert numbers(site, replace(MOVE, verdict="no route", poses=())) == ()
