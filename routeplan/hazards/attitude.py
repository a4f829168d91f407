"""How the machine stands: wheel levels, the planes it can rock between, pitch and roll (docs/method.md 3 and 4)."""

from __future__ import annotations

import math
from typing import NamedTuple

from routeplan.hazards.arrays import Body, World
from routeplan.kernel import kernel

SECTORS = 8
#: Farthest that any point of the body or wheel travels between two stances, m. Every pose between them is within half
#: of it of one of the two, and every bound at a stance holds for the poses within half of it.
STANCE_STEP = 0.25


class Tube(NamedTuple):
    """How far a machine may be from a pose that stands for it: within the tube, and half way to the next such pose."""

    ahead: float  # along its arrow, m
    aside: float  # to either side, m
    turned: float  # sine of how far it may be turned about its origin
    levels: float  # 1 where levels under wheels are looked at all over there, 0 where those at the pose stand for them


class Stance(NamedTuple):
    """A pose on the ground with what is uncertain within the tube and half way to the stances beside it.

    Slopes are tangents, heights metres. The ground is told relative to the tilt of the mean plane: wherever in there
    the machine is, it stands on the mean plane of this pose, drawn on to where it is, but for ``uncertain``.
    """

    known: bool
    z: float  # mean plane at mid-wheelbase
    pitch: float
    roll: float
    pitch_spread: float
    roll_spread: float
    front_spread: float  # of the middle of an axle, m
    rear_spread: float
    twist: float  # largest |w| beyond the oscillating axle's stop
    front_defect: float
    rear_defect: float
    front_deviation: float
    rear_deviation: float
    raised: float
    taken: float  # largest |w| that the oscillating axle takes up
    tube: Tube


def most_turned(body: Body) -> float:
    """Farthest that a machine turns between a stance and half way to the next, rad: about its rear axle, in place."""
    return 0.5 * STANCE_STEP / min(body.wheelbase, body.reach)


@kernel
def sector(heading: float) -> int:
    """Index of the sector a heading falls in, the same for both directions; total on all finite floats.

    >>> sector(0.0), sector(math.pi), sector(-2 * math.pi), sector(math.pi / 2)
    (0, 0, 0, 4)
    """
    return int(math.floor(heading * SECTORS / math.pi + 0.5)) % SECTORS


@kernel
def within_stop(w: float, reach: float) -> float:
    """Part of the twist that an oscillating axle takes up before its stop; ``reach`` = track * tan(stop), m."""
    return min(max(w, -reach), reach)


@kernel
def wheel_look(world: World, j: int, x: float, y: float) -> tuple[float, float, int, int]:
    """Middle and half span of the wheel level at a place, m, for sector j, and the node looked at; NaN if unknown."""
    rows, cols = world.nodes.shape
    fx, fy = (x - world.x0) / world.cell, (y - world.y0) / world.cell
    col, row = int(math.floor(fx + 0.5)), int(math.floor(fy + 0.5))
    if row < 0 or col < 0 or row >= rows or col >= cols:
        return math.nan, math.nan, 0, 0
    node, high, low = world.nodes[row, col], world.spans[j, row, col].high, world.spans[j, row, col].low
    plane = node.level + (node.gx * (fx - col) + node.gy * (fy - row)) * world.cell
    return plane + 0.5 * (high + low), 0.5 * (high - low), row, col


@kernel
def wheel_at(
    world: World, body: Body, i: int, j: int, x: float, y: float, c: float, s: float
) -> tuple[float, float, int, int]:
    """``wheel_look`` for wheel i of a machine at (x, y) with a heading of cosine c and sine s."""
    xi, eta = body.wheel_xi[i], body.wheel_eta[i]
    middle, spread, row, col = wheel_look(world, j, x + xi * c - eta * s, y + xi * s + eta * c)
    along, across = lifts(body, world.nodes[row, col].gx, world.nodes[row, col].gy, c, s)
    return middle + across + 0.5 * along, spread + 0.5 * along, row, col


@kernel
def lifts(body: Body, gx: float, gy: float, c: float, s: float) -> tuple[float, float]:
    """How far a local plane lifts a wheel's disc at most, and a tyre's edge its middle, m.

    A disc touches a slope m ahead of its middle, ``R (sqrt(1 + m^2) - 1) <= R m^2 / 2`` higher.
    """
    ahead = gx * c + gy * s
    return 0.5 * body.radius * ahead * ahead, body.tyre_half * abs(gy * c - gx * s)


@kernel
def parted(
    world: World,
    body: Body,
    i: int,
    row: int,
    col: int,
    pitch: float,
    roll: float,
    c: float,
    s: float,
    tube: Tube,
    turn: float,
) -> float:
    """How far the local plane at a node and a plane with these slopes part under wheel i, wherever it may be, m.

    A wheel's span is measured from the local plane of its node; this more makes it a span about the other plane.
    """
    gx, gy = world.nodes[row, col].gx, world.nodes[row, col].gy
    along, across = gx * c + gy * s, gy * c - gx * s
    more: float = displaced(tube, abs(along - pitch), abs(across - roll), body.wheel_xi[i], body.wheel_eta[i])
    more += body.tyre_half * abs(along) * (tube.turned + turn)
    return more


@kernel
def displaced(tube: Tube, along: float, across: float, xi: float, eta: float) -> float:
    """Most that a level changes on slopes (along, across; not negative) over where a body point may be, m."""
    ahead, beside = tube.ahead + abs(eta) * tube.turned, tube.aside + abs(xi) * tube.turned
    level: float = along * ahead + across * beside
    return level


@kernel
def stand(world: World, body: Body, x: float, y: float, heading: float, turn: float, aside: float) -> Stance:
    """Stand a machine at a pose; ``known`` is False when a level under a wheel is not known.

    ``turn`` (radians, not negative) is how far it turns between this pose and half way to the stances beside it,
    ``aside`` (m) how far a point of it may then be to the side of where it heads.
    """
    c, s = math.cos(heading), math.sin(heading)
    j, tube = sector(heading), Tube(0.5 * STANCE_STEP, aside + body.lateral, body.sin_heading, 1.0)
    m0, r0, row0, col0 = wheel_at(world, body, 0, j, x, y, c, s)
    m1, r1, row1, col1 = wheel_at(world, body, 1, j, x, y, c, s)
    m2, r2, row2, col2 = wheel_at(world, body, 2, j, x, y, c, s)
    m3, r3, row3, col3 = wheel_at(world, body, 3, j, x, y, c, s)
    if not math.isfinite(m0 + m1 + m2 + m3):
        return Stance(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, tube)
    pitch, roll = mean_slopes(body, m0, m1, m2, m3)
    r0 += parted(world, body, 0, row0, col0, pitch, roll, c, s, tube, turn)
    r1 += parted(world, body, 1, row1, col1, pitch, roll, c, s, tube, turn)
    r2 += parted(world, body, 2, row2, col2, pitch, roll, c, s, tube, turn)
    r3 += parted(world, body, 3, row3, col3, pitch, roll, c, s, tube, turn)
    pitch, roll, pitch_spread, roll_spread, twist = slopes(body, m0, m1, m2, m3, r0, r1, r2, r3, tube.turned + turn)
    n0, n1, n2, n3 = world.nodes[row0, col0], world.nodes[row1, col1], world.nodes[row2, col2], world.nodes[row3, col3]
    return Stance(
        True, 0.25 * (m0 + m1 + m2 + m3), pitch, roll, pitch_spread, roll_spread,
        0.5 * (r0 + r1), 0.5 * (r2 + r3), twist,
        max(0.0, n0.defect, n1.defect), max(0.0, n2.defect, n3.defect),
        max(0.0, n0.deviation, n1.deviation), max(0.0, n2.deviation, n3.deviation),
        max(0.0, n0.raised, n1.raised, n2.raised, n3.raised),
        within_stop(abs(m0 + m3 - m1 - m2) + r0 + r1 + r2 + r3, body.track * body.stop_tan), tube,
    )  # fmt: skip


@kernel
def mean_slopes(body: Body, m0: float, m1: float, m2: float, m3: float) -> tuple[float, float]:
    """Pitch and roll on wheel levels FL FR RL RR: of the mean plane, or as the axle that does not oscillate has it."""
    side = m0 + m2 - m1 - m3
    if body.oscillating > 0:
        taken = within_stop(m0 + m3 - m1 - m2, body.track * body.stop_tan)
        side += taken if body.oscillating == 2 else -taken
    return (m0 + m1 - m2 - m3) / (2 * body.wheelbase), side / (2 * body.track)


@kernel
def slopes(
    body: Body,
    m0: float,
    m1: float,
    m2: float,
    m3: float,
    r0: float,
    r1: float,
    r2: float,
    r3: float,
    turned: float,
) -> tuple[float, float, float, float, float]:
    """Pitch, roll, what the tube, rocking and a turn may add to each, and the twist beyond the stop.

    ``m`` and ``r`` are middles and half spans of the wheel levels FL FR RL RR; ``turned`` is how far the machine may be
    turned, in the tube and to half way to the next stance.
    """
    pitch, roll = mean_slopes(body, m0, m1, m2, m3)
    w = m0 + m3 - m1 - m2
    w_spread = r0 + r1 + r2 + r3
    twist = max(abs(w) + w_spread - (body.track * body.stop_tan if body.oscillating > 0 else 0.0), 0.0)
    if body.oscillating == 1:
        roll_spread = max(r2 + r3, 0.5 * w_spread if twist > 0 else 0.0) / body.track
    elif body.oscillating == 2:
        roll_spread = max(r0 + r1, 0.5 * w_spread if twist > 0 else 0.0) / body.track
    else:
        roll_spread = 0.5 * w_spread / body.track
    pitch_spread = (0.5 * w_spread + 0.5 * twist) / body.wheelbase + turned * abs(roll)
    roll_spread += 0.5 * twist / body.track + turned * abs(pitch)
    return pitch, roll, pitch_spread, roll_spread, twist


@kernel
def plane_at(body: Body, stance: Stance, xi: float, eta: float) -> float:
    """Level of the mean plane under a body point, m."""
    level: float = stance.z + stance.pitch * (xi - 0.5 * body.wheelbase - body.wheel_xi[2]) + stance.roll * eta
    return level


@kernel
def uncertain(body: Body, stance: Stance, xi: float, eta: float) -> float:
    """How far any admissible plane, anywhere in the tube, may lie above or below the mean plane at a point, m."""
    q = (xi - body.wheel_xi[2]) / body.wheelbase
    lean = abs(eta) / body.track
    off: float = uneven(body, stance, q, eta) + stance.twist * (0.25 + 0.5 * (lean + abs(q - 0.5)))
    return off


@kernel
def uncertain_below(body: Body, stance: Stance, xi: float, eta: float) -> float:
    """How far any admissible plane, anywhere in the tube, may lie below the mean plane at a point, m.

    A rigid chassis stands on the high diagonal: a twist w lifts both its wheels w/4 above the mean plane, and as it
    rocks lowers one of the others by no more than w/4.
    """
    q = (xi - body.wheel_xi[2]) / body.wheelbase
    lean = abs(eta) / body.track
    off: float = uneven(body, stance, q, eta) + stance.twist * max(0.5 * (lean + abs(q - 0.5)) - 0.25, 0.0)
    return off


@kernel
def uneven(body: Body, stance: Stance, q: float, eta: float) -> float:
    """How far what the wheels stand on may lie from the mean plane at a point but for the twist, m."""
    roll_only = max(stance.roll_spread * abs(eta) - 0.5 * stance.twist * abs(eta) / body.track, 0.0)
    off: float = abs(q) * stance.front_spread + abs(1 - q) * stance.rear_spread + roll_only
    return off
