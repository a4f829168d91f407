"""How a machine steers along a way: its ways of turning, and which steering each piece of motion is driven in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Machine
from routeplan.machine.shape import turn_radius_at_origin_m
from routeplan.route.model import Pose
from routeplan.search.motions import Turn

Floats = NDArray[np.float64]

#: What people do where a machine goes on in another steering.
SET_TO = {
    "front": "Stop, set steering to front wheels only.",
    "coordinated": "Stop, set steering to coordinated: front and rear wheels against each other.",
    "crab": "Stop, set steering to crab: front and rear wheels alike.",
    "pivot": "Stop, set steering to turn on the spot.",
}
#: Ways of steering between which nothing is set.
UNSET = frozenset({"front", "skid", "pivot"})


def turn_radius_m(machine: Machine) -> float:
    """Turning radius of the origin: the outer front corner of the chassis runs on the sheet's outside radius.

    Of a tracked machine too: the tracks turn it about a point abeam of their middle, where its origin is.
    """
    return turn_radius_at_origin_m(
        outside_m=machine.value("turn_radius_outside_m"), wheelbase_m=machine.wheels[0].xi_m,
        front_overhang_m=machine.value("front_overhang_m"), width_m=machine.value("width_m"),
    )  # fmt: skip


def coordinated_turn(machine: Machine) -> Turn | None:
    """How a machine turns in coordinated steer, about a point abeam of the middle of its wheelbase; ``None`` without.

    From there the outer front corner is half the wheelbase and the front overhang ahead.
    """
    if "turn_radius_outside_coordinated_m" not in machine.figures:
        return None
    half_m = machine.wheelbase_m / 2
    radius_m = turn_radius_at_origin_m(
        outside_m=machine.value("turn_radius_outside_coordinated_m"), wheelbase_m=half_m,
        front_overhang_m=machine.value("front_overhang_m"), width_m=machine.value("width_m"),
    )  # fmt: skip
    return Turn(radius_m, half_m)


def least_radius_m(machine: Machine, steer: str) -> float:
    """Smallest radius of the origin's arc in a way of steering, m."""
    turn = coordinated_turn(machine) if steer == "coordinated" else None
    return turn_radius_m(machine) if turn is None else turn.origin_radius_m


def _asked(piece: Floats, ordinary: str) -> str | None:
    """The steering that a piece of motion needs; ``None`` for straight ahead, which any will do."""
    if piece[2]:
        return "pivot"
    if piece[3]:
        return "coordinated" if piece[1] else "crab"
    return ordinary if piece[1] else None


def steered(pieces: Iterable[Floats], ordinary: str) -> Iterator[str]:
    """The steering of each piece of a way, changed as seldom as can be: straight ahead goes on as it comes.

    ``ordinary`` is how the machine steers unless set to anything else.

    >>> ahead, left = np.array([1.0, 0.0, 0.0, 0.0]), np.array([1.0, 0.5, 0.0, -0.3])
    >>> list(steered([ahead, left, ahead, ahead], "front")), list(steered([ahead], "front"))
    (['coordinated', 'coordinated', 'coordinated', 'coordinated'], ['front'])
    """
    asked = [_asked(piece, ordinary) for piece in pieces]
    now = next((steer for steer in asked if steer not in (None, "pivot")), None) or ordinary
    for steer in asked:
        yield steer or now
        now = now if steer in (None, "pivot") else str(steer)


def set_anew(poses: Sequence[Pose]) -> Iterator[Pose]:
    """Poses at which people set the steering: whoever drives off has the ordinary one, from which pivots need no
    setting.
    """
    before = "front"
    for pose in poses:
        if pose.steer != before and not {pose.steer, before} <= UNSET:
            yield pose
        before = pose.steer
