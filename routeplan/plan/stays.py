"""Where a machine stands when, by its dated moves: the time from when it comes to the site until it is collected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from routeplan.plan.move import MovePlanner
from routeplan.plan.way_by_day import WayByDay
from routeplan.plan.whole import Issue, judged
from routeplan.site.model import MoveWanted


@dataclass(frozen=True, eq=False)
class Step:
    """A move of a machine, on its day, and made on any other from where the machine stands before it."""

    wanted: MoveWanted
    day: dt.date
    reach: WayByDay


@dataclass(frozen=True, eq=False)
class Stay:
    """A machine on the site.

    Parameters
    ----------
    steps
        Its moves in the order of their days; the last one collects it where any does.
    outs
        Its way out before the first of them, where it is on the site by then, and after each: ``None`` where it is not
        on the site.
    """

    machine: str
    steps: tuple[Step, ...]
    outs: tuple[WayByDay | None, ...]

    @property
    def collection(self) -> Step | None:
        """What collects it."""
        last = self.steps[-1]
        return last if last.wanted.purpose == "collection" else None

    def moved_by(self, day: dt.date, later: dt.timedelta, since: dt.date) -> int:
        """How many of its moves are made by the evening of a day, those from a day on so much later than planned."""
        return sum(self.made_on(step, later, since) <= day for step in self.steps)

    @staticmethod
    def made_on(step: Step, later: dt.timedelta, since: dt.date) -> dt.date:
        """The day of a move, so much later than planned where it is still to be made."""
        return step.day + later if step.day >= since else step.day

    def stands(self, made: int) -> WayByDay | None:
        """Its way out after so many moves; after its collection as if it were still there."""
        if self.collection is not None and made == len(self.steps):
            made -= 1
        return self.outs[made]


def unplaced(moves: Sequence[MoveWanted]) -> str | None:
    """Why nobody knows where a machine stands, or where it gets out, between its moves; ``None`` where they say."""
    undated = [move.id for move in moves if move.on is None]
    if undated:
        return f"move {undated[0]} has no day"
    for before, after in pairwise(_in_order(moves)):
        if before.purpose == "collection":
            if after.purpose != "delivery":
                return f"move {after.id} follows {before.id}, which collects it, and does not deliver it"
        elif after.start != before.goal:
            return f"move {before.id} leaves it at {before.goal}, and {after.id} starts from {after.start}"
    if all(move.purpose == "relocation" for move in moves):
        return "no move delivers or collects it, so nobody says where it gets out"
    return None


def _in_order(moves: Sequence[MoveWanted]) -> list[MoveWanted]:
    return sorted(moves, key=lambda move: move.on or dt.date.max)


def stays_of(moves: Sequence[MoveWanted], planner: MovePlanner, issue: Issue) -> Iterator[Stay]:
    """Each time that a machine is on the site; its moves are planned on their days, for how they leave it."""
    part = list[MoveWanted]()
    for move in _in_order(moves):
        part.append(move)
        if move.purpose == "collection":
            yield _stay(part, planner, issue)
            part = []
    if part:
        yield _stay(part, planner, issue)


def _stay(moves: Sequence[MoveWanted], planner: MovePlanner, issue: Issue) -> Stay:
    first, last = moves[0], moves[-1]
    leaves = last if last.purpose == "collection" else replace(first, goal=first.start)

    def out_from(place: str) -> WayByDay:
        asked = replace(
            leaves, start=place, via=(), purpose="collection", regime="stowed", platform_height_m=None, on=None
        )
        return WayByDay(planner.aside(planner.site), asked, issue)

    outs: list[WayByDay | None] = [None if first.purpose == "delivery" else out_from(first.start)]
    steps = list[Step]()
    for move in moves:
        assert move.on is not None  # such a machine is unplaced
        out = outs[-1]
        if out is not None and out.wanted == replace(move, on=None):
            reach = out  # its collection is its way out
        else:
            reach = WayByDay(planner.aside(planner.site), move, issue)
        own = replace(planner.site, moves=(move,))
        reach.take(judged(planner.plan(move), own, issue, planner.aids.progress).moves[0], move.on)
        steps.append(Step(move, move.on, reach))
        outs.append(None if move.purpose == "collection" else out_from(move.goal))
    return Stay(first.machine, tuple(steps), tuple(outs))
