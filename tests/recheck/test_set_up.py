"""The second opinion on standing to work: just inside each limit a plan is accepted, just beyond it is refused."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.machine.model import Figure, Machine, Tag
from routeplan.recheck.ledger import CATALOGUE
from routeplan.recheck.set_up import whichever_way
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.recheck.verdicts import SET_UP_TILT, TAIL_SWING
from routeplan.route.model import Hold
from routeplan.site.model import Obstacle, Site, Thresholds, Walkway
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for

BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
POSES = drive(19.0, 15.0, 0.0, [(1.0, 0.0)], step_m=0.05)
MM = 0.001
WIDE = {"tilt_side_deg": 44.0, "tilt_long_deg": 44.0}


def workface(machine: Machine, *, place: str = "B", **layers: Any) -> Site:
    """A yard with a drive of a metre to the east, whose end is a workface."""
    layers.setdefault("thresholds", BARE)
    site = yard_for(POSES, machine, **layers)
    works = dataclasses.replace(site.places[place], kind="workface")
    return dataclasses.replace(site, places={**site.places, place: works})


def plane(pitch_deg: float, roll_deg: float) -> Any:
    y, x = np.mgrid[0:121, 0:161] * 0.25
    return math.tan(math.radians(pitch_deg)) * x + math.tan(math.radians(roll_deg)) * y


def refused(machine: Machine, site: Site) -> set[str]:
    return kinds(opinion(move_of(POSES, machine), certain(site)))


@pytest.mark.parametrize(
    ("limits", "way"),
    [
        ({"tilt_side_deg": 1.5, "tilt_long_deg": 44.0}, (0.0, 1.0)),
        ({"tilt_side_deg": 44.0, "tilt_long_deg": 1.5}, (-1.0, 0.0)),
        ({**WIDE, "tilt_any_deg": 1.5}, (0.6, -0.8)),
    ],
)
def test_a_plane_just_inside_and_just_beyond_each_limit(limits: dict[str, Any], way: tuple[float, float]) -> None:
    """Along, across and, by ``tan^2 = tan^2 pitch + tan^2 roll``, whichever way; 0.2 deg are the sensor's."""
    machine = worlds.scissor(**limits)
    for spare_deg, expected in ((0.002, set()), (-0.002, {SET_UP_TILT})):
        slope = math.tan(math.radians(1.3 - spare_deg))
        pitch, roll = (math.degrees(math.atan(slope * share)) for share in way)
        assert refused(machine, workface(machine, z=plane(pitch, roll))) == expected


def test_a_class_s_two_axes_give_way_to_the_machines_own_limit_for_any() -> None:
    machine = worlds.scissor(tilt_any_deg=2.2)
    told: tuple[tuple[Tag, set[str]], ...] = (("sheet", {SET_UP_TILT}), ("class", set()))
    for tag, expected in told:
        axes = {name: Figure(name, 0.5, tag, "invented") for name in WIDE}
        one = dataclasses.replace(machine, figures={**machine.figures, **axes})
        assert refused(one, workface(one, z=plane(1.0, 1.0))) == expected


def test_the_survey_leaves_k_sigma() -> None:
    machine = worlds.scissor(tilt_sensor_tolerance_deg=0.0)
    k = confidence_k(1.0, route_confidence=0.95, correlation_m=2.0)
    limit = 2.0 - k * math.degrees(Sigmas.of(machine, worlds.GOOD_SURVEY).roll)
    for spare_deg, expected in ((0.002, set()), (-0.002, {SET_UP_TILT})):
        site = workface(machine, z=plane(0.0, limit - spare_deg))
        assert kinds(opinion(move_of(POSES, machine), site)) == expected


def test_the_normal_of_a_plane() -> None:
    pitch, roll = np.array([0.04, 0.0, -0.3]), np.array([0.03, 0.0, 0.4])
    assert whichever_way(pitch, roll) == pytest.approx(np.arctan([0.05, 0.0, 0.5]))


def test_only_where_it_comes_to_work_does_it_have_to_stand_level() -> None:
    machine = worlds.scissor()
    tipped = plane(0.0, 5.0)
    assert refused(machine, yard_for(POSES, machine, z=tipped, thresholds=BARE)) == set()
    assert refused(machine, workface(machine, place="A", z=tipped)) == set()
    assert refused(machine, workface(machine, z=tipped)) == {SET_UP_TILT}


def test_a_stop_at_a_workface_counts_as_well() -> None:
    """On the way from A to B it is held at C, where it works."""
    machine = worlds.scissor()
    site = yard_for(POSES, machine, z=plane(0.0, 5.0), thresholds=BARE)
    middle = POSES[len(POSES) // 2]
    hold = Hold(middle.chainage_m, (middle.x, middle.y), "work here")
    move = dataclasses.replace(move_of(POSES, machine, holds=(hold,)), via=("C",))
    for kind, expected in (("parking", set()), ("workface", {SET_UP_TILT})):
        stop = worlds.place("C", middle.x, middle.y, kind=kind)
        (wanted,) = site.moves
        here = dataclasses.replace(
            site, places={**site.places, "C": stop}, moves=(dataclasses.replace(wanted, via=("C",)),)
        )
        assert kinds(opinion(move, certain(here))) == expected


def test_a_chainage_a_little_off_hides_no_stop_at_a_workface() -> None:
    """Rows may be 1 mm off the path's length and a hold 1 mm off its row: it stands there to work all the same."""
    machine = worlds.scissor()
    middle = POSES[len(POSES) // 2]
    inner = [pose._replace(chainage_m=pose.chainage_m + 0.0009) for pose in POSES[1:-1]]
    hold = Hold(middle.chainage_m + 0.0017, (middle.x, middle.y), "work here")
    poses = (POSES[0], *inner, POSES[-1])
    move = dataclasses.replace(move_of(poses, machine, holds=(hold,)), via=("C",))
    site = yard_for(POSES, machine, z=plane(0.0, 5.0), thresholds=BARE)
    stop = worlds.place("C", middle.x, middle.y, kind="workface")
    asked = dataclasses.replace(site.moves[0], via=("C",))
    here = dataclasses.replace(site, places={**site.places, "C": stop}, moves=(asked,))
    assert kinds(opinion(move, certain(here))) == {SET_UP_TILT}


def test_a_wall_a_millimetre_inside_and_outside_the_gap_of_the_tail() -> None:
    """The axis stands 1.2 m ahead of the origin at x 20, its circle is 2.9 m, the gap 0.5 m."""
    machine = worlds.boom()
    for spare_m, expected in ((MM, set()), (-MM, {TAIL_SWING})):
        edge = 15.0 + 2.9 + 0.5 + spare_m
        wall = Obstacle("wall", box(10.0, edge, 35.0, 25.0), "wall", None)
        assert refused(machine, workface(machine, obstacles=(wall,))) == expected
        path = Walkway("path", box(10.0, edge, 35.0, 25.0), "footway")
        assert refused(machine, workface(machine, walkways=(path,))) == expected
        corner = 21.2 + 3.4 / math.sqrt(2.0) + spare_m, 15.0 - 3.4 / math.sqrt(2.0) - spare_m
        post = Obstacle("post", box(corner[0], corner[1] - 0.2, corner[0] + 0.2, corner[1]), "post", None)
        assert refused(machine, workface(machine, obstacles=(post,))) == expected


def test_the_tube_and_the_lean_carry_the_circle() -> None:
    machine = worlds.boom(tilt_side_deg=44.0)
    lean, turn = math.radians(2.0), math.radians(2.0)
    astray = 2.9 + 0.5 + 0.15 + 1.2 * math.sin(turn) + 2.6 * math.sin(lean)
    for spare_m, expected in ((0.002, set()), (-0.002, {TAIL_SWING})):
        wall = Obstacle("wall", box(10.0, 15.0 + astray + spare_m, 35.0, 25.0), "wall", None)
        site = workface(machine, obstacles=(wall,), z=plane(0.0, -2.0), thresholds=Thresholds())
        assert refused(machine, site) == expected


def test_a_tail_passes_over_what_stays_below_its_underside() -> None:
    """1.30 m up, 0.01 m of clearance; on a crossfall the rim dips by ``2.9 sin(lean)``; tyres stand on edges."""
    machine, lean = worlds.boom(tilt_side_deg=44.0), math.radians(2.0)
    leaned_m = 1.30 * math.cos(lean) - 2.9 * math.sin(lean) + 0.33 / 2 * math.tan(lean)
    for roll_deg, under_m in ((0.0, 1.30), (2.0, leaned_m)):
        z = plane(0.0, roll_deg)
        for spare_m, expected in ((MM, set()), (-MM, {TAIL_SWING})):
            top = under_m - 0.01 - spare_m + float(z[60, 80])
            wall = Obstacle("wall", box(10.0, 17.0, 35.0, 17.2), "wall", top)
            site = workface(machine, obstacles=(wall,), z=z)
            assert refused(machine, site) & {TAIL_SWING} == expected


def test_the_boundary_keeps_off_a_tail() -> None:
    machine = worlds.boom()
    for spare_m, expected in ((MM, set()), (-MM, {TAIL_SWING})):
        site = workface(machine)
        edge = box(0.0, 0.0, 40.0, 15.0 + 3.4 + spare_m)
        assert refused(machine, dataclasses.replace(site, boundary=edge)) == expected


@pytest.mark.parametrize("kind", [SET_UP_TILT, TAIL_SWING])
def test_a_pass_that_rests_on_nothing_is_refused(kind: str) -> None:
    machine = worlds.boom(tilt_any_deg=5.0)
    site = workface(machine)
    assert refused(machine, site) == set()
    for name in CATALOGUE[kind].figures:
        figures = dict(machine.figures)
        if name in ("tilt_side_deg", "tilt_long_deg"):
            continue  # the limit for any direction stands in for them
        figures[name] = Figure(name, machine.value(name), "class", "invented")
        loose = dataclasses.replace(machine, figures=figures)
        assert kind in refused(loose, dataclasses.replace(site, machines={"TB": loose})), name
        del figures[name]
        bare = dataclasses.replace(machine, figures=figures)
        asked = refused(bare, dataclasses.replace(site, machines={"TB": bare}))
        assert kind in asked or name == "tilt_any_deg", name
    for layer in CATALOGUE[kind].layers:
        assert kind in refused(machine, dataclasses.replace(site, layers_given=site.layers_given - {layer}))


def test_what_does_not_slew_rests_on_no_circle_and_outriggers_are_never_a_pass() -> None:
    scissor = worlds.scissor()
    wall = Obstacle("wall", box(10.0, 16.2, 35.0, 17.0), "wall", None)
    assert refused(scissor, workface(scissor, obstacles=(wall,))) == set()
    spider = worlds.spider(tilt_side_deg=44.0, tilt_long_deg=44.0, tilt_sensor_tolerance_deg=0.0)
    found = opinion(move_of(POSES, spider), certain(workface(spider)))
    assert any(one.kind == SET_UP_TILT and "outriggers" in one.text for one in found)
    assert any(one.kind == TAIL_SWING and "missing" in one.text for one in found)
