"""Random calendars against planning every day afresh: the same days with a way, the same last dates.

Six calendars by default, 200 when the environment variable ``ROUTEPLAN_FULL`` is set. The reference knows nothing of
the calendar's code: a new planner a day, on a site that asks for the moves made by then and for the way out. What a
finer look finds is looked for on a lattice of 0.25 m: a real one takes a minute a day.
"""

from __future__ import annotations

import datetime as dt
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import pytest

from routeplan.plan import finer
from routeplan.plan.aids import UNAIDED
from routeplan.plan.calendar import calendar_of
from routeplan.plan.whole import Earlier, Issue, plan_moves, plan_site
from routeplan.route.days import SAFE, MachineCalendar
from routeplan.route.model import Move
from routeplan.site.model import GridSpec, MoveWanted, Site
from tests.calendars import DAYS, ISSUED, day, drawn_calendar

FULL = bool(os.environ.get("ROUTEPLAN_FULL"))
SEEDS = range(200 if FULL else 6)
ONE = dt.timedelta(days=1)


@pytest.fixture(scope="module")
def letters() -> Counter[str]:
    return Counter()


@dataclass(frozen=True)
class Made(Earlier):
    """Moves that are made already."""

    moves: dict[str, Move]

    def known(self, wanted: MoveWanted, done: Sequence[Move]) -> Move | None:
        return self.moves.get(wanted.id)


@dataclass
class Afresh:
    """Planning a day of a site afresh; moves made before are planned once, for they are the same every day."""

    site: Site
    made: dict[int, tuple[Move, ...]] = field(default_factory=dict)

    def safe(self, count: int, wanted: MoveWanted) -> bool:
        """Whether a move passes after the first moves of the site, by a new planner."""
        first = self.site.moves[:count]
        if count not in self.made:
            self.made[count] = plan_site(replace(self.site, moves=first), issued=ISSUED).moves
        known = {move.id: move for move in self.made[count]}
        asked = replace(self.site, moves=(*first, replace(wanted, id="asked")))
        plan = plan_moves(asked, Issue(ISSUED), Made(known), UNAIDED)
        return plan.moves[-1].verdict in SAFE

    def on(self, on: dt.date) -> tuple[bool | None, bool | None]:
        """Whether the next move has a way on a day, and whether the way out has, as if it stayed after its collection.

        Its collection, asked for after all moves before it, is its way out.
        """
        moves = self.site.moves
        stays = moves[:-1] if moves[-1].purpose == "collection" else moves
        made = sum(one.on is not None and one.on <= on for one in stays)
        base = moves[-1] if stays != moves else replace(moves[0], goal=moves[0].start, purpose="collection")
        out = self.safe(made, replace(base, start=moves[made - 1].goal, on=on)) if made else None
        following = [one for one in moves if one.on == on]
        following = following or [one for one in moves if one.on is not None and one.on > on][:1]
        ways = [
            out if one is base and made == len(stays) else self.safe(moves.index(one), replace(one, on=on))
            for one in following
        ]
        return all(ways) if ways else None, out


def last_dates(outs: Sequence[tuple[dt.date, bool]], less: int) -> tuple[str | None, str | None, str | None]:
    """First day without a way out, last day before it with one, and that less notice and buffer."""
    bad = next((n for n, (_, safe) in enumerate(outs) if not safe), None)
    if bad is None:
        return None, None, None
    if bad == 0:
        return outs[0][0].isoformat(), None, None
    last = outs[bad - 1][0]
    return outs[bad][0].isoformat(), last.isoformat(), (last - less * ONE).isoformat()


def _told(calendar: MachineCalendar) -> Iterator[tuple[bool | None, bool | None]]:
    for row in calendar.days:
        yield (None if row.reach is None else row.reach in SAFE), (None if row.out is None else row.out in SAFE)


@pytest.mark.parametrize("seed", SEEDS)
def test_days_and_last_dates_are_those_of_planning_every_day_afresh(
    seed: int, letters: Counter[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(finer, "LOOKS", ((GridSpec(cell_m=0.25), 0),))
    site = drawn_calendar(seed)
    (found,) = calendar_of(site, issued=ISSUED).machines
    days = [dt.date.fromisoformat(row.day) for row in found.days]
    afresh = Afresh(site)
    asked = [afresh.on(on) for on in days]
    assert list(_told(found)) == asked, [row for row, own in zip(found.days, asked, strict=True)]
    outs = [(on, out) for on, (_, out) in zip(days, asked, strict=True) if out is not None]
    terms = site.hire["SC"]
    less = (terms.notice_days or 0) + (terms.buffer_days or 0)
    assert (found.first_without, found.last_way_out, found.last_safe) == last_dates(outs, less)
    assert days[-1] >= day(DAYS - 1) or len(days) >= 2
    letters.update(f"{'out' if out else 'no out'}" for _, out in outs)
    letters.update(["ends"] if found.first_without else ["never ends"])
    letters.update(["comes back"] if found.later else [])


def test_the_calendars_are_neither_all_open_nor_all_shut(letters: Counter[str]) -> None:
    if sum(letters[name] for name in ("ends", "never ends")) != len(SEEDS):
        pytest.skip("counts are of all calendars together")
    print(f"\nof {len(SEEDS)} calendars: {dict(letters)}")
    assert letters["out"] and letters["no out"]
    if FULL:
        assert letters["no out"] >= 0.1 * letters["out"] and letters["out"] >= letters["no out"]
        assert letters["ends"] >= 0.25 * len(SEEDS) and letters["never ends"] >= 0.1 * len(SEEDS)
        assert letters["comes back"] >= 0.1 * len(SEEDS)
