"""Mutations: a drive that is just inside every limit is accepted, the same drive a millimetre beyond one is refused.

Where the limit lies is worked out by hand for straight drives: on level ground a corner (xi, eta) of a part that may be
turned by D either way reaches ``max(xi sin D + eta cos D) + T`` to the left of the line. Ten seeded cases of each kind
run by default, a hundred when the environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import os
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from routeplan.machine.model import Machine
from routeplan.recheck.bounce import levers
from routeplan.recheck.swing import KIND as SWING
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.route.model import Hold
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    Excavation,
    LineCorridor,
    Obstacle,
    Site,
    Soffit,
    Surface,
    Thresholds,
    Walkway,
)
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for

SEEDS = range(100 if os.environ.get("ROUTEPLAN_FULL") else 10)
MM = 0.001
MIDDLE = (20.0, 15.0)
LENGTH_M = 2.0


class Straight:
    """A straight drive through the middle of the yard, its machine, tube and direction drawn from a seed."""

    def __init__(self, seed: int) -> None:
        rng = self.rng = np.random.default_rng(seed)
        self.machine: Machine = worlds.boom() if seed % 2 else worlds.scissor()
        self.heading = rng.uniform(-math.pi, math.pi)
        self.gear = 1 if rng.random() < 0.5 else -1
        self.limits = Thresholds(lateral_tolerance_m=rng.uniform(0, 0.3), heading_tolerance_deg=rng.uniform(0, 4))
        self.turn = math.radians(self.limits.heading_tolerance_deg)
        back = -self.gear * LENGTH_M / 2
        x, y = MIDDLE[0] + back * math.cos(self.heading), MIDDLE[1] + back * math.sin(self.heading)
        self.poses = drive(x, y, self.heading, [(self.gear * LENGTH_M, 0.0)], step_m=0.1)

    def site(self, **layers: Any) -> Site:
        """A yard whose levels are as good as exact."""
        layers.setdefault("thresholds", self.limits)
        return certain(yard_for(self.poses, self.machine, **layers))

    def beside(self, left_m: float, *, thickness_m: float = 0.5, length_m: float = 20.0) -> Polygon:
        """A strip along the drive whose near edge lies a distance to the left of its line."""
        strip = box(
            MIDDLE[0] - length_m / 2, MIDDLE[1] + left_m, MIDDLE[0] + length_m / 2, MIDDLE[1] + left_m + thickness_m
        )
        return affinity.rotate(strip, math.degrees(self.heading), origin=MIDDLE)

    def reach(self, corners: Iterable[tuple[float, float]]) -> float:
        """How far to the left any corner comes within the tube."""
        turned = [xi * math.sin(d) + eta * math.cos(d) for xi, eta in corners for d in (-self.turn, 0.0, self.turn)]
        return max(turned) + self.limits.lateral_tolerance_m

    def reach_of_body(self, **extra: float) -> float:
        """Of all boxes, each with what it must keep: ``occupied`` and ``other`` metres."""
        configuration = self.machine.configurations["stowed"]
        return max(
            self.reach(part.ring) + extra.get("occupied" if part.occupied else "other", 0.0)
            for part in configuration.boxes
        )

    def reach_of_tyres(self) -> float:
        """Of the outer ends of all contact lines."""
        return self.reach((wheel.xi_m, wheel.eta_m + wheel.width_m / 2) for wheel in self.machine.wheels)

    def refused(self, site: Site, **claims: Any) -> set[str]:
        """What the second opinion objects to."""
        return kinds(opinion(move_of(self.poses, self.machine, **claims), site))


def either_side(build: Callable[[Straight, float], set[str]], seed: int, *refused: str) -> None:
    """A millimetre inside nothing is refused, a millimetre beyond just these kinds are."""
    assert build(Straight(seed), MM) == set()
    assert build(Straight(seed), -MM) == set(refused)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_obstacle_added_beside_the_drive(seed: int) -> None:
    def build(straight: Straight, spare_m: float) -> set[str]:
        edge = straight.reach_of_body(occupied=straight.limits.body_gap_m, other=straight.limits.structure_clearance_m)
        wall = Obstacle("wall", straight.beside(edge + spare_m), "wall", None)
        return straight.refused(straight.site(obstacles=(wall,)))

    either_side(build, seed, "side clearance")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_thin_post_added_beside_the_drive(seed: int) -> None:
    """A post as thin as a hand does not slip between samples, wherever along the drive it stands."""

    def build(straight: Straight, spare_m: float) -> set[str]:
        edge = straight.reach_of_body(occupied=straight.limits.body_gap_m, other=straight.limits.structure_clearance_m)
        post = straight.beside(edge + spare_m, thickness_m=0.02, length_m=0.08)
        # The part that reaches furthest passes the post somewhere on the way.
        parts = straight.machine.configurations["stowed"].boxes
        extra = {True: straight.limits.body_gap_m, False: straight.limits.structure_clearance_m}
        widest = max(parts, key=lambda part: straight.reach(part.ring) + extra[part.occupied])
        xi = np.mean([corner[0] for corner in widest.ring]) + straight.rng.uniform(-0.5, 0.5)
        at = affinity.translate(post, xi * math.cos(straight.heading), xi * math.sin(straight.heading))
        return straight.refused(straight.site(obstacles=(Obstacle("post", at, "post", None),)))

    assert build(Straight(seed), MM) == set()
    # Far along a turned part only one corner is that far out; 20 mm cover what it loses to the post's half length.
    assert build(Straight(seed), -0.02 - 0.6 * math.tan(Straight(seed).turn)) == {"side clearance"}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_route_turned_towards_a_wall(seed: int) -> None:
    """Turned by alpha about its start, a drive ends ``s sin alpha`` nearer and its front swings out."""

    def build(straight: Straight, spare_m: float) -> set[str]:
        alpha = float(straight.rng.uniform(0.01, 0.08))
        limits, boxes = straight.limits, straight.machine.configurations["stowed"].boxes
        start = straight.poses[0]
        along = straight.gear * LENGTH_M
        edge = -math.inf
        for part in boxes:
            keep = limits.body_gap_m if part.occupied else limits.structure_clearance_m
            for xi, eta in part.ring:
                for d in (-straight.turn, 0.0, straight.turn):
                    for s in (0.0, along):
                        side = (s * math.sin(alpha)) + xi * math.sin(alpha + d) + eta * math.cos(alpha + d)
                        edge = max(edge, side + limits.lateral_tolerance_m * math.cos(alpha) + keep)
        wall = Obstacle("wall", straight.beside(edge + spare_m), "wall", None)
        straight.poses = drive(start.x, start.y, straight.heading + alpha, [(along, 0.0)], step_m=0.1)
        return straight.refused(straight.site(obstacles=(wall,)))

    either_side(build, seed, "side clearance")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_front_that_swings_out_in_a_turn(seed: int) -> None:
    """Turning left a corner runs ``hypot(R + T - (xi sin d + eta cos d), xi cos d - eta sin d)`` off the middle."""

    def build(straight: Straight, spare_m: float) -> set[str]:
        limits, heading, radius = straight.limits, straight.heading, 4.0
        far = 0.0
        for part in straight.machine.configurations["stowed"].boxes:
            keep = limits.body_gap_m if part.occupied else limits.structure_clearance_m
            for xi, eta in part.ring:
                for d in (-straight.turn, 0.0, straight.turn):
                    out = radius + limits.lateral_tolerance_m - (xi * math.sin(d) + eta * math.cos(d))
                    far = max(far, math.hypot(out, xi * math.cos(d) - eta * math.sin(d)) + keep)
        start = (MIDDLE[0] + radius * math.sin(heading), MIDDLE[1] - radius * math.cos(heading))
        straight.poses = drive(*start, heading, [(2.0, 2.0 / radius)])
        middle = Point(MIDDLE)
        wall = middle.buffer(far + spare_m + 0.5, quad_segs=512).difference(middle.buffer(far + spare_m, quad_segs=512))
        return straight.refused(straight.site(obstacles=(Obstacle("wall", wall, "wall", None),)))

    either_side(build, seed, "side clearance")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_route_shifted_towards_the_boundary(seed: int) -> None:
    def build(straight: Straight, spare_m: float) -> set[str]:
        keep = straight.limits.structure_clearance_m
        edge = straight.reach_of_body(occupied=keep, other=keep) + spare_m
        inside = straight.beside(edge - 30.0, thickness_m=30.0, length_m=60.0)
        return straight.refused(dataclasses.replace(straight.site(), boundary=inside))

    either_side(build, seed, "side clearance")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_body_that_leans_over_a_wall(seed: int) -> None:
    """On a crossfall m a point zeta up leans ``zeta sin(atan m)`` downhill and reaches less by the cosine."""
    rng = np.random.default_rng(seed)
    machine, fall, lateral = worlds.scissor(), float(rng.uniform(0.02, 0.12)), float(rng.uniform(0, 0.3))
    limits = Thresholds(lateral_tolerance_m=lateral, heading_tolerance_deg=0.0)
    roll = math.atan(fall)
    edge = lateral + max(
        part_eta * math.cos(roll) + top * math.sin(roll) + keep
        for part_eta, top, keep in ((0.405, 2.30, limits.body_gap_m), (0.405, 1.20, limits.structure_clearance_m))
    )
    y, _x = np.mgrid[0:121, 0:161] * 0.25
    poses = drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1)
    for spare_m, expected in ((MM, set()), (-MM, {"side clearance"})):
        wall = Obstacle("wall", box(10.0, 15.0 - edge - spare_m - 1.0, 30.0, 15.0 - edge - spare_m), "wall", None)
        site = certain(yard_for(poses, machine, z=fall * y, obstacles=(wall,), thresholds=limits))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_basket_raised_under_a_soffit(seed: int) -> None:
    """With the real sigma of the levels and of the soffit: the gap that is left is the required one and k sigma.

    What is left of no gap is none for the basket's swing either, here and elsewhere.
    """
    rng = np.random.default_rng(seed)
    straight = Straight(seed)
    machine, limits = straight.machine, straight.limits
    sigma_m, datum = float(rng.uniform(0.001, 0.02)), bool(rng.random() < 0.5)
    survey = "another" if datum else "S1"
    basket = machine.configurations["stowed"].basket
    head = basket.floor_height_m + limits.head_height_m
    accuracy = worlds.GOOD_SURVEY
    xi, eta = np.array(basket.ring).T
    point = Sigmas.of(machine, accuracy).point(xi, eta).max()
    k = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    needed = limits.head_gap_m + k * math.hypot(point, sigma_m, accuracy.datum_m if datum else 0.0)
    for spare_m, expected in ((MM, set()), (-MM, {"head gap", SWING})):
        canopy = Soffit("c", box(10, 5, 30, 25), "canopy", head + needed + spare_m, None, 0.0, 0.0, sigma_m, survey)
        site = yard_for(straight.poses, machine, soffits=(canopy,), thresholds=limits)
        assert straight.refused(site) == expected


#: A canopy over the tail of the boom that sets off, and one over all of a scissor that nobody rides.
TOPS: list[Any] = [
    pytest.param(worlds.boom(), "ridden", box(10.0, 5.0, 18.0, 25.0), 2.60, id="tail of a boom"),
    pytest.param(worlds.scissor(), "beside_rails_up", box(10.0, 5.0, 30.0, 25.0), 2.30, id="rails of a scissor"),
]  # fmt: skip


@pytest.mark.parametrize(("machine", "mode", "outline", "top_m"), TOPS)
def test_a_top_under_a_canopy_keeps_its_clearance_to_the_millimetre(
    machine: Machine, mode: Any, outline: Polygon, top_m: float
) -> None:
    """No head is near: what is left over the highest box is the clearance to structures, and k sigma of the canopy."""
    poses = tuple(pose._replace(travel_mode=mode) for pose in drive(19.0, 15.0, 0.0, [(2.0, 0.0)], step_m=0.1))
    sigma_m, k = 0.004, confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    needed_m = top_m + Thresholds().structure_clearance_m + k * sigma_m
    for spare_m, expected in ((MM, set()), (-MM, {"overhead clearance", SWING})):
        canopy = Soffit("c", outline, "canopy", needed_m + spare_m, None, 0.0, 0.0, sigma_m, "S1")
        site = certain(yard_for(poses, machine, soffits=(canopy,)))
        site = dataclasses.replace(site, moves=(dataclasses.replace(site.moves[0], travel_mode=mode),))
        assert kinds(opinion(move_of(poses, machine), site)) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_soffit_given_as_a_clear_height_beside_the_head(seed: int) -> None:
    """It counts within the head gap of the basket in plan, and on a slope its level goes with the ground."""

    def build(straight: Straight, spare_m: float) -> set[str]:
        ring = straight.machine.configurations["stowed"].basket.ring
        edge = straight.reach(ring) + straight.limits.head_gap_m + spare_m
        beam = Soffit("b", straight.beside(edge), "beam", None, 3.0, 0.0, 0.0, 0.0, None)
        return straight.refused(straight.site(soffits=(beam,)))

    straight = Straight(seed)
    if straight.machine.configurations["stowed"].basket.floor_height_m + 2.0 + 0.3 > 3.0:
        either_side(build, seed, "head gap", SWING)
    else:
        assert build(straight, -MM) == set()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("raster", [False, True])
def test_a_hole_deepened_beside_the_wheels(seed: int, raster: bool) -> None:
    """Excess e = tip participation x 2 x lever x depth, with the real k sigma; no wheel meets the hole."""
    straight = Straight(seed)
    machine, limits = straight.machine, straight.limits
    xi, eta = np.array(machine.configurations["stowed"].basket.ring).T
    lever, sigma = levers(machine, xi, eta).max(axis=1), Sigmas.of(machine, worlds.GOOD_SURVEY).point(xi, eta)
    k = confidence_k(LENGTH_M, route_confidence=0.95, correlation_m=2.0)
    depth = min((limits.bounce_limit_m - k * sigma) / (limits.tip_participation * 2.0 * lever))
    left = machine.track_m / 2 + 1.2
    place = [MIDDLE[0] - left * math.sin(straight.heading), MIDDLE[1] + left * math.cos(straight.heading)]
    for spare_m, expected in ((MM, set()), (-MM, {"bounce rise"})):
        deep = depth - spare_m / (limits.tip_participation * 2.0 * lever.max())
        layers: dict[str, Any] = {"thresholds": limits}
        if raster:
            layers["z"] = np.zeros((121, 161))
            layers["z"][round(place[1] / 0.25), round(place[0] / 0.25)] = -deep
        else:
            outline = box(place[0] - 0.5, place[1] - 0.5, place[0] + 0.5, place[1] + 0.5)
            layers["defects"] = (Defect("hole", "pothole", outline, 1.0, deep, 0.0, None),)
        assert straight.refused(yard_for(straight.poses, machine, **layers)) == expected


Layer = Callable[[Polygon], dict[str, Any]]
YARD = box(0, 0, 40, 30)
ROLE, DAY = "temporary works coordinator", dt.date(2026, 11, 2)

TYRE_LAYERS: list[tuple[str, float, Layer]] = [
    ("covers, plates and trenches", 0.0, lambda g: {"defects": (Defect("c", "cover", g, 0.6, 0.0, 0.0, None),)}),
    ("covers, plates and trenches", 0.0, lambda g: {"defects": (Defect("t", "trench", g, 0.6, 1.2, 0.0, "open"),)}),
    ("covers, plates and trenches", 0.0, lambda g: {"defects": (Defect("p", "plate", g, 0.6, 0.0, 0.0, "plated"),)}),
    ("excavation edge", 1.25, lambda g: {"excavations": (Excavation("e", g, 1.25),)}),
    (
        "surface acceptance",
        0.0,
        lambda g: {
            "surfaces": (
                Surface("yard", YARD, "stone", Acceptance(ROLE, DAY, 50_000.0), friction=worlds.ROUGH),
                Surface("soft", g, "clay", None),
            )
        },
    ),
    (
        "surface acceptance",
        0.0,
        lambda g: {"surfaces": (
            Surface("yard", YARD.difference(g), "stone", Acceptance(ROLE, DAY, 50_000.0), friction=worlds.ROUGH),
        )},
    ),
    ("side clearance", 0.0, lambda g: {"obstacles": (Obstacle("mat", g, "low", -1.0),)}),
]

BODY_LAYERS: list[tuple[str, Layer]] = [
    ("overhead lines", lambda g: {"line_corridors": (LineCorridor("l", g, 3.0),)}),
    ("closed areas", lambda g: {"areas": (Area("a", "bay", g, ((DAY, DAY),)),)}),
    ("walkways", lambda g: {"walkways": (Walkway("w", g, "pedestrian"),)}),
]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("kind", "keep_m", "layer"), TYRE_LAYERS)
def test_what_tyres_keep_off(seed: int, kind: str, keep_m: float, layer: Layer) -> None:
    def build(straight: Straight, spare_m: float) -> set[str]:
        return straight.refused(straight.site(**layer(straight.beside(straight.reach_of_tyres() + keep_m + spare_m))))

    either_side(build, seed, kind)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("kind", "layer"), BODY_LAYERS)
def test_what_the_body_keeps_out_of(seed: int, kind: str, layer: Layer) -> None:
    def build(straight: Straight, spare_m: float) -> set[str]:
        return straight.refused(straight.site(**layer(straight.beside(straight.reach_of_body() + spare_m))))

    either_side(build, seed, kind)


def test_a_walkway_needs_a_hold_point_at_or_before_it() -> None:
    straight = Straight(2)
    site = straight.site(walkways=(Walkway("w", straight.beside(0.0), "pedestrian"),))
    claims = {"verdict": "pass with controls", "rows": dict.fromkeys(["walkways"], "pass with controls")}
    hold = Hold(0.0, MIDDLE, "wait for the traffic marshal")
    assert straight.refused(site, **claims, holds=(hold,)) == set()
    assert straight.refused(site, **claims, holds=(dataclasses.replace(hold, chainage_m=1.0),)) == {"walkways"}


@pytest.mark.parametrize(("clear_m", "needed"), [(5.0, 2), (0.5, 1)])
def test_each_crossing_of_a_walkway_needs_its_own_hold_point(clear_m: float, needed: int) -> None:
    """There and back over a strip: one crossing if the machine hardly leaves it, two if it is long clear of it."""
    machine = worlds.scissor()
    there = 5.0 + clear_m
    poses = drive(16.0, 15.0, 0.0, [(there, 0.0), (-there, 0.0)], step_m=0.1)
    strip = Walkway("w", box(20.0, 5.0, 20.5, 25.0), "pedestrian")
    holds = [Hold(0.0, MIDDLE, "wait"), Hold(there, MIDDLE, "wait again")]
    for count in (0, 1, 2):
        move = move_of(poses, machine, verdict="pass with controls", holds=tuple(holds[:count]))
        found = opinion(move, yard_for(poses, machine, walkways=(strip,)))
        assert len(found) == max(0, needed - count)
        assert kinds(found) <= {"walkways"}
