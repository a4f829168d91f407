"""How high the basket and every top are thrown: levers, excess and rise (docs/method.md 6)."""

from __future__ import annotations

import math

from routeplan.hazards.arrays import (
    HEAD,
    HEAD_PROVEN,
    OVERHEAD,
    OVERHEAD_PROVEN,
    UNDER_LINE,
    UNDER_LINE_PROVEN,
    Body,
    Floats,
    World,
)
from routeplan.hazards.attitude import Stance, displaced, plane_at, uncertain, uncertain_below
from routeplan.kernel import kernel

#: Bits of every lid that a body may have.
ALL_LIDS = -1


@kernel
def lever(xi: float, eta: float, xi_axle: float, xi_other: float, track: float) -> float:
    """Rise of a body point per unit rise of one axle's ground: both its wheels at once, or one wheel alone.

    Far axle, near axle and single-wheel cases of the rigid lever; statics of a rigid body on three or four supports.

    >>> lever(8.9, 0.0, 2.9, 0.0, 2.0), round(lever(8.9, 0.0, 0.0, 2.9, 2.0), 4)
    (3.0689655172413794, 2.069)
    """
    both = abs((xi - xi_other) / (xi_axle - xi_other))
    return max(both, 0.5 * both + abs(eta) / track)


@kernel
def excess(body: Body, stance: Stance, lever_front: float, lever_rear: float) -> float:
    """First-step allowance for the live boom over its rigid height, m."""
    return body.amplification * max(lever_front * stance.front_defect, lever_rear * stance.rear_defect)


@kernel
def rise_margin(body: Body, stance: Stance) -> float:
    """Bounce limit less the rise of the worst corner of the basket floor, m.

    The rise is told from the mean plane of clean ground, which an oscillating axle's machine does not stand on.
    """
    worst = 0.0
    for n in range(body.n_basket):
        xi, eta, lever_front, lever_rear = body.basket[n]
        q = (xi - body.wheel_xi[2]) / body.wheelbase
        lean = abs(eta) / body.track
        static = (abs(q) + lean) * stance.front_deviation + (abs(1 - q) + lean) * stance.rear_deviation
        static += stance.twist * (0.25 + 0.5 * (lean + abs(q - 0.5))) + 0.5 * stance.taken * lean
        worst = max(worst, static + excess(body, stance, lever_front, lever_rear))
    return body.bounce_limit - worst


@kernel
def top_margins(
    world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float, lids: int, out: Floats
) -> None:
    """Lower ``out`` to what is left of head gap, overhead clearance and line clearance, m, and to each less k sigma.

    Soffit less the top with its excess, less the gap wanted; lines have their safety distance taken off already.
    ``lids`` has the bits of those that may be under a soffit.
    """
    rows, cols = world.nodes.shape
    for n in range(body.n_tops):
        xi0, eta0, zeta, lever_front, lever_rear, wanted, head, lid = body.tops[n]
        xi, eta = xi0 - stance.pitch * zeta, eta0 - stance.roll * zeta
        col = int(math.floor((x + xi * c - eta * s - world.x0) / world.cell + 0.5))
        row = int(math.floor((y + xi * s + eta * c - world.y0) / world.cell + 0.5))
        if row < 0 or col < 0 or row >= rows or col >= cols:
            continue
        node = world.nodes[row, col]
        if node.soffit == math.inf and node.line == math.inf:
            continue
        moved = displaced(stance.tube, abs(stance.pitch), abs(stance.roll), xi0, eta0)
        top = plane_at(body, stance, xi0, eta0) + zeta + uncertain(body, stance, xi0, eta0) + moved
        top += excess(body, stance, lever_front, lever_rear)
        out[UNDER_LINE] = min(out[UNDER_LINE], node.line - top)
        out[UNDER_LINE_PROVEN] = min(out[UNDER_LINE_PROVEN], node.line_proven - top)
        if lids & (1 << int(lid)) == 0:
            continue
        raw, proven = (HEAD, HEAD_PROVEN) if head > 0 else (OVERHEAD, OVERHEAD_PROVEN)
        out[raw] = min(out[raw], node.soffit - top - wanted)
        out[proven] = min(out[proven], node.soffit_proven - top - wanted)


@kernel
def underside_margin(world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float) -> float:
    """Smallest underside less ground less the clearance wanted, m; -1 where a level under the body is not known."""
    rows, cols = world.nodes.shape
    smallest = 10.0
    steep = stance.pitch * stance.pitch + stance.roll * stance.roll + body.sin_heading * body.sin_heading
    shaky = stance.pitch_spread + stance.roll_spread
    for n in range(body.n_undersides):
        xi0, eta0, zeta = body.undersides[n]
        xi, eta = xi0 - stance.pitch * zeta, eta0 - stance.roll * zeta
        px, py = x + xi * c - eta * s, y + xi * s + eta * c
        col = int(math.floor((px - world.x0) / world.cell + 0.5))
        row = int(math.floor((py - world.y0) / world.cell + 0.5))
        if row < 0 or col < 0 or row >= rows or col >= cols or not world.nodes[row, col].under < 1e6:
            return -1.0
        node = world.nodes[row, col]
        gx, gy = node.gx, node.gy
        dx, dy = px - world.x0 - col * world.cell, py - world.y0 - row * world.cell
        ground = node.level + gx * dx + gy * dy + node.under
        along, across = abs(gx * c + gy * s - stance.pitch), abs(gy * c - gx * s - stance.roll)
        drawn_in = (abs(xi) + abs(eta)) * steep + zeta * shaky
        differ = displaced(stance.tube, along, across, xi, eta) + (along + across) * drawn_in
        bottom = plane_at(body, stance, xi, eta) + zeta - uncertain_below(body, stance, xi, eta) - differ
        smallest = min(smallest, bottom - ground - body.underside_gap)
    return smallest
