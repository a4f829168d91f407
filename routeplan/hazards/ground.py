"""Every check of the ground and of soffits where a machine stands, by look-ups that hold for the whole tube."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import (
    BOUNCE,
    CALM_POSE,
    COMBINED,
    GRADE,
    HEAD,
    HEAD_PROVEN,
    KINDS,
    LEVELS,
    OVERHEAD,
    OVERHEAD_PROVEN,
    SIDE_SLOPE,
    STEP,
    STRIKE,
    UNDER_LINE,
    UNDER_LINE_PROVEN,
    WALKWAY,
    Body,
    Floats,
    World,
)
from routeplan.hazards.attitude import STANCE_STEP, Stance, displaced, plane_at, stand, uncertain, uncertain_below
from routeplan.hazards.bounce import ALL_LIDS, excess, rise_margin, top_margins, underside_margin
from routeplan.hazards.clearance import COMFORT_M
from routeplan.kernel import kernel

#: Rows of ``out``: margins by kind, then those of what is overhead less the k sigma of what hangs there.
OUT = KINDS + 3
#: What the bounds at a stance leave out of an underside's height above the ground, m. They hold for every pose within
#: half a step, to second order in slopes and angles (``attitude.displaced``, ``bounce.underside_margin``). Of third
#: order: on 25 % a place 2 m out is off by 2 m x 0.25^3 / 2 = 16 mm, where ground and machine part by 10 % at most.
BETWEEN_STANCES_M = 0.002


@kernel
def slope_margins(body: Body, pitch: float, pitch_spread: float, roll: float, roll_spread: float, out: Floats) -> None:
    """Gradeability by orientation, side slope and the combined rule at one stance; degrees, degrees, 1."""
    up, down = max(pitch + pitch_spread, 0.0), max(pitch_spread - pitch, 0.0)
    side = abs(roll) + roll_spread
    use = max(up / body.limit_up, down / body.limit_down)
    degrees = 180.0 / math.pi
    grade = min(math.atan(body.limit_up) - math.atan(up), math.atan(body.limit_down) - math.atan(down)) * degrees
    use_angle = max(math.atan(up) / math.atan(body.limit_up), math.atan(down) / math.atan(body.limit_down))
    side_angle = math.atan(side) / math.atan(body.limit_side)
    combined = 1.0 - max(math.hypot(use, side / body.limit_side), math.hypot(use_angle, side_angle))
    out[GRADE] = min(out[GRADE], grade)
    out[SIDE_SLOPE] = min(out[SIDE_SLOPE], (math.atan(body.limit_side) - math.atan(side)) * degrees)
    out[COMBINED] = min(out[COMBINED], combined)


@kernel
def box_bottoms(body: Body, stance: Stance, bottoms: Floats) -> None:
    """Lower ``bottoms`` to each box's underside level at a stance."""
    pitch, roll = abs(stance.pitch) + stance.pitch_spread, abs(stance.roll) + stance.roll_spread
    for n in range(body.n_boxes):
        level = 1e9
        for i in range(4):
            xi, eta = body.boxes[n, i // 2], body.boxes[n, 2 + i % 2]
            off = uncertain_below(body, stance, xi, eta) + displaced(stance.tube, pitch, roll, xi, eta)
            level = min(level, plane_at(body, stance, xi, eta) - off)
        # The underside is square to the wheels' plane, and so that much nearer to it.
        level += body.boxes[n, 4] * (1.0 - 0.5 * (pitch * pitch + roll * roll))
        bottoms[n] = min(bottoms[n], level)


@kernel
def leans_to(stance: Stance, leans: Floats) -> None:
    """Raise ``leans`` (4,) to how far tops lean ahead, behind, to the left and to the right per metre of height."""
    leans[0] = max(leans[0], stance.pitch_spread - stance.pitch)
    leans[1] = max(leans[1], stance.pitch_spread + stance.pitch)
    leans[2] = max(leans[2], stance.roll_spread - stance.roll)
    leans[3] = max(leans[3], stance.roll_spread + stance.roll)


@kernel
def quick_look(
    world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float, i: int, j: int
) -> tuple[float, float]:
    """At most the margins of undersides to the ground, and of tops to soffits less k sigma, at a stance, m.

    Corners of boxes against the plane of block (i, j) with its hump and ceiling; NaN where the ground is not known.
    """
    block, middle = world.blocks[i, j], world.block // 2
    dx, dy = (
        x - world.x0 - (j * world.block + middle) * world.cell,
        y - world.y0 - (i * world.block + middle) * world.cell,
    )
    along_, across = block.east * c + block.north * s, block.north * c - block.east * s
    base = block.level + block.east * dx + block.north * dy
    moved = body.lateral + body.reach * body.sin_heading + 0.5 * STANCE_STEP
    differ = (abs(along_ - stance.pitch) + abs(across - stance.roll)) * moved
    slope, steep = abs(stance.pitch) + abs(stance.roll), abs(along_) + abs(across)
    under = over = math.inf
    for n in range(body.n_corners):
        xi, eta, bottom, top, lever_front, lever_rear, wanted = body.corners[n]
        above = plane_at(body, stance, xi, eta) - base - along_ * xi - across * eta
        off = uncertain(body, stance, xi, eta)
        under = min(under, above + bottom - uncertain_below(body, stance, xi, eta))
        thrown = excess(body, stance, lever_front, lever_rear) + slope * moved + steep * (slope * top + world.cell)
        over = min(over, -above - top - off - thrown - wanted)
    return under - differ - block.hump - body.underside_gap, over + block.ceiling


@kernel
def ground_margins(
    world: World, body: Body, x: float, y: float, heading: float, turn: float, aside: float, bottoms: Floats,
    leans: Floats, brief: bool, out: Floats,
) -> float:
    """Every check of the ground and the soffits at one stance; returns how far tops lean, -1 where a level is unknown.

    ``turn`` (radians) and ``aside`` (m): see ``attitude.stand``.
    """
    col = int(math.floor((x - world.x0) / world.cell + 0.5))
    row = int(math.floor((y - world.y0) / world.cell + 0.5))
    if row < 0 or col < 0 or row >= world.nodes.shape[0] or col >= world.nodes.shape[1]:
        out[LEVELS] = -1.0
        return -1.0
    i, j = row // world.block, col // world.block
    if brief and world.blocks[i, j].calm & CALM_POSE:
        for n in range(4):
            leans[n] = max(leans[n], world.blocks[i, j].lean)
        return float(world.blocks[i, j].lean)
    stance = stand(world, body, x, y, heading, turn, aside)
    if not stance.known:
        out[LEVELS] = -1.0
        return -1.0
    slope_margins(body, stance.pitch, stance.pitch_spread, stance.roll, stance.roll_spread, out)
    out[BOUNCE] = min(out[BOUNCE], rise_margin(body, stance))
    out[STEP] = min(out[STEP], body.step_limit - stance.raised)
    box_bottoms(body, stance, bottoms)
    leans_to(stance, leans)
    lean = math.hypot(abs(stance.pitch) + stance.pitch_spread, abs(stance.roll) + stance.roll_spread)
    if brief and blocked(out):
        return lean
    c, s = math.cos(heading), math.sin(heading)
    under = over = -1.0
    if brief:
        under, over = quick_look(world, body, stance, x, y, c, s, i, j)
    if not under >= body.proven[STRIKE] + BETWEEN_STANCES_M:
        out[STRIKE] = min(out[STRIKE], underside_margin(world, body, stance, x, y, c, s))
        if brief and blocked(out):
            return lean
    enough = max(COMFORT_M, body.proven[HEAD], body.proven[OVERHEAD], body.proven[UNDER_LINE])
    if not over >= enough and world.nodes[row, col].soffit_far < body.reach + 1.5:
        top_margins(world, body, stance, x, y, c, s, ALL_LIDS, out)
    return lean


@kernel
def proven_row(k: int) -> int:
    """The row of ``out`` that says whether check k is proven: its own, but for what is overhead."""
    if k == HEAD:
        return HEAD_PROVEN
    if k == OVERHEAD:
        return OVERHEAD_PROVEN
    if k == UNDER_LINE:
        return UNDER_LINE_PROVEN
    return k


@kernel
def blocked(out: Floats) -> bool:
    """Whether a margin that blocks is negative."""
    found = False
    for k in range(KINDS):
        found = found or (k != WALKWAY and not out[k] >= 0.0)
    return found
