"""How many of the moves that can be driven are found: held against a plain search that trusts the second opinion only.

The reference tells poses apart by half the lattice's cells and twice its headings, drives exact arcs between them, and
asks nobody but the second opinion whether an arc can be driven. It may give up; a way that it finds is one. Thirty
drawn sites run by default, 300 when the environment variable ``ROUTEPLAN_FULL`` is set: half of them on even ground,
half on rough ground. What both solve is printed (``pytest -s``).
"""

from __future__ import annotations

import datetime as dt
import heapq
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import affinity, contains_xy, union_all
from shapely.geometry import Point, Polygon, box
from skimage.graph import MCP_Geometric

from routeplan.plan.whole import plan_site
from routeplan.recheck.steering import turn_radius_m
from routeplan.site.model import Acceptance, Defect, Excavation, GridSpec, Obstacle, Site, Soffit, Surface
from tests import worlds
from tests.recheck.drives import Stretch, drive, move_of, opinion

Floats = NDArray[np.float64]
#: x, y (m) and heading (rad).
State = tuple[float, float, float]

EAST_M, NORTH_M = 14.0, 12.0
FULL = bool(os.environ.get("ROUTEPLAN_FULL"))
#: Of each kind of ground.
SEEDS = range(150 if FULL else 15)
#: Most motions that the reference asks the second opinion about before it gives up.
MOST_ASKED = 1000 if FULL else 250
#: Cells and headings by which the reference tells poses apart: half and twice the lattice's 0.25 m and 16.
CELL_M, TURN = 0.125, 2.0 * math.pi / 32
#: How much more the way that is left counts than the way driven: any way will do.
GREED = 3.0
#: Goals nearer than this are tried by one arc, m.
SHOT_M = 4.0
#: Least share of what the reference solves that must be solved.
LEAST_SHARE = 0.98


class Draft:
    """A yard being drawn from a seed, on even or rough ground, with what is on it kept clear of both ends."""

    def __init__(self, seed: int, *, rough: bool) -> None:
        self.rng, self.rough = np.random.default_rng(seed), rough
        y = self.rng.uniform(2.5, NORTH_M - 2.5, 2)
        self.ends = worlds.place("w", 2.6, float(y[0])), worlds.place("e", EAST_M - 3.2, float(y[1]))

    def shape(self, largest_m: float) -> Polygon:
        """A rectangle at any bearing, clear of the ends if ten tries will do."""
        rng = self.rng
        for _ in range(10):
            x, y = rng.uniform(1.0, EAST_M - 1.0), rng.uniform(0.0, NORTH_M)
            sides = rng.uniform(0.2, largest_m, 2)
            drawn = affinity.rotate(box(x, y, x + sides[0], y + sides[1]), rng.uniform(0.0, 90.0))
            if all(drawn.distance(end.point) > 2.0 for end in self.ends):
                break
        return drawn

    def some(self, most: int) -> range:
        """None, one, up to ``most``."""
        return range(int(self.rng.integers(0, most + 1)))

    def wall(self) -> tuple[Obstacle, ...]:
        """A wall across the yard at some bearing, with a gap about as wide as a scissor wants (2.3 m)."""
        rng = self.rng
        if rng.random() < 0.4:
            return ()
        x, y, half = rng.uniform(6.3, 7.3), rng.uniform(3.0, NORTH_M - 3.0), rng.uniform(1.05, 1.6)
        thick, turn = rng.uniform(0.1, 0.6), rng.uniform(-20.0, 20.0)
        parts = [box(-thick, half, thick, 20.0), box(-thick, -20.0, thick, -half)]
        yard = box(0.0, 0.0, EAST_M, NORTH_M)
        walls = [affinity.translate(affinity.rotate(part, turn, origin=(0, 0)), x, y) for part in parts]
        return tuple(Obstacle(f"w{n}", wall.intersection(yard), "wall", None) for n, wall in enumerate(walls))

    def levels(self) -> Floats:
        """A fall; on rough ground now and then a bank, a little noise and a hollow."""
        rng = self.rng
        x, y = np.meshgrid(np.arange(0.0, EAST_M + 0.1, 0.25), np.arange(0.0, NORTH_M + 0.1, 0.25))
        z: Floats = rng.uniform(-0.04, 0.04) * x + rng.uniform(-0.04, 0.04) * y
        if not self.rough:
            return z
        z += rng.choice([0.0, 0.0, 0.08, 0.14]) * np.clip(x - rng.uniform(4.0, 8.0), 0.0, 2.0)
        z += rng.normal(0.0, rng.choice([0.0, 0.0005, 0.002]), x.shape)
        far = np.hypot(x - rng.uniform(4.0, 10.0), y - rng.uniform(1.0, NORTH_M - 1.0))
        z -= rng.uniform(0.0, 0.1) * (far < rng.uniform(0.0, 0.6))
        return z

    def layers(self) -> dict[str, Any]:
        """What is on the yard, by the names of ``Site``'s fields."""
        rng = self.rng
        stone = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)
        whole = Surface("yard", box(0.0, 0.0, EAST_M, NORTH_M), "stone", stone, friction=worlds.ROUGH)
        blocks = [(self.shape(2.0), (None, 0.15)[int(rng.integers(0, 2))]) for _ in self.some(3)]
        holes = [(self.shape(0.5), rng.uniform(0.01, 0.06)) for _ in self.some(2)]
        kerbs = [(self.shape(1.5), rng.uniform(0.02, 0.07)) for _ in self.some(1)]
        return {
            "obstacles": (
                *self.wall(), *(Obstacle(f"o{n}", block, "block", top) for n, (block, top) in enumerate(blocks))
            ),
            "surfaces": (whole, *(Surface(f"s{n}", self.shape(1.5), "clay", None) for n in self.some(1))),
            "soffits": tuple(
                Soffit(f"b{n}", self.shape(3.0), "beam", None, rng.uniform(3.0, 4.2), 0.0, 0.0, 0.005, "S1")
                for n in self.some(1)
            ),
            "defects": (
                *(Defect(f"h{n}", "pothole", hole, 0.4, deep, 0.0, None) for n, (hole, deep) in enumerate(holes)),
                *(Defect(f"k{n}", "kerb", kerb, 0.3, 0.0, high, None) for n, (kerb, high) in enumerate(kerbs)),
                *(Defect(f"c{n}", "cover", self.shape(0.6), 0.6, 0.0, 0.0, None) for n in self.some(1)),
            ),
            "excavations": tuple(Excavation(f"e{n}", self.shape(1.0), 0.5) for n in self.some(1)),
        }  # fmt: skip


def drawn_site(seed: int, *, rough: bool) -> Site:
    """A small yard with one move from west to east; every other machine turns on the spot."""
    draft = Draft(seed, rough=rough)
    machine = worlds.scissor(pivots=float(seed % 2))
    return worlds.flat_site(
        EAST_M, NORTH_M, z=draft.levels(), machines=(machine,), places=draft.ends,
        moves=(worlds.wanted(machine.id, "w", "e"),), grid=GridSpec(cell_m=2.0 * CELL_M), **draft.layers(),
    )  # fmt: skip


def driven(state: State, stretch: Stretch) -> State:
    """Where an arc ends."""
    length, turn = stretch
    chord = length * float(np.sinc(turn / (2.0 * math.pi)))
    x, y, heading = state
    return x + chord * math.cos(heading + turn / 2), y + chord * math.sin(heading + turn / 2), heading + turn


def told_apart(state: State) -> tuple[int, int, int]:
    """The cell and heading that stand for a pose."""
    return round(state[0] / CELL_M), round(state[1] / CELL_M), round(state[2] / TURN) % 32


@dataclass(eq=False)
class Reference:
    """A greedy search from the start to the goal of a site's only move."""

    site: Site
    asked: int = 0

    def __post_init__(self) -> None:
        (self.machine,) = self.site.machines.values()
        (wanted,) = self.site.moves
        self.start, self.goal = (self.site.places[name].point for name in (wanted.start, wanted.goal))
        self.radius_m = turn_radius_m(self.machine)
        self.left = self._left()

    def _left(self) -> Floats:
        """What is left to drive from every cell, round what stands in the way: guides, and rules nothing out."""
        y, x = np.mgrid[0.0 : NORTH_M + 0.1 : CELL_M, 0.0 : EAST_M + 0.1 : CELL_M]
        site = self.site
        shy = union_all([
            *(obstacle.geometry.buffer(1.1) for obstacle in site.obstacles),
            *(dug.geometry.buffer(1.1) for dug in site.excavations),
            *(defect.geometry.buffer(0.8) for defect in site.defects),
            *(surface.geometry.buffer(0.6) for surface in site.surfaces if surface.acceptance is None),
        ])  # fmt: skip
        costs = np.where(contains_xy(shy, x, y), 5.0, 1.0)
        row, col = round(self.goal.y / CELL_M), round(self.goal.x / CELL_M)
        left: Floats = MCP_Geometric(costs, sampling=(CELL_M, CELL_M)).find_costs([(row, col)])[0]
        return left

    def stretches(self, state: State) -> Iterator[tuple[Stretch, bool]]:
        """Arcs out of a pose, and whether one leads to the goal."""
        for gear in (1.0, -1.0):
            yield (gear * 2 * CELL_M, 0.0), False
            for turn in (-2 * TURN, -TURN, TURN, 2 * TURN):
                yield (gear * abs(turn) * self.radius_m, turn), False
                yield (gear * 4 * CELL_M, turn / 2), False
        if self.machine.value("pivots"):
            yield from (((0.0, turn), False) for turn in (-TURN, TURN))
        dx, dy = self.goal.x - state[0], self.goal.y - state[1]
        far, aside = math.hypot(dx, dy), math.remainder(math.atan2(dy, dx) - state[2], 2.0 * math.pi)
        gear = 1.0 if abs(aside) < math.pi / 2 else -1.0
        half = aside if gear > 0 else math.remainder(math.pi + aside, 2.0 * math.pi)
        if 1e-6 < far < SHOT_M and 2.0 * abs(math.sin(half)) * self.radius_m <= far and abs(half) < 1.2:
            yield (gear * far / float(np.sinc(half / math.pi)), 2.0 * half), True

    def drivable(self, state: State, stretches: list[Stretch]) -> bool:
        """Whether the second opinion lets a drive be driven, proven or not."""
        self.asked += 1
        poses = drive(*state, stretches, step_m=0.09, turn_deg=1.9)
        ends = (worlds.place("A", poses[0].x, poses[0].y), worlds.place("B", poses[-1].x, poses[-1].y))
        here = replace(
            self.site, places={end.id: end for end in ends}, moves=(worlds.wanted(self.machine.id, "A", "B"),)
        )
        return not opinion(move_of(poses, self.machine, verdict="not proven"), here)

    def standing(self, place: Point) -> list[State]:
        """Poses at a place in which the machine may stand, or drive a centimetre."""
        poses = [(place.x, place.y, n * TURN) for n in range(32)]
        return [pose for pose in poses if self.drivable(pose, [(0.01, 0.0)])]

    def way(self) -> tuple[State, tuple[Stretch, ...]] | None:
        """A start and the arcs of a way to the goal that can be driven as a whole; None if none was found."""
        order, closed = count(), set[tuple[int, int, int]]()
        heap: list[tuple[float, int, float, State, tuple[Stretch, ...], State, bool]] = []

        def offer(state: State, way: tuple[Stretch, ...], start: State, cost: float, last: bool) -> None:
            row, col = math.floor(state[1] / CELL_M), math.floor(state[0] / CELL_M)
            if 0 <= row < self.left.shape[0] and 0 <= col < self.left.shape[1]:
                key = cost + (0.0 if last else GREED * float(self.left[row, col]))
                heapq.heappush(heap, (key, next(order), cost, state, way, start, last))

        for first in self.standing(self.start) if self.standing(self.goal) else ():
            offer(first, (), first, 0.0, False)
        while heap and self.asked < MOST_ASKED:
            _, _, cost, state, way, start, last = heapq.heappop(heap)
            if not last and told_apart(state) in closed:
                continue
            if way and not self.drivable(_before(start, way), [way[-1]]):
                continue
            if last and self.drivable(start, list(way)):
                return start, way
            closed.add(told_apart(state))
            for stretch, shot in self.stretches(state):
                to = driven(state, stretch)
                if shot or told_apart(to) not in closed:
                    more = abs(stretch[0]) * (1.0 if stretch[0] > 0 else 1.5) + 0.3 * abs(stretch[1])
                    offer(to, (*way, stretch), start, cost + more, shot)
        return None


def _before(start: State, way: tuple[Stretch, ...]) -> State:
    for stretch in way[:-1]:
        start = driven(start, stretch)
    return start


def solved(seeds: range, *, rough: bool) -> tuple[set[int], set[int]]:
    """Seeds of the sites that the reference solves, and of those that the planner does."""
    sites = {seed: drawn_site(seed, rough=rough) for seed in seeds}
    plans = {seed: plan_site(site, issued="2026-11-24T12:00:00+00:00") for seed, site in sites.items()}
    by_planner = {seed for seed, plan in plans.items() if plan.moves[0].poses}
    return {seed for seed, site in sites.items() if Reference(site).way() is not None}, by_planner


def test_what_can_be_driven_is_found() -> None:
    solvable, missed = 0, set[tuple[str, int]]()
    for rough, ground in ((False, "even"), (True, "rough")):
        by_reference, by_planner = solved(SEEDS, rough=rough)
        missed |= {(ground, seed) for seed in by_reference - by_planner}
        print(f"\n{ground}: of {len(SEEDS)} the reference solves {len(by_reference)}, the planner {len(by_planner)}")
        assert len(by_reference) >= 0.4 * len(SEEDS), "hopeless sites show nothing"
        if ground == "even" or not FULL:  # of all rough sites it is 95.6 % yet (docs/design.md, how complete)
            assert len(by_reference - by_planner) <= (1.0 - LEAST_SHARE) * len(by_reference), missed
        solvable += len(by_reference)
    print(f"missed of {solvable}: {sorted(missed)}")
    assert len(missed) <= (1.0 - LEAST_SHARE) * solvable, missed
