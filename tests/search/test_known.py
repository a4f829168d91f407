"""What is kept when more areas are closed: every motion, link and way is as on a lattice made afresh.

Three drawn yards run by default, 60 when the environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from routeplan.hazards.prepare import Encounter, encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.tile import BLOCKED, TAKEN, motion_bytes
from routeplan.plan.steer import turn_radius_m
from routeplan.search.anchors import Anchor, Link
from routeplan.search.known import Reach
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.search.motions import Motions, solve_motions
from routeplan.search.room import new_checker
from routeplan.site.model import Area
from tests.random_sites import DAY, EAST_M, NORTH_M, Yard, random_site
from tests.search.windows import small_boom
from tests.worlds import scissor

SEEDS = range(60 if os.environ.get("ROUTEPLAN_FULL") else 3)
#: Ways asked for before the areas are closed, and after.
WAYS = 4


@dataclass(frozen=True, eq=False)
class Pair:
    """The lattice of a yard before some areas are closed, the one made from it, and one made afresh."""

    before: CheckedLattice
    kept: CheckedLattice
    afresh: CheckedLattice
    ways: list[tuple[Anchor, Anchor]]


def _on(met: Encounter, areas: tuple[Area, ...]) -> Encounter:
    return replace(met, site=replace(met.site, areas=areas))


def _named(*shapes: Polygon) -> tuple[Area, ...]:
    return tuple(Area(f"a{n}", "Area", shape, ((DAY, DAY),)) for n, shape in enumerate(shapes))


def _motions(met: Encounter) -> Motions:
    machine, terrain = met.machine, met.terrain
    return solve_motions(
        headings=16, cell_m=terrain.cell_m * terrain.stride, radius_m=turn_radius_m(machine),
        pivots=machine.value("pivots") == 1.0, pivot_arm_m=math.hypot(machine.wheelbase_m, machine.track_m / 2),
    )  # fmt: skip


def _ways(rng: np.random.Generator, headings: NDArray[np.float64]) -> list[tuple[Anchor, Anchor]]:
    """Ends on the lattice's nodes and headings, or off them."""

    def end() -> Anchor:
        x, y, heading = rng.uniform(4.0, EAST_M - 4.0), rng.uniform(4.0, NORTH_M - 4.0), rng.choice(headings)
        if rng.random() < 0.5:
            return Anchor(x, y, float(rng.uniform(-math.pi, math.pi)))
        return Anchor(round(2.0 * x) / 2.0, round(2.0 * y) / 2.0, float(heading))

    return [(end(), end()) for _ in range(WAYS)]


def _found(lattice: CheckedLattice, ways: list[tuple[Anchor, Anchor]]) -> list[tuple[Any, ...]]:
    """Cost and poses of each way, or that there is none."""
    answers = [lattice.find([lattice.add_anchor(a)], [lattice.add_anchor(b)]) for a, b in ways]
    return [
        (one.cost_m, one.open_m, one.bound_m, tuple(motion.at for motion in one.motions))
        if isinstance(one, Found) else (one.why,)
        for one in answers
    ]  # fmt: skip


@cache
def pair(seed: int) -> Pair:
    """Of a small machine on a drawn yard; areas are closed, one of them on a way found, and one was before."""
    rng = np.random.default_rng(7000 + seed)
    site = replace(random_site(rng), obstacles=())
    machine = (scissor(pivots=1.0), scissor(), small_boom())[seed % 3]
    yard = Yard(rng, turned=bool(seed % 2))
    first, *more = (yard.square(3.0) for _ in range(1 + seed % 2))
    site = replace(site, obstacles=yard.obstacles(site.ground.z, 6))
    terrain = build_terrain(site.ground, site.grid)
    met = encounter(site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain)
    motions = _motions(met)
    before = CheckedLattice(
        site, _on(met, _named(first)).on(DAY, travel_m=motions.travel_m), motions
    )
    ways = _ways(rng, motions.headings)
    driven = [poses for *_, poses in _found(before, ways) if not isinstance(poses, str)]
    middle = driven[0][len(driven[0]) // 2] if driven else ways[0][0]
    beside = Anchor(middle.x - 0.07, middle.y + 2.6, middle.heading + 0.1)  # linked past where the area will be
    ways.append((beside, ways[0][1]))
    _found(before, ways[-1:])
    areas = _named(first, *more, Point(middle.x, middle.y).buffer(0.8, quad_segs=2))
    looked = before.looked.apart()
    besides = looked.besides(areas[1:])
    hazards = looked.hazards.with_closed(besides, _on(met, areas).site, machine, DAY)
    kept = CheckedLattice(site, hazards, motions, before=looked.with_closed(besides))
    afresh = CheckedLattice(site, _on(met, areas).on(DAY, travel_m=motions.travel_m), motions)
    return Pair(before, kept, afresh, ways)


def _told(links: list[Link]) -> list[tuple[object, ...]]:
    return [(lk.start, lk.goal, lk.at, lk.pieces.tobytes(), lk.byte, lk.length_mm) for lk in links]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_kernels_see_the_same(seed: int) -> None:
    """But how far edges are beyond all that a motion asks for."""
    kept, afresh = pair(seed).kept.hazards.world, pair(seed).afresh.hazards.world
    farthest_m = Reach(pair(seed).before.hazards, pair(seed).before.motions).about_m
    for name in kept._fields:
        one, other = np.asarray(getattr(kept, name)), np.asarray(getattr(afresh, name))
        for part in one.dtype.names or (...,):
            far = part == "body_far"
            seen, found = (np.minimum(of[part], farthest_m) if far else of[part] for of in (one, other))
            np.testing.assert_array_equal(seen, found, err_msg=f"{name} {part}")


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_kept_is_what_a_look_afresh_finds(seed: int) -> None:
    made = pair(seed)
    known, looked, motions = made.kept.table, np.zeros_like(made.kept.table), made.kept.motions
    checker = new_checker(made.afresh.hazards, motions)
    for h, p in np.argwhere(motions.counts > 0):
        rows, cols = np.nonzero(known[..., h, p])
        motion_bytes(checker, rows, cols, int(h), int(p), looked)
    assert (known != 0).sum() > 0.2 * (made.before.table != 0).sum(), "hardly anything was kept"
    for row, col, h, p in np.argwhere(known != looked):
        # A search looks at the pose that it comes to first, and at no motion to it where that is taken.
        end = row + motions.d_row[h, p], col + motions.d_col[h, p], motions.end[h, p]
        assert known[row, col, h, p] == BLOCKED and TAKEN in (made.kept.poses[row, col, h], made.kept.poses[end])
    assert (known != looked).sum() < 1e-3 * (known != 0).sum()


@pytest.mark.parametrize("seed", SEEDS)
def test_poses_room_and_links_are_those_of_a_lattice_made_afresh(seed: int) -> None:
    kept, afresh = pair(seed).kept, pair(seed).afresh
    both = (kept.poses != 0) & (afresh.poses != 0)
    np.testing.assert_array_equal(kept.poses[both], afresh.poses[both])
    for name in ("shut", "taken", "walked", "moves", "barred"):
        np.testing.assert_array_equal(getattr(kept.room, name), getattr(afresh.room, name), err_msg=name)
    assert kept.passages == afresh.passages
    assert _told(kept.links) == _told(afresh.links)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_ways_are_found_at_the_same_cost(seed: int) -> None:
    made = pair(seed)
    assert _found(made.kept, made.ways) == _found(made.afresh, made.ways)
    assert _told(made.kept.links) == _told(made.afresh.links)


def test_closing_an_area_changes_what_is_near_it() -> None:
    """Else nothing above would show anything: motions that were free are blocked, and ways lead round."""
    made = [pair(seed) for seed in SEEDS]
    assert any(_found(one.before, one.ways) != _found(one.kept, one.ways) for one in made)
    assert any((one.kept.room.taken > one.before.room.taken).any() for one in made)
    assert not any((one.kept.room.taken < one.before.room.taken).any() for one in made)


def test_reach_takes_in_the_whole_motion() -> None:
    """A straight drive of 5 m: the body's farthest corner, half of the longest piece, and the gap about it."""
    lattice = pair(0).before
    body, world = lattice.hazards.body, lattice.hazards.world
    straight = np.array([[[5.0, 0.0, 0.0, 0.0]]])
    least_m = 5.0 + body.reach + 0.5 * world.piece_m
    assert least_m < Reach(lattice.hazards, lattice.motions).of(straight) < least_m + 6.0
