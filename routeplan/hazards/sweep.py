"""The machine swept along one piece of a motion, against the vector layers: quick looks, exact ones near edges."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import (
    CLEARANCE,
    E_OBSTACLE,
    LAST_BODY_EDGE,
    STEP,
    WALKWAY,
    Body,
    Floats,
    Ints,
    Scratch,
    World,
)
from routeplan.hazards.clearance import (
    COMFORT_M,
    check_of,
    in_frame,
    listed,
    outside,
    part_of,
    roomy,
    segment_box,
    slices_of,
    wanted_gap,
)
from routeplan.kernel import kernel

#: Margin of a check that has nothing to say, in any unit.
FAR = 1000.0
#: In brief a turning piece is halved until what lies between two poses is less than this, m; where only comfort is at
#: stake, than that.
FINE_M, COARSE_M = 0.025, 0.25
#: The same of a full look, m. A full look at any part of a piece thus finds at most this much less than the smallest
#: margin of the whole; a brief look takes it off beforehand, so that no part of a way that it passed is failed later.
EXACT_M = 0.001


@kernel
def along(
    x: float, y: float, heading: float, distance: float, curvature: float, pivot: float, slip: float
) -> tuple[float, float, float]:
    """Pose after a distance along a piece: any rigid motion of constant rate in the plane.

    ``slip`` is how far the origin travels to the left of where the arrow points, per metre: the sine of the angle.

    >>> [round(v, 6) for v in along(0.0, 0.0, 0.0, math.pi, 0.5, 0.0, 0.0)]
    [2.0, 2.0, 1.570796]
    >>> [round(v, 6) for v in along(0.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.5)]
    [1.732051, 1.0, 0.0]
    """
    if pivot > 0.0:
        return x, y, heading + distance
    ahead = math.sqrt(1.0 - slip * slip)  # the way along the arrow is turned by the angle whose sine the slip is
    if curvature == 0.0:
        dx, dy = distance * math.cos(heading), distance * math.sin(heading)
        return x + ahead * dx - slip * dy, y + ahead * dy + slip * dx, heading
    turned = heading + distance * curvature
    radius = 1.0 / curvature
    dx, dy = radius * (math.sin(turned) - math.sin(heading)), radius * (math.cos(heading) - math.cos(turned))
    return x + ahead * dx - slip * dy, y + ahead * dy + slip * dx, turned


@kernel
def rate_of(body: Body, n: int, curvature: float, pivot: float, slip: float, leans: Floats) -> float:
    """Farthest that any point of part n moves per metre along a piece (per radian of a turn on the spot)."""
    a0, a1, b0, b1 = part_of(body, n, leans)
    xi, eta = max(abs(a0), abs(a1)), max(abs(b0), abs(b1))
    if pivot > 0.0:
        return math.hypot(xi, eta)
    return math.hypot(xi * abs(curvature) + abs(slip), 1.0 + eta * abs(curvature))


@kernel
def straight_margins(
    world: World,
    body: Body,
    x: float,
    y: float,
    c: float,
    s: float,
    ahead: float,
    bottoms: Floats,
    leans: Floats,
    found: Ints,
    count: int,
    out: Floats,
) -> None:
    """Lower ``out`` to the smallest margin of body and wheels to the edges found, over a straight piece.

    The body stands at (x, y) and is drawn out ``ahead`` metres along its axis (may be negative); ``leans`` say how far
    tops lean. ``bottoms[n]`` is the lowest level of box n's underside over the motion.
    """
    for m in range(count):
        edge = world.edges[found[m]]
        kind = int(world.edge_kind[found[m]])
        check = check_of(kind)
        u0, v0, u1, v1 = in_frame(edge, x, y, c, s)
        wheels = kind > LAST_BODY_EDGE
        for n in range(-4 if wheels else 0, 0 if wheels else body.n_boxes):
            if kind == E_OBSTACLE and edge[5] + body.underside_gap <= bottoms[n]:
                continue
            wanted = wanted_gap(body, kind, edge[4], n)
            a0, a1, b0, b1 = part_of(body, n, leans)
            a0, a1 = a0 + min(ahead, 0.0), a1 + max(ahead, 0.0)
            if outside(u0, v0, u1, v1, a0, a1, b0, b1, wanted + COMFORT_M):
                continue
            margin = segment_box(u0, v0, u1, v1, a0, a1, b0, b1) - wanted
            if margin < 0.0 and n >= 0 and world.closer is not None:
                margin = math.inf
                for part in slices_of(body, n):
                    a0, a1, b0, b1 = part_of(body, part, leans)
                    a0, a1 = a0 + min(ahead, 0.0), a1 + max(ahead, 0.0)
                    margin = min(margin, segment_box(u0, v0, u1, v1, a0, a1, b0, b1) - wanted)
            out[check] = min(out[check], margin)


@kernel
def settled(check: int, margin: float, swell: float, so_far: float, brief: bool) -> bool:
    """Whether the margin at a pose says enough about all poses within ``swell`` of it.

    In brief only the sign counts, and roughly how comfortable it is; else the smallest margin is wanted, up to comfort.
    """
    if swell <= EXACT_M or margin - swell >= min(so_far, COMFORT_M):
        return True
    if not brief:
        return False
    if swell <= FINE_M:
        return True
    if check == WALKWAY:
        return abs(margin) >= swell
    if margin < swell:
        return margin < 0.0
    return check != CLEARANCE or swell <= COARSE_M


@kernel
def turning_margins(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    length: float,
    curvature: float,
    pivot: float,
    slip: float,
    leans: Floats,
    brief: bool,
    scratch: Scratch,
    count: int,
    out: Floats,
) -> None:
    """Lower ``out`` to the smallest margin of body and wheels to the edges found, over a turning piece."""
    mx, my, mh = along(x, y, heading, 0.5 * length, curvature, pivot, slip)
    c, s = math.cos(mh), math.sin(mh)
    for m in range(count):
        found = scratch.found[m]
        edge, kind = world.edges[found], int(world.edge_kind[found])
        check = check_of(kind)
        u0, v0, u1, v1 = in_frame(edge, mx, my, c, s)
        wheels = kind > LAST_BODY_EDGE
        for n in range(-4 if wheels else 0, 0 if wheels else body.n_boxes):
            if kind == E_OBSTACLE and edge[5] + body.underside_gap <= scratch.bottoms[0, n]:
                continue
            wanted = wanted_gap(body, kind, edge[4], n)
            a0, a1, b0, b1 = part_of(body, n, leans)
            rate = rate_of(body, n, curvature, pivot, slip, leans)
            if outside(u0, v0, u1, v1, a0, a1, b0, b1, wanted + COMFORT_M + 0.5 * abs(length) * rate):
                continue
            least = pair_margin(
                edge, body, n, wanted, rate, check, x, y, heading, length, curvature, pivot, slip, leans, brief,
                scratch.parts, out[check],
            )  # fmt: skip
            if least < min(out[check], 0.0) and n >= 0 and world.closer is not None:
                least = out[check]
                for part in slices_of(body, n):
                    least = pair_margin(
                        edge, body, part, wanted, rate, check, x, y, heading, length, curvature, pivot, slip, leans,
                        brief, scratch.parts, least,
                    )  # fmt: skip
            out[check] = min(out[check], least)
            if brief and least < 0.0 and check != WALKWAY:
                return


@kernel
def pair_margin(
    edge: Floats,
    body: Body,
    n: int,
    wanted: float,
    rate: float,
    check: int,
    x: float,
    y: float,
    heading: float,
    length: float,
    curvature: float,
    pivot: float,
    slip: float,
    leans: Floats,
    brief: bool,
    parts: Floats,
    so_far: float,
) -> float:
    """Margin of one part of the machine to one edge over a turning piece, by halving: at most the smallest there is.

    At most that of a full look at any part of the piece, too, when ``brief``.
    """
    wanted += EXACT_M if brief else 0.0
    a0, a1, b0, b1 = part_of(body, n, leans)
    parts[0, 0], parts[0, 1] = 0.0, length
    pending = 1
    while pending > 0:
        pending -= 1
        start, end = parts[pending, 0], parts[pending, 1]
        middle, swell = 0.5 * (start + end), 0.5 * abs(end - start) * rate
        px, py, ph = along(x, y, heading, middle, curvature, pivot, slip)
        u0, v0, u1, v1 = in_frame(edge, px, py, math.cos(ph), math.sin(ph))
        if outside(u0, v0, u1, v1, a0, a1, b0, b1, wanted + COMFORT_M + swell):
            continue
        margin = segment_box(u0, v0, u1, v1, a0, a1, b0, b1) - wanted
        if settled(check, margin, swell, so_far, brief):
            so_far = min(so_far, margin - swell)
            if brief and margin < 0.0:
                break
            continue
        parts[pending, 0], parts[pending, 1] = start, middle
        parts[pending + 1, 0], parts[pending + 1, 1] = middle, end
        pending += 2
    return so_far


@kernel
def struck(out: Floats) -> bool:
    """Whether a plan distance that blocks is below zero."""
    found = False
    for k in range(CLEARANCE, WALKWAY):
        found = found or (k != STEP and out[k] < 0.0)
    return found


@kernel
def piece_edges(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    length: float,
    piece: Floats,
    lean: float,
    brief: bool,
    scratch: Scratch,
    out: Floats,
) -> None:
    """Plan distances over one piece: straight ahead as one drawn-out body, any other way by halving its interval."""
    curvature, pivot, slip = piece[1], piece[2], piece[3]
    parts = int(math.ceil(abs(length) / world.piece_m)) if pivot == 0.0 else 1
    rate = body.reach if pivot > 0.0 else 1.0 + body.reach * abs(curvature)
    if lean > world.lean_m:
        out[CLEARANCE] = -1.0  # the index of edges does not reach so far
        return
    for i in range(parts):
        sx, sy, sh = along(x, y, heading, length * i / parts, curvature, pivot, slip)
        step = length / parts
        mx, my, mh = along(sx, sy, sh, 0.5 * step, curvature, pivot, slip)
        c, s = math.cos(mh), math.sin(mh)
        swell = 0.5 * abs(step) * rate
        if brief and roomy(world, body, mx, my, c, s, swell + lean):
            continue
        tube = max(
            body.lateral + body.reach * body.sin_heading + lean + max(body.body_gap, body.structure_gap), body.wheel_gap
        )
        count = listed(world, body, mx, my, c, s, swell + tube + COMFORT_M, scratch.found)
        if count < 0:
            out[CLEARANCE] = -1.0
        elif count > 0 and curvature == 0.0 and pivot == 0.0 and slip == 0.0:
            straight_margins(
                world, body, sx, sy, c, s, step, scratch.bottoms[0], scratch.leans[0], scratch.found, count, out
            )  # fmt: skip
        elif count > 0:
            turning_margins(
                world, body, sx, sy, sh, step, curvature, pivot, slip, scratch.leans[0], brief, scratch, count, out
            )  # fmt: skip
        if brief and struck(out):
            return
