"""How the machine stands: wheel levels, the planes it can rock between, pitch and roll (docs/method.md 3 and 4)."""

from __future__ import annotations

import math
from typing import NamedTuple

from routeplan.hazards.arrays import Body, World
from routeplan.kernel import kernel

SECTORS = 8


class Stance(NamedTuple):
    """A pose on the ground with what is uncertain within the tube; slopes are tangents, heights metres."""

    known: bool
    z: float  # mean plane at mid-wheelbase
    pitch: float
    roll: float
    pitch_spread: float
    roll_spread: float
    front_spread: float
    rear_spread: float
    twist: float  # largest |w| beyond the oscillating axle's stop
    front_defect: float
    rear_defect: float
    front_deviation: float
    rear_deviation: float
    raised: float


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
    rows, cols = world.level.shape
    fx, fy = (x - world.x0) / world.cell, (y - world.y0) / world.cell
    col, row = int(math.floor(fx + 0.5)), int(math.floor(fy + 0.5))
    if row < 0 or col < 0 or row >= rows or col >= cols:
        return math.nan, math.nan, 0, 0
    high, low = world.high[j, row, col], world.low[j, row, col]
    plane = world.level[row, col] + (world.gx[row, col] * (fx - col) + world.gy[row, col] * (fy - row)) * world.cell
    return plane + 0.5 * (high + low), 0.5 * (high - low), row, col


@kernel
def stand(world: World, body: Body, x: float, y: float, heading: float) -> Stance:
    """Stand a machine at a pose; ``known`` is False when a level under a wheel is not known."""
    c, s = math.cos(heading), math.sin(heading)
    j = sector(heading)
    m0 = m1 = m2 = m3 = r0 = r1 = r2 = r3 = 0.0
    defect_f = defect_r = dev_f = dev_r = raised = 0.0
    for i in range(4):
        wx = x + body.wheel_xi[i] * c - body.wheel_eta[i] * s
        wy = y + body.wheel_xi[i] * s + body.wheel_eta[i] * c
        middle, spread, row, col = wheel_look(world, j, wx, wy)
        if not math.isfinite(middle):
            return Stance(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        defect, deviation = world.defect[row, col], world.deviation[row, col]
        raised = max(raised, world.raised[row, col])
        if i < 2:
            defect_f, dev_f = max(defect_f, defect), max(dev_f, deviation)
        else:
            defect_r, dev_r = max(defect_r, defect), max(dev_r, deviation)
        if i == 0:
            m0, r0 = middle, spread
        elif i == 1:
            m1, r1 = middle, spread
        elif i == 2:
            m2, r2 = middle, spread
        else:
            m3, r3 = middle, spread
    pitch, roll, pitch_spread, roll_spread, twist = slopes(body, m0, m1, m2, m3, r0, r1, r2, r3)
    return Stance(
        True, 0.25 * (m0 + m1 + m2 + m3), pitch, roll, pitch_spread, roll_spread, max(r0, r1), max(r2, r3), twist,
        defect_f, defect_r, dev_f, dev_r, raised,
    )  # fmt: skip


@kernel
def slopes(
    body: Body, m0: float, m1: float, m2: float, m3: float, r0: float, r1: float, r2: float, r3: float
) -> tuple[float, float, float, float, float]:
    """Pitch, roll, what the tube and rocking may add to each, and the twist beyond the stop, from four wheel levels.

    ``m`` and ``r`` are middles and half spans of the wheel levels FL FR RL RR.
    """
    w = m0 + m3 - m1 - m2
    w_spread = r0 + r1 + r2 + r3
    taken = 0.0
    if body.oscillating > 0:
        taken = within_stop(w, body.track * body.stop_tan)
    twist = max(abs(w) + w_spread - (body.track * body.stop_tan if body.oscillating > 0 else 0.0), 0.0)
    pitch = (m0 + m1 - m2 - m3) / (2 * body.wheelbase)
    side = m0 + m2 - m1 - m3
    if body.oscillating == 1:
        side -= taken
        roll_spread = max(r2 + r3, 0.5 * w_spread if twist > 0 else 0.0) / body.track
    elif body.oscillating == 2:
        side += taken
        roll_spread = max(r0 + r1, 0.5 * w_spread if twist > 0 else 0.0) / body.track
    else:
        roll_spread = 0.5 * w_spread / body.track
    roll = side / (2 * body.track)
    front, rear = max(r0, r1), max(r2, r3)
    pitch_spread = (front + rear) / body.wheelbase + 0.5 * twist / body.wheelbase + body.sin_heading * abs(roll)
    roll_spread += 0.5 * twist / body.track + body.sin_heading * abs(pitch)
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
    rock = stance.twist * (0.25 + 0.5 * (lean + abs(q - 0.5)))
    roll_only = max(stance.roll_spread * abs(eta) - 0.5 * stance.twist * lean, 0.0)
    off: float = abs(q) * stance.front_spread + abs(1 - q) * stance.rear_spread + roll_only + rock
    return off
