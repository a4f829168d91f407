"""Whether each step of a move is one that the machine can steer as the plan says it is steered.

Front steer, and tracks, turn about a point abeam of the origin, coordinated steer about one abeam of the middle of the
wheelbase; crab steer turns not at all. Each is a fact about the chord of the step, seen from the machine as it points
halfway.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from routeplan.machine.model import Machine
from routeplan.recheck.form import FORM_TOLERANCE_M, ROUNDING_M, ROUNDING_RAD, objection, worst
from routeplan.recheck.ledger import STEERED_BY
from routeplan.recheck.track import Floats, Rows
from routeplan.route.model import Move, Objection, Pose

#: Share of the turn radius left to the rounding of rows.
RADIUS_SHARE = 0.005
#: What setting each way of steering is told by; none of the others' words stands beside it.
_WORDS = {"front": "front wheels only", "coordinated": "coordinated", "crab": "crab", "pivot": "on the spot"}
STEERS = ("front", "skid", "coordinated", "crab", "pivot")


def _front_corner_radius_m(machine: Machine, outside: str, corner_ahead_m: float) -> float:
    """Radius of the middle line where the outer front corner, so far ahead of it, runs on a turning circle."""
    names = (outside, "front_overhang_m", "width_m")
    if any(name not in machine.figures for name in names):
        return math.nan
    radius, overhang, width = (machine.value(name) for name in names)
    square = radius**2 - (corner_ahead_m + overhang) ** 2
    return math.sqrt(square) - width / 2 if square > 0 else math.nan


def turn_radius_m(machine: Machine, steer: str = "front") -> float:
    """Smallest radius at the machine's origin in front or coordinated steer, metres; NaN when a figure is missing.

    ``sqrt(R_out^2 - (L + f)^2) - W/2``: the outer front corner of the chassis runs on the outside turning circle. In
    coordinated steer the same with L/2, at the middle of the wheelbase; the origin is L/2 behind.
    """
    base = machine.wheels[0].xi_m
    if steer == "coordinated":
        return math.hypot(_front_corner_radius_m(machine, STEERED_BY[steer], base / 2), base / 2)
    return _front_corner_radius_m(machine, "turn_radius_outside_m", base)


def steering_objections(move: Move, rows: Rows, machine: Machine) -> Iterator[Objection]:
    """Every step that is not steered as the plan says, or cannot be by this machine."""
    yield from _known(move, machine)
    yield from _changes(move)
    yield from _centres(move, rows, machine)
    yield from _slips(move, rows, machine)
    yield from _turns(move, rows, machine)


def _known(move: Move, machine: Machine) -> Iterator[Objection]:
    """Ways of steering that this machine has, turns on the spot in neither gear."""
    for pose in move.poses:
        figure = STEERED_BY.get(pose.steer)
        if pose.steer not in STEERS or (pose.steer == "pivot" and pose.gear != 0):
            text = f"steering is {pose.steer!r} in gear {pose.gear}"
        elif pose.steer in ("front", "skid") and (pose.steer == "skid") != bool(machine.tracks):
            text = f"steering is {pose.steer!r} on {'tracks' if machine.tracks else 'wheels'}"
        elif figure is not None and figure not in machine.figures:
            text = f"steering is {pose.steer!r}, which this machine is not known to have: no {figure}"
        else:
            continue
        yield objection("form", pose, value=0, limit=0, unit="", text=text)
        return


def _changes(move: Move) -> Iterator[Objection]:
    """A change of steering stands still, and people are told to make it; before the first row it is front."""
    first = move.poses[0]._replace(steer="front")
    for before, after in pairwise((first, *move.poses)):
        if before.steer == after.steer:
            continue
        if (before.x, before.y, before.bearing_deg) != (after.x, after.y, after.bearing_deg):
            text = "the steering changes while the machine moves"
            yield objection("form", after, value=0, limit=0, unit="", text=text)
        elif {before.steer, after.steer} & set(STEERED_BY) and not _told(move, after):
            text = f"nobody is told to set the steering to {after.steer}"
            yield objection("form", after, value=0, limit=0, unit="", text=text)


def _told(move: Move, pose: Pose) -> bool:
    """Whether people are told at a row to set its steering, and nothing that no row there is steered in."""
    said = [
        control.text.lower() for control in move.controls
        if control.kind == "steering" and abs(control.chainage_m - pose.chainage_m) < FORM_TOLERANCE_M
    ]  # fmt: skip
    named = [{steer for steer, word in _WORDS.items() if word in text} for text in said]
    here = {one.steer for one in move.poses if abs(one.chainage_m - pose.chainage_m) < FORM_TOLERANCE_M}
    return {pose.steer} in named and all(len(steers) == 1 and steers <= here for steers in named)


def _centres(move: Move, rows: Rows, machine: Machine) -> Iterator[Objection]:
    """The point abeam of which a steering turns goes nowhere but along the arrow as it points halfway."""
    behind = np.where(rows.steer == "coordinated", machine.wheelbase_m / 2, 0.0)
    off = np.where(rows.steer == "crab", 0.0, np.abs(rows.aside_m + 2 * behind * np.sin(rows.turn / 2)))
    text = "the step is no arc about a point abeam of where its steering turns"
    yield from worst(move, off, FORM_TOLERANCE_M, ROUNDING_M, "m", text)
    # What each step may be off by must not add up to a way of its own.
    strayed, path = np.maximum(off - ROUNDING_M, 0.0).sum(), np.abs(rows.travel_m).sum()
    text = "taken together the steps are no arc about points abeam of where their steering turns"
    yield from worst(move, np.array([strayed]), FORM_TOLERANCE_M * (1.0 + float(path)), 0.0, "m", text)


def _slips(move: Move, rows: Rows, machine: Machine) -> Iterator[Objection]:
    """In crab steer the bearing stays, and travel is within the crab angle of the arrow."""
    crab = rows.steer == "crab"
    turned = np.where(crab, np.abs(rows.turn), 0.0)
    yield from worst(move, turned, 2 * ROUNDING_RAD, 0.0, "rad", "the bearing changes in crab steer")
    most = math.tan(machine.crab_rad)
    beyond: Floats = np.where(crab, np.abs(rows.aside_m) - most * np.abs(rows.ahead_m), 0.0)
    text = "a step in crab steer lies further off the arrow than the machine can travel"
    yield from worst(move, beyond, 0.0, ROUNDING_M * (1 + most), "m", text)


def _turns(move: Move, rows: Rows, machine: Machine) -> Iterator[Objection]:
    """No turn is tighter than its steering can drive; turns on the spot are for machines known to make them."""
    travel, turn = np.abs(rows.travel_m), np.abs(rows.turn)
    pivots = (travel <= ROUNDING_M) & (turn > 2 * ROUNDING_RAD)
    may_pivot = "pivots" in machine.figures and machine.value("pivots") == 1.0
    for at in np.flatnonzero(pivots)[:1] if not may_pivot else ():
        text = "a pivot, which this machine is not known to make"
        yield objection("turning", move.poses[at], value=0.0, limit=turn_radius_m(machine), unit="m", text=text)
    coordinated = rows.steer == "coordinated"
    radius = np.where(coordinated, turn_radius_m(machine, "coordinated"), turn_radius_m(machine))
    turns = ~pivots & (turn > 2 * ROUNDING_RAD) & ~np.isnan(radius)
    # Rounding makes a short step look tighter than it is; it is taken off before the radius is judged.
    short = np.where(turns, radius * (1 - RADIUS_SHARE) * (turn - ROUNDING_RAD) - (travel + ROUNDING_M), -1.0)
    if short.size and short.max() > 0:
        at = int(np.argmax(short))
        text = "a turn tighter than the machine can drive"
        value, limit = float(travel[at] / turn[at]), float(radius[at])
        yield objection("turning", move.poses[at], value=value, limit=limit, unit="m", text=text)
