"""Every check over one motion, and over every motion of one tile of the lattice."""

from __future__ import annotations

import math

import numpy as np

from routeplan.hazards.arrays import (
    BOUNCE,
    CALM_EDGES,
    CALM_GROUND,
    CLEARANCE,
    COMBINED,
    GRADE,
    HEAD,
    KINDS,
    LEVELS,
    OVERHEAD,
    SIDE_SLOPE,
    STEP,
    STRIKE,
    WALKWAY,
    Body,
    Bytes,
    Floats,
    Ints,
    World,
)
from routeplan.hazards.attitude import Stance, plane_at, stand
from routeplan.hazards.bounce import rise_margin, top_margins, underside_margin
from routeplan.hazards.clearance import COMFORT_M, inside_margins
from routeplan.hazards.sweep import FAR, along, piece_edges
from routeplan.kernel import kernel

#: Columns of a piece of motion: length along the path (m; signed turn in rad for a pivot), curvature (1/m), 1 for
#: a pivot.
PIECE = 3
#: Rows of ``out``: margins by kind, then the two overhead margins less the soffits' k sigma.
OUT = KINDS + 2
#: Wheel travel between two stances, m; half of it lies inside every window of the fields.
STANCE_STEP = 0.25
#: An underside may come this much nearer to the ground between two stances, m.
BETWEEN_STANCES_M = 0.002
BLOCKED = 255
OPEN = 64


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
def box_bottoms(body: Body, stance: Stance, bottoms: Floats) -> tuple[float, float]:
    """Lower ``bottoms`` to each box's underside level at a stance; returns the lowest height and what tilt may
    take off it.
    """
    slack = body.reach * (stance.pitch_spread + stance.roll_spread)
    moved = (abs(stance.pitch) + abs(stance.roll)) * (body.lateral + body.reach * body.sin_heading)
    lowest = FAR
    for n in range(body.boxes.shape[0]):
        lowest = min(lowest, body.boxes[n, 4])
        level = 1e9
        for i in range(4):
            level = min(level, plane_at(body, stance, body.boxes[n, i // 2], body.boxes[n, 2 + i % 2]))
        bottoms[n] = min(bottoms[n], level + body.boxes[n, 4] - slack - moved - 0.5 * stance.twist)
    return lowest, slack


@kernel
def ground_margins(world: World, body: Body, x: float, y: float, heading: float, bottoms: Floats, out: Floats) -> float:
    """Every check of the ground and the soffits at one pose; returns how far tops lean, -1 where a level is unknown."""
    stance = stand(world, body, x, y, heading)
    if not stance.known:
        out[LEVELS] = -1.0
        return -1.0
    slope_margins(body, stance.pitch, stance.pitch_spread, stance.roll, stance.roll_spread, out)
    out[BOUNCE] = min(out[BOUNCE], rise_margin(body, stance))
    out[STEP] = min(out[STEP], body.step_limit - stance.raised)
    c, s = math.cos(heading), math.sin(heading)
    col = int(math.floor((x - world.x0) / world.cell + 0.5))
    row = int(math.floor((y - world.y0) / world.cell + 0.5))
    if world.soffit_far[row, col] < body.reach + 1.5:
        head, head_proven, box, box_proven = top_margins(world, body, stance, x, y, c, s)
        out[HEAD], out[KINDS] = min(out[HEAD], head), min(out[KINDS], head_proven)
        out[OVERHEAD], out[KINDS + 1] = min(out[OVERHEAD], box), min(out[KINDS + 1], box_proven)
    lowest, slack = box_bottoms(body, stance, bottoms)
    stretch = 1.0 + body.reach / 0.9
    quick = lowest - slack - body.underside_gap - 2.0 * world.smooth[row, col] * stretch * stretch
    if quick < 0.0:
        quick = underside_margin(world, body, stance, x, y, c, s)
    out[STRIKE] = min(out[STRIKE], quick)
    return math.hypot(abs(stance.pitch) + stance.pitch_spread, abs(stance.roll) + stance.roll_spread)


@kernel
def blocked(out: Floats) -> bool:
    """Whether a margin that blocks is negative."""
    found = False
    for k in range(KINDS):
        found = found or (k != WALKWAY and not out[k] >= 0.0)
    return found


@kernel
def piece_ground(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    piece: Floats,
    bottoms: Floats,
    stop: bool,
    out: Floats,
) -> float:
    """Ground and soffits along one piece; returns the largest lean of a top per metre of height, -1 where unknown."""
    length, curvature, pivot = piece[0], piece[1], piece[2]
    bottoms[:] = 1e9
    rate = body.reach if pivot > 0.0 else 1.0 + body.wheelbase * abs(curvature)
    steps = int(math.ceil(abs(length) * rate / STANCE_STEP))
    lean = 0.0
    for i in range(steps + 1):
        px, py, ph = along(x, y, heading, length * i / steps, curvature, pivot)
        leaned = ground_margins(world, body, px, py, ph, bottoms, out)
        if leaned < 0.0:
            return leaned
        lean = max(lean, leaned)
        inside_margins(world, body, px, py, math.cos(ph), math.sin(ph), out)
        if stop and blocked(out):
            return lean
    return lean


@kernel
def gentle_bottoms(body: Body, bottoms: Floats) -> float:
    """Undersides and lean on calm ground: no obstacle is low enough to be passed over without a closer look."""
    bottoms[:] = -1e9
    return body.calm_lean


@kernel
def motion_margins(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    pieces: Floats,
    bottoms: Floats,
    found: Ints,
    stop: bool,
    calm: int,
    out: Floats,
) -> None:
    """Smallest margin of every check over a whole motion, tube included; with ``stop`` only until one is negative.

    Parameters
    ----------
    x, y, heading
        Where the motion starts; metres, radians anticlockwise from east.
    pieces
        (n, 3): see ``PIECE``.
    bottoms, found
        Scratch: one float a box, and room for the edges near a motion.
    calm
        ``World.calm`` where the motion starts, 0 to look at everything.
    out
        (OUT,) filled with margins; ``FAR`` where a check has nothing to say.
    """
    out[:] = FAR
    out[LEVELS] = 0.0
    for n in range(pieces.shape[0]):
        length, curvature, pivot = pieces[n, 0], pieces[n, 1], pieces[n, 2]
        if length == 0.0:
            continue
        lean = 0.0
        if calm & CALM_GROUND == 0:
            lean = piece_ground(world, body, x, y, heading, pieces[n], bottoms, stop, out)
            if lean < 0.0 or (stop and blocked(out)):
                return
        if calm & CALM_EDGES == 0:
            if calm & CALM_GROUND:
                lean = gentle_bottoms(body, bottoms)
            piece_edges(world, body, x, y, heading, pieces[n], bottoms, lean * body.tallest, found, out)
            if stop and blocked(out):
                return
        x, y, heading = along(x, y, heading, length, curvature, pivot)


@kernel
def verdict_byte(body: Body, out: Floats, blocking: Bytes) -> int:
    """What a motion's margins mean to the search: blocked, or a multiplier in eighths with the open flag.

    ``blocking[k]`` is 2 where an open check flags the motion, 1 where it only blocks below zero (no pose on this survey
    could prove it, so it says nothing about which way is better), 0 where it does neither (walkways).
    """
    opened = False
    for k in range(KINDS):
        if blocking[k] == 0:
            continue
        proven = out[k]
        if k == STRIKE:
            proven -= BETWEEN_STANCES_M
        if not proven >= 0.0:
            return BLOCKED
        if k == HEAD:
            proven = out[KINDS]
        elif k == OVERHEAD:
            proven = out[KINDS + 1]
        if blocking[k] == 2 and proven < body.proven[k]:
            opened = True
    use = max(1.0 - out[COMBINED], 1.0 - out[BOUNCE] / body.bounce_limit)
    for k in (CLEARANCE, HEAD, OVERHEAD):
        use = max(use, 1.0 - 0.5 * out[k] / COMFORT_M)
    eighths = 8
    if use > 0.85:
        eighths = 12
    elif use > 0.7:
        eighths = 10
    elif use > 0.5:
        eighths = 9
    if out[WALKWAY] < 0.0:
        eighths *= 2
    return eighths + (OPEN if opened else 0)


@kernel
def fill_tile(
    world: World,
    body: Body,
    blocking: Bytes,
    headings: Floats,
    pieces: Floats,
    counts: Ints,
    rows: Ints,
    cols: Ints,
    stride: int,
    tile: Bytes,
) -> None:
    """Check every motion that starts in a block of lattice cells.

    Parameters
    ----------
    headings
        (H,) radians.
    pieces, counts
        (H, P, 3, PIECE) and (H, P): the motion primitives.
    rows, cols
        Lattice rows and columns of the block; lattice node (r, c) stands on field node (r * stride, c * stride).
    tile
        (len(rows), len(cols), H, P) filled with ``verdict_byte``.
    """
    out = world.edges[:1, :1].repeat(OUT)
    here = np.zeros((1, PIECE))
    bottoms = body.boxes[:, 4].copy()
    found = counts.ravel()[:1].repeat(2048)
    for i in range(rows.shape[0]):
        for j in range(cols.shape[0]):
            calm = int(world.calm[rows[i] * stride, cols[j] * stride])
            if calm == CALM_GROUND | CALM_EDGES:
                tile[i, j] = 8
                continue
            x = world.x0 + cols[j] * stride * world.cell
            y = world.y0 + rows[i] * stride * world.cell
            for h in range(headings.shape[0]):
                here[0, 0] = 1e-6
                motion_margins(world, body, x, y, headings[h], here, bottoms, found, True, calm, out)
                if blocked(out):
                    tile[i, j, h] = BLOCKED
                    continue
                for p in range(counts.shape[1]):
                    motion = pieces[h, p, : counts[h, p]]
                    motion_margins(world, body, x, y, headings[h], motion, bottoms, found, True, calm, out)
                    tile[i, j, h, p] = verdict_byte(body, out, blocking)


@kernel
def judge(
    world: World, body: Body, blocking: Bytes, starts: Floats, pieces: Floats, margins: Floats, verdicts: Bytes
) -> None:
    """Check n single motions: ``starts`` (n, 3), ``pieces`` (n, m, PIECE); fills ``margins`` (n, OUT),
    ``verdicts`` (n,).
    """
    bottoms = body.boxes[:, 4].copy()
    found = world.bucket_edges[:1].repeat(2048)
    for i in range(starts.shape[0]):
        x, y, heading = starts[i, 0], starts[i, 1], starts[i, 2]
        motion_margins(world, body, x, y, heading, pieces[i], bottoms, found, False, 0, margins[i])
        verdicts[i] = verdict_byte(body, margins[i], blocking)
