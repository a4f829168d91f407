"""Every check over one motion: its margins, and the byte that says what they mean to the search."""

from __future__ import annotations

import math
from typing import NamedTuple

from routeplan.hazards.arrays import (
    BOUNCE,
    CALM_MOTION,
    CLEARANCE,
    COMBINED,
    HEAD,
    KINDS,
    LEVELS,
    MIDDLE,
    OVERHEAD,
    STRIKE,
    UNDER_LINE,
    WALKWAY,
    Body,
    Bytes,
    Floats,
    Ints,
    Scratch,
    World,
)
from routeplan.hazards.attitude import STANCE_STEP
from routeplan.hazards.clearance import COMFORT_M, inside_margins
from routeplan.hazards.closer import look_closer, merge
from routeplan.hazards.ground import BETWEEN_STANCES_M, OUT, blocked, ground_margins, proven_row
from routeplan.hazards.kerbs import kerb_margins
from routeplan.hazards.sweep import FAR, along, piece_edges
from routeplan.hazards.tubes import STRETCH, WHOLE
from routeplan.kernel import kernel

#: Columns of a piece of motion: length along the path (m; signed turn in rad for a pivot), curvature (1/m), 1 for
#: a pivot, and slip: how far the origin travels to the left of where the arrow points, per metre; 0 in front steer.
PIECE = 4
BLOCKED = 255
COMFORTABLE = 8
#: Bytes of a pose that has been looked at.
FREE, TAKEN = 1, 2
OPEN = 64


@kernel
def rate_over(body: Body, piece: Floats) -> float:
    """Farthest that any point of the body or a wheel's hub travels per metre along a piece (per radian on the spot)."""
    if piece[2] > 0.0:
        return float(body.reach)
    bent, slip = abs(piece[1]), abs(piece[3])
    wide = max(-body.hull[2], body.hull[3])
    rate: float = max(1.0 + body.wheelbase * bent, math.hypot(body.reach * bent + slip, 1.0 + wide * bent))
    return rate


@kernel
def stances_of(body: Body, piece: Floats) -> int:
    """Number of steps between the stances that stand for a piece of motion; what lies between is in their windows."""
    return int(math.ceil(abs(piece[0]) * rate_over(body, piece) / STANCE_STEP - 1e-9))


@kernel
def stretch_ground(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, first: float, last: float,
    closer: bool | None, whole: bool, scratch: Scratch, brief: bool, out: Floats,
) -> float:
    """Ground and soffits along one piece from a distance to another; returns the largest lean of a top per metre of
    height, -1 where unknown. ``closer`` is ``world.closer``; ``whole`` is a closer look at all of it.

    Row ``WHOLE`` of bottoms and leans is filled with the lowest that each box's underside gets and how far tops lean.
    """
    curvature, pivot, slip, rate = piece[1], piece[2], piece[3], rate_over(body, piece)
    length = last - first
    scratch.bottoms[WHOLE, :], scratch.leans[WHOLE, :] = 1e9, 0.0
    steps = int(math.ceil(abs(length) * rate / STANCE_STEP - 1e-9))
    turn = 0.5 * abs(length) * (1.0 if pivot > 0.0 else abs(curvature)) / max(steps, 1)
    aside = 0.5 * STANCE_STEP if turn > 0.0 or slip != 0.0 else 0.0
    bottoms, leans, here = scratch.bottoms, scratch.leans, scratch.margins[STRETCH]
    lean = 0.0
    for i in range(steps, 0 if scratch.look == MIDDLE else -1, -1):
        px, py, ph = along(x, y, heading, first + length * i / steps, curvature, pivot, slip)
        if closer is None:
            leaned = ground_margins(world, body, px, py, ph, turn, aside, bottoms[WHOLE], leans[WHOLE], brief, out)
        else:
            here[:] = FAR
            here[LEVELS] = 0.0
            bottoms[STRETCH, :], leans[STRETCH, :] = 1e9, 0.0
            leaned = ground_margins(world, body, px, py, ph, turn, aside, bottoms[STRETCH], leans[STRETCH], brief, here)
            low = first + length * max(i - 0.5, 0.0) / steps
            high = first + length * min(i + 0.5, float(steps)) / steps
            leaned = look_closer(world, body, x, y, heading, piece, low, high, rate, whole, leaned, scratch, brief)
            merge(scratch, WHOLE, STRETCH)
            for k in range(OUT):
                out[k] = min(out[k], here[k])
        if leaned < 0.0 or (brief and blocked(out)):
            return leaned
        lean = max(lean, leaned)
    return lean


@kernel
def motion_margins(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    pieces: Floats,
    count: int,
    scratch: Scratch,
    brief: bool,
    out: Floats,
) -> None:
    """Smallest margin of every check over a whole motion, tube included.

    Parameters
    ----------
    x, y, heading
        Where the motion starts; metres, radians anticlockwise from east.
    pieces, count
        (n, PIECE); the first ``count`` are driven.
    brief
        Stop at the first margin below zero, skip what is comfortable anyway, and look at the rest only as closely as
        the search needs: every margin is then at most the one found otherwise, where it matters to a byte.
    out
        (OUT,) filled with margins; ``FAR`` where a check has nothing to say.
    """
    out[:] = FAR
    out[LEVELS] = 0.0
    inside_margins(world, body, x, y, math.cos(heading), math.sin(heading), out)
    if brief and blocked(out):
        return
    for n in range(count):
        piece = pieces[n]
        if piece[0] == 0.0:
            continue
        kerb_margins(world, body, x, y, heading, piece, stances_of(body, piece), out)
        if brief and blocked(out):
            return
        parts = parts_of(body, piece, world.closer)
        for i in range(parts):
            first, last = piece[0] * i / parts, piece[0] * (i + 1) / parts
            known = stretch_margins(world, body, x, y, heading, piece, first, last, world.closer, scratch, brief, out)
            if not known or (brief and blocked(out)):
                return
        x, y, heading = along(x, y, heading, piece[0], piece[1], piece[2], piece[3])


@kernel
def parts_of(body: Body, piece: Floats, closer: bool | None) -> int:
    """Stretches that a piece is looked at in. What a box passes over in a closer look is held against how low its
    underside gets there, and not anywhere along the piece.
    """
    parts = 1
    if closer is not None:
        parts = max(stances_of(body, piece), 1)
    return parts


@kernel
def stretch_margins(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, first: float, last: float,
    closer: bool | None, scratch: Scratch, brief: bool, out: Floats,
) -> bool:
    """Lower ``out`` to the margins of one piece from a distance to another; whether the ground there is known.

    Where only how far tops lean or undersides sink may be in the way, a closer look is taken at that too. ``closer`` is
    ``world.closer``: without it, the first look is all.
    """
    sx, sy, sh = along(x, y, heading, first, piece[1], piece[2], piece[3])
    if closer is None:
        lean = stretch_ground(world, body, x, y, heading, piece, first, last, closer, False, scratch, brief, out)
        if lean >= 0.0 and not (brief and blocked(out)):
            piece_edges(world, body, sx, sy, sh, last - first, piece, lean * body.tallest, brief, scratch, out)
        return lean >= 0.0
    upright, leaning = scratch.beside[0], scratch.beside[1]
    scratch.bottoms[WHOLE, :], scratch.leans[WHOLE, :], upright[:] = 1e9, 0.0, FAR
    piece_edges(world, body, sx, sy, sh, last - first, piece, 0.0, brief, scratch, upright)
    if brief and blocked(upright):  # in the way however the machine leans, and quickly told
        for k in range(OUT):
            out[k] = min(out[k], upright[k])
        return True
    for whole in (False, True):
        lean = stretch_ground(world, body, x, y, heading, piece, first, last, closer, whole, scratch, brief, out)
        if lean < 0.0 or (brief and blocked(out)):
            return lean >= 0.0
        leaning[:] = FAR
        piece_edges(world, body, sx, sy, sh, last - first, piece, lean * body.tallest, brief, scratch, leaning)
        if leaning[CLEARANCE] >= 0.0 or upright[CLEARANCE] < 0.0:
            break
    for k in range(OUT):
        out[k] = min(out[k], leaning[k])
    return True


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
        if proven_row(k) != k:
            proven = out[proven_row(k)]
        if blocking[k] == 2 and proven < body.proven[k]:
            opened = True
    use = max(1.0 - out[COMBINED], 1.0 - out[BOUNCE] / body.bounce_limit)
    for k in (CLEARANCE, HEAD, OVERHEAD, UNDER_LINE):
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


class Checker(NamedTuple):
    """All that checking a motion of a lattice takes. Lattice node (r, c) stands on field node (r * stride, c *
    stride).
    """

    world: World
    body: Body
    blocking: Bytes
    headings: Floats  # (H,) radians
    pieces: Floats  # (H, P, n, PIECE) the motion primitives
    counts: Ints  # (H, P) pieces that count
    stride: int
    here: Floats  # (1, PIECE) as good as standing still
    brief: bool  # True; a constant in a kernel would be compiled apart
    scratch: Scratch


@kernel
def free_motion(checker: Checker, row: int, col: int) -> bool:
    """Whether any motion from a lattice node is as good as can be, without a closer look."""
    world, r, c = checker.world, row * checker.stride, col * checker.stride
    i, j = r // world.block, c // world.block
    node = world.nodes[r, c]
    if world.blocks[i, j].calm & CALM_MOTION == 0 or node.inside != 0:
        return False
    nearest: float = min(node.body_far, node.wheel_far)
    return bool(nearest > world.open_m + world.blocks[i, j].lean * checker.body.tallest)


@kernel
def pose_free(checker: Checker, row: int, col: int, heading: int) -> bool:
    """Whether the machine may stand at a lattice pose."""
    world, out = checker.world, checker.scratch.out
    if free_motion(checker, row, col):
        return True
    x = world.x0 + col * checker.stride * world.cell
    y = world.y0 + row * checker.stride * world.cell
    motion_margins(
        world,
        checker.body,
        x,
        y,
        checker.headings[heading],
        checker.here,
        len(checker.here),
        checker.scratch,
        checker.brief,
        out,
    )
    return not blocked(out)


@kernel
def standing_room(checker: Checker, first: int, last: int, poses: Bytes, taken: Bytes) -> None:
    """Mark in ``taken`` (rows, cols) the lattice cells of rows first to last - 1 where no heading may stand.

    ``poses`` (rows, cols, H) keeps what was looked at on the way; headings far apart are tried first.
    """
    n_h = poses.shape[2]
    for row in range(first, last):
        for col in range(poses.shape[1]):
            if taken[row, col] or free_motion(checker, row, col):
                continue
            found = False
            for n in range(n_h):
                heading = (5 * n) % n_h
                found = pose_free(checker, row, col, heading)
                poses[row, col, heading] = FREE if found else TAKEN
                if found:
                    break
            if not found:
                taken[row, col] = 1


@kernel
def motion_byte(checker: Checker, row: int, col: int, heading: int, primitive: int) -> int:
    """Check one motion of the lattice; see ``verdict_byte``."""
    world, out = checker.world, checker.scratch.out
    if free_motion(checker, row, col):
        return COMFORTABLE
    x = world.x0 + col * checker.stride * world.cell
    y = world.y0 + row * checker.stride * world.cell
    pieces, count = checker.pieces[heading, primitive], checker.counts[heading, primitive]
    motion_margins(
        world, checker.body, x, y, checker.headings[heading], pieces, count, checker.scratch, checker.brief, out
    )
    return verdict_byte(checker.body, out, checker.blocking)


@kernel
def motion_bytes(checker: Checker, rows: Ints, cols: Ints, heading: int, primitive: int, table: Bytes) -> None:
    """Fill ``table`` (rows, cols, H, P) where it is 0 with the bytes of one primitive from n lattice cells."""
    for i in range(rows.shape[0]):
        if table[rows[i], cols[i], heading, primitive] == 0:
            table[rows[i], cols[i], heading, primitive] = motion_byte(checker, rows[i], cols[i], heading, primitive)


@kernel
def judge(
    world: World,
    body: Body,
    blocking: Bytes,
    starts: Floats,
    pieces: Floats,
    scratch: Scratch,
    brief: bool,
    margins: Floats,
    verdicts: Bytes,
) -> None:
    """Check n single motions.

    ``starts`` (n, 3), ``pieces`` (n, m, PIECE); fills ``margins`` (n, OUT) and ``verdicts`` (n,).
    """
    for i in range(starts.shape[0]):
        x, y, heading = starts[i, 0], starts[i, 1], starts[i, 2]
        motion_margins(world, body, x, y, heading, pieces[i], pieces.shape[1], scratch, brief, margins[i])
        verdicts[i] = verdict_byte(body, margins[i], blocking)
