"""A move's rows as motion: turns at a constant rate, subdivided so finely that nothing slips between samples."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Configuration, Machine
from routeplan.route.model import Move, Pose

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Largest displacement of any point of the envelope between two samples, metres.
SAMPLE_STEP_M = 0.05
#: Ways of steering in which the origin does not travel along the chassis arrow.
SLIPPING = ("coordinated", "crab")


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of a move as arrays, and the motion from each row to the next.

    Parameters
    ----------
    x, y, heading
        ``(n,)`` site metres and radians anticlockwise from east.
    chainage_m
        ``(n,)`` as the plan says.
    turn
        ``(n - 1,)`` change of heading, radians, the short way.
    travel_m
        ``(n - 1,)`` signed arc length, positive along the chassis arrow.
    drift
        ``(n - 1,)`` angle from the chassis arrow to where the origin travels, radians; 0 where steering is front or
        pivot, for these the origin has to travel along the arrow.
    steer
        ``(n - 1,)`` what the plan says each step is steered in.
    ahead_m, aside_m
        ``(n - 1,)`` the step's chord along the arrow and across it (left positive), as it points halfway, metres.
    """

    x: Floats
    y: Floats
    heading: Floats
    chainage_m: Floats
    turn: Floats
    travel_m: Floats
    drift: Floats
    steer: NDArray[np.object_]
    ahead_m: Floats
    aside_m: Floats


@dataclass(frozen=True, eq=False)
class Track:
    """Samples along a move: ``(n,)`` arrays of site metres, radians, the path's own chainage, and the row driven to.

    ``aslant`` is the largest angle between the chassis arrow and the way of the steps in crab steer that meet in a
    sample, radians; 0 in any other.
    """

    x: Floats
    y: Floats
    heading: Floats
    chainage_m: Floats
    row: Ints
    aslant: Floats


def read_rows(poses: Sequence[Pose]) -> Rows:
    """Arrays and motions of at least one pose."""
    x, y, chainage = (np.array([getattr(pose, name) for pose in poses]) for name in ("x", "y", "chainage_m"))
    heading = np.radians(90.0 - np.array([pose.bearing_deg for pose in poses]))
    turn = np.diff(heading)
    turn -= 2 * math.pi * np.rint(turn / (2 * math.pi))
    middle = heading[:-1] + turn / 2
    along = np.diff(x) * np.cos(middle) + np.diff(y) * np.sin(middle)
    aside = -np.diff(x) * np.sin(middle) + np.diff(y) * np.cos(middle)
    steers = np.array([pose.steer for pose in poses[1:]], dtype=object)
    slips = np.isin(steers, SLIPPING) & (np.hypot(along, aside) > 0)
    way = np.where(along < 0, -1.0, 1.0)
    drift = np.where(slips, np.arctan2(way * aside, way * along), 0.0)
    chord = np.where(slips, way * np.hypot(along, aside), along)
    return Rows(x, y, heading, chainage, turn, chord / np.sinc(turn / (2 * math.pi)), drift, steers, along, aside)


def driven_in(move: Move, machine: Machine) -> Mapping[str, Configuration]:
    """The configuration of each travel mode of a move: folded rails have a configuration of their own."""
    modes = dict.fromkeys(pose.travel_mode for pose in move.poses)
    return {mode: machine.configurations[machine.configuration_in(move.configuration, mode)] for mode in modes}


def envelope(machine: Machine, configuration: Configuration) -> Floats:
    """Every corner of boxes, footprint and tyres in plan, ``(n, 2)`` in the machine frame."""
    rings = [*(box.ring for box in configuration.boxes), configuration.footprint, configuration.basket.ring]
    tyres = [(wheel.xi_m, wheel.eta_m + side * wheel.width_m / 2) for wheel in machine.wheels for side in (-1, 1)]
    return np.array([corner for ring in rings for corner in ring] + tyres)


def largest_displacement(rows: Rows, corners: Floats) -> Floats:
    """Largest displacement of any corner from each row to the next, ``(n - 1,)`` metres."""
    cos, sin = np.cos(rows.heading)[:, None], np.sin(rows.heading)[:, None]
    x = rows.x[:, None] + cos * corners[:, 0] - sin * corners[:, 1]
    y = rows.y[:, None] + sin * corners[:, 0] + cos * corners[:, 1]
    if len(x) == 1:
        return np.zeros(0)
    return np.asarray(np.hypot(np.diff(x, axis=0), np.diff(y, axis=0)).max(axis=1))


def subdivide(rows: Rows, corners: Floats) -> Track:
    """Samples on the arcs, no corner moving further than ``SAMPLE_STEP_M`` from one to the next."""
    pieces = np.maximum(1, np.ceil(largest_displacement(rows, corners) / SAMPLE_STEP_M - 1e-9)).astype(np.intp)
    step = np.repeat(np.arange(len(pieces)), pieces)
    first = np.concatenate([[0], np.cumsum(pieces)[:-1]]) if len(pieces) else np.zeros(0, dtype=np.intp)
    share = (np.arange(len(step)) - first[step] + 1) / pieces[step]
    turn, travel = rows.turn[step], rows.travel_m[step]
    towards = rows.heading[step] + rows.drift[step]
    dx, dy = _along_arc(towards, turn, travel, share)
    whole_x, whole_y = _along_arc(towards, turn, travel, np.ones_like(share))
    # What rounding left between the arc's end and the next row is shared out evenly.
    dx += share * (rows.x[step + 1] - rows.x[step] - whole_x)
    dy += share * (rows.y[step + 1] - rows.y[step] - whole_y)
    path = np.concatenate([[0.0], np.cumsum(np.abs(rows.travel_m))])
    return Track(
        np.concatenate([rows.x[:1], rows.x[step] + dx]),
        np.concatenate([rows.y[:1], rows.y[step] + dy]),
        np.concatenate([rows.heading[:1], rows.heading[step] + share * turn]),
        np.concatenate([[0.0], path[step] + share * np.abs(travel)]),
        np.concatenate([np.zeros(1, dtype=np.intp), step + 1]),
        _aslant(rows, step),
    )


def _aslant(rows: Rows, step: Ints) -> Floats:
    """See ``Track.aslant``: of each sample the step that leads to it and the one that leads on."""
    mine = np.where(rows.steer == "crab", np.abs(rows.drift), 0.0)[step]
    return np.asarray(np.maximum(np.append(0.0, mine), np.append(mine, 0.0)))


def _along_arc(towards: Floats, turn: Floats, travel: Floats, share: Floats) -> tuple[Floats, Floats]:
    chord = travel * share * np.sinc(share * turn / (2 * math.pi))
    direction = towards + share * turn / 2
    return chord * np.cos(direction), chord * np.sin(direction)
