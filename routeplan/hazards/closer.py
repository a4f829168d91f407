"""A closer look where the bounds at a stance say no: smaller tubes, each held against the levels themselves.

The tube about a stretch of a motion is cut into smaller ones until every bound holds in all of them, or fails at the
middle of one. In the smallest, levels under wheels are those at the middle, with some to spare (docs/method.md 10).
"""

from __future__ import annotations

import math

from routeplan.hazards.arrays import (
    COMBINED,
    EDGES,
    GRADE,
    KINDS,
    MIDDLE,
    SIDE_SLOPE,
    STRIKE,
    Body,
    Floats,
    Scratch,
    World,
)
from routeplan.hazards.attitude import Tube
from routeplan.hazards.ground import BETWEEN_STANCES_M, proven_row
from routeplan.hazards.sweep import FAR, along
from routeplan.hazards.tubes import HERE, SAMPLED_M, STRETCH, tube_margins
from routeplan.kernel import kernel

#: A tube is not cut further once no point of the machine is this far from where it is at the tube's middle, m.
SMALLEST_M = 0.025
#: Most tubes looked at for one stretch in a brief look; in a full one twice as many, so that no part of a way that a
#: brief look passed is failed later.
MOST = 500
#: A brief look wants this much more than a full one, in the unit of each margin, for the same reason: the parts of a
#: way have their middles elsewhere.
SPARE = 0.002


@kernel
def short(body: Body, margins: Floats, proven: bool) -> bool:
    """Whether a check of the ground or the soffits does not hold, or is not ``proven``."""
    found = False
    for k in range(KINDS):
        margin, wanted = margins[k], 0.0
        if k == STRIKE:
            margin -= BETWEEN_STANCES_M
        if proven:
            wanted = max(wanted, body.proven[k])
            margin = min(margin, margins[proven_row(k)])
        found = found or not margin >= wanted
    return found


@kernel
def tube_of(
    body: Body, x: float, y: float, heading: float, piece: Floats, part: Floats, rate: float
) -> tuple[float, float, float, Tube, float]:
    """Middle of a part of a piece's tube, how far any pose of the part may be from it, and turned in half its length.

    ``part`` holds from and to of the distance along the piece, of the way aside, and of the heading's error.
    """
    turns, bent = piece[2] > 0.0 or piece[1] != 0.0, 1.0 if piece[2] > 0.0 else abs(piece[1])
    aside, turned = 0.5 * (part[2] + part[3]), 0.5 * (part[4] + part[5])
    px, py, ph = along(x, y, heading, 0.5 * (part[0] + part[1]), piece[1], piece[2], piece[3])
    half, wide, skew = 0.5 * abs(part[1] - part[0]), 0.5 * (part[3] - part[2]), 0.5 * (part[5] - part[4])
    travel = half * (rate + body.lateral * bent)
    ahead = travel + wide * (abs(turned) + skew) + 0.5 * body.reach * skew * skew
    beside = wide + (travel if turns or piece[3] != 0.0 else 0.0)
    middle = px - aside * math.sin(ph), py + aside * math.cos(ph), ph + turned
    return (*middle, Tube(ahead, beside, skew, 1.0), half * bent)


@kernel
def begin(body: Body, first: float, last: float, scratch: Scratch) -> None:
    """Empty row ``STRETCH``, and make the whole tube from distance ``first`` to ``last`` the only part to look at."""
    scratch.margins[STRETCH, :] = FAR
    scratch.bottoms[STRETCH, :], scratch.leans[STRETCH, :] = 1e9, 0.0
    astray, whole = math.asin(body.sin_heading), scratch.tubes[0]
    whole[0], whole[1], whole[2], whole[3] = first, last, -body.lateral, body.lateral
    whole[4], whole[5] = -astray, astray


@kernel
def look_closer(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, first: float, last: float, rate: float,
    whole: bool, leaned: float, scratch: Scratch, brief: bool,
) -> float:
    """Fill row ``STRETCH`` of margins, bottoms and leans anew for a piece from distance ``first`` to ``last``.

    Nothing is done where all that the row holds is proven, but for ``whole``, which cuts tubes for the sake of how far
    tops lean, too; at a glance the middle stands for all, or it and the edges. Returns how far tops lean per metre of
    height, -1 where a level is unknown; ``leaned`` is what the row was filled with. ``rate`` is how far any point of
    the machine moves at most per metre along the piece.
    """
    if not whole and leaned >= 0.0 and not short(body, scratch.margins[STRETCH], True):
        return leaned
    begin(body, first, last, scratch)
    if scratch.look == MIDDLE:
        return glanced_at(world, body, x, y, heading, piece, 0.5 * (first + last), scratch)
    spare, most = (SPARE, MOST) if brief else (0.0, 2 * MOST)
    if not edges_hold(world, body, x, y, heading, piece, scratch.tubes, rate, scratch, spare):
        merge(scratch, STRETCH, HERE)
        return leaned
    if scratch.look == EDGES:
        return glanced_at(world, body, x, y, heading, piece, 0.5 * (first + last), scratch)
    return look_at_parts(world, body, x, y, heading, piece, rate, whole, scratch, spare, most)


@kernel
def look_at_parts(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, rate: float, whole: bool,
    scratch: Scratch, spare: float, most: int,
) -> float:
    """Fill row ``STRETCH`` from row 0 of the parts of a tube, cut as far as it takes; see ``look_closer``."""
    here, parts = scratch.margins[HERE], scratch.tubes
    pending, looked, lean = 1, 0, 0.0
    while pending > 0:
        pending -= 1
        looked += 1
        px, py, ph, tube, turn = tube_of(body, x, y, heading, piece, parts[pending], rate)
        axis = widest(body, parts[pending], rate, SMALLEST_M)
        small = axis < 0
        if looked >= most or pending + 2 > len(parts):
            axis = -1
        leaned = tube_margins(world, body, px, py, ph, tube, turn, scratch, spare, here)
        if whole and leaned >= 0.0 and axis >= 0:
            cut(parts, pending, axis)
            pending += 2
            continue
        if small and short(body, here, True):
            sampled(world, body, px, py, ph, tube, turn, scratch, spare + SAMPLED_M)
        elif short(body, here, True) and axis >= 0:
            open_here = not short(body, here, False)
            alone = tube_margins(world, body, px, py, ph, Tube(0.0, 0.0, 0.0, 0.0), 0.0, scratch, spare, here)
            if not short(body, here, open_here):
                cut(parts, pending, axis)
                pending += 2
                continue
            leaned = alone
            if open_here:  # not even its middle is proven
                leaned = tube_margins(world, body, px, py, ph, tube, turn, scratch, spare, here)
        merge(scratch, STRETCH, HERE)
        if leaned < 0.0 or short(body, here, False):
            return leaned
        lean = max(lean, leaned)
    return lean


@kernel
def sampled(
    world: World, body: Body, x: float, y: float, heading: float, tube: Tube, turn: float, scratch: Scratch, off: float
) -> None:
    """Fill row ``HERE``, which holds what is bounded in a tube, with what holds if levels under the wheels were what
    they are at its middle, less ``off``, m. Slopes stay bounded, and with them how far tops lean.
    """
    here, leans = scratch.margins[HERE], scratch.leans[HERE]
    grade, side, combined = here[GRADE], here[SIDE_SLOPE], here[COMBINED]
    ahead, behind, left, right = leans
    tube = Tube(tube.ahead, tube.aside, tube.turned, 0.0)
    tube_margins(world, body, x, y, heading, tube, turn, scratch, off, here)
    here[GRADE], here[SIDE_SLOPE], here[COMBINED] = grade, side, combined
    leans[0], leans[1], leans[2], leans[3] = ahead, behind, left, right


@kernel
def glanced_at(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, distance: float, scratch: Scratch
) -> float:
    """Fill row ``STRETCH`` with what holds at one pose of a piece, without a tube; see ``look_closer``."""
    px, py, ph = along(x, y, heading, distance, piece[1], piece[2], piece[3])
    here = scratch.margins[HERE]
    lean: float = tube_margins(world, body, px, py, ph, Tube(0.0, 0.0, 0.0, 0.0), 0.0, scratch, 0.0, here)
    merge(scratch, STRETCH, HERE)
    return lean


@kernel
def edges_hold(
    world: World, body: Body, x: float, y: float, heading: float, piece: Floats, parts: Floats, rate: float,
    scratch: Scratch, spare: float,
) -> bool:
    """Whether nothing is below zero in the tube of row 0 of the parts, or else at its edges, where most of it fails.

    Row ``HERE`` is left with what fails.
    """
    edge, here = parts[1], scratch.margins[HERE]
    px, py, ph, tube, turn = tube_of(body, x, y, heading, piece, parts[0], rate)
    tube_margins(world, body, px, py, ph, tube, turn, scratch, spare, here)
    if not short(body, here, False):
        return True
    for n in range(8):
        for axis in range(3):
            side = parts[0, 2 * axis + (n >> axis) % 2]
            edge[2 * axis], edge[2 * axis + 1] = side, side
        px, py, ph, tube, turn = tube_of(body, x, y, heading, piece, edge, rate)
        tube_margins(world, body, px, py, ph, tube, turn, scratch, spare, here)
        if short(body, here, False):
            return False
    return True


@kernel
def widest(body: Body, part: Floats, rate: float, smallest: float) -> int:
    """What to cut a part across: 0 its length, 1 its width, 2 its headings; -1 where none of them moves a point far."""
    travel, wide, skew = 0.5 * abs(part[1] - part[0]) * rate, 0.5 * (part[3] - part[2]), 0.5 * (part[5] - part[4])
    most = max(travel, wide, skew * body.reach)
    if most < smallest:
        return -1
    return 0 if travel == most else 1 if wide == most else 2


@kernel
def cut(parts: Floats, n: int, axis: int) -> None:
    """Put both halves of row n in its place and in the next."""
    middle = 0.5 * (parts[n, 2 * axis] + parts[n, 2 * axis + 1])
    for k in range(parts.shape[1]):
        parts[n + 1, k] = parts[n, k]
    parts[n, 2 * axis + 1], parts[n + 1, 2 * axis] = middle, middle


@kernel
def merge(scratch: Scratch, into: int, row: int) -> None:
    """Lower margins and bottoms of one row to those of another, and raise leans."""
    for k in range(scratch.margins.shape[1]):
        scratch.margins[into, k] = min(scratch.margins[into, k], scratch.margins[row, k])
    for n in range(scratch.bottoms.shape[1]):
        scratch.bottoms[into, n] = min(scratch.bottoms[into, n], scratch.bottoms[row, n])
    for n in range(scratch.leans.shape[1]):
        scratch.leans[into, n] = max(scratch.leans[into, n], scratch.leans[row, n])
