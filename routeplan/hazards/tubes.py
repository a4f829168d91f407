"""Every check of the ground and of soffits in a small tube about a pose, held against the levels themselves
(docs/method.md 10).
"""

from __future__ import annotations

import math

from routeplan.hazards.arrays import BOUNCE, STEP, STRIKE, Body, Floats, Scratch, World
from routeplan.hazards.attitude import (
    Stance,
    Tube,
    displaced,
    mean_slopes,
    plane_at,
    slopes,
    uncertain_below,
    within_stop,
)
from routeplan.hazards.bounce import excess, top_margins, underside_margin
from routeplan.hazards.clearance import TOUCH_M, clipped
from routeplan.hazards.ground import BETWEEN_STANCES_M, box_bottoms, leans_to, slope_margins
from routeplan.hazards.levels import (
    CLEAN,
    SURVEYED,
    arc_over,
    height,
    outline_distance,
    standing_level,
    wheel_span,
    worst_within,
)
from routeplan.hazards.sweep import FAR
from routeplan.kernel import kernel

#: A feature this near to a wheel counts as a defect, m (docs/method.md 6).
DEFECT_REACH_M = 3.0
#: Spacing of the points at which the ground under a body is looked at, m at most.
POINTS_M = 0.085
#: Left to terms of third order (see ``ground.BETWEEN_STANCES_M``), m.
THIRD_ORDER_M = 0.001
#: What levels under wheels at the middle of a tube leave to those elsewhere in it where they stand for them, m.
SAMPLED_M = 0.003
#: Rows of margins, bottoms and leans of ``Scratch``: of a whole piece, of one stretch of it, of the tube looked at.
WHOLE, STRETCH, HERE = range(3)


@kernel
def look_at_wheel(
    world: World, body: Body, i: int, x: float, y: float, c: float, s: float, level: float, pitch: float, roll: float,
    tube: Tube, turn: float, spans: Floats,
) -> None:
    """Fill row i of ``spans``, see ``stand_closer``, for a plane with a level at the wheel's hub and these slopes."""
    xi, eta = body.wheel_xi[i], body.wheel_eta[i]
    hub_x, hub_y = x + xi * c - eta * s, y + xi * s + eta * c
    ahead, aside = tube.ahead + abs(eta) * tube.turned, tube.aside + abs(xi) * tube.turned
    turned, whole = tube.turned + turn, tube.levels
    low, high = wheel_span(
        world, body, SURVEYED, hub_x, hub_y, c, s, level, pitch, roll, whole * ahead, whole * aside, whole * turned
    )  # fmt: skip
    clean_low, clean_high = wheel_span(
        world, body, CLEAN, hub_x, hub_y, c, s, level, pitch, roll, whole * ahead, whole * aside, whole * turned
    )  # fmt: skip
    defect = worst_within(world, hub_x, hub_y, DEFECT_REACH_M + math.hypot(ahead, aside))
    raised, up = 0.0, -math.inf
    along, across = ahead + body.tyre_half * turned, aside + body.tyre_half
    for n in range(len(world.features)):
        feature = world.features[n]
        far = outline_distance(world, feature, hub_x, hub_y, c, s, along, across)
        size = feature[4]
        if far <= DEFECT_REACH_M:
            defect = max(defect, size)
        if feature[5] > 0.0 and far <= 0.0:
            low = min(low, clean_low - size)
        elif feature[5] == 0.0 and far <= body.radius:
            raised = max(raised, size)
            up = max(up, clean_high + max(0.0, size + arc_over(body.radius, far)))
    spans[i, 0], spans[i, 1], spans[i, 2], spans[i, 3] = low, max(high, up), clean_low, clean_high
    spans[i, 4], spans[i, 5] = defect, raised


@kernel
def stand_closer(
    world: World, body: Body, x: float, y: float, heading: float, tube: Tube, turn: float, spans: Floats
) -> Stance:
    """Stand a machine at a pose, its wheels on the levels themselves; see ``attitude.stand``.

    Fills ``spans`` (4, 6): for each wheel the lowest and highest of what its level may be above the mean plane, and of
    what that may be on clean ground; the largest defect that counts for it, and the highest raised feature that it may
    meet.
    """
    c, s = math.cos(heading), math.sin(heading)
    xi, eta = body.wheel_xi, body.wheel_eta
    m0 = standing_level(world, body, x + xi[0] * c - eta[0] * s, y + xi[0] * s + eta[0] * c, c, s)
    m1 = standing_level(world, body, x + xi[1] * c - eta[1] * s, y + xi[1] * s + eta[1] * c, c, s)
    m2 = standing_level(world, body, x + xi[2] * c - eta[2] * s, y + xi[2] * s + eta[2] * c, c, s)
    m3 = standing_level(world, body, x + xi[3] * c - eta[3] * s, y + xi[3] * s + eta[3] * c, c, s)
    pitch, roll = (m0 + m1 - m2 - m3) / (2.0 * body.wheelbase), (m0 + m2 - m1 - m3) / (2.0 * body.track)
    look_at_wheel(world, body, 0, x, y, c, s, m0, pitch, roll, tube, turn, spans)
    look_at_wheel(world, body, 1, x, y, c, s, m1, pitch, roll, tube, turn, spans)
    look_at_wheel(world, body, 2, x, y, c, s, m2, pitch, roll, tube, turn, spans)
    look_at_wheel(world, body, 3, x, y, c, s, m3, pitch, roll, tube, turn, spans)
    m0, r0 = m0 + 0.5 * (spans[0, 0] + spans[0, 1]), 0.5 * (spans[0, 1] - spans[0, 0])
    m1, r1 = m1 + 0.5 * (spans[1, 0] + spans[1, 1]), 0.5 * (spans[1, 1] - spans[1, 0])
    m2, r2 = m2 + 0.5 * (spans[2, 0] + spans[2, 1]), 0.5 * (spans[2, 1] - spans[2, 0])
    m3, r3 = m3 + 0.5 * (spans[3, 0] + spans[3, 1]), 0.5 * (spans[3, 1] - spans[3, 0])
    mean_pitch, mean_roll = mean_slopes(body, m0, m1, m2, m3)
    along, across = abs(mean_pitch - pitch), abs(mean_roll - roll)
    front = displaced(tube, along, across, xi[0], eta[0])
    rear = displaced(tube, along, across, xi[2], eta[2])
    r0, r1, r2, r3 = r0 + front, r1 + front, r2 + rear, r3 + rear
    known = math.isfinite(m0 + m1 + m2 + m3 + r0 + r1 + r2 + r3)
    pitch, roll, pitch_spread, roll_spread, twist = slopes(
        body, m0, m1, m2, m3, r0, r1, r2, r3, tube.turned + turn
    )  # fmt: skip
    return Stance(
        known, 0.25 * (m0 + m1 + m2 + m3), pitch, roll, pitch_spread, roll_spread,
        0.5 * (r0 + r1), 0.5 * (r2 + r3), twist,
        max(spans[0, 4], spans[1, 4]), max(spans[2, 4], spans[3, 4]), 0.0, 0.0,
        max(spans[0, 5], spans[1, 5], spans[2, 5], spans[3, 5]),
        within_stop(abs(m0 + m3 - m1 - m2) + r0 + r1 + r2 + r3, body.track * body.stop_tan), tube,
    )  # fmt: skip


@kernel
def rise_closer(body: Body, stance: Stance, spans: Floats) -> float:
    """Bounce limit less the rise of the worst corner of the basket floor, m; see ``bounce.rise_margin``.

    Each wheel lifts a corner by its share of how far it may stand above clean ground. Where clean ground is steeper
    than what the machine stands on, the floor stands less upright over it, and so lower.
    """
    # Slopes on clean ground: those on the ground as it is, less what the wheels stand above clean ground.
    base, track = 2.0 * body.wheelbase, 2.0 * body.track
    l0, l1 = spans[0, 0] - spans[0, 3], spans[1, 0] - spans[1, 3]
    l2, l3 = spans[2, 0] - spans[2, 3], spans[3, 0] - spans[3, 3]
    h0, h1 = spans[0, 1] - spans[0, 2], spans[1, 1] - spans[1, 2]
    h2, h3 = spans[2, 1] - spans[2, 2], spans[3, 1] - spans[3, 2]
    pitch_low = stance.pitch - stance.pitch_spread - (h0 + h1 - l2 - l3) / base
    pitch_high = stance.pitch + stance.pitch_spread - (l0 + l1 - h2 - h3) / base
    given = stance.taken / body.track  # by an oscillating axle, that the mean plane of clean ground does not know of
    roll_low = stance.roll - stance.roll_spread - given - (h0 + h2 - l1 - l3) / track
    roll_high = stance.roll + stance.roll_spread + given - (l0 + l2 - h1 - h3) / track
    steep = max(pitch_low * pitch_low, pitch_high * pitch_high) + max(roll_low * roll_low, roll_high * roll_high)
    pitch, roll = max(abs(stance.pitch) - stance.pitch_spread, 0.0), max(abs(stance.roll) - stance.roll_spread, 0.0)
    upright = 0.5 * body.tallest * max(steep - pitch * pitch - roll * roll, 0.0)
    worst = 0.0
    for n in range(body.n_basket):
        xi, eta, lever_front, lever_rear = body.basket[n]
        q = (xi - body.wheel_xi[2]) / body.wheelbase
        lean = abs(eta) / body.track
        static = upright + stance.twist * (0.25 + 0.5 * (lean + abs(q - 0.5))) + 0.5 * stance.taken * lean
        for i in range(4):
            weight = 0.5 * (q if i < 2 else 1.0 - q) + 0.5 * math.copysign(eta / body.track, eta * body.wheel_eta[i])
            static += max(weight * (spans[i, 1] - spans[i, 2]), weight * (spans[i, 0] - spans[i, 3]))
        worst = max(worst, max(static, 0.0) + excess(body, stance, lever_front, lever_rear))
    return body.bounce_limit - worst - THIRD_ORDER_M


@kernel
def ground_under(world: World, u: float, v: float) -> float:
    """Highest that levels and raised features may be at fractional column u and row v, m."""
    row, col = min(max(int(v), 0), world.nodes.shape[0] - 2), min(max(int(u), 0), world.nodes.shape[1] - 2)
    here, beside = world.nodes[row], world.nodes[row + 1]
    kerb = min(here[col].kerb, here[col + 1].kerb, beside[col].kerb, beside[col + 1].kerb)
    level = height(world, SURVEYED, u, v)
    return max(level, height(world, CLEAN, u, v) + kerb) if kerb > 0.0 else level


@kernel
def shadowed(body: Body, n: int) -> bool:
    """Whether box n lies wholly over a lower one."""
    found = False
    for m in range(body.n_boxes):
        inside = body.boxes[m, 0] <= body.boxes[n, 0] and body.boxes[n, 1] <= body.boxes[m, 1]
        inside = inside and body.boxes[m, 2] <= body.boxes[n, 2] and body.boxes[n, 3] <= body.boxes[m, 3]
        found = found or (inside and body.boxes[m, 4] < body.boxes[n, 4])
    return found


@kernel
def underside_closer(world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float) -> float:
    """Smallest underside less ground less the clearance wanted, m; -1 where a level under the body is not known."""
    smallest = 10.0
    for n in range(body.n_boxes):
        if not shadowed(body, n):
            smallest = min(smallest, box_over(world, body, stance, x, y, c, s, n))
    return smallest - body.underside_gap - THIRD_ORDER_M


@kernel
def box_over(world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float, n: int) -> float:
    """How far the underside of box n stays above the ground and what is raised on it, m; large and negative if unknown.

    Every corner of a small square of the ground that the box may lie over is held against the mean plane over it: the
    levels are bilinear in it, so that no place in it is higher over a plane than all of its corners.
    """
    tube, per_cell = stance.tube, int(math.ceil(world.cell / POINTS_M))
    point = world.cell / per_cell
    a0, a1, b0, b1, bottom = body.boxes[n, :5]
    spare = point * (abs(c) + abs(s))
    ahead = spare + tube.ahead + max(abs(b0), abs(b1)) * tube.turned + stance.pitch_spread * bottom
    aside = spare + tube.aside + max(abs(a0), abs(a1)) * tube.turned + stance.roll_spread * bottom
    off = ahead * (stance.front_spread + stance.rear_spread + 0.5 * stance.twist) / body.wheelbase
    off += aside * (stance.roll_spread + 0.5 * stance.twist / body.track)
    # A leaning body is not where it is square to the level ground.
    lean, tilt = stance.pitch * bottom, stance.roll * bottom
    reach = math.hypot(max(abs(a0), abs(a1)) + ahead + abs(lean), max(abs(b0), abs(b1)) + aside + abs(tilt))
    smallest = 10.0
    for row in range(int((y - reach - world.y0) / point) - 1, int((y + reach - world.y0) / point) + 2):
        dy = world.y0 + row * point - y
        t0, t1 = clipped(-reach, reach, dy * s, c, a0 - ahead - lean, a1 + ahead - lean)
        t0, t1 = clipped(t0, t1, dy * c, -s, b0 - aside - tilt, b1 + aside - tilt)
        for col in range(int(math.ceil((x + t0 - world.x0) / point)), int(math.floor((x + t1 - world.x0) / point)) + 1):
            dx = world.x0 + col * point - x
            xi, eta = dx * c + dy * s, dy * c - dx * s
            under = uncertain_below(body, stance, min(max(xi + lean, a0), a1), min(max(eta + tilt, b0), b1))
            gap = plane_at(body, stance, xi, eta) - under - ground_under(world, col / per_cell, row / per_cell)
            if not math.isfinite(gap):
                return -1.0
            smallest = min(smallest, gap)
    return float(smallest + bottom - off)


@kernel
def lids_under(world: World, body: Body, stance: Stance, x: float, y: float, c: float, s: float) -> int:
    """Bits of the lids that some soffit comes over, or so near that it counts, anywhere in the tube."""
    bits, tube = 0, stance.tube
    shaky = 0.0 if tube.levels > 0.0 else SAMPLED_M / min(body.track, body.wheelbase)
    pitched, rolled = stance.pitch_spread + shaky, stance.roll_spread + shaky
    for n in range(body.n_lids if len(world.soffits) > 0 else 0):
        a0, a1, b0, b1, top, reach = body.lids[n]
        # The top comes as far as it leans, and what is below it stays behind.
        ahead, behind = max(pitched - stance.pitch, 0.0), max(pitched + stance.pitch, 0.0)
        left, right = max(rolled - stance.roll, 0.0), max(rolled + stance.roll, 0.0)
        beside, along_ = max(abs(b0), abs(b1)), max(abs(a0), abs(a1))
        far = tube.ahead + beside * (tube.turned + (ahead + behind) * (left + right))
        wide = tube.aside + along_ * tube.turned
        a0, a1 = a0 - behind * top - far, a1 + ahead * top + far
        b0, b1 = b0 - right * top - wide, b1 + left * top + wide
        mx, my = 0.5 * (a0 + a1), 0.5 * (b0 + b1)
        px, py = x + mx * c - my * s, y + mx * s + my * c
        for m in range(len(world.soffits)):
            if outline_distance(world, world.soffits[m], px, py, c, s, a1 - mx, b1 - my) <= reach + TOUCH_M:
                bits |= 1 << n
                break
    return bits


@kernel
def tube_margins(
    world: World, body: Body, x: float, y: float, heading: float, tube: Tube, turn: float, scratch: Scratch,
    spare: float, out: Floats,
) -> float:
    """Every check of the ground and the soffits in a small tube, each margin less ``spare``.

    Returns how far tops lean, -1 where a level is unknown.
    """
    out[:] = FAR
    stance = stand_closer(world, body, x, y, heading, tube, turn, scratch.spans)
    if not stance.known:
        out[:] = -1.0
        return -1.0
    c, s = math.cos(heading), math.sin(heading)
    slope_margins(body, stance.pitch, stance.pitch_spread, stance.roll, stance.roll_spread, out)
    out[STEP] = body.step_limit - stance.raised
    out[BOUNCE] = rise_closer(body, stance, scratch.spans)
    strike = underside_margin(world, body, stance, x, y, c, s)
    if not strike >= max(body.proven[STRIKE], 0.0) + BETWEEN_STANCES_M + spare:
        strike = max(strike, underside_closer(world, body, stance, x, y, c, s))
    out[STRIKE] = strike
    top_margins(world, body, stance, x, y, c, s, lids_under(world, body, stance, x, y, c, s), out)
    scratch.bottoms[HERE] = 1e9
    box_bottoms(body, stance, scratch.bottoms[HERE])
    scratch.leans[HERE, :] = 0.0
    leans_to(stance, scratch.leans[HERE])
    for k in range(len(out)):
        out[k] -= spare
    return math.hypot(abs(stance.pitch) + stance.pitch_spread, abs(stance.roll) + stance.roll_spread)
