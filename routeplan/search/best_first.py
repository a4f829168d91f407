"""The search kernels: arrays in, a route of states out. A motion is checked when a way over it is the best one left.

A lattice state is ``((row * cols + col) * H + heading) * 2 + gear`` with gear 0 along the chassis arrow, 1 against it:
the gear of the motion that led there. Exact poses off the lattice (anchors) follow the lattice states. Costs are whole
numbers: sixteenths of a millimetre at the best multiplier, so sums are exact.

A motion that nobody has looked at is queued at the least it can cost, and looked at when its turn comes: the way found
is still a cheapest one, and most motions are never looked at (lazy A*).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.tile import COMFORTABLE, FREE, TAKEN, Checker, free_motion, motion_byte, pose_free
from routeplan.kernel import kernel
from routeplan.search.heap import Heap, pop, push
from routeplan.search.relaxation import EXHAUSTED, FULL, UNREACHED, first_at

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
Bytes = NDArray[np.uint8]

FOUND, PAUSED, LIMIT, DEARER = 0, 2, 3, 5
UNKNOWN, BLOCKED, OPEN, EIGHTHS = 0, 255, 64, 63
#: Motions checked between two breaths, when progress is told and an interrupt can come through.
BREATH = 20_000
FORWARD_FACTOR, REVERSE_FACTOR = 2, 3
UNIT_PER_MM = 8 * FORWARD_FACTOR
#: More than any way costs.
NO_LIMIT = 1 << 62
#: One open metre outweighs any detour on a site.
OPEN_WEIGHT = 100_000
SWITCH_MM = 3000
#: An entry of the heap has twice the parent, and this more where nobody has looked at its motion yet: of ways that cost
#: the same the one by the lesser parent is taken, whatever was looked at before.
NOT_LOOKED_AT = 1
#: Most motions that leave one state, both gears.
MOST_OFFERED = 256


class Lattice(NamedTuple):
    """Primitives, checked motions and links; see ``motions.Motions`` for the first five."""

    d_row: Ints
    d_col: Ints
    end: Ints
    length_mm: Ints
    counts: Ints
    into_heading: Ints  # (H, K) headings and primitives that end at a heading, -1 beyond the last
    into_primitive: Ints
    table: Bytes  # (rows, cols, H, P): see hazards.tile.verdict_byte; 0 not looked at yet
    poses: Bytes  # (rows, cols, H): FREE, TAKEN, 0 not looked at yet
    checked: Ints  # (1,) motions and poses looked at
    linked: Bytes  # (rows * cols) 1 where links leave a state of the cell
    link_from: Ints  # sorted; states and anchors
    link_to: Ints
    link_cost: Ints


class Frontier(NamedTuple):
    """What the search has reached: best checked costs (0 unseen, else cost + 1; negative once expanded), how, the heap.

    ``parent`` of a state: 0 for a start; 1 + ((heading * P + primitive) * 2 + gear) * 2 + gear before, for a motion of
    the lattice; -1 - (link * 2 + gear before), for a link.
    """

    best: Ints
    parent: Ints32
    heap: Heap
    expanded: Ints  # (1,)


@kernel
def motion_cost(length_mm: int, byte: int, factor: int) -> int:
    """Cost of a checked motion driven in a gear with this factor."""
    cost = length_mm * (byte & EIGHTHS) * factor
    if byte & OPEN:
        cost += length_mm * UNIT_PER_MM * OPEN_WEIGHT
    return cost


@kernel
def as_good(frontier: Frontier, state: int, cost: int) -> bool:
    """Whether a cost is as good as the checked way kept; expanded states hold negative costs and nothing is."""
    best = frontier.best[state]
    return bool(best == 0 or cost + 1 <= best)


@kernel
def queue(frontier: Frontier, state: int, cost: int, bound: int, parent: int) -> None:
    """Keep a checked way to a state, unless a better one is kept."""
    if as_good(frontier, state, cost):
        frontier.best[state] = cost + 1
        push(frontier.heap, cost + bound, state, 2 * parent)


def go_on(frontier: Frontier, goal: Bytes, state: int) -> None:
    """Make a goal that was found a place like any other, so that the search goes on to the other goals."""
    goal[state // 2] = 0
    frontier.best[state] *= -1
    push(frontier.heap, int(frontier.best[state]) - 1, state, 2 * int(frontier.parent[state]))


@kernel
def offer(
    lattice: Lattice, checker: Checker, frontier: Frontier, bound: int, row: int, col: int, to: int, code: int,
    cost: int,
) -> None:
    """Queue a motion of the lattice that leads to a state: at its cost where it is known, else at the least it can be.

    ``row`` and ``col`` are the cell that the motion starts from when driven forwards, ``code`` is what the state's
    parent will be, ``cost`` what it costs to get to the motion.
    """
    n_p = lattice.table.shape[3]
    heading, primitive = (code - 1) // 4 // n_p, (code - 1) // 4 % n_p
    factor = REVERSE_FACTOR if (code - 1) // 2 % 2 else FORWARD_FACTOR
    length = lattice.length_mm[heading, primitive]
    least = cost + motion_cost(length, COMFORTABLE, factor)
    if bound == UNREACHED or not as_good(frontier, to, least):
        return
    byte = int(lattice.table[row, col, heading, primitive])
    if byte == UNKNOWN and free_motion(checker, row, col):
        byte = COMFORTABLE
        lattice.table[row, col, heading, primitive] = byte
    if byte == UNKNOWN:
        push(frontier.heap, least + bound, to, 2 * code + NOT_LOOKED_AT)
    elif byte != BLOCKED:
        queue(frontier, to, cost + motion_cost(length, byte, factor), bound, code)


@kernel
def expand_forward(lattice: Lattice, checker: Checker, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Offer every motion out of a lattice state along the arrow, and turns on the spot."""
    rows, cols, n_h, n_p = lattice.table.shape
    gear, pose = state % 2, state // 2
    cell, heading = pose // n_h, pose % n_h
    row, col = cell // cols, cell % cols
    for p in range(n_p):
        r, c = row + lattice.d_row[heading, p], col + lattice.d_col[heading, p]
        if lattice.counts[heading, p] == 0 or r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        spot = r == row and c == col
        to = 2 * ((r * cols + c) * n_h + lattice.end[heading, p]) + (gear if spot else 0)
        switch = SWITCH_MM * UNIT_PER_MM if gear == 1 and not spot else 0
        code = 1 + ((heading * n_p + p) * 2 + 0) * 2 + gear
        offer(lattice, checker, frontier, bounds[r * cols + c], row, col, to, code, cost + switch)


@kernel
def expand_backward(
    lattice: Lattice, checker: Checker, bounds: Ints, frontier: Frontier, state: int, cost: int
) -> None:
    """Offer every motion that ends at a lattice state, driven against the arrow."""
    rows, cols, n_h, n_p = lattice.table.shape
    gear, pose = state % 2, state // 2
    cell, heading = pose // n_h, pose % n_h
    row, col = cell // cols, cell % cols
    switch = SWITCH_MM * UNIT_PER_MM if gear == 0 else 0
    for m in range(lattice.into_heading.shape[1]):
        h0 = lattice.into_heading[heading, m]
        if h0 < 0:
            break
        p = lattice.into_primitive[heading, m]
        r, c = row - lattice.d_row[h0, p], col - lattice.d_col[h0, p]
        if (r == row and c == col) or r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        to = 2 * ((r * cols + c) * n_h + h0) + 1
        code = 1 + ((h0 * n_p + p) * 2 + 1) * 2 + gear
        offer(lattice, checker, frontier, bounds[r * cols + c], r, c, to, code, cost + switch)


@kernel
def expand_links(lattice: Lattice, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Queue the links out of a state; link n is driven in the gear of the state it leads to."""
    rows, cols, n_h, _ = lattice.table.shape
    n_lattice = rows * cols * n_h * 2
    gear, pose = state % 2, state // 2
    for n in range(first_at(lattice.link_from, pose), lattice.link_from.shape[0]):
        if lattice.link_from[n] != pose:
            break
        to = lattice.link_to[n]
        new = cost + lattice.link_cost[n]
        if to % 2 != gear:
            new += SWITCH_MM * UNIT_PER_MM
        place = to // 2 // n_h if to < n_lattice else rows * cols + (to - n_lattice) // 2
        if bounds[place] != UNREACHED:
            queue(frontier, to, new, bounds[place], -1 - (n * 2 + gear))


@kernel
def looked_at(lattice: Lattice, checker: Checker, state: int, code: int) -> int:
    """The byte of the motion by which a state is reached, looked at now if need be: first the pose at its end."""
    _, cols, n_h, n_p = lattice.table.shape
    heading, primitive, against = (code - 1) // 4 // n_p, (code - 1) // 4 % n_p, (code - 1) // 2 % 2
    pose = state // 2
    row, col = pose // n_h // cols, pose // n_h % cols
    if not against:
        row, col = row - lattice.d_row[heading, primitive], col - lattice.d_col[heading, primitive]
    if lattice.table[row, col, heading, primitive] == UNKNOWN:
        r, c, h = pose // n_h // cols, pose // n_h % cols, pose % n_h
        if lattice.poses[r, c, h] == 0:
            lattice.checked[0] += 1
            lattice.poses[r, c, h] = FREE if pose_free(checker, r, c, h) else TAKEN
        value = BLOCKED
        if lattice.poses[r, c, h] == FREE:
            lattice.checked[0] += 1
            value = motion_byte(checker, row, col, heading, primitive)
        lattice.table[row, col, heading, primitive] = value
    return int(lattice.table[row, col, heading, primitive])


@kernel
def settle(
    lattice: Lattice, checker: Checker, frontier: Frontier, bound: int, state: int, code: int, cost: int
) -> bool:
    """Look at the motion of an entry queued unseen: whether the entry stands as it is. A dearer one waits again."""
    if not as_good(frontier, state, cost):
        return False
    byte = looked_at(lattice, checker, state, code)
    if byte == BLOCKED:
        return False
    n_p = lattice.table.shape[3]
    length = lattice.length_mm[(code - 1) // 4 // n_p, (code - 1) // 4 % n_p]
    factor = REVERSE_FACTOR if (code - 1) // 2 % 2 else FORWARD_FACTOR
    more = motion_cost(length, byte, factor) - motion_cost(length, COMFORTABLE, factor)
    if more > 0:
        queue(frontier, state, cost + more, bound, code)
    return more == 0


@kernel
def search(
    lattice: Lattice, checker: Checker, bounds: Ints, goal: Bytes, frontier: Frontier, limit: int, most: int
) -> tuple[int, int]:
    """Best-first search until a goal is reached, the heap is empty or full, too much was expanded, all that is left
    costs more than ``most``, or for a breath.

    Parameters
    ----------
    bounds
        (rows * cols + anchors,) lower bounds on the cost to go; UNREACHED where no way exists.
    goal
        (poses + anchors,) 1 for a goal.
    frontier
        Filled with the starts before the first call; keeps its state between calls.

    Returns
    -------
    status, state
        ``state`` is the goal's state when found.
    """
    rows, cols, n_h, _ = lattice.table.shape
    n_lattice = rows * cols * n_h * 2
    breath = lattice.checked[0] + BREATH
    room = frontier.heap.key.shape[0] - MOST_OFFERED - lattice.link_from.shape[0]
    while frontier.heap.size[0] > 0:
        if frontier.heap.key[0] > most:
            return DEARER, -1
        if frontier.expanded[0] >= limit or frontier.heap.size[0] > room or lattice.checked[0] > breath:
            return LIMIT if frontier.expanded[0] >= limit else FULL if frontier.heap.size[0] > room else PAUSED, -1
        key, state, entry = pop(frontier.heap)
        if frontier.best[state] < 0:
            continue
        place = state // 2 // n_h if state < n_lattice else rows * cols + (state - n_lattice) // 2
        cost = key - bounds[place]
        if entry % 2 == NOT_LOOKED_AT and not settle(
            lattice, checker, frontier, bounds[place], state, entry // 2, cost
        ):
            continue
        frontier.best[state], frontier.parent[state] = -cost - 1, entry // 2
        if goal[state // 2]:
            return FOUND, state
        if state >= n_lattice:
            expand_links(lattice, bounds, frontier, state, cost)
            continue
        frontier.expanded[0] += 1
        expand_forward(lattice, checker, bounds, frontier, state, cost)
        expand_backward(lattice, checker, bounds, frontier, state, cost)
        if lattice.linked[state // 2 // n_h]:
            expand_links(lattice, bounds, frontier, state, cost)
    return EXHAUSTED, -1
