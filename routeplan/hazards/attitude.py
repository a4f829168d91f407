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


class Contacts(NamedTuple):
    """Levels of the four wheels (FL FR RL RR) with half their spans, and the defects around each axle; metres."""

    known: bool
    m0: float
    m1: float
    m2: float
    m3: float
    r0: float
    r1: float
    r2: float
    r3: float
    front_defect: float
    rear_defect: float
    front_deviation: float
    rear_deviation: float
    raised: float


@kernel
def contacts(world: World, body: Body, x: float, y: float, heading: float) -> Contacts:
    """Look up the ground under every wheel; ``known`` is False when a level there is not known."""
    c, s = math.cos(heading), math.sin(heading)
    j = sector(heading)
    rows, cols = world.level.shape
    m0 = m1 = m2 = m3 = r0 = r1 = r2 = r3 = 0.0
    defect_f = defect_r = dev_f = dev_r = raised = 0.0
    for i in range(4):
        wx = x + body.wheel_xi[i] * c - body.wheel_eta[i] * s
        wy = y + body.wheel_xi[i] * s + body.wheel_eta[i] * c
        col = int(math.floor((wx - world.x0) / world.cell + 0.5))
        row = int(math.floor((wy - world.y0) / world.cell + 0.5))
        if row < 0 or col < 0 or row >= rows or col >= cols or not math.isfinite(world.high[j, row, col]):
            return Contacts(False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        high, low = world.high[j, row, col], world.low[j, row, col]
        dx, dy = wx - world.x0 - col * world.cell, wy - world.y0 - row * world.cell
        mid = world.level[row, col] + world.gx[row, col] * dx + world.gy[row, col] * dy + 0.5 * (high + low)
        spread = 0.5 * (high - low)
        raised = max(raised, world.raised[row, col])
        if i < 2:
            defect_f, dev_f = max(defect_f, world.defect[row, col]), max(dev_f, world.deviation[row, col])
        else:
            defect_r, dev_r = max(defect_r, world.defect[row, col]), max(dev_r, world.deviation[row, col])
        if i == 0:
            m0, r0 = mid, spread
        elif i == 1:
            m1, r1 = mid, spread
        elif i == 2:
            m2, r2 = mid, spread
        else:
            m3, r3 = mid, spread
    return Contacts(True, m0, m1, m2, m3, r0, r1, r2, r3, defect_f, defect_r, dev_f, dev_r, raised)


@kernel
def stand(world: World, body: Body, x: float, y: float, heading: float) -> Stance:
    """Stand a machine at a pose; ``known`` is False when a level under a wheel is not known."""
    on = contacts(world, body, x, y, heading)
    w, w_spread = on.m0 + on.m3 - on.m1 - on.m2, on.r0 + on.r1 + on.r2 + on.r3
    stop = body.track * body.stop_tan if body.oscillating > 0 else 0.0
    taken = within_stop(w, stop)
    twist = max(abs(w) + w_spread - stop, 0.0)
    side = on.m0 + on.m2 - on.m1 - on.m3
    rigid_spread = 0.5 * w_spread
    if body.oscillating == 1:
        side -= taken
        rigid_spread = max(on.r2 + on.r3, 0.5 * w_spread if twist > 0 else 0.0)
    elif body.oscillating == 2:
        side += taken
        rigid_spread = max(on.r0 + on.r1, 0.5 * w_spread if twist > 0 else 0.0)
    pitch = (on.m0 + on.m1 - on.m2 - on.m3) / (2 * body.wheelbase)
    roll = side / (2 * body.track)
    front, rear = max(on.r0, on.r1), max(on.r2, on.r3)
    pitch_spread = (front + rear + 0.5 * twist) / body.wheelbase + body.sin_heading * abs(roll)
    roll_spread = (rigid_spread + 0.5 * twist) / body.track + body.sin_heading * abs(pitch)
    z = 0.25 * (on.m0 + on.m1 + on.m2 + on.m3)
    defects = on.front_defect, on.rear_defect, on.front_deviation, on.rear_deviation, on.raised
    return Stance(on.known, z, pitch, roll, pitch_spread, roll_spread, front, rear, twist, *defects)


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
