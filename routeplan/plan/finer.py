"""A finer look where a search found no way, before anybody is told that there is none."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from routeplan.plan.way import Stretch, Way, metre_m
from routeplan.route.model import NearMiss
from routeplan.search.anchors import Anchor
from routeplan.search.best_first import SWITCH_MM
from routeplan.search.lattice import CheckedLattice, Found, NotFound
from routeplan.site.model import GridSpec, Site

Ints = NDArray[np.int64]

#: The finer lattice: cells at most this wide, m, and so many headings.
FINE = GridSpec(cell_m=0.10, headings=32)
#: A look reaches this far beyond the machine's own length from a near miss, m.
AROUND_M = 5.0
#: States beyond those already reached after which a finer look gives up.
LIMIT = 8_000_000
#: Looks taken at each place, in their order: the grid (the site's own where ``None``), and how many ways are looked at
#: closer; where none is, the bounds at stances decide, and what they find blocked is.
LOOKS = ((None, 25), (FINE, 0), (FINE, 50), (None, 200))


@dataclass(frozen=True, eq=False)
class Look:
    """What finer looks came to: a way, or how many were taken and how many of them gave up."""

    way: Way | None
    taken: int
    gave_up: int
    grid: str


def part_of(site: Site, around: Polygon, grid: GridSpec) -> Site | None:
    """The site inside a rectangle, on some grid; ``None`` where nothing of it lies there in one piece.

    Its lattice, if on the site's own grid, has its nodes where the site's has.
    """
    ground = site.ground
    step = max(1, round(site.grid.cell_m / ground.cell_m))
    west, south, east, north = around.bounds
    c0, r0 = (
        max(math.floor((v - o) / ground.cell_m / step) * step, 0)
        for v, o in ((west, ground.x_min), (south, ground.y_min))
    )  # fmt: skip
    c1, r1 = (math.ceil((v - o) / ground.cell_m) + 1 for v, o in ((east, ground.x_min), (north, ground.y_min)))
    inside = site.boundary.intersection(around)
    if not isinstance(inside, Polygon) or inside.is_empty:
        return None
    levels = replace(
        ground, z=np.ascontiguousarray(ground.z[r0:r1, c0:c1]), x_min=ground.x_min + c0 * ground.cell_m,
        y_min=ground.y_min + r0 * ground.cell_m, surveyed=None,
    )  # fmt: skip
    return replace(site, boundary=inside, ground=levels, grid=grid)


def _shared(poses: Ints, coarse: CheckedLattice, fine: CheckedLattice) -> Ints:
    """The numbers that those of some coarse lattice poses have which are poses of the fine lattice too."""
    cells, heads = np.divmod(poses, coarse.grid.headings)
    rows, cols = np.divmod(cells, coarse.grid.cols)
    step = fine.grid.cell_m
    r = (coarse.grid.y0 + rows * coarse.grid.cell_m - fine.grid.y0) / step
    c = (coarse.grid.x0 + cols * coarse.grid.cell_m - fine.grid.x0) / step
    turned = np.subtract.outer(coarse.motions.headings, fine.motions.headings)
    turned = np.abs(np.remainder(turned + math.pi, 2 * math.pi) - math.pi)
    heading, alike = turned.argmin(axis=1), turned.min(axis=1) < 1e-9
    good = (np.abs(r - np.round(r)) < 1e-6) & (np.abs(c - np.round(c)) < 1e-6) & alike[heads]
    good &= (r > -0.5) & (c > -0.5) & (r < fine.grid.rows - 0.5) & (c < fine.grid.cols - 0.5)
    numbers = (np.round(r[good]) * fine.grid.cols + np.round(c[good])) * fine.grid.headings + heading[heads[good]]
    return np.asarray(numbers, np.int64)


def _joined(
    coarse: CheckedLattice, fine: CheckedLattice, middle: Found, starts: Sequence[int], goals: Sequence[int]
) -> Way | None:
    """The coarse way to where a fine one begins, the fine one, and the coarse way on from where it ends."""
    first, last = fine.pose_of(middle.start), fine.pose_of(middle.goal)
    before = coarse.find(starts, [coarse.add_anchor(first)])
    after = coarse.find([coarse.add_anchor(last)], goals)
    if not isinstance(before, Found) or not isinstance(after, Found):
        return None
    found = ((before, coarse), (middle, fine), (after, coarse))
    parts = [Stretch(part.motions, lattice) for part, lattice in found if part.motions]
    changes = sum(one.motions[-1].gear != other.motions[0].gear for one, other in pairwise(parts))
    cost_m = metre_m(coarse) * (before.cost_m + middle.cost_m + after.cost_m + changes * SWITCH_MM / 1000.0)
    return Way(tuple(parts), cost_m, cost_m, metre_m(coarse) * _apart_m(coarse, starts, goals))


def _apart_m(lattice: CheckedLattice, starts: Sequence[int], goals: Sequence[int]) -> float:
    """Straight distance between the nearest start and goal, m: no way costs less."""
    from_, to = ([lattice.pose_of(pose) for pose in poses] for poses in (starts, goals))
    return min(math.dist((a.x, a.y), (b.x, b.y)) for a in from_ for b in to)


@dataclass(frozen=True, eq=False)
class _Part:
    """The lattice of a part of the site, and its poses that were reached from the start and that reach the goal."""

    lattice: CheckedLattice
    here: list[int]
    there: list[int]

    def find(self, looks: int) -> Found | NotFound:
        """The best way through. What has no way back has none there, and that shows sooner where less is reached."""
        if len(self.there) < len(self.here):
            back = self._search(self.there, self.here, 1)
            if isinstance(back, NotFound) and back.why == "exhausted":
                return back
        return self._search(self.here, self.there, looks)

    def _search(self, starts: list[int], goals: list[int], looks: int) -> Found | NotFound:
        return self.lattice.find(starts, goals, limit=len(starts) + LIMIT, looks=looks)


@dataclass(frozen=True, eq=False)
class _Side:
    """The poses that a way may begin in, or end in, and the lattice poses reached from them."""

    ends: Sequence[Anchor]
    reached: Ints

    def within(self, coarse: CheckedLattice, fine: CheckedLattice) -> list[int]:
        """What was reached within a part, as poses there; the ends themselves where nothing is reached from them."""
        shared: list[int] = _shared(self.reached, coarse, fine).tolist()
        inside = (at for at in self.ends if fine.site.boundary.covers(Point(at.x, at.y)))
        return shared or [fine.add_anchor(at) for at in inside]


@dataclass(eq=False)
class _Parts:
    """Parts of a site around some places, on some grid and with a closer look or without; each made once."""

    coarse: CheckedLattice
    here: _Side
    there: _Side
    lattice_of: Callable[[Site, bool], CheckedLattice]
    taken: int = 0
    grid: str = ""
    _made: dict[tuple[tuple[float, float], GridSpec, bool], _Part | None] = field(default_factory=dict)

    def around(self, place: tuple[float, float], grid: GridSpec, *, closer: bool) -> _Part | None:
        """The part around a place; ``None`` where no way leads through it."""
        key = place, grid, closer
        if key not in self._made:
            self._made[key] = self._make(*place, grid, closer)
        return self._made[key]

    def _make(self, x: float, y: float, grid: GridSpec, closer: bool) -> _Part | None:
        hull = self.coarse.hazards.body.hull
        reach_m = float(hull[1] - hull[0]) + AROUND_M
        site = part_of(self.coarse.site, box(x - reach_m, y - reach_m, x + reach_m, y + reach_m), grid)
        if site is None:
            return None
        fine = self.lattice_of(site, closer)
        self.taken += 1
        self.grid = f"{fine.grid.cell_m:.2f} m and {fine.grid.headings} headings"
        here, there = (side.within(self.coarse, fine) for side in (self.here, self.there))
        leads = here and there and fine.may_lead(here, there)
        return _Part(fine, here, there) if leads else None


def look_finer(
    coarse: CheckedLattice, answer: NotFound, misses: Sequence[NearMiss], *, starts: Sequence[int],
    goals: Sequence[int], lattice_of: Callable[[Site, bool], CheckedLattice],
) -> Look:
    """Search again around each near miss, from all that was reached to all that reaches the goal: on the same lattice
    with a closer look at the ground, then on a finer one.

    Parameters
    ----------
    lattice_of
        Makes the lattice of a part of the site (see ``part_of``), with a closer look at the ground or without.
    """
    beyond = coarse.find(goals, starts)
    if isinstance(beyond, Found):  # the same motions, driven the other way: cannot be
        raise AssertionError("a way back was found where there is no way there")
    begins, ends = ([coarse.pose_of(pose) for pose in poses] for poses in (starts, goals))
    parts = _Parts(coarse, _Side(begins, answer.reached), _Side(ends, beyond.reached), lattice_of)
    ended: dict[_Part, str] = {}  # as the last look at each did, for a later one may look at more ways
    places: list[tuple[float, float]] = []
    for miss in misses:
        if all(math.dist(miss.place, place) >= AROUND_M for place in places):
            places.append(miss.place)
    for (spec, looks), place in product(LOOKS, places):
        part = parts.around(place, coarse.site.grid if spec is None else spec, closer=looks > 0)
        if part is None:
            continue
        found = part.find(max(looks, 1))
        if isinstance(found, Found):
            way = _joined(coarse, part.lattice, found, starts, goals)
            if way is not None:
                return Look(way, parts.taken, 0, parts.grid)
        ended[part] = "limit" if isinstance(found, Found) else found.why
    return Look(None, parts.taken, list(ended.values()).count("limit"), parts.grid)
