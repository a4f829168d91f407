"""Plan distances from the moving body and wheels to the vector layers (docs/method.md 7, side clearance and below)."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import (
    ACCEPTANCE,
    CLEARANCE,
    CLOSED,
    COVERS,
    E_BOUNDARY,
    E_CLOSED,
    E_COVER,
    E_FOOTPRINT,
    E_LINES,
    E_OBSTACLE,
    E_UNACCEPTED,
    E_WALKWAY,
    EXCAVATION,
    LAST_BODY_EDGE,
    LINES,
    WALKWAY,
    Body,
    Floats,
    Ints,
    World,
)
from routeplan.kernel import kernel

#: Where nothing but touching is forbidden, this much apart is apart, m.
TOUCH_M = 0.001
#: Distances beyond the gap wanted by this much change nothing, neither a verdict nor a route's cost.
COMFORT_M = 0.5


@kernel
def _clipped(t0: float, t1: float, p: float, d: float, low: float, high: float) -> tuple[float, float]:
    """Part [t0, t1] of a segment's parameter that lies between two parallel lines (Liang-Barsky)."""
    if d == 0.0:
        return (t0, t1) if low <= p <= high else (1.0, 0.0)
    a, b = (low - p) / d, (high - p) / d
    return max(t0, min(a, b)), min(t1, max(a, b))


@kernel
def _point_box(px: float, py: float, a0: float, a1: float, b0: float, b1: float) -> float:
    dx, dy = max(a0 - px, px - a1, 0.0), max(b0 - py, py - b1, 0.0)
    return math.sqrt(dx * dx + dy * dy)


@kernel
def _point_segment(px: float, py: float, x0: float, y0: float, x1: float, y1: float) -> float:
    dx, dy = x1 - x0, y1 - y0
    length2 = dx * dx + dy * dy
    t = 0.0
    if length2 > 0.0:
        t = min(max(((px - x0) * dx + (py - y0) * dy) / length2, 0.0), 1.0)
    ex, ey = px - x0 - t * dx, py - y0 - t * dy
    return math.sqrt(ex * ex + ey * ey)


@kernel
def segment_box(x0: float, y0: float, x1: float, y1: float, a0: float, a1: float, b0: float, b1: float) -> float:
    """Distance from a segment to the filled box [a0, a1] x [b0, b1]; 0 where they meet.

    >>> segment_box(2.0, -5.0, 2.0, 5.0, -1.0, 1.0, -1.0, 1.0)
    1.0
    >>> segment_box(-9.0, 0.0, 9.0, 0.1, -1.0, 1.0, -1.0, 1.0)
    0.0
    """
    t0, t1 = _clipped(0.0, 1.0, x0, x1 - x0, a0, a1)
    t0, t1 = _clipped(t0, t1, y0, y1 - y0, b0, b1)
    if t0 <= t1:
        return 0.0
    ends = min(_point_box(x0, y0, a0, a1, b0, b1), _point_box(x1, y1, a0, a1, b0, b1))
    low = min(_point_segment(a0, b0, x0, y0, x1, y1), _point_segment(a0, b1, x0, y0, x1, y1))
    high = min(_point_segment(a1, b0, x0, y0, x1, y1), _point_segment(a1, b1, x0, y0, x1, y1))
    return min(ends, low, high)


@kernel
def gather(world: World, x: float, y: float, radius: float, found: Ints) -> int:
    """List the edges within a radius, and the extra distance they ask for, of a point; -1 when there are more than
    ``found`` holds.
    """
    b = world.bucket_m
    reach = radius + world.farthest
    c0 = max(int(math.floor((x - reach - world.x0) / b)), 0)
    c1 = min(int(math.floor((x + reach - world.x0) / b)), world.bucket_cols - 1)
    r0 = max(int(math.floor((y - reach - world.y0) / b)), 0)
    r1 = min(int(math.floor((y + reach - world.y0) / b)), world.bucket_rows - 1)
    count = 0
    for row in range(r0, r1 + 1):
        for col in range(c0, c1 + 1):
            bucket = row * world.bucket_cols + col
            for n in range(world.bucket_start[bucket], world.bucket_start[bucket + 1]):
                edge = world.bucket_edges[n]
                known = False
                for m in range(count):
                    if found[m] == edge:
                        known = True
                        break
                if known:
                    continue
                x0, y0, x1, y1 = world.edges[edge, 0], world.edges[edge, 1], world.edges[edge, 2], world.edges[edge, 3]
                if _point_segment(x, y, x0, y0, x1, y1) > radius + world.edges[edge, 4]:
                    continue
                if count >= found.shape[0]:
                    return -1
                found[count] = edge
                count += 1
    return count


@kernel
def check_of(kind: int) -> int:
    """The check that an edge of a kind belongs to."""
    if kind in (E_OBSTACLE, E_BOUNDARY, E_FOOTPRINT):
        return CLEARANCE
    if kind == E_LINES:
        return LINES
    if kind == E_CLOSED:
        return CLOSED
    if kind == E_WALKWAY:
        return WALKWAY
    if kind == E_UNACCEPTED:
        return ACCEPTANCE
    if kind == E_COVER:
        return COVERS
    return EXCAVATION


@kernel
def box_margin(
    body: Body, kind: int, u0: float, v0: float, u1: float, v1: float, extra: float, top: float, ahead: float,
    swell: float, lean: float, bottoms: Floats,
) -> float:  # fmt: skip
    """Smallest margin of the boxes to one edge in the machine's frame; infinite when it is too far to matter."""
    nearest = math.inf
    for n in range(body.boxes.shape[0]):
        if kind == E_OBSTACLE and top + body.underside_gap <= bottoms[n]:
            continue
        a0, a1, b0, b1 = body.boxes[n, 0], body.boxes[n, 1], body.boxes[n, 2], body.boxes[n, 3]
        about = 0.5 * (a1 - a0 + abs(ahead) + b1 - b0) + COMFORT_M + body.body_gap + extra
        about += 2.0 * (body.lateral + swell + lean) + body.reach * body.sin_heading
        if _point_segment(0.5 * (a0 + a1 + ahead), 0.5 * (b0 + b1), u0, v0, u1, v1) > about:
            continue  # too far to matter to any verdict or multiplier
        wide = body.lateral + max(abs(a0), abs(a1)) * body.sin_heading + swell + lean
        far = max(abs(b0), abs(b1)) * body.sin_heading + swell + lean
        wanted = extra
        if kind == E_OBSTACLE and body.boxes[n, 6] > 0:
            wanted += body.body_gap
        elif kind in (E_OBSTACLE, E_BOUNDARY):
            wanted += body.structure_gap
        else:
            wanted += TOUCH_M
        low, high = a0 + min(ahead, 0.0) - far, a1 + max(ahead, 0.0) + far
        nearest = min(nearest, segment_box(u0, v0, u1, v1, low, high, b0 - wide, b1 + wide) - wanted)
    return nearest


@kernel
def edge_margins(
    world: World,
    body: Body,
    x: float,
    y: float,
    c: float,
    s: float,
    ahead: float,
    swell: float,
    bottoms: Floats,
    lean: float,
    found: Ints,
    count: int,
    out: Floats,
) -> None:
    """Lower ``out`` to the smallest margin of body and wheels to the edges found.

    The body stands at (x, y) and is drawn out ``ahead`` metres along its axis (a straight motion; may be negative);
    ``swell`` is added all round for what lies between two checked poses, ``lean`` for leaning tops. ``bottoms[n]`` is
    the lowest level of box n's underside over the motion.
    """
    for m in range(count):
        edge = found[m]
        kind = world.edge_kind[edge]
        ex0, ey0 = world.edges[edge, 0] - x, world.edges[edge, 1] - y
        ex1, ey1 = world.edges[edge, 2] - x, world.edges[edge, 3] - y
        u0, v0 = ex0 * c + ey0 * s, ey0 * c - ex0 * s
        u1, v1 = ex1 * c + ey1 * s, ey1 * c - ex1 * s
        extra, top = world.edges[edge, 4], world.edges[edge, 5]
        check = check_of(kind)
        if kind > LAST_BODY_EDGE:
            for i in range(4):
                xi, eta = body.wheel_xi[i], body.wheel_eta[i]
                distance = segment_box(u0, v0, u1, v1, xi + min(ahead, 0.0), xi + max(ahead, 0.0), eta, eta)
                out[check] = min(out[check], distance - body.wheel_gap - swell - extra)
            continue
        nearest = box_margin(body, kind, u0, v0, u1, v1, extra, top, ahead, swell, lean, bottoms)
        out[check] = min(out[check], nearest)


@kernel
def inside_margins(world: World, body: Body, x: float, y: float, c: float, s: float, out: Floats) -> None:
    """Set a check to -1 where the origin, or a wheel, stands wholly inside what it must keep out of."""
    rows, cols = world.inside.shape
    for i in range(-1, 4):
        px, py = x, y
        if i >= 0:
            px += body.wheel_xi[i] * c - body.wheel_eta[i] * s
            py += body.wheel_xi[i] * s + body.wheel_eta[i] * c
        col = int(math.floor((px - world.x0) / world.cell + 0.5))
        row = int(math.floor((py - world.y0) / world.cell + 0.5))
        bits = 1 << E_BOUNDARY
        if 0 <= row < rows and 0 <= col < cols:
            bits = int(world.inside[row, col])
        if bits == 0:
            continue
        for kind in range(E_FOOTPRINT + 1):
            if bits & (1 << kind) and (kind > LAST_BODY_EDGE) == (i >= 0):
                out[check_of(kind)] = min(out[check_of(kind)], -1.0)
