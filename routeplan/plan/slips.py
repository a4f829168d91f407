"""What it does to a machine if its collection, or all its work, happens some days later than planned."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from routeplan.plan.dated import ONE, changes_of
from routeplan.plan.stays import Stay
from routeplan.plan.way_by_day import WayByDay
from routeplan.route.days import Slip

#: So many days later are looked at.
MOST_DAYS = 14


def slip_of_collection(stay: Stay) -> Slip | None:
    """What a later collection does to a machine that stays where it is until then; ``None`` where none is planned, or
    it has no way out on its day.
    """
    step, out = stay.collection, stay.stands(len(stay.steps))
    if step is None or out is None or not out.on(step.day).safe:
        return None
    for n in range(1, MOST_DAYS + 1):
        day = step.day + n * ONE
        if not out.on(day).safe:
            return Slip(n - 1, _lacking(out, day))
    return Slip(MOST_DAYS, "")


def slip_of_work(stay: Stay, today: dt.date) -> Slip | None:
    """What it does if every move still to be made is made later; ``None`` where they are not safe as planned."""
    if next(_troubles(stay, 0, today), None) is not None:
        return None
    for n in range(1, MOST_DAYS + 1):
        trouble = next(_troubles(stay, n, today), None)
        if trouble is not None:
            return Slip(n - 1, trouble)
    return Slip(MOST_DAYS, "")


def _troubles(stay: Stay, days: int, today: dt.date) -> Iterator[str]:
    """What goes wrong, in the order of days, if moves from today on are made so many days later."""
    later = days * ONE
    made_on = [stay.made_on(step, later, today) for step in stay.steps]
    day = max(today, made_on[0])
    while day <= made_on[-1]:
        failed = [
            step for step, made in zip(stay.steps, made_on, strict=True) if made == day and not step.reach.on(day).safe
        ]
        out = stay.stands(stay.moved_by(day, later, today))
        no_way = _lacking(out, day) if out is not None and not out.on(day).safe else None
        if no_way is not None and all(step is stay.collection for step in failed):
            yield no_way  # says until when, too
        yield from (f"move {step.wanted.id} has no way on {day}" for step in failed)
        if no_way is not None:
            yield no_way
        day += ONE


def _lacking(out: WayByDay, day: dt.date) -> str:
    """That there is no way out on a day, and on which one there is again: one on which something changes."""
    site = out.planner.site
    following = (one for one in sorted(changes_of(site)) if one > day)
    found = next((one for one in following if out.on(one).safe), None)
    until = "for good" if found is None else f"until {found}"
    return f"from {day} no way out from {out.wanted.start} {until}"
