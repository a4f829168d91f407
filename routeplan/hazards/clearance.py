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
#: Slices across its length that a box is cut into in a closer look where the whole comes too near.
SLICES = 5
#: Distances beyond the gap wanted by this much change nothing, neither a verdict nor a route's cost.
COMFORT_M = 0.5


@kernel
def clipped(t0: float, t1: float, p: float, d: float, low: float, high: float) -> tuple[float, float]:
    """Part [t0, t1] of a segment's parameter that lies between two parallel lines (Liang-Barsky)."""
    if d == 0.0:
        return (t0, t1) if low <= p <= high else (1.0, 0.0)
    a, b = (low - p) / d, (high - p) / d
    return max(t0, min(a, b)), min(t1, max(a, b))


@kernel
def _point_box(px: float, py: float, a0: float, a1: float, b0: float, b1: float) -> float:
    """Squared distance."""
    dx, dy = max(a0 - px, px - a1, 0.0), max(b0 - py, py - b1, 0.0)
    return dx * dx + dy * dy


@kernel
def _point_segment(px: float, py: float, dx: float, dy: float, per_length2: float) -> float:
    """Squared distance of a point to a segment from the frame's origin along (dx, dy)."""
    t = min(max((px * dx + py * dy) * per_length2, 0.0), 1.0)
    ex, ey = px - t * dx, py - t * dy
    return ex * ex + ey * ey


@kernel
def segment_box(x0: float, y0: float, x1: float, y1: float, a0: float, a1: float, b0: float, b1: float) -> float:
    """Distance from a segment to the filled box [a0, a1] x [b0, b1]; 0 where they meet.

    >>> segment_box(2.0, -5.0, 2.0, 5.0, -1.0, 1.0, -1.0, 1.0)
    1.0
    >>> segment_box(-9.0, 0.0, 9.0, 0.1, -1.0, 1.0, -1.0, 1.0)
    0.0
    """
    dx, dy = x1 - x0, y1 - y0
    if not outside(x0, y0, x1, y1, a0, a1, b0, b1, 0.0):
        t0, t1 = clipped(0.0, 1.0, x0, dx, a0, a1)
        t0, t1 = clipped(t0, t1, y0, dy, b0, b1)
        if t0 <= t1:
            return 0.0
    ends = min(_point_box(x0, y0, a0, a1, b0, b1), _point_box(x1, y1, a0, a1, b0, b1))
    length2 = dx * dx + dy * dy
    per_length2 = 1.0 / length2 if length2 > 0.0 else 0.0
    low = min(
        _point_segment(a0 - x0, b0 - y0, dx, dy, per_length2), _point_segment(a0 - x0, b1 - y0, dx, dy, per_length2)
    )
    high = min(
        _point_segment(a1 - x0, b0 - y0, dx, dy, per_length2), _point_segment(a1 - x0, b1 - y0, dx, dy, per_length2)
    )
    return math.sqrt(min(ends, low, high))


@kernel
def outside(x0: float, y0: float, x1: float, y1: float, a0: float, a1: float, b0: float, b1: float, gap: float) -> bool:
    """Whether a segment lies wholly beyond one side of a box, by more than a gap."""
    return max(x0, x1) < a0 - gap or min(x0, x1) > a1 + gap or max(y0, y1) < b0 - gap or min(y0, y1) > b1 + gap


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
def roomy(world: World, body: Body, x: float, y: float, c: float, s: float, spare: float) -> bool:
    """Whether body and wheels keep so far from every edge at a pose that no exact look is needed.

    ``spare`` is added to the distances wanted: the travel that the pose stands for, and the lean of tops.
    """
    rows, cols = world.nodes.shape
    per_cell = 1.0 / world.cell
    for n in range(body.n_discs + 4):
        if n < body.n_discs:
            xi, eta, wanted = body.discs[n, 0], body.discs[n, 1], body.discs[n, 2] + body.discs[n, 3] + COMFORT_M
        else:
            i = n - body.n_discs
            xi, eta, wanted = body.wheel_xi[i], body.wheel_eta[i], body.wheel_gap + body.half_track
        col = int(math.floor((x + xi * c - eta * s - world.x0) * per_cell + 0.5))
        row = int(math.floor((y + xi * s + eta * c - world.y0) * per_cell + 0.5))
        if row < 0 or col < 0 or row >= rows or col >= cols:
            return False
        far = world.nodes[row, col].body_far if n < body.n_discs else world.nodes[row, col].wheel_far
        if far < wanted + spare + world.cell:
            return False
    return True


@kernel
def bucket_at(world: World, x: float, y: float) -> int:
    """The bucket of edges that a place lies in."""
    col = min(max(int(math.floor((x - world.x0) / world.bucket_m)), 0), world.bucket_cols - 1)
    row = min(max(int(math.floor((y - world.y0) / world.bucket_m)), 0), world.bucket_rows - 1)
    return row * world.bucket_cols + col


@kernel
def listed(world: World, body: Body, x: float, y: float, c: float, s: float, slack: float, found: Ints) -> int:
    """List the edges that may come within ``slack`` of the machine's outline at a pose; -1 when there is no room."""
    bucket, count = bucket_at(world, x, y), 0
    for n in range(world.bucket_start[bucket], world.bucket_start[bucket + 1]):
        edge = world.bucket_edges[n]
        u0, v0, u1, v1 = in_frame(world.edges[edge], x, y, c, s)
        near = slack + world.edges[edge, 4]
        if outside(u0, v0, u1, v1, body.hull[0], body.hull[1], body.hull[2], body.hull[3], near):
            continue
        if count >= found.shape[0]:
            return -1
        found[count] = edge
        count += 1
    return count


@kernel
def in_frame(edge: Floats, x: float, y: float, c: float, s: float) -> tuple[float, float, float, float]:
    """Both ends of an edge in the frame of a machine at (x, y) with a heading of cosine c and sine s."""
    ex0, ey0, ex1, ey1 = edge[0] - x, edge[1] - y, edge[2] - x, edge[3] - y
    return ex0 * c + ey0 * s, ey0 * c - ex0 * s, ex1 * c + ey1 * s, ey1 * c - ex1 * s


@kernel
def part_of(body: Body, n: int, leans: Floats) -> tuple[float, float, float, float]:
    """Box n with the tube around it, for n from 0; behind the boxes, the slices of each (``slices_of``); below 0, the
    contact of wheel -1 - n with its tube, a line across the tyre or half of a track.
    """
    if n < 0:
        xi, eta = body.wheel_xi[-1 - n], body.wheel_eta[-1 - n]
        middle, beyond = xi - math.copysign(body.half_track, xi), abs(eta) + body.tyre_half
        # Turned in the tube, its ends come to lie aside, ahead and behind, and a little nearer to the origin.
        wide = body.tyre_half + body.lateral + (abs(xi) + beyond * body.sin_heading) * body.sin_heading
        far = (beyond + abs(xi) * body.sin_heading) * body.sin_heading
        return min(xi, middle) - far, max(xi, middle) + far, eta - wide, eta + wide
    whole = n if n < body.n_boxes else (n - body.n_boxes) // SLICES
    a0, a1, b0, b1 = body.boxes[whole, 0], body.boxes[whole, 1], body.boxes[whole, 2], body.boxes[whole, 3]
    if n >= body.n_boxes:
        long, slice_ = (a1 - a0) / SLICES, (n - body.n_boxes) % SLICES
        a0, a1 = a0 + slice_ * long, a0 + (slice_ + 1) * long
    # Tops lean by their height: where the machine is turned in the tube, or leans both ways, a little to either side.
    top, along, across = body.boxes[whole, 5], max(leans[0], leans[1]), max(leans[2], leans[3])
    beside = max(abs(b0), abs(b1))
    wide = body.lateral + (max(abs(a0), abs(a1)) + along * top) * body.sin_heading
    far = (beside + across * top) * body.sin_heading + along * across * beside
    return a0 - far - leans[1] * top, a1 + far + leans[0] * top, b0 - wide - leans[3] * top, b1 + wide + leans[2] * top


@kernel
def slices_of(body: Body, n: int) -> range:
    """Numbers of the slices of box n: the nearer to the origin, the less far aside when turned in the tube."""
    return range(body.n_boxes + SLICES * n, body.n_boxes + SLICES * (n + 1))


@kernel
def wanted_gap(body: Body, kind: int, extra: float, n: int) -> float:
    """Distance that an edge of a kind wants from part n (see ``part_of``), m."""
    if kind == E_OBSTACLE and body.boxes[n, 6] > 0:
        return extra + body.body_gap
    if kind in (E_OBSTACLE, E_BOUNDARY):
        return extra + body.structure_gap
    return extra + TOUCH_M


@kernel
def between(world: World, bucket: int, ax: float, ay: float, bx: float, by: float) -> int:
    """Bits of the kinds that have an odd number of a bucket's edges between two points: just one of them is inside."""
    odd = 0
    for n in range(world.bucket_start[bucket], world.bucket_start[bucket + 1]):
        found = world.bucket_edges[n]
        x0, y0, x1, y1 = world.edges[found, 0], world.edges[found, 1], world.edges[found, 2], world.edges[found, 3]
        if side(ax, ay, bx, by, x0, y0) == side(ax, ay, bx, by, x1, y1):
            continue
        if side(x0, y0, x1, y1, ax, ay) != side(x0, y0, x1, y1, bx, by):
            odd ^= 1 << int(world.edge_kind[found])
    return odd


@kernel
def side(x0: float, y0: float, x1: float, y1: float, px: float, py: float) -> bool:
    """Whether a point lies to the left of a line from one point to another."""
    return (x1 - x0) * (py - y0) > (y1 - y0) * (px - x0)


@kernel
def inside_margins(world: World, body: Body, x: float, y: float, c: float, s: float, out: Floats) -> None:
    """Set a check to -1 where the origin, or a wheel, stands wholly inside what it must keep out of."""
    rows, cols = world.nodes.shape
    for i in range(-1, 4):
        px, py = x, y
        if i >= 0:
            px += body.wheel_xi[i] * c - body.wheel_eta[i] * s
            py += body.wheel_xi[i] * s + body.wheel_eta[i] * c
        col = int(math.floor((px - world.x0) / world.cell + 0.5))
        row = int(math.floor((py - world.y0) / world.cell + 0.5))
        bits = 1 << E_BOUNDARY
        if 0 <= row < rows and 0 <= col < cols:
            node = world.nodes[row, col]
            bits = int(node.inside)
            # An outline may lie between; those that bodies keep off may overlap, so that counting them tells nothing.
            if i >= 0 and node.wheel_far <= world.cell:
                nx, ny = world.x0 + col * world.cell, world.y0 + row * world.cell
                bits ^= between(world, bucket_at(world, x, y), nx, ny, px, py)
        if bits == 0:
            continue
        for kind in range(E_FOOTPRINT + 1):
            if bits & (1 << kind) and (kind > LAST_BODY_EDGE) == (i >= 0):
                out[check_of(kind)] = min(out[check_of(kind)], -1.0)
