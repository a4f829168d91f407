"""The lattice of one machine on one site: motions checked on demand, and a best way between two sets of exact poses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.arrays import E_BOUNDARY, E_CLOSED, E_LINES, Body
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.sweep import along
from routeplan.hazards.tile import Checker, new_scratch, standing_room
from routeplan.search import best_first
from routeplan.search.anchors import Anchor, GridFrame, Link, link_anchor, link_cost
from routeplan.search.best_first import Frontier, Lattice, Relaxation, Spread
from routeplan.search.motions import Motions
from routeplan.site.model import Site

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

#: Thousandths by which bounds are raised (see ``best_first.Frontier``).
INFLATION = 0
#: Beyond this many expanded states the search gives up, in words and with its own exit status.
STATE_LIMIT = 60_000_000
#: States looked at to say how far the machine gets where there is proven to be no way.
LOOK_AROUND = 400_000
#: Costs this far beyond the relaxed best are bounded one by one, the rest by one number.
SPARE_M = 60.0


@dataclass(frozen=True, eq=False)
class Motion:
    """A driven motion: where it starts, its pieces (n, 3) in the order driven, and gear +1 or -1 (0 on the spot)."""

    at: Anchor
    pieces: Floats
    gear: int


@dataclass(frozen=True, eq=False)
class Found:
    """A way: its motions, cost as metres of the best forward driving, and the least that any way here can cost."""

    motions: tuple[Motion, ...]
    cost_m: float
    bound_m: float
    expanded: int


@dataclass(frozen=True, eq=False)
class NotFound:
    """No way on this lattice (``exhausted``), or the search gave up (``limit``).

    ``reached`` holds the lattice poses that were reached, for naming what blocks.
    """

    why: Literal["exhausted", "limit"]
    reached: Ints
    expanded: int


@dataclass(eq=False)
class CheckedLattice:
    """Motions of one machine on one site, checked as searches ask for them, and kept.

    Parameters
    ----------
    progress
        Called now and then with the number of motions checked so far.
    """

    site: Site
    hazards: Hazards
    motions: Motions
    radius_m: float
    progress: Callable[[int], None] = lambda checked: None
    links: list[Link] = field(default_factory=list)
    anchors: list[Anchor] = field(default_factory=list)

    def __post_init__(self) -> None:
        terrain = self.hazards.terrain
        rows, cols = ((n - 1) // terrain.stride + 1 for n in terrain.level.shape)
        n_h, n_p = self.motions.counts.shape
        self.grid = GridFrame(terrain.x0, terrain.y0, terrain.cell_m * terrain.stride, rows, cols, n_h)
        self.table = np.zeros((rows, cols, n_h, n_p), np.uint8)
        self.poses = np.zeros((rows, cols, n_h), np.uint8)
        self.checked = np.zeros(1, np.int64)
        self.shut = self._shut()
        self.taken = self._taken()

    def add_anchor(self, anchor: Anchor) -> int:
        """Link an exact pose to the lattice; returns its pose number."""
        pose = self.grid.poses + len(self.anchors)
        self.anchors.append(anchor)
        self.links += link_anchor(
            anchor, pose, hazards=self.hazards, motions=self.motions, grid=self.grid, radius_m=self.radius_m
        )
        return pose

    def pose_of(self, pose: int) -> Anchor:
        """The pose with a number, on the lattice or not."""
        if pose >= self.grid.poses:
            return self.anchors[pose - self.grid.poses]
        return self.grid.pose_of(pose, self.motions.headings)

    def find(self, starts: Sequence[int], goals: Sequence[int], *, limit: int = STATE_LIMIT) -> Found | NotFound:
        """Best way from any of the start poses to any of the goal poses (pose numbers of anchors).

        The cost is at most ``INFLATION`` thousandths above the least on this lattice and its links.
        """
        lattice, kept = self._arrays()
        bounds, any_way = self._bounds(self._relaxation(kept, self.taken), starts, goals)
        if not any_way:  # proven; the search then shows how far the machine gets towards the goal
            bounds, _ = self._bounds(self._relaxation(kept, self.shut), starts, goals)
            limit = min(limit, LOOK_AROUND)
        goal = np.zeros(max(len(self.anchors), 1), np.uint8)
        goal[np.asarray(goals) - self.grid.poses] = 1
        frontier = self._frontier(starts, bounds)
        checker = self.checker()
        while True:
            status, state = best_first.search(lattice, checker, bounds, goal, frontier, limit)
            self.progress(int(self.checked[0]))
            if status == best_first.FULL:
                frontier = _grown(frontier)
            elif status != best_first.PAUSED:
                break
        expanded = int(frontier.expanded[0])
        if status == best_first.FOUND:
            cost = (abs(int(frontier.best[state])) - 1) / best_first.UNIT_PER_MM / 1000.0
            relaxed = min(int(bounds[place]) for place in self._places(starts)) / best_first.UNIT_PER_MM / 1000.0
            bound = max(relaxed, cost / (1.0 + INFLATION / 1000.0))
            return Found(self._walk(frontier, state, kept), cost, bound, expanded)
        reached = np.unique(np.flatnonzero(frontier.best[: 2 * self.grid.poses] < 0) // 2)
        return NotFound("exhausted" if status == best_first.EXHAUSTED or not any_way else "limit", reached, expanded)

    def _bounds(self, relaxation: Relaxation, starts: Sequence[int], goals: Sequence[int]) -> tuple[Ints, bool]:
        """Lower bounds on the cost to go from every place, and whether there is any way; 0 everywhere if not."""
        places, room = self.grid.rows * self.grid.cols + len(self.anchors), 1 << 16
        done, watched = np.zeros(places, np.uint8), np.zeros(places, np.uint8)
        done[: relaxation.shut.size] = relaxation.shut.ravel()
        watched[self._places(starts)] = 1
        spread = Spread(
            np.full(places, best_first.UNREACHED, np.int64), done, watched, np.empty(room, np.int64),
            np.empty(room, np.int64), np.zeros(1, np.int64), np.array([best_first.UNREACHED, 0]),
        )  # fmt: skip
        for place in self._places(goals):
            if not done[place]:
                spread.out[place] = 0
                best_first.push(spread.heap_key, spread.heap_state, spread.size, 0, int(place))
        spare = int(SPARE_M * 1000) * best_first.UNIT_PER_MM
        while best_first.relaxed(relaxation, spread, spare) == best_first.FULL:
            spread = _grown(spread)
        any_way = bool(spread.nearest[0] != best_first.UNREACHED)
        if not any_way:
            spread.out[:] = 0
        return spread.out, any_way

    def checker(self) -> Checker:
        """What the kernels need to check motions of this lattice, with room for one thread."""
        hazards, motions = self.hazards, self.motions
        return Checker(
            hazards.world, hazards.body, hazards.blocking, motions.headings, motions.pieces, motions.counts,
            hazards.terrain.stride, np.array([[1e-6, 0.0, 0.0]]), True, new_scratch(hazards.body),
        )  # fmt: skip

    def _places(self, poses: Sequence[int]) -> Ints:
        n = self.grid.headings
        cells = self.grid.rows * self.grid.cols
        return np.array([p // n if p < self.grid.poses else cells + p - self.grid.poses for p in poses], np.int64)

    def _shut(self) -> Bytes:
        """Lattice cells that the origin could not enter even if much less were in the way: it lies in something."""
        terrain, world = self.hazards.terrain, self.hazards.world
        bits = world.inside[:: terrain.stride, :: terrain.stride]
        shut = (bits & ((1 << E_BOUNDARY) | (1 << E_LINES) | (1 << E_CLOSED))) != 0
        shut |= ~np.isfinite(terrain.level[:: terrain.stride, :: terrain.stride])
        inner = disc_at_origin_m(self.hazards.body)
        for obstacle in self.site.obstacles:
            if obstacle.top_m is None:
                self._shut_near(shut, obstacle.geometry, inner)
        edge = self.site.boundary.boundary
        self._shut_near(shut, edge, inner)
        result: Bytes = shut[: self.grid.rows, : self.grid.cols].astype(np.uint8)
        return result

    def _taken(self) -> Bytes:
        """Lattice cells where no heading may stand, every one looked at: bounds then lead round what cannot be used."""
        taken = self.shut.copy()
        thirds = np.linspace(0, self.grid.rows, 4).astype(int)
        with ThreadPoolExecutor() as pool:
            parts = [
                pool.submit(standing_room, self.checker(), int(first), int(last), self.poses, taken)
                for first, last in zip(thirds, thirds[1:], strict=False)
            ]
            for part in parts:
                part.result()
        return taken

    def _shut_near(self, shut: NDArray[np.bool_], geometry: BaseGeometry, reach_m: float) -> None:
        stride = self.hazards.terrain.stride
        r, c, _ = self.hazards.terrain.nodes_within(geometry, reach_m - 1e-6)
        on = (r % stride == 0) & (c % stride == 0)
        shut[r[on] // stride, c[on] // stride] = True

    def _arrays(self) -> tuple[Lattice, list[tuple[Link, int]]]:
        """Kernel arrays, and the links in their order with the gear each is driven in."""
        poses = self.grid.poses
        driven = [(link, gear) for link in self.links for gear in (0, 1)]
        driven.sort(key=lambda item: item[0].start if item[1] == 0 else item[0].goal)
        leave = np.array([lk.start if g == 0 else lk.goal for lk, g in driven], np.int64)
        arrive = np.array([2 * (lk.goal if g == 0 else lk.start) + g for lk, g in driven], np.int64)
        cost = np.array([link_cost(lk, g) for lk, g in driven], np.int64)
        linked = np.zeros(self.grid.rows * self.grid.cols, np.uint8)
        linked[leave[leave < poses] // self.grid.headings] = 1
        motions = self.motions
        into_h, into_p = _into(motions)
        lattice = Lattice(
            motions.d_row, motions.d_col, motions.end, motions.length_mm, motions.counts, into_h, into_p, self.table,
            self.poses, self.checked, linked, leave, arrive, cost,
        )  # fmt: skip
        return lattice, driven

    def _relaxation(self, driven: list[tuple[Link, int]], shut: Bytes) -> Relaxation:
        motions = self.motions
        moves: dict[tuple[int, int], int] = {}
        for h in range(motions.counts.shape[0]):
            for p in range(motions.counts.shape[1]):
                d = (int(motions.d_row[h, p]), int(motions.d_col[h, p]))
                if motions.counts[h, p] and d != (0, 0):
                    for way in (d, (-d[0], -d[1])):
                        cost = int(motions.length_mm[h, p]) * best_first.UNIT_PER_MM
                        moves[way] = min(moves.get(way, cost), cost)
        back = sorted(
            (
                int(self._places([lk.goal if g == 0 else lk.start])[0]),
                int(self._places([lk.start if g == 0 else lk.goal])[0]),
                lk.length_mm * best_first.UNIT_PER_MM,
            )
            for lk, g in driven
        )
        table = np.array(back, np.int64).reshape(-1, 3)
        linked = np.zeros(self.grid.rows * self.grid.cols + len(self.anchors), np.uint8)
        linked[table[:, 0]] = 1
        every = np.array([(*d, cost) for d, cost in sorted(moves.items())], np.int64)
        columns = [np.ascontiguousarray(table[:, i]) for i in range(3)]
        return Relaxation(shut, every, columns[0], columns[1], columns[2], linked)

    def _frontier(self, starts: Sequence[int], bounds: Ints) -> Frontier:
        n = 2 * (self.grid.poses + len(self.anchors))
        room = 1 << 20
        frontier = Frontier(
            np.zeros(n, np.int64), np.zeros(n, np.int32), np.empty(room, np.int64), np.empty(room, np.int64),
            np.zeros(1, np.int64), np.zeros(1, np.int64), np.array([INFLATION]),
        )  # fmt: skip
        for pose, place in zip(starts, self._places(starts), strict=True):
            for gear in (0, 1):
                if bounds[place] != best_first.UNREACHED:
                    frontier.best[2 * pose + gear] = 1
                    best_first.push(
                        frontier.heap_key, frontier.heap_state, frontier.size, int(bounds[place]), 2 * pose + gear
                    )
        return frontier

    def _walk(self, frontier: Frontier, state: int, driven: list[tuple[Link, int]]) -> tuple[Motion, ...]:
        """Motions from the start to a state, by the parents kept."""
        found: list[Motion] = []
        n_p = self.motions.counts.shape[1]
        while frontier.parent[state] != 0:
            parent = int(frontier.parent[state])
            if parent < 0:
                index, gear_before = divmod(-1 - parent, 2)
                link, gear = driven[index]
                start, pieces, before = link.at, link.pieces, link.goal if gear else link.start
            else:
                code, gear_before = divmod(parent - 1, 2)
                code, gear = divmod(code, 2)
                h, p = divmod(code, n_p)
                pieces = self.motions.pieces[h, p, : self.motions.counts[h, p]]
                before, start = self._lattice_parent(state // 2, h, p, reverse=bool(gear))
            spot = bool(pieces[0, 2] > 0)
            found.append(Motion(start, pieces, 0 if spot else 1 - 2 * gear) if not gear else _reversed(start, pieces))
            state = 2 * before + gear_before
        return tuple(reversed(found))

    def _lattice_parent(self, pose: int, h: int, p: int, *, reverse: bool) -> tuple[int, Anchor]:
        """Pose before a primitive, and the pose its pieces start from (the same, or the one driven back to)."""
        cell = pose // self.grid.headings
        row, col = divmod(cell, self.grid.cols)
        d_row, d_col = int(self.motions.d_row[h, p]), int(self.motions.d_col[h, p])
        if reverse:
            before = self.grid.pose_id(row + d_row, col + d_col, int(self.motions.end[h, p]))
            return before, self.pose_of(pose)
        before = self.grid.pose_id(row - d_row, col - d_col, h)
        return before, self.pose_of(before)


def disc_at_origin_m(body: Body) -> float:
    """Radius of the largest disc about the origin that the body and the gap to obstacles and the boundary fill, m."""
    radius = 0.0
    for a0, a1, b0, b1, *_ in body.boxes:
        radius = max(radius, min(-a0, a1, -b0, b1) + body.structure_gap + body.lateral)
    return float(radius)


def _into(motions: Motions) -> tuple[Ints, Ints]:
    lists: list[list[tuple[int, int]]] = [[] for _ in motions.headings]
    for h, p in zip(*np.nonzero(motions.counts), strict=True):
        lists[motions.end[h, p]].append((int(h), int(p)))
    width = max(map(len, lists)) + 1
    table = np.full((2, len(lists), width), -1, np.int64)
    for h, entries in enumerate(lists):
        for m, (h0, p) in enumerate(entries):
            table[:, h, m] = h0, p
    return np.ascontiguousarray(table[0]), np.ascontiguousarray(table[1])


_Heaped = TypeVar("_Heaped", Frontier, Spread)


def _grown(frontier: _Heaped) -> _Heaped:
    """The same with a heap twice as large."""
    more = np.empty_like(frontier.heap_key)
    return frontier._replace(
        heap_key=np.concatenate([frontier.heap_key, more]), heap_state=np.concatenate([frontier.heap_state, more])
    )


def _reversed(start: Anchor, pieces: Floats) -> Motion:
    """The same motion driven backwards: it begins where the pieces end."""
    x, y, heading = start.x, start.y, start.heading
    for length, curvature, pivot in pieces:
        x, y, heading = along(x, y, heading, length, curvature, pivot)
    back = pieces[::-1].copy()
    back[:, 0] *= -1.0
    return Motion(Anchor(x, y, heading), back, -1)
