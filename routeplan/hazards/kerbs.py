"""At which angle, and on what side slope, a wheel meets an edge of what is raised (docs/method.md 7)."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import KERB_ANGLE, KERB_SIDE, Body, Floats, World
from routeplan.hazards.attitude import STANCE_STEP, Tube
from routeplan.hazards.clearance import TOUCH_M, in_frame, segment_box
from routeplan.hazards.levels import CLEAN, standing_level, wheel_span
from routeplan.hazards.sweep import along
from routeplan.kernel import kernel


@kernel
def folded(angle: float) -> float:
    """Angle between two lines that have no ends, rad, not negative.

    >>> folded(math.pi), round(folded(-3.0), 6)
    (0.0, 0.141593)
    """
    return abs(angle - math.pi * math.floor(angle / math.pi + 0.5))


@kernel
def hub_way(body: Body, i: int, piece: Floats) -> tuple[float, float]:
    """Where the hub of wheel i goes against the chassis arrow, and how far off that may be within the tube, rad."""
    xi, eta, turning = body.wheel_xi[i], body.wheel_eta[i], 1.0 if piece[2] > 0.0 else piece[1]
    ahead = 0.0 if piece[2] > 0.0 else math.sqrt(1.0 - piece[3] * piece[3])
    u, v = ahead - turning * eta, piece[3] + turning * xi
    speed = math.hypot(u, v)
    off = abs(turning) * (body.lateral + (abs(xi) + abs(eta)) * body.sin_heading)
    if off >= speed:
        return 0.0, 0.5 * math.pi if off > 0.0 else 0.0
    return math.atan2(v, u), math.asin(off / speed)


@kernel
def edge_angle(
    world: World, body: Body, i: int, x: float, y: float, c: float, s: float, tube: Tube, turn: float, piece: Floats
) -> float:
    """Largest angle from square-on at which wheel i may meet an edge of what is raised, rad; -1 where it meets none."""
    xi, eta = body.wheel_xi[i], body.wheel_eta[i]
    hub_x, hub_y = x + xi * c - eta * s, y + xi * s + eta * c
    col = int(math.floor((hub_x - world.x0) / world.cell + 0.5))
    row = int(math.floor((hub_y - world.y0) / world.cell + 0.5))
    if row < 0 or col < 0 or row >= world.nodes.shape[0] or col >= world.nodes.shape[1]:
        return -1.0
    if world.nodes[row, col].raised <= 0.0:
        return -1.0
    turned = tube.turned + turn
    long = body.radius + tube.ahead + abs(eta) * tube.turned + body.tyre_half * turned
    wide = body.tyre_half + tube.aside + abs(xi) * tube.turned + body.radius * turned
    way, off = hub_way(body, i, piece)
    reach, worst = long + wide, -1.0
    for n in range(len(world.features)):
        one = world.features[n]
        if one[5] > 0.0 or hub_x < one[0] - reach or hub_y < one[1] - reach:
            continue
        if hub_x > one[2] + reach or hub_y > one[3] + reach:
            continue
        for m in range(int(one[6]), int(one[7])):
            u0, v0, u1, v1 = in_frame(world.outlines[m], hub_x, hub_y, c, s)
            if segment_box(u0, v0, u1, v1, -long, long, -wide, wide) <= TOUCH_M:
                normal = math.atan2(u0 - u1, v1 - v0)
                worst = max(worst, folded(normal), folded(normal - way) + off)
    return worst if worst < 0.0 else worst + math.asin(tube.turned) + turn


@kernel
def clean_roll(world: World, body: Body, x: float, y: float, c: float, s: float, tube: Tube, turn: float) -> float:
    """Most that the mean plane of clean ground may slope across the machine, a ratio; NaN where it is not known."""
    base, pitch, roll, turned = 0.0, 0.0, 0.0, tube.turned + turn
    for i in range(4):
        xi, eta = body.wheel_xi[i], body.wheel_eta[i]
        base = standing_level(world, body, x + xi * c - eta * s, y + xi * s + eta * c, c, s)
        pitch += (base if i < 2 else -base) / (2.0 * body.wheelbase)
        roll += (base if i % 2 == 0 else -base) / (2.0 * body.track)
    most = least = roll
    for i in range(4):
        xi, eta = body.wheel_xi[i], body.wheel_eta[i]
        hub_x, hub_y = x + xi * c - eta * s, y + xi * s + eta * c
        base = standing_level(world, body, hub_x, hub_y, c, s)
        low, high = wheel_span(
            world, body, CLEAN, hub_x, hub_y, c, s, base, pitch, roll, tube.ahead + abs(eta) * tube.turned,
            tube.aside + abs(xi) * tube.turned, turned,
        )  # fmt: skip
        most += (high if i % 2 == 0 else -low) / (2.0 * body.track)
        least += (low if i % 2 == 0 else -high) / (2.0 * body.track)
    return max(abs(most), abs(least)) + abs(pitch) * turned


@kernel
def kerb_margins(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, steps: int, out: Floats
) -> None:
    """Lower ``out`` to what is left of both limits over a piece looked at in so many steps from stance to stance."""
    curvature, pivot, slip = piece[1], piece[2], piece[3]
    turn = 0.5 * abs(piece[0]) * (1.0 if pivot > 0.0 else abs(curvature)) / max(steps, 1)
    aside = 0.5 * STANCE_STEP if turn > 0.0 or slip != 0.0 else 0.0
    tube = Tube(0.5 * STANCE_STEP, aside + body.lateral, body.sin_heading, 1.0)
    for n in range(steps + 1):
        px, py, ph = along(x, y, heading, piece[0] * n / max(steps, 1), curvature, pivot, slip)
        c, s = math.cos(ph), math.sin(ph)
        angle = -1.0
        for i in range(4):
            angle = max(angle, edge_angle(world, body, i, px, py, c, s, tube, turn, piece))
        if angle >= 0.0:
            slope = math.degrees(math.atan(clean_roll(world, body, px, py, c, s, tube, turn)))
            out[KERB_ANGLE] = min(out[KERB_ANGLE], body.kerb_angle - math.degrees(angle))
            out[KERB_SIDE] = min(out[KERB_SIDE], body.kerb_side - slope if math.isfinite(slope) else -90.0)
