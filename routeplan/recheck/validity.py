"""Until when a move may be driven at the latest, looked at again: dated changes where its body goes."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator

from shapely.geometry.base import BaseGeometry

from routeplan.recheck.case import Case
from routeplan.recheck.form import objection
from routeplan.recheck.told import body_over
from routeplan.route.model import Move, Objection, Plan


def validity_objections(move: Move, case: Case) -> Iterator[Objection]:
    """A move that is said to hold beyond a change of the ground that its body is over."""
    if case.day is None:
        return
    for ends, ground, words in _changes(case, case.day):
        if (move.valid_until is None or move.valid_until > ends.isoformat()) and body_over(case, ground).size:
            text = f"it is said to hold until {move.valid_until or 'further notice'}: {words} ends it on {ends}"
            yield objection("validity", move.poses[0], value=0, limit=0, unit="", text=text)
            return


def outlived(plan: Plan, cases: Iterable[Case]) -> Iterator[Objection]:
    """A plan that is said to hold beyond the first change, after the last day of its moves, that any of them is over.

    Parameters
    ----------
    cases
        Of the moves that have rows to drive.
    """
    days = [dt.datetime.fromisoformat(plan.issued).date()]
    after = max(days + [dt.date.fromisoformat(move.on) for move in plan.moves if move.on is not None])
    for case in cases:
        for ends, ground, words in _changes(case, after):
            if (plan.valid_until is None or plan.valid_until > ends.isoformat()) and body_over(case, ground).size:
                until = plan.valid_until or "further notice"
                text = f"the plan is said to hold until {until}: {words} ends it on {ends}"
                yield Objection("validity", 0.0, (math.nan, math.nan), math.nan, math.nan, "", text)
                return


def _changes(case: Case, day: dt.date) -> Iterator[tuple[dt.date, BaseGeometry, str]]:
    for area in case.site.areas:
        for first, _ in area.closures:
            if first > day and area.id not in case.conditions.opened:
                yield first - dt.timedelta(days=1), area.geometry, f"the closure of {area.id}"
    for surface in case.site.surfaces:
        word = surface.acceptance
        if word is not None and word.valid_until is not None and word.valid_until >= day:
            yield word.valid_until, surface.geometry, f"the acceptance of {surface.id}"
    zone = case.zone
    if zone is not None and zone.acceptance is not None and zone.acceptance.valid_until >= day:
        yield zone.acceptance.valid_until, zone.geometry, f"the acceptance of {zone.id}"
    for defect in case.site.defects:
        proof = defect.proof
        if proof is not None and proof.valid_until is not None and proof.valid_until >= day:
            yield proof.valid_until, defect.geometry, f"the proof of {defect.id}"


def past(plan: Plan, today: dt.date) -> Objection | None:
    """A plan whose last day is over."""
    if plan.valid_until is None or today.isoformat() <= plan.valid_until:
        return None
    text = f"the plan held until {plan.valid_until}; today is {today}: it is void"
    return Objection("validity", 0.0, (math.nan, math.nan), math.nan, math.nan, "", text)
