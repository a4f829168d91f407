"""Doors and gates are found in walls, and ends of ramps in the levels, square-on; banks, mounds and noise are none."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.terrain import build_terrain
from routeplan.plan.portals import Portal, portals_of
from routeplan.plan.ramps import NARROWEST_M
from routeplan.plan.whole import plan_site
from routeplan.report.site_graph import site_graph
from routeplan.report.wording import through_text
from routeplan.route.model import heading_rad
from routeplan.site.model import Area, Obstacle, Site
from routeplan.site.read import read_site
from tests import worlds

Floats = NDArray[np.float64]
SAMPLES = Path(__file__).parents[2] / "sample_sites"
SIDE_M, MIDDLE = 50.0, (25.0, 25.0)
ANGLES = pytest.mark.parametrize("turned_deg", [0.0, 30.0, 45.0, 77.0])


def found(site: Site) -> list[Portal]:
    return portals_of(site, build_terrain(site.ground, site.grid))


def direction_deg(across: BaseGeometry) -> float:
    """Direction of a line across, from east anticlockwise, 0 to 180."""
    (x0, y0), (x1, y1) = shapely.get_coordinates(across)
    return math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180.0


def off_deg(across: BaseGeometry, wanted_deg: float) -> float:
    """How far a line across lies off a direction."""
    return abs(math.degrees(math.remainder(math.radians(direction_deg(across) - wanted_deg), math.pi)))


def walled(*walls: Polygon, turned_deg: float = 0.0, **layers: Any) -> Site:
    """Walls about the middle of a site, turned."""
    return worlds.flat_site(
        SIDE_M, SIDE_M,
        obstacles=tuple(
            Obstacle(f"wall-{n}", rotate(wall, turned_deg, origin=MIDDLE), "wall", None) for n, wall in enumerate(walls)
        ),
        **layers,
    )  # fmt: skip


@ANGLES
@pytest.mark.parametrize("wide_m", [1.0, 2.4, 5.0, 7.5])
def test_a_gap_in_a_wall_is_a_door_square_on_at_its_middle(wide_m: float, turned_deg: float) -> None:
    south, north = box(24.85, 8.0, 25.15, 25.0 - wide_m / 2), box(24.85, 25.0 + wide_m / 2, 25.15, 42.0)
    (door,) = found(walled(south, north, turned_deg=turned_deg))
    assert door.name == "gap between wall-0 and wall-1"
    assert door.middle.distance(Point(MIDDLE)) < 0.01
    assert off_deg(door.across, 90.0 + turned_deg) < 0.1
    assert door.across.length == pytest.approx(wide_m, abs=0.01)


def test_a_door_in_a_wall_drawn_in_one_piece_is_found() -> None:
    """A yard wall round three sides and a half, with a gate in the fourth."""
    walls = box(10.0, 10.0, 40.0, 40.0).difference(box(10.3, 10.3, 39.7, 39.7)).difference(box(9.0, 20.0, 12.0, 24.0))
    (gate,) = found(walled(walls))
    assert gate.name == "gap between wall-0"
    assert gate.middle.distance(Point(10.15, 22.0)) < 0.01 and off_deg(gate.across, 90.0) < 0.1


@pytest.mark.parametrize(
    "walls",
    [
        [box(20.0 + 4.0 * n, 25.0, 20.4 + 4.0 * n, 25.4) for n in range(4)],
        [box(10.0, 20.0, 40.0, 20.3), box(10.0, 24.0, 40.0, 24.3)],
        [box(24.85, 5.0, 25.15, 20.0), box(24.85, 29.0, 25.15, 42.0)],
        [box(20.0, 20.0, 22.0, 22.0), box(24.0, 24.0, 26.0, 26.0)],
        [box(24.85, 8.0, 25.15, 23.8), box(24.85, 26.2, 25.15, 42.0), box(24.0, 24.5, 26.0, 25.0)],
    ],
    ids=["columns", "a corridor", "wider than a gate", "corner to corner", "something stands in it"],
)
def test_what_is_no_gap_in_a_wall_is_no_door(walls: list[Polygon]) -> None:
    assert not found(walled(*walls))


@pytest.mark.parametrize(
    ("sample", "doors"), [("kestrel_quay", {"shed-door"}),
                          ("whimbrel_hall", {"loading-door", "plant-door", "bay-door", "store-door"})],
)  # fmt: skip
def test_doors_of_the_samples_are_found_from_the_plan(sample: str, doors: set[str]) -> None:
    """Each door that the site names is found, square-on, when nobody names it; and it is one portal when named."""
    site = read_site(SAMPLES / sample)
    named = {place.id: place for place in site.places.values() if place.kind == "door"}
    assert set(named) == doors
    unnamed = found(replace(site, places={name: place for name, place in site.places.items() if name not in doors}))
    for place in named.values():
        (door,) = [one for one in unnamed if one.middle.distance(place.point) < 0.5]
        assert place.bearing_deg is not None and door.name.startswith("gap between ")
        assert off_deg(door.across, math.degrees(heading_rad(place.bearing_deg)) + 90.0) < 0.5
        (itself,) = [one for one in found(site) if one.middle.distance(place.point) < 2.0 and one.name in doors]
        assert itself.name == place.id


@pytest.mark.parametrize("sample", ["kestrel_quay", "whimbrel_hall"])
def test_ramps_of_the_samples_are_found_from_the_levels(sample: str) -> None:
    """Both ends, square-on, near the places where a machine stands before them; one portal each when named."""
    site = read_site(SAMPLES / sample)
    places = {name: place for name, place in site.places.items() if place.kind != "ramp end"}
    unnamed = {portal.name.split()[0]: portal for portal in found(replace(site, places=places))}
    for end in ("foot", "head"):
        place = site.places[f"ramp-{end}"]
        assert place.bearing_deg is not None and unnamed[end].middle.distance(place.point) < 10.0
        assert off_deg(unnamed[end].across, math.degrees(heading_rad(place.bearing_deg)) + 90.0) < 3.0
    assert not [portal.name for portal in found(site) if portal.name.startswith(("foot", "head"))]


def levels(shape: Callable[[Floats, Floats], Floats], turned_deg: float = 0.0) -> Floats:
    """Levels of a site by what they are along and across a direction, from the middle of the site."""
    axis = np.arange(0.0, SIDE_M + 0.1, 0.25)
    x, y = np.meshgrid(axis - MIDDLE[0], axis - MIDDLE[1])
    c, s = math.cos(math.radians(turned_deg)), math.sin(math.radians(turned_deg))
    return shape(x * c + y * s, y * c - x * s)


def ramp(along: Floats, across: Floats, *, grade: float = 0.12, half_m: float = 3.0) -> Floats:
    """A ramp 10 m long from 5 m before the middle to 5 m beyond, up to a terrace with an upright face."""
    climb = grade * (np.clip(along, -5.0, 5.0) + 5.0)
    return np.where(np.abs(across) <= half_m, climb, np.where(along > 5.0, 10.0 * grade, 0.0))


def ends(site: Site) -> dict[str, Portal]:
    """Portals of a site by the first word of their names."""
    return {portal.name.split()[0]: portal for portal in found(site)}


@ANGLES
@pytest.mark.parametrize("grade", [0.05, 0.12, 0.30])
def test_both_ends_of_a_ramp_are_found_square_on(turned_deg: float, grade: float) -> None:
    """As near as slopes are smoothed over, and at least as wide as the ramp."""
    site = worlds.flat_site(z=levels(lambda a, b: ramp(a, b, grade=grade), turned_deg))
    portals = ends(replace(site, boundary=box(0.0, 0.0, SIDE_M, SIDE_M)))
    assert set(portals) == {"foot", "head"}
    for end, at_m in (("foot", -5.0), ("head", 5.0)):
        turn = math.radians(turned_deg)
        wanted = Point(MIDDLE[0] + at_m * math.cos(turn), MIDDLE[1] + at_m * math.sin(turn))
        assert portals[end].middle.distance(wanted) < NARROWEST_M, end
        assert off_deg(portals[end].across, 90.0 + turned_deg) < 3.0, end
        assert 6.0 < portals[end].across.length < 12.0


def noise(along: Floats, across: Floats) -> Floats:
    """Ground surveyed badly: 20 mm at every node, and bumps of 30 mm some metres across."""
    rng = np.random.default_rng(7)
    bumps = sum(
        0.03 * np.exp(-((along - a) ** 2 + (across - b) ** 2) / 8.0) for a, b in rng.uniform(-25, 25, (60, 2))
    )  # fmt: skip
    return np.asarray(bumps + rng.normal(0.0, 0.02, along.shape))


@pytest.mark.parametrize(
    "shape",
    [
        lambda a, b: np.clip(0.3 * a, 0.0, 2.0),
        lambda a, b: np.clip(1.2 * a, 0.0, 3.0),
        lambda a, b: np.where(np.abs(b) <= 3.0, np.clip(0.8 * a, 0.0, 3.0), 0.0),
        lambda a, b: 2.0 * np.exp(-(a**2 + b**2) / 50.0),
        lambda a, b: 0.025 * a,
        lambda a, b: 0.09 * a,
        noise,
    ],
    ids=["a long bank", "a steep bank", "too steep to drive", "a mound", "a fall to drain", "one slope", "noise"],
)
def test_other_ground_has_no_ends_of_ramps(shape: Callable[[Floats, Floats], Floats]) -> None:
    assert not ends(replace(worlds.flat_site(z=levels(shape)), boundary=box(0.0, 0.0, SIDE_M, SIDE_M)))


def beside_a_bank(along: Floats, across: Floats) -> Floats:
    """A ramp of 12 % through a bank of 40 % along the whole site."""
    climb = 0.12 * (np.clip(along, -5.0, 5.0) + 5.0)
    return np.where(np.abs(across) <= 4.0, climb, np.clip(0.4 * (along - 2.0), 0.0, 1.2))


def test_a_ramp_through_a_bank_stands_alone() -> None:
    portals = ends(replace(worlds.flat_site(z=levels(beside_a_bank)), boundary=box(0.0, 0.0, SIDE_M, SIDE_M)))
    assert set(portals) == {"foot", "head"}
    assert portals["foot"].middle.distance(Point(20.0, 25.0)) < 1.5


def test_noise_hides_no_ramp() -> None:
    z = levels(lambda a, b: ramp(a, b) + noise(a, b))
    assert set(ends(replace(worlds.flat_site(z=z), boundary=box(0.0, 0.0, SIDE_M, SIDE_M)))) == {"foot", "head"}


def test_an_end_that_the_site_names_is_the_sites() -> None:
    """The place stands before the foot, as a machine does; the head stays found, and is named by what is near."""
    places = (worlds.place("way-up", 15.0, 25.0, 90.0, kind="ramp end"), worlds.place("tower", 36.0, 25.0))
    site = worlds.flat_site(SIDE_M, SIDE_M, z=levels(ramp), places=places)
    assert [portal.name for portal in found(site)] == ["way-up", "head of the ramp near tower"]


def test_an_area_round_a_ramp_names_it_and_nothing_near_leaves_its_place() -> None:
    east_slab = Area("east-slab", "East slab", box(20.0, 20.0, 30.0, 30.0), ())
    site = worlds.flat_site(SIDE_M, SIDE_M, z=levels(ramp), areas=(east_slab,))
    assert [portal.name for portal in found(site)] == [
        "foot of the ramp near east-slab", "head of the ramp near east-slab"
    ]  # fmt: skip
    assert [portal.name for portal in found(replace(site, areas=()))] == [
        "foot of the ramp at E 25 N 25", "head of the ramp at E 25 N 25"
    ]  # fmt: skip


def test_a_way_over_a_ramp_reads_it_in_words() -> None:
    """It is 8 m wide and rises 6 % on 10 m."""
    site = worlds.flat_site(
        SIDE_M, SIDE_M, z=levels(lambda a, b: ramp(a, b, grade=0.06, half_m=4.0)), machines=(worlds.scissor(),),
        places=(worlds.place("yard", 10.0, 25.0), worlds.place("tower", 40.0, 25.0)),
        moves=(worlds.wanted("SC", "yard", "tower"),),
    )  # fmt: skip
    plan = plan_site(site, issued="2026-11-24T12:00:00+00:00")
    (move,) = plan.moves
    words = "foot of the ramp near tower", "head of the ramp near tower"
    assert move.poses, move.reason
    assert through_text(move, site) == ", ".join(words)
    at = [leg.chainage_to_m for leg in move.legs[:-1]]
    assert [pose.x for pose in move.poses if pose.chainage_m >= at[0]][0] == pytest.approx(20.0, abs=1.2)
    assert all(a < b for a, b in pairwise([0.0, *at]))
    graph = site_graph(plan, site)
    assert [graph.nodes[node]["kind"] for node in words] == ["ramp end", "ramp end"]
    (over,) = graph.get_edge_data(*words).values()
    assert over["from_bearing_deg"] == [pose.bearing_deg for pose in move.poses if pose.chainage_m >= at[0]][0]
    assert over["to_bearing_deg"] == [pose.bearing_deg for pose in move.poses if pose.chainage_m >= at[1]][0]
