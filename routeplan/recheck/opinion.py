"""The second opinion: a whole move, or a whole plan, looked at again without the code that planned it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_modelled
from routeplan.recheck.attitude import offer_attitude
from routeplan.recheck.bounce import offer_bounce, survey_margin_m
from routeplan.recheck.case import Case
from routeplan.recheck.elevated import offer_zone, raised_objections
from routeplan.recheck.facing import facing_objections
from routeplan.recheck.form import form_objections, left_objections
from routeplan.recheck.grip import grip_objections, offer_grip
from routeplan.recheck.ground_load import offer_ground_load
from routeplan.recheck.kerbs import offer_kerbs
from routeplan.recheck.ledger import BOUNCE_FIGURES, SPEED_FIGURES, Ledger
from routeplan.recheck.overhead import offer_overhead
from routeplan.recheck.posts import passage_objections
from routeplan.recheck.raised import Raised, raised_as_asked
from routeplan.recheck.same import input_objections, machine_objections
from routeplan.recheck.section import section_objections
from routeplan.recheck.set_up import offer_set_up
from routeplan.recheck.stance import Stance, stand
from routeplan.recheck.steering import steering_objections, turn_radius_m
from routeplan.recheck.strike import offer_strike
from routeplan.recheck.sweep import Crossing, offer_sweep
from routeplan.recheck.swing import Drive, Ridden, offer_swing, suspects
from routeplan.recheck.told import told_objections
from routeplan.recheck.touch import near
from routeplan.recheck.track import Ints, Rows, Track, driven_in, envelope, read_rows, subdivide
from routeplan.recheck.uncertainty import confidence_k
from routeplan.recheck.validity import outlived, past, validity_objections
from routeplan.recheck.verdicts import check_objections, move_objections, walkway_objections
from routeplan.recheck.wheels import keep_off, meet_defects, unaccepted_ground
from routeplan.route.model import Conditions, Move, Objection, Plan
from routeplan.site.model import Site

#: Samples looked at together; bounds the memory of any route.
SAMPLES_AT_ONCE = 512
#: Key of objections that belong to no single move.
WHOLE_SITE = "(site)"

UNDRIVEN = frozenset({"no route", "search limit", "fail"})


def second_opinion(
    move: Move, plan_k: float | None, *, site: Site, machine: Machine, conditions: Conditions
) -> tuple[Objection, ...]:
    """Look at a move again.

    Parameters
    ----------
    move
        As planned, its rows claimed.
    plan_k
        What the plan says its k is for this move; None is an objection.
    site, machine, conditions
        As they are now; the machine as the site folder describes it.

    Returns
    -------
    tuple of Objection
        Empty when the move is accepted. A move that gives nothing to drive is accepted as it is.
    """
    raised = raised_as_asked(move, site=site, machine=machine)
    unmodelled = raised if isinstance(raised, str) else not_modelled(machine)
    if move.verdict in UNDRIVEN or not move.poses or unmodelled is not None:
        return _undriven(move, unmodelled)
    numbers = [(pose.x, pose.y, pose.bearing_deg, pose.chainage_m) for pose in move.poses]
    if move.configuration not in machine.configurations or len(numbers) < 2 or not np.isfinite(numbers).all():
        text = f"rows are not finite, there is one only, or {machine.id} has no configuration {move.configuration!r}"
        return (Objection("form", 0.0, (math.nan, math.nan), math.nan, math.nan, "", text),)
    rows, case, ledger, crossings, _ = look(move, site=site, machine=machine, conditions=conditions)
    machine = case.machine
    return (
        *form_objections(move, rows, site=site, machine=machine),
        *steering_objections(move, rows, machine),
        *told_objections(move, case),
        *validity_objections(move, case),
        *grip_objections(move, case),
        *raised_objections(move, case),
        *facing_objections(move, case),
        *check_objections(move, case, ledger),
        *walkway_objections(move, case, ledger, crossings),
        *passage_objections(move, case, ledger),
        *move_objections(move, plan_k, ledger),
        *section_objections(move),
    )


class Look(NamedTuple):
    """What a look at a move found."""

    rows: Rows
    case: Case
    ledger: Ledger
    crossings: list[Crossing]
    ridden: Ridden


class Near(NamedTuple):
    """A thing that changed since a whole look at the same move, and the drive as that look had it."""

    thing: BaseGeometry
    ridden: Ridden


def look(
    move: Move, *, site: Site, machine: Machine, conditions: Conditions, near_by: Near | None = None
) -> Look:
    """Make every check of a move with rows to drive.

    With a thing near by, only where the machine comes near it: elsewhere the move stands on what a look before found.
    The basket swings on behind the thing, so that its swing is told for the whole drive all the same.
    """
    rows, case = _gathered(move, site=site, machine=machine, conditions=conditions)
    track, machine = case.track, case.machine
    k = confidence_k(
        float(track.chainage_m[-1]),
        route_confidence=site.thresholds.route_confidence,
        correlation_m=site.ground.accuracy.correlation_m,
    )
    ledger, crossings, unaccepted = Ledger(track, k), list[Crossing](), unaccepted_ground(case)
    _offer_rows(rows, case, ledger)
    ridden = Ridden(track, Drive.of(move, rows, case)) if near_by is None else near_by.ridden.copy()
    parts = [(case.driven(mode, driven_in(move, machine)[mode]), samples) for mode, samples in _runs(move, track)]
    for mine, samples in parts:
        for run in [samples] if near_by is None else _near(near_by.thing, case, samples):
            for here, stance in _stood(mine, run):
                stance = _offer_samples(here, ledger, crossings, unaccepted, stance)
                offer_grip(here, stance, ridden.drive.fastest_mps, ledger)
                ridden.take(here, stance, k)
    _offer_swings(parts, ridden, ledger)
    return Look(rows, case, ledger, crossings, ridden)


def _gathered(move: Move, *, site: Site, machine: Machine, conditions: Conditions) -> tuple[Rows, Case]:
    """A move that has rows, as it is driven."""
    raised = raised_as_asked(move, site=site, machine=machine)
    machine, zone = (raised.machine, raised.zone) if isinstance(raised, Raised) else (machine, None)
    rows = read_rows(move.poses)
    track = subdivide(rows, np.concatenate([envelope(machine, one) for one in driven_in(move, machine).values()]))
    return rows, Case.of(move, track, site=site, machine=machine, conditions=conditions, zone=zone)


def _near(thing: BaseGeometry, case: Case, samples: Ints) -> list[Ints]:
    """Runs of samples one after another from which the machine, or a hole beside its wheels, reaches a geometry."""
    at = near(thing, case.track.x[samples], case.track.y[samples], case.reach_m)
    return [run for run in np.split(samples[at], np.flatnonzero(np.diff(at) > 1) + 1) if run.size]


def _runs(move: Move, track: Track) -> Iterator[tuple[str, Ints]]:
    """Samples of each stretch driven in one travel mode; where the mode changes the pose counts for both."""
    modes = [pose.travel_mode for pose in move.poses]
    changes = [row for row in range(1, len(modes)) if modes[row] != modes[row - 1]]
    for first, last in zip([0, *changes], [*changes, len(modes)], strict=True):
        yield modes[first], np.flatnonzero((track.row >= first) & (track.row < last))


def _undriven(move: Move, unmodelled: str | None) -> tuple[Objection, ...]:
    """What is wrong with a move that must give nothing to drive; one of a machine not modelled is not proven."""
    text = f"a move called {move.verdict} has {len(move.poses)} rows to drive"
    text += "" if unmodelled is None else f", and it cannot be judged: {unmodelled}"
    undriven = UNDRIVEN if unmodelled is None else {"not proven"}
    if move.verdict not in undriven or move.poses:
        return (Objection("verdict", 0.0, (math.nan, math.nan), math.nan, math.nan, "", text),)
    return ()


def _chunks(samples: Ints) -> Iterator[Ints]:
    """Samples that are looked at together; chunks share a sample, so that no step between two samples is left out."""
    for first in range(0, max(1, len(samples) - 1), SAMPLES_AT_ONCE):
        yield samples[first : first + SAMPLES_AT_ONCE + 1]


def _stood(case: Case, samples: Ints) -> Iterator[tuple[Case, Stance]]:
    """The machine stood on the ground in samples that are looked at together, and the case with the levels round them;
    the next ones in a thread meanwhile.
    """

    def stood(some: Ints) -> tuple[Case, Stance]:
        here = case.around(some)
        return here, stand(here, some)

    with ThreadPoolExecutor(1) as ahead:
        first, *others = _chunks(samples)
        coming = ahead.submit(stood, first)
        for some in others:
            here, coming = coming, ahead.submit(stood, some)
            yield here.result()
        yield coming.result()


def _offer_samples(
    case: Case, ledger: Ledger, crossings: list[Crossing], unaccepted: BaseGeometry, stance: Stance
) -> Stance:
    stance = meet_defects(case, stance, ledger)
    offer_attitude(case, stance, ledger)
    offer_kerbs(case, stance, ledger)
    offer_bounce(case, stance, ledger)
    offer_strike(case, stance, ledger)
    offer_overhead(case, stance, ledger)
    offer_sweep(case, stance, ledger, crossings)
    keep_off(case, stance, ledger, unaccepted)
    offer_ground_load(case, stance, ledger)
    offer_set_up(case, stance, ledger)
    offer_zone(case, stance, ledger)
    return stance


def _offer_swings(parts: Sequence[tuple[Case, Ints]], ridden: Ridden, ledger: Ledger) -> None:
    """Where the swing may take up a gap, those samples are stood on the ground once more for an exact look."""
    known = parts[0][0].machine.figures
    if not ridden.drive.moves or any(name not in known for name in (*BOUNCE_FIGURES, *SPEED_FIGURES)):
        return
    for case, samples in parts:
        close = suspects(case, ridden, samples, ledger)
        for here, stance in _stood(case, close) if close.size else ():
            offer_swing(here, meet_defects(here, stance, ledger), ridden, ledger)


def _offer_rows(rows: Rows, case: Case, ledger: Ledger) -> None:
    """Checks that need no stance: turning (form has judged it with rounding allowed for) and survey resolution."""
    first = np.zeros(1, dtype=np.intp)
    limit = case.site.thresholds.bounce_limit_m
    margin = np.array([survey_margin_m(case)])
    ledger.offer("survey resolution", first, margin, value=limit - margin, limit=limit)
    if math.isnan(margin[0]):
        ledger.leave_open("survey resolution", "nobody said how small a hole the survey would show")
    if math.isnan(turn_radius_m(case.machine)) and bool(np.any(rows.turn)):
        ledger.leave_open("turning", "the turn radius of the origin is not known")


def recheck_plan(
    plan: Plan, *, site: Site, today: dt.date | None = None
) -> Mapping[str, tuple[Objection, ...]]:
    """Look at every move of a plan again, on the site as it is now and with the machines the site folder describes.

    Parameters
    ----------
    plan
        As read.
    site
        As read from the site folder.
    today
        A plan whose last day is over is void; ``None`` where the day does not matter.

    Returns
    -------
    mapping
        Objections by move id, empty where accepted; ``WHOLE_SITE`` holds those that belong to no single move.
    """
    over = None if today is None else past(plan, today)
    found = {WHOLE_SITE: (*input_objections(plan, site), *(() if over is None else (over,)))}
    for move in plan.moves:
        planned, known = plan.machines.get(move.machine), site.machines.get(move.machine)
        differs = machine_objections(move.machine, planned, known)
        opinion: tuple[Objection, ...] = ()
        if known is not None:
            k = plan.k_by_move.get(move.id)
            opinion = second_opinion(move, k, site=site, machine=known, conditions=plan.conditions)
        left = (objection for name, objection in left_objections(plan, site) if name == move.id)
        found[move.id] = (*differs, *opinion, *left)
    cases = (
        _gathered(move, site=site, machine=site.machines[move.machine], conditions=plan.conditions)[1]
        for move in plan.moves
        if move.poses and not found[move.id]
    )
    return found | {WHOLE_SITE: (*found[WHOLE_SITE], *outlived(plan, cases))}
