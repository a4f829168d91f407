"""The lattice of one machine on one site: motions checked on demand, and a best way between two sets of exact poses."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import InitVar, dataclass, field
from itertools import islice
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.prepare import Hazards
from routeplan.hazards.tile import BLOCKED
from routeplan.search import best_first
from routeplan.search.anchors import Anchor, GridFrame, Link, check_motions, link_cost
from routeplan.search.best_first import Frontier, Lattice
from routeplan.search.heap import grown, new_heap, push
from routeplan.search.known import Before, Judged, Looked
from routeplan.search.motions import Motions
from routeplan.search.passages import Passage, find_passages
from routeplan.search.relaxation import EXHAUSTED, FULL, UNREACHED, Relaxation, Spread, relaxed
from routeplan.search.room import look_for_room, new_checker
from routeplan.search.straighten import Motion
from routeplan.site.model import Site

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
#: Row, column, heading and primitive of a motion of the lattice.
Entry = tuple[int, int, int, int]

#: Lines through passages are joined where the body just does not reach into them, and a run-up further out, m.
MOUTH_M, RUN_UP_M = 0.1, 2.0
#: Lines through a passage tried in their order, as shares of its spare room to the left of its middle: on a slope the
#: machine leans towards one side, and other things may stand in the way on one.
SHARES = (0.0, 0.25, -0.25, 0.45, -0.45)
#: Beyond this many expanded states the search gives up, in words and with its own exit status.
STATE_LIMIT = 60_000_000
#: States looked at to say how far the machine gets where there is proven to be no way.
LOOK_AROUND = 400_000
#: Costs this far beyond the relaxed best are bounded one by one, the rest by one number.
SPARE_M = 60.0
#: Most ways that are looked at closer before a search gives up.
MOST_LOOKS = 200


@dataclass(frozen=True, eq=False)
class Found:
    """A cheapest way on the lattice, and the least that any way on it can cost, as metres of the best forward driving.

    ``entries`` says where each motion stands, in the table or as a link; ``start`` and ``goal`` are the numbers of the
    ends. Proven ways come first: ``cost_m`` leaves out what an open metre
    weighs in the search, ``open_m`` counts them.
    """

    motions: tuple[Motion, ...]
    entries: tuple[Entry | Link, ...]
    start: int
    goal: int
    cost_m: float
    open_m: float
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
    before
        What is known already from a day with fewer areas closed.
    """

    site: Site
    hazards: Hazards
    motions: Motions
    progress: Callable[[int], None] = lambda checked: None
    before: InitVar[Before | None] = None
    links: list[Link] = field(default_factory=list)
    anchors: list[Anchor] = field(default_factory=list)
    passages: list[Passage] = field(default_factory=list)
    _numbers: dict[Anchor, int] = field(default_factory=dict)
    _sure: set[Entry | Link] = field(default_factory=set)

    def __post_init__(self, before: Before | None) -> None:
        terrain = self.hazards.terrain
        rows, cols = ((n - 1) // terrain.stride + 1 for n in terrain.level.shape)
        n_h, n_p = self.motions.counts.shape
        self.grid = GridFrame(terrain.x0, terrain.y0, terrain.cell_m * terrain.stride, rows, cols, n_h)
        self.checked = np.zeros(1, np.int64)
        self._judged = Judged(self.hazards, self.motions, self.grid, before)
        if before is None:
            self.table = np.zeros((rows, cols, n_h, n_p), np.uint8)
            self.poses = np.zeros((rows, cols, n_h), np.uint8)
            self.room = look_for_room(self.site, self.hazards, self.motions, poses=self.poses, table=self.table)
        else:
            self.table, self.poses, self.room = before.again(self.hazards, self.motions)
        self.passages = find_passages(self.hazards.world, self.hazards.body, passage_room_m(self))
        for passage in self.passages:
            self._add_passage(passage)

    def _add_passage(self, passage: Passage) -> None:
        """Link the exact line through a passage to the lattice, a machine's length before and after it, both ways."""
        front, rear = float(self.hazards.body.hull[1]), -float(self.hazards.body.hull[0])
        before, after = -passage.half_m - front - MOUTH_M, passage.half_m + rear + MOUTH_M
        along = before - RUN_UP_M, before, after, after + RUN_UP_M
        for way in (passage, passage.turned()):
            lines = ([Anchor(*way.at(t, share * way.spare_m), way.heading) for t in along] for share in SHARES)
            driven = (line for line in lines if self._judged.drives([(line[1], 0), (line[2], 1)]))
            for line in islice(driven, 1):
                self.links += self._judged.drives([(anchor, self.add_anchor(anchor)) for anchor in line])

    def add_anchor(self, anchor: Anchor) -> int:
        """Link an exact pose to the lattice, once; returns its pose number."""
        if anchor in self._numbers:
            return self._numbers[anchor]
        pose = self._numbers[anchor] = self.grid.poses + len(self.anchors)
        self.anchors.append(anchor)
        self.links += self._judged.to_lattice(anchor, pose)
        return pose

    @property
    def looked(self) -> Looked:
        """What it has looked at so far."""
        return Looked(self.table, self.poses, self.room, self._judged)

    def pose_of(self, pose: int) -> Anchor:
        """The pose with a number, on the lattice or not."""
        if pose >= self.grid.poses:
            return self.anchors[pose - self.grid.poses]
        return self.grid.pose_of(pose, self.motions.headings)

    def find(
        self, starts: Sequence[int], goals: Sequence[int], *, limit: int = STATE_LIMIT, looks: int = MOST_LOOKS
    ) -> Found | NotFound:
        """Best way from any of the start poses to any of the goal poses (numbers of lattice poses or anchors).

        No way on this lattice and its links has less open length, nor costs less with as little of it. ``limit`` is how
        many states the search expands before it gives up; ``looks``, where a closer look is taken, how many ways it
        looks at.
        """
        found = self.find_each(dict.fromkeys(starts, 0.0), goals, limit=limit, looks=looks)
        return found if isinstance(found, NotFound) else found[0]

    def find_each(
        self, starts: Mapping[int, float], goals: Sequence[int], *, most_m: float = 0.0, limit: int = STATE_LIMIT,
        looks: int = MOST_LOOKS,
    ) -> tuple[Found, ...] | NotFound:
        """Best ways to several goal poses, the cheapest first: to one in any case, and to all for at most ``most_m``.

        Each starts where it costs least together with what was paid to come there: ``starts`` has that by pose, m, open
        metres as they weigh. ``most_m`` counts it too.
        """
        kept = self._arrays()[1]
        bounds, any_way = self._bounds(self._relaxation(kept, self.room.taken), list(starts), goals)
        if not any_way:  # proven; the search then shows how far the machine gets towards the goal
            bounds, _ = self._bounds(self._relaxation(kept, self.room.shut), list(starts), goals)
            limit = min(limit, LOOK_AROUND)
        for _ in range(looks):
            lattice, kept = self._arrays()  # with what the last look put right
            status, frontier, ends = self._searched(lattice, bounds, starts, goals, most_m, limit)
            found = tuple(self._found(frontier, end, kept, bounds, starts) for end in ends)
            if found and all(map(self._holds, found)):
                return found
            if not found:
                break
        reached = np.unique(np.flatnonzero(frontier.best[: 2 * self.grid.poses] < 0) // 2)
        proven = not found and (status == EXHAUSTED or not any_way)
        return NotFound("exhausted" if proven else "limit", reached, int(frontier.expanded[0]))

    def _searched(
        self, lattice: Lattice, bounds: Ints, starts: Mapping[int, float], goals: Sequence[int], most_m: float,
        limit: int,
    ) -> tuple[int, Frontier, list[int]]:
        """How a search ended, all that it reached, and the states of the goals that it found; see ``find_each``."""
        goal = np.zeros(self.grid.poses + len(self.anchors), np.uint8)
        goal[np.asarray(goals)] = 1
        frontier = self._frontier(starts, bounds)
        checker = new_checker(self.hazards, self.motions)
        ends: list[int] = []
        most = best_first.NO_LIMIT
        while goal.any():
            status, state = best_first.search(lattice, checker, bounds, goal, frontier, limit, most)
            self.progress(int(self.checked[0]))
            if status == FULL:
                frontier = frontier._replace(heap=grown(frontier.heap))
            elif status == best_first.FOUND:
                ends.append(state)
                best_first.go_on(frontier, goal, state)
                most, limit = _units(most_m), best_first.NO_LIMIT  # the rest proves that the way is a best one
            elif status != best_first.PAUSED:
                break
        return status, frontier, ends

    def _holds(self, found: Found) -> bool:
        """Whether the motions of a way are what the table and the links have them be; where a closer look was taken at
        a glance only, those are put right.
        """
        if not self.hazards.world.closer:
            return True
        seen = [entry for entry in found.entries if entry not in self._sure]
        links = [entry for entry in seen if isinstance(entry, Link)]
        entries = [entry for entry in seen if not isinstance(entry, Link)]
        self._sure.update(seen)
        return self._links_hold(links) & self._table_holds(entries)

    def _table_holds(self, entries: Sequence[Entry]) -> bool:
        """Whether entries of the table are right; they are put right."""
        if not entries:
            return True
        rows, cols, h, p = np.array(entries).T
        motions, grid = self.motions, self.grid
        starts = np.column_stack([grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, motions.headings[h]])
        _, verdicts = check_motions(self.hazards, starts, motions.pieces[h, p], brief=True)
        before = self.table[rows, cols, h, p]
        self.table[rows, cols, h, p] = verdicts
        return bool(np.array_equal(before, verdicts))

    def _links_hold(self, links: Sequence[Link]) -> bool:
        """Whether links are right; others stand for those that are not, and none for what is blocked."""
        looked_at = {link: link.judged(self.hazards) for link in links}
        wrong = {link: right for link, right in looked_at.items() if right.byte != link.byte}
        self.links = [link for link in (wrong.get(link, link) for link in self.links) if link.byte != BLOCKED]
        self._sure.update(wrong.values())
        return not wrong

    def _found(
        self, frontier: Frontier, state: int, driven: list[tuple[Link, int]], bounds: Ints, starts: Mapping[int, float]
    ) -> Found:
        """The way to a goal's state that was reached."""
        motions, entries, open_mm, start = self._walk(frontier, state, driven)
        cost = abs(int(frontier.best[state])) - 1 - _units(starts[start])
        cost -= open_mm * best_first.UNIT_PER_MM * best_first.OPEN_WEIGHT
        least = min(int(bounds[place]) for place in self._places(list(starts))) if open_mm else cost
        expanded = int(frontier.expanded[0])
        return Found(motions, entries, start, state // 2, _metres(cost), open_mm / 1000.0, _metres(least), expanded)

    def may_lead(self, starts: Sequence[int], goals: Sequence[int]) -> bool:
        """Whether there could be a way if headings did not matter; where not, it is proven that there is none."""
        return self._bounds(self._relaxation(self._arrays()[1], self.room.taken), starts, goals)[1]

    def least_m(self, starts: Sequence[Sequence[int]], goals: Sequence[int]) -> list[float]:
        """The least that a way from each of some sets of start poses to any of the goal poses can cost, m.

        Nothing is searched: headings and most hazards are forgotten. Infinite where it is proven that there is none.
        """
        all_of = [pose for poses in starts for pose in poses]
        bounds, any_way = self._bounds(self._relaxation(self._arrays()[1], self.room.taken), all_of, goals)
        reached = [[int(bounds[place]) for place in self._places(poses)] for poses in starts]
        known = [[cost for cost in costs if any_way and cost != UNREACHED] for costs in reached]
        return [min(map(_metres, costs), default=math.inf) for costs in known]

    def _bounds(self, relaxation: Relaxation, starts: Sequence[int], goals: Sequence[int]) -> tuple[Ints, bool]:
        """Lower bounds on the cost to go from every place, and whether there is any way; 0 everywhere if not."""
        places, room = self.grid.rows * self.grid.cols + len(self.anchors), 1 << 16
        done, watched = np.zeros(places, np.uint8), np.zeros(places, np.uint8)
        done[: relaxation.shut.size] = relaxation.shut.ravel()
        watched[self._places(starts)] = 1
        spread = Spread(
            np.full(places, UNREACHED, np.int64), done, watched, new_heap(room), np.array([UNREACHED, 0]),
        )  # fmt: skip
        for place in self._places(goals):
            if not done[place]:
                spread.out[place] = 0
                push(spread.heap, 0, int(place), 0)
        spare = int(SPARE_M * 1000) * best_first.UNIT_PER_MM
        while relaxed(relaxation, spread, spare) == FULL:
            spread = spread._replace(heap=grown(spread.heap))
        any_way = bool(spread.nearest[0] != UNREACHED)
        if not any_way:
            spread.out[:] = 0
        return spread.out, any_way

    def _places(self, poses: Sequence[int]) -> Ints:
        numbers, cells = np.asarray(poses, np.int64), self.grid.rows * self.grid.cols
        return np.where(numbers < self.grid.poses, numbers // self.grid.headings, numbers - self.grid.poses + cells)

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
        into_h, into_p = motions.into()
        lattice = Lattice(
            motions.d_row, motions.d_col, motions.end, motions.length_mm, motions.counts, into_h, into_p, self.table,
            self.poses, self.checked, linked, leave, arrive, cost,
        )  # fmt: skip
        return lattice, driven

    def _relaxation(self, driven: list[tuple[Link, int]], shut: Bytes) -> Relaxation:
        room = self.room
        to = self._places([lk.goal if g == 0 else lk.start for lk, g in driven])
        start = self._places([lk.start if g == 0 else lk.goal for lk, g in driven])
        cost = np.array([lk.length_mm for lk, _ in driven], np.int64) * best_first.UNIT_PER_MM
        order = np.lexsort((cost, start, to))
        to, start, cost = to[order], start[order], cost[order]
        linked = np.zeros(self.grid.rows * self.grid.cols + len(self.anchors), np.uint8)
        linked[to] = 1
        hops = np.zeros(self.grid.rows * self.grid.cols, np.uint8)
        hops[room.barred // len(room.moves)] = 1
        return Relaxation(shut, room.walked, room.moves, hops, room.barred, to, start, cost, linked)

    def _frontier(self, starts: Mapping[int, float], bounds: Ints) -> Frontier:
        n = 2 * (self.grid.poses + len(self.anchors))
        frontier = Frontier(
            np.zeros(n, np.int64), np.zeros(n, np.int32), new_heap(1 << 20), np.zeros(1, np.int64)
        )  # fmt: skip
        for (pose, paid_m), place in zip(starts.items(), self._places(list(starts)), strict=True):
            for gear in (0, 1):
                if bounds[place] != UNREACHED:
                    best_first.queue(frontier, 2 * pose + gear, _units(paid_m), int(bounds[place]), 0)
        return frontier

    def _walk(
        self, frontier: Frontier, state: int, driven: list[tuple[Link, int]]
    ) -> tuple[tuple[Motion, ...], tuple[Entry | Link, ...], int, int]:
        """Motions to a state, by the parents kept, where they stand in the table or their links, how many millimetres
        of them are open, and where they start.
        """
        found: list[Motion] = []
        entries: list[Entry | Link] = []
        open_mm = 0
        n_p = self.motions.counts.shape[1]
        while frontier.parent[state] != 0:
            parent = int(frontier.parent[state])
            if parent < 0:
                index, gear_before = divmod(-1 - parent, 2)
                link, gear = driven[index]
                start, pieces, before = link.at, link.pieces, link.goal if gear else link.start
                byte, length_mm = link.byte, link.length_mm
                entries.append(link)
            else:
                code, gear_before = divmod(parent - 1, 2)
                code, gear = divmod(code, 2)
                h, p = divmod(code, n_p)
                pieces, length_mm = self.motions.pieces[h, p, : self.motions.counts[h, p]], self.motions.length_mm[h, p]
                before, first = self._lattice_parent(state // 2, h, p, reverse=bool(gear))
                entry = (*self.grid.cell_of(first), h, p)
                entries.append(entry)
                start, byte = self.pose_of(first), self.table[entry]
            open_mm += int(length_mm) if byte & best_first.OPEN else 0
            forward = Motion(start, pieces, 0 if pieces[0, 2] > 0 else 1)
            found.append(forward.reversed() if gear else forward)
            state = 2 * before + gear_before
        return tuple(reversed(found)), tuple(entries), open_mm, state // 2

    def _lattice_parent(self, pose: int, h: int, p: int, *, reverse: bool) -> tuple[int, int]:
        """Pose before a primitive, and the pose its pieces start from (the same, or the one driven back to)."""
        row, col = self.grid.cell_of(pose)
        d_row, d_col = int(self.motions.d_row[h, p]), int(self.motions.d_col[h, p])
        if reverse:
            return self.grid.pose_id(row + d_row, col + d_col, int(self.motions.end[h, p])), pose
        before = self.grid.pose_id(row - d_row, col - d_col, h)
        return before, before


def passage_room_m(lattice: CheckedLattice) -> float:
    """Room beyond what is wanted from which the lattice's own headings drive any gap, m."""
    hull, half_gap = lattice.hazards.body.hull, 0.5 * float(np.diff(np.sort(lattice.motions.headings)).max())
    return float(hull[1] - hull[0]) * math.sin(half_gap) + 2.0 * lattice.grid.cell_m


def _units(cost_m: float) -> int:
    """Metres of the best forward driving as a cost."""
    return round(min(cost_m * 1000.0 * best_first.UNIT_PER_MM, best_first.NO_LIMIT))


def _metres(cost: int) -> float:
    """A cost as metres of the best forward driving."""
    return cost / best_first.UNIT_PER_MM / 1000.0
