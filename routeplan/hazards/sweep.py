"""The body swept along one piece of a motion, against the vector layers: quick looks first, exact ones only near
edges.
"""

from __future__ import annotations

import math

from routeplan.hazards.arrays import CLEARANCE, WALKWAY, Body, Floats, Ints, World
from routeplan.hazards.clearance import COMFORT_M, edge_margins, gather
from routeplan.kernel import kernel

#: Margin of a check that has nothing to say, in any unit.
FAR = 1000.0


@kernel
def along(
    x: float, y: float, heading: float, distance: float, curvature: float, pivot: float
) -> tuple[float, float, float]:
    """Pose after a distance along a piece.

    >>> [round(v, 6) for v in along(0.0, 0.0, 0.0, math.pi, 0.5, 0.0)]
    [2.0, 2.0, 1.570796]
    """
    if pivot > 0.0:
        return x, y, heading + distance
    if curvature == 0.0:
        return x + distance * math.cos(heading), y + distance * math.sin(heading), heading
    turned = heading + distance * curvature
    radius = 1.0 / curvature
    return (
        x + radius * (math.sin(turned) - math.sin(heading)),
        y - radius * (math.cos(turned) - math.cos(heading)),
        turned,
    )


@kernel
def covered(world: World, body: Body, x: float, y: float, heading: float, spare: float) -> bool:
    """Whether discs over the body keep so far from every edge at a pose that no exact look is needed."""
    rows, cols = world.level.shape
    c, s = math.cos(heading), math.sin(heading)
    for n in range(body.discs.shape[0]):
        xi, eta = body.discs[n, 0], body.discs[n, 1]
        col = int(math.floor((x + xi * c - eta * s - world.x0) / world.cell + 0.5))
        row = int(math.floor((y + xi * s + eta * c - world.y0) / world.cell + 0.5))
        if row < 0 or col < 0 or row >= rows or col >= cols:
            return False
        if world.edges_far[row, col] < body.discs[n, 2] + body.discs[n, 3] + spare:
            return False
    return True


@kernel
def roomy(world: World, body: Body, x: float, y: float, heading: float, piece: Floats, lean: float) -> bool:
    """Whether the body keeps far from every edge along a whole piece."""
    length, curvature, pivot = piece[0], piece[1], piece[2]
    rate = body.reach if pivot > 0.0 else 1.0 + body.reach * abs(curvature)
    steps = int(math.ceil(abs(length) * rate / 0.6))
    spare = 0.5 * abs(length) * rate / steps + lean + COMFORT_M + world.cell
    for i in range(steps):
        px, py, ph = along(x, y, heading, length * (i + 0.5) / steps, curvature, pivot)
        if not covered(world, body, px, py, ph, spare):
            return False
    return True


@kernel
def piece_edges(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    piece: Floats,
    bottoms: Floats,
    lean: float,
    found: Ints,
    out: Floats,
) -> None:
    """Plan distances over one piece: a straight one as one drawn-out body, a turning one by halving its interval."""
    if roomy(world, body, x, y, heading, piece, lean):
        return
    length, curvature, pivot = piece[0], piece[1], piece[2]
    mx, my, _ = along(x, y, heading, 0.5 * length, curvature, pivot)
    travel = 0.0 if pivot > 0.0 else abs(length)
    radius = body.reach * (1.0 + body.sin_heading) + 0.5 * travel + body.lateral + lean + body.body_gap + COMFORT_M
    count = gather(world, mx, my, radius, found)
    if count < 0:
        out[CLEARANCE] = -1.0
        return
    if curvature == 0.0 and pivot == 0.0:
        c, s = math.cos(heading), math.sin(heading)
        edge_margins(world, body, x, y, c, s, length, 0.0, bottoms, lean, found, count, out)
        return
    turning_edges(world, body, x, y, heading, piece, bottoms, lean, found, count, out)


@kernel
def turning_edges(
    world: World,
    body: Body,
    x: float,
    y: float,
    heading: float,
    piece: Floats,
    bottoms: Floats,
    lean: float,
    found: Ints,
    count: int,
    out: Floats,
) -> None:
    """Plan distances over a turning piece by halving: each part is checked at its middle, swollen by half its
    travel.
    """
    length, curvature, pivot = piece[0], piece[1], piece[2]
    rate = body.reach if pivot > 0.0 else 1.0 + body.reach * abs(curvature)
    trial = out.copy()
    parts = out.repeat(2 * 24).reshape(-1, 2)[:24]
    parts[0, 0], parts[0, 1] = 0.0, length
    pending = 1
    while pending > 0:
        pending -= 1
        start, end = parts[pending, 0], parts[pending, 1]
        middle = 0.5 * (start + end)
        px, py, ph = along(x, y, heading, middle, curvature, pivot)
        swell = 0.5 * abs(end - start) * rate
        if covered(world, body, px, py, ph, swell + lean + COMFORT_M + world.cell):
            continue
        trial[:] = FAR
        edge_margins(world, body, px, py, math.cos(ph), math.sin(ph), 0.0, swell, bottoms, lean, found, count, trial)
        hard = FAR
        for k in range(CLEARANCE, WALKWAY):
            hard = min(hard, trial[k])
        lost = hard + swell < 0.0  # no finer look saves it
        unsure = (swell > 0.025 and hard < 0.0) or (swell > 0.3 and (hard < COMFORT_M or trial[WALKWAY] < 0.0))
        if unsure and not lost:
            parts[pending, 0], parts[pending, 1] = start, middle
            parts[pending + 1, 0], parts[pending + 1, 1] = middle, end
            pending += 2
            continue
        for k in range(CLEARANCE, WALKWAY + 1):
            out[k] = min(out[k], trial[k])
        if lost:
            return
