"""A move's rows as motion: arcs of constant curvature, subdivided so finely that nothing slips between samples."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Configuration, Machine
from routeplan.route import Move, Pose

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Largest displacement of any point of the envelope between two samples, metres.
SAMPLE_STEP_M = 0.05


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
    aside_m
        ``(n - 1,)`` how far the end of the step lies off the arc, metres.
    """

    x: Floats
    y: Floats
    heading: Floats
    chainage_m: Floats
    turn: Floats
    travel_m: Floats
    aside_m: Floats


@dataclass(frozen=True, eq=False)
class Track:
    """Samples along a move: ``(n,)`` arrays of site metres, radians, the path's own chainage, and the row driven to."""

    x: Floats
    y: Floats
    heading: Floats
    chainage_m: Floats
    row: Ints


def read_rows(poses: Sequence[Pose]) -> Rows:
    """Arrays and motions of at least one pose."""
    x, y, chainage = (np.array([getattr(pose, name) for pose in poses]) for name in ("x", "y", "chainage_m"))
    heading = np.radians(90.0 - np.array([pose.bearing_deg for pose in poses]))
    turn = np.diff(heading)
    turn -= 2 * math.pi * np.rint(turn / (2 * math.pi))
    middle = heading[:-1] + turn / 2
    along = np.diff(x) * np.cos(middle) + np.diff(y) * np.sin(middle)
    aside = -np.diff(x) * np.sin(middle) + np.diff(y) * np.cos(middle)
    return Rows(x, y, heading, chainage, turn, along / np.sinc(turn / (2 * math.pi)), np.abs(aside))


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
    dx, dy = _along_arc(rows.heading[step], turn, travel, share)
    whole_x, whole_y = _along_arc(rows.heading[step], turn, travel, np.ones_like(share))
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
    )


def _along_arc(heading: Floats, turn: Floats, travel: Floats, share: Floats) -> tuple[Floats, Floats]:
    chord = travel * share * np.sinc(share * turn / (2 * math.pi))
    direction = heading + share * turn / 2
    return chord * np.cos(direction), chord * np.sin(direction)
