"""Whether there is a way on each of many days: searched for where no way that is known from another day holds.

Only whether there is one matters, so a way that was found for one day is held against another: it must touch nothing
that is closed, or no longer accepted or proven, by then, at a safe distance; and the second opinion must accept it on
that day. Where no known way does, it is searched for, so that no day is without a way unless a search says so.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from routeplan.hazards.arrays import Body
from routeplan.hazards.body import build_body
from routeplan.plan.covered import Covered
from routeplan.plan.dated import Dated, Held, against, held_on, taken, undone
from routeplan.plan.move import MovePlanner
from routeplan.plan.whole import Issue, judged
from routeplan.route.days import SAFE
from routeplan.route.model import Move, MoveVerdict
from routeplan.site.model import MoveWanted, Site


class Answer(NamedTuple):
    """What a move would be on a day, and why."""

    verdict: MoveVerdict
    reason: str

    @property
    def safe(self) -> bool:
        """Whether that is a way."""
        return self.verdict in SAFE


class Known(NamedTuple):
    """A way that passed, what held on its day, and the ground that it covers."""

    move: Move
    held: Held
    covered: Covered


@dataclass(eq=False)
class WayByDay:
    """One move, asked for on any day.

    Parameters
    ----------
    planner
        How the machine stands before the move; it stays as it is.
    wanted
        The move; its day counts for nothing.
    """

    planner: MovePlanner
    wanted: MoveWanted
    issue: Issue
    _answers: dict[Held, Answer] = field(default_factory=dict)
    _known: list[Known] = field(default_factory=list)

    def on(self, day: dt.date) -> Answer:
        """What the move would be on a day."""
        held = held_on(self.planner.site, day)
        if held not in self._answers:
            self._answers[held] = self._asked(day, self.planner.site)
        return self._answers[held]

    def ask(self, days: Iterable[dt.date]) -> None:
        """Ask of many days, those on which most is closed first, for the ways of these are ways on others; and ask
        again of those without, once all ways are known.
        """
        site = self.planner.site
        by_held = {held_on(site, day): day for day in days}
        for _, day in sorted(by_held.items(), key=lambda item: (-len(item[0].closed), item[1])):
            self.on(day)
        for held, day in by_held.items():
            if not self._answers[held].safe:
                self._answers[held] = self._by_known(day, site) or self._answers[held]

    def take(self, move: Move, day: dt.date) -> None:
        """Take what the move was on a day from whoever planned it."""
        self._answers[held_on(self.planner.site, day)] = self._noted(move, day, self.planner.site)

    def ended_by(self, day: dt.date, before: dt.date | None) -> tuple[tuple[Dated, ...], bool]:
        """What takes the way of a day away, of what an earlier day with a way did not have where there is one: the
        things of which each alone brings it back; all of them where none does, and then false.
        """
        site = self.planner.site
        now = held_on(site, day)
        gone = against(site, now) if before is None else taken(site, held_on(site, before), now)
        if before is not None and len(gone) == 1:
            return tuple(gone), True  # without it the day is as the one before, or opener
        within = [thing for thing in gone if self._stands_in(thing)]
        tried = [] if len(within) > 1 else within or gone  # all that it stands in has to open
        alone = tuple(thing for thing in tried if self._asked(day, undone(site, thing)).safe)
        return (alone, True) if alone else (tuple(gone), False)

    def _stands_in(self, thing: Dated) -> bool:
        """Whether all of the machine stands in something where its way begins or ends, whichever way round."""
        site, wanted = self.planner.site, self.wanted
        places = (site.places[name] for name in (wanted.start, *wanted.via, wanted.goal))
        reach_m = self._body().reach
        return any(thing.geometry.contains(one.point.buffer(one.tolerance_m + reach_m)) for one in places)

    def _asked(self, day: dt.date, site: Site) -> Answer:
        if (self.wanted.start,) == (*self.wanted.via, self.wanted.goal):
            return Answer("not proven", f"it stands at {self.wanted.goal} already: nobody looked if it is free")
        return self._by_known(day, site) or self._searched(day, site)

    def _by_known(self, day: dt.date, site: Site) -> Answer | None:
        """What a way that is known from another day is on this one, where it holds."""
        now = held_on(site, day)
        for known in self._known:
            if not known.covered.met(taken(site, known.held, now)):
                move = self._judged(replace(known.move, on=day.isoformat()), day, site)
                if move.verdict in SAFE:
                    return Answer(move.verdict, move.reason)
        return None

    def _searched(self, day: dt.date, site: Site) -> Answer:
        move = self.planner.aside(site).plan(replace(self.wanted, on=day))
        return self._noted(self._judged(move, day, site), day, site)

    def _judged(self, move: Move, day: dt.date, site: Site) -> Move:
        """The move as the second opinion leaves it, on a site that asks for it on that day."""
        asked = replace(site, moves=(replace(self.wanted, on=day),))
        return judged(move, asked, self.issue, self.planner.aids.progress).moves[0]

    def _noted(self, move: Move, day: dt.date, site: Site) -> Answer:
        if move.verdict in SAFE and self.wanted.regime == "stowed":
            machine, shape = site.machines[move.machine], self.wanted.configuration
            covered = Covered.of(move.poses, machine, shape, self._body())
            self._known.append(Known(move, held_on(site, day), covered))
        return Answer(move.verdict, move.reason)

    def _body(self) -> Body:
        machine = self.planner.site.machines[self.wanted.machine]
        shape = machine.configurations[self.wanted.configuration]
        return build_body(self.planner.site, machine, shape, ridden=True)
