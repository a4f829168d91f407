"""The second opinion on travel with the platform raised: just inside each limit accepted, just beyond it refused."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Point, box

from routeplan.machine.model import Figure, Machine
from routeplan.recheck.elevated import KIND
from routeplan.recheck.raised import Raised, raised_as_asked
from routeplan.recheck.stop_numbers import stop_numbers
from routeplan.route.model import Conditions, Control, Move
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import Defect, Obstacle, Site, Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for

#: No tube, so that places and slopes are what they are drawn as.
BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
MM = 0.001
#: One metre to the east; the body reaches from 18.73 to 22.13 and 0.405 m to both sides.
POSES = tuple(
    pose._replace(regime="elevated", v_max_mps=0.3) for pose in drive(19.0, 15.0, 0.0, [(1.0, 0.0)], step_m=0.05)
)
WIDE: dict[str, Any] = {"tilt_side_deg": 44.0, "tilt_long_deg": 44.0}
SAID = "Platform raised, floor 5.00 m up at most, within elevated zone Z only: at most 0.3 m/s."
TOLD = Control("elevated", 0.0, SAID)
#: Floor 5 m up and 2 m of operator over it, thrown by 10 mm under one side, or axle: twice, and 1.6 times.
THROWN_M = 2.0 * 1.6 * 7.0 * 0.010
ASIDE_M, AHEAD_M = THROWN_M / 0.70, THROWN_M / 1.85


def raised_site(
    machine: Machine, *, zone: ElevatedZone | None = None, height_m: float | None = 5.0, **layers: Any
) -> Site:
    """A yard with the drive of a metre, asked for with the platform raised, in one zone all over it."""
    layers.setdefault("thresholds", BARE)
    layers.setdefault("elevated_zones", (zone or worlds.zone(1.0, 1.0, 39.0, 29.0),))
    site = yard_for(POSES, machine, **layers)
    return certain(dataclasses.replace(site, moves=(worlds.raised(site.moves[0], height_m),)))


def raised_move(machine: Machine, **changes: Any) -> Move:
    """The drive, claimed to pass with what a plan tells of it."""
    told: dict[str, Any] = {
        "on": "2026-12-01", "platform_height_m": 5.0, "controls": (TOLD,), "verdict": "pass with controls",
        "valid_until": "2026-12-31",
    }  # fmt: skip
    return dataclasses.replace(move_of(POSES, machine), **(told | changes))


def refused(machine: Machine, *, until: str | None = "2026-12-31", **told: Any) -> set[str]:
    move = raised_move(machine, platform_height_m=told.get("height_m", 5.0), valid_until=until)
    return kinds(opinion(move, raised_site(machine, **told)))


SCISSOR = worlds.scissor(**worlds.RAISED)
#: The same with room under its guards.
HIGH = worlds.scissor(**worlds.RAISED | {"elevated_clearance_m": 0.08})


def test_a_level_zone_is_driven_raised() -> None:
    assert refused(SCISSOR) == set()


@pytest.mark.parametrize(
    ("limits", "way", "kind"),
    [
        ({**WIDE, "tilt_side_deg": 1.5}, (0.0, 1.0), "side slope"),
        ({**WIDE, "tilt_side_deg": 1.5}, (0.0, -1.0), "side slope"),
        ({**WIDE, "tilt_long_deg": 1.5}, (-1.0, 0.0), "gradeability"),
        ({**WIDE, "tilt_long_deg": 1.5}, (1.0, 0.0), "gradeability"),
        ({**WIDE, "tilt_any_deg": 1.5}, (0.6, -0.8), "combined slope"),
    ],
)
def test_a_plane_just_inside_and_just_beyond_each_tilt_limit(
    limits: dict[str, Any], way: tuple[float, float], kind: str
) -> None:
    """0.2 deg of 1.5 deg are the sensor's: 1.3 deg along, across, and whichever way it leans."""
    machine = worlds.scissor(**worlds.RAISED, **limits)
    y, x = np.mgrid[0:121, 0:161] * 0.25
    for lean_deg, inside in ((1.29, True), (1.31, False)):
        slope = math.tan(math.radians(lean_deg))
        found = refused(machine, z=slope * (way[0] * x + way[1] * y))
        assert (found == set()) if inside else (kind in found)


def test_the_edge_of_the_zone() -> None:
    """Its body, as far as it may be thrown on the zone's largest defect, stays inside: to the side, ahead, behind."""
    edges = ("north", 15.0 + 0.405 + ASIDE_M), ("east", 20.0 + 2.13 + AHEAD_M), ("west", 19.0 - 0.27 - AHEAD_M)
    for side, at in edges:
        for spare_m, expected in ((MM, set()), (-MM, {KIND})):
            bounds = {"west": 1.0, "south": 1.0, "east": 39.0, "north": 29.0}
            bounds[side] = at - spare_m if side == "west" else at + spare_m
            zone = worlds.zone(bounds["west"], bounds["south"], bounds["east"], bounds["north"])
            assert refused(SCISSOR, zone=zone) == expected, side


def test_a_place_in_the_zone_is_stood_at_inside_it() -> None:
    """Places 0.1 m inside the edge may be stood at 2 m off: the whole drive may then lie beyond the edge."""
    for edge_m, expected in ((29.0, set()), (13.0, {KIND})):
        site = raised_site(SCISSOR, zone=worlds.zone(1.0, 1.0, 39.0, edge_m))
        places = {
            name: dataclasses.replace(one, point=Point(one.point.x, 12.9), tolerance_m=3.0)
            for name, one in site.places.items()
        }
        assert kinds(opinion(raised_move(SCISSOR), dataclasses.replace(site, places=places))) == expected


def test_tyres_wider_than_the_body_stay_inside_too() -> None:
    machine = worlds.scissor(**worlds.RAISED | {"width_m": 0.6})
    for spare_m, expected in ((MM, set()), (-MM, {KIND})):
        zone = worlds.zone(1.0, 1.0, 39.0, 15.0 + 0.35 + 0.055 + spare_m, smooth_to_m=0.0)
        assert refused(machine, zone=zone) == expected


def test_a_hole_in_the_zone_is_its_edge_too() -> None:
    zone = worlds.zone(1.0, 1.0, 39.0, 29.0)
    for spare_m, expected in ((MM, set()), (-MM, {KIND})):
        hole = box(19.2, 15.0 + 0.405 + ASIDE_M + spare_m, 19.4, 17.0)
        assert refused(SCISSOR, zone=dataclasses.replace(zone, geometry=zone.geometry.difference(hole))) == expected


@pytest.mark.parametrize(
    ("inside", "beyond"),
    [
        ({"zone": worlds.zone(1, 1, 39, 29, mass_limit_kg=2300.0)},
         {"zone": worlds.zone(1, 1, 39, 29, mass_limit_kg=2299.0)}),
        ({"zone": worlds.zone(1, 1, 39, 29, platform_height_m=5.0)},
         {"zone": worlds.zone(1, 1, 39, 29, platform_height_m=5.0 - MM)}),
        ({}, {"elevated_zones": ()}),
        ({}, {"zone": dataclasses.replace(worlds.zone(1, 1, 39, 29), acceptance=None)}),
        ({}, {"zone": worlds.zone(1, 1, 19.9, 29)}),
        ({}, {"height_m": None}),
        ({}, {"height_m": 1.2}),
    ],
)  # fmt: skip
def test_default_deny(inside: dict[str, Any], beyond: dict[str, Any]) -> None:
    """Mass, height, no zone, a zone that nobody accepts, one that ends before the goal, and no platform raised."""
    assert refused(SCISSOR, **inside) == set()
    assert refused(SCISSOR, **beyond) == {"verdict"}


def test_the_last_day_of_the_zone() -> None:
    zone = worlds.zone(1.0, 1.0, 39.0, 29.0)
    assert zone.acceptance is not None
    for first, last, expected in (
        (dt.date(2026, 12, 1), dt.date(2026, 12, 1), set()), (dt.date(2026, 11, 1), dt.date(2026, 11, 30), {"verdict"}),
        (dt.date(2026, 12, 2), dt.date(2026, 12, 31), {"verdict"}),
    ):  # fmt: skip
        word = dataclasses.replace(zone.acceptance, date=first, valid_until=last)
        ends = last.isoformat()
        assert refused(SCISSOR, until=ends, zone=dataclasses.replace(zone, acceptance=word)) == expected
    site = raised_site(SCISSOR)
    dayless = dataclasses.replace(site, moves=(dataclasses.replace(site.moves[0], on=None),))
    assert kinds(opinion(raised_move(SCISSOR, on=None), dayless)) == {"verdict"}, "no day is within no dates"


def test_a_move_is_not_said_to_hold_beyond_the_last_day_of_its_zone() -> None:
    for until, expected in (("2026-12-31", set()), ("2027-01-01", {"validity"}), (None, {"validity"})):
        assert refused(SCISSOR, until=until) == expected
    site = raised_site(SCISSOR)
    lowered = dataclasses.replace(site.moves[0], regime="stowed", platform_height_m=None)
    move = raised_move(
        SCISSOR, poses=tuple(pose._replace(regime="stowed") for pose in POSES), platform_height_m=None,
        valid_until=None,
    )  # fmt: skip
    found = kinds(opinion(move, dataclasses.replace(site, moves=(lowered,))))
    assert "validity" not in found, "lowered it needs no zone"


def test_the_greatest_height_that_the_sheet_allows() -> None:
    for most_m, expected in ((5.0, set()), (5.0 - MM, {"verdict"})):
        assert refused(worlds.scissor(**worlds.RAISED | {"elevated_height_max_m": most_m})) == expected


@pytest.mark.parametrize("name", [*worlds.RAISED, *worlds.TILT])
def test_no_figure_of_a_class_and_no_figure_missing_proves_anything(name: str) -> None:
    loose = Figure(name, SCISSOR.value(name), "class", "a class")
    assert refused(dataclasses.replace(SCISSOR, figures={**SCISSOR.figures, name: loose}))
    assert refused(dataclasses.replace(SCISSOR, figures={k: v for k, v in SCISSOR.figures.items() if k != name}))


def test_rows_faster_than_raised_are_refused() -> None:
    for speed, expected in ((0.3, set()), (0.301, {"basket swing"})):
        fast = raised_move(SCISSOR, poses=tuple(pose._replace(v_max_mps=speed) for pose in POSES))
        assert kinds(opinion(fast, raised_site(SCISSOR))) == expected


def sill(height_m: float, **place: float) -> Defect:
    at = {"x0": 21.0, "x1": 21.3} | place
    return Defect("sill", "sill", box(at["x0"], 14.0, at["x1"], 16.0), 0.3, 0.0, height_m, None)


def test_a_step_with_the_guards_down() -> None:
    rough = worlds.zone(1.0, 1.0, 39.0, 29.0, smooth_to_m=0.03)
    for height_m, expected in ((0.015, set()), (0.016, {"step"})):
        assert refused(HIGH, zone=rough, defects=(sill(height_m),)) == expected


def test_ground_under_the_guards() -> None:
    """20 mm of clearance, 10 mm of which are kept: a ridge between the wheels may be 10 mm high."""
    rough = worlds.zone(1.0, 1.0, 39.0, 29.0, smooth_to_m=0.03)
    for ridge_m, inside in ((0.0098, True), (0.0102, False)):
        z = np.zeros((121, 161))
        z[60, 82] = ridge_m
        found = refused(SCISSOR, zone=rough, z=z)
        assert (found == set()) if inside else ("ground strike" in found)


def test_a_defect_larger_than_the_zone_is_smooth_to() -> None:
    for height_m, expected in ((0.010, set()), (0.011, {KIND})):
        assert refused(HIGH, defects=(sill(height_m),)) == expected
    assert refused(HIGH, defects=(sill(0.011, x0=24.0, x1=24.3),)) == set(), "no wheel comes to it"


def test_a_hole_in_the_levels_deeper_than_the_zone_is_smooth_to() -> None:
    for depth_m, inside in ((0.0098, True), (0.0102, False)):
        z = np.zeros((121, 161))
        z[61, 82] = -depth_m  # 0.25 m to the left of the middle of a wheel, its levels reach under it
        found = refused(SCISSOR, z=z)
        assert (KIND not in found) if inside else (KIND in found)


def test_side_clearance_keeps_the_throw_at_height() -> None:
    """What is raised keeps the gap of a body all the way up, thrown to the side; so does what it leans by."""
    for spare_m, expected in ((MM, set()), (-MM, {"side clearance"})):
        wall = Obstacle("wall", box(10.0, 15.0 + 0.405 + ASIDE_M + 0.5 + spare_m, 30.0, 20.0), "wall", None)
        assert refused(SCISSOR, obstacles=(wall,)) == expected


def test_what_hangs_over_the_operator_as_high_as_the_platform_is() -> None:
    for spare_m, inside in ((MM, True), (-MM, False)):
        beam = Soffit("beam", box(20.0, 10.0, 20.5, 20.0), "beam", 7.3 + spare_m, None, 0.0, 0.0, 1e-9, "S1")
        found = refused(SCISSOR, soffits=(beam,))
        assert (found == set()) if inside else ("head gap" in found)


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({}, None),
        ({"poses": tuple(pose._replace(regime="stowed") for pose in POSES)}, "form"),
        ({"platform_height_m": 4.0}, "form"),
        ({"platform_height_m": None}, "form"),
        ({"controls": (), "verdict": "pass"}, KIND),
        ({"controls": (dataclasses.replace(TOLD, chainage_m=0.5),)}, KIND),
        ({"controls": (dataclasses.replace(TOLD, text=""),)}, KIND),
        ({"controls": (dataclasses.replace(TOLD, text=SAID.replace("5.00", "5.10")),)}, KIND),
        ({"controls": (dataclasses.replace(TOLD, text=SAID.replace("0.3", "0.4")),)}, KIND),
        ({"controls": (dataclasses.replace(TOLD, text=SAID.replace("zone Z", "zone Y")),)}, KIND),
        ({"controls": (TOLD, dataclasses.replace(TOLD, text=SAID.replace("5.00", "5.10")))}, KIND),
        ({"on": "2027-02-01"}, "form"),
        ({"verdict": "pass with controls", "poses": ()}, "verdict"),
    ],
)  # fmt: skip
def test_doctored_plans(changes: dict[str, Any], kind: str | None) -> None:
    found = kinds(opinion(raised_move(SCISSOR, **changes), raised_site(SCISSOR)))
    assert (found == set()) if kind is None else (kind in found)


def test_a_denied_move_that_gives_nothing_to_drive_is_accepted() -> None:
    denied = raised_move(SCISSOR, verdict="not proven", poses=(), controls=())
    assert opinion(denied, raised_site(SCISSOR, elevated_zones=())) == ()
    assert kinds(opinion(raised_move(SCISSOR, verdict="pass", poses=()), raised_site(SCISSOR, elevated_zones=())))


def test_rows_raised_are_refused_where_the_site_asks_for_it_lowered() -> None:
    site = yard_for(POSES, SCISSOR, thresholds=BARE, elevated_zones=(worlds.zone(1.0, 1.0, 39.0, 29.0),))
    assert "form" in kinds(opinion(raised_move(SCISSOR, on=None), certain(site)))


def test_nobody_drives_it_raised_from_beside() -> None:
    site = raised_site(SCISSOR)
    beside = dataclasses.replace(site.moves[0], travel_mode="beside_rails_up")
    rows = tuple(pose._replace(travel_mode="beside_rails_up") for pose in POSES)
    found = opinion(raised_move(SCISSOR, poses=rows), dataclasses.replace(site, moves=(beside,)))
    assert kinds(found) == {"verdict"}


def test_booms_are_not_raised() -> None:
    assert refused(worlds.boom(**worlds.RAISED)) == {"verdict"}


def test_an_oscillating_axle_is_locked_unless_its_own_sheet_says_not() -> None:
    plain = dataclasses.replace(SCISSOR, wheels=worlds.four_wheels(
        wheelbase_m=1.85, track_m=0.70, radius_m=0.19, width_m=0.11, oscillating="front"
    ))  # fmt: skip
    for tag, value, free in (("sheet", 1.0, True), ("sheet", 0.0, False), ("class", 1.0, False)):
        says = Figure("elevated_axle_follows", value, tag, "a test")  # type: ignore[arg-type]
        machine = dataclasses.replace(plain, figures={**plain.figures, says.name: says})
        found = raised_as_asked(raised_move(machine), site=raised_site(machine), machine=machine)
        assert isinstance(found, Raised) and any(wheel.oscillating for wheel in found.machine.wheels) == free
    found = raised_as_asked(raised_move(plain), site=raised_site(plain), machine=plain)
    assert isinstance(found, Raised) and not any(wheel.oscillating for wheel in found.machine.wheels)


def test_the_reading_that_stops_a_raised_move_is_what_its_zone_is_smooth_to() -> None:
    site = raised_site(SCISSOR, defects=(sill(0.004),))
    (number,) = (
        one for one in stop_numbers(raised_move(SCISSOR), site=site, machine=SCISSOR, conditions=Conditions())
        if one.what == "height"
    )  # fmt: skip
    assert number.last_good_m == pytest.approx(0.010) and KIND in number.stops
