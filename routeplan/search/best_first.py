"""The search kernels: arrays in, a route of states out. Motions are checked when the search first asks for them.

A lattice state is ``((row * cols + col) * H + heading) * 2 + gear`` with gear 0 along the chassis arrow, 1 against it:
the gear of the motion that led there. Exact poses off the lattice (anchors) follow the lattice states. Costs are whole
numbers: sixteenths of a millimetre at the best multiplier, so sums are exact.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.tile import COMFORTABLE, FREE, TAKEN, Checker, free_motion, motion_byte, pose_free
from routeplan.kernel import kernel

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
Bytes = NDArray[np.uint8]

FOUND, EXHAUSTED, PAUSED, LIMIT, FULL = range(5)
UNKNOWN, BLOCKED, OPEN, EIGHTHS = 0, 255, 64, 63
#: Motions checked between two breaths, when progress is told and an interrupt can come through.
BREATH = 20_000
FORWARD_FACTOR, REVERSE_FACTOR = 2, 3
UNIT_PER_MM = 8 * FORWARD_FACTOR
#: One open metre outweighs any detour on a site.
OPEN_WEIGHT = 100_000
SWITCH_MM = 3000
UNREACHED = -1


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
    """What the search has reached: best costs (0 unseen, else cost + 1), how, and the heap."""

    best: Ints
    parent: Ints
    heap_key: Ints
    heap_state: Ints
    size: Ints  # (1,) entries in the heap
    expanded: Ints  # (1,)
    inflation: Ints  # (1,) thousandths by which bounds are raised: the way found costs at most so much over the best


@kernel
def push(key: Ints, state: Ints, size: Ints, k: int, s: int) -> None:
    """Add an entry to a binary heap."""
    i = size[0]
    size[0] += 1
    while i > 0:
        up = (i - 1) // 2
        if key[up] < k or (key[up] == k and state[up] <= s):
            break
        key[i], state[i] = key[up], state[up]
        i = up
    key[i], state[i] = k, s


@kernel
def pop(key: Ints, state: Ints, size: Ints) -> tuple[int, int]:
    """Take the smallest entry off a binary heap; equal keys go by state, so that runs repeat."""
    k, s = key[0], state[0]
    size[0] -= 1
    n = size[0]
    last_k, last_s = key[n], state[n]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= n:
            break
        if child + 1 < n and (
            key[child + 1] < key[child] or (key[child + 1] == key[child] and state[child + 1] < state[child])
        ):
            child += 1
        if last_k < key[child] or (last_k == key[child] and last_s <= state[child]):
            break
        key[i], state[i] = key[child], state[child]
        i = child
    if n > 0:
        key[i], state[i] = last_k, last_s
    return k, s


@kernel
def motion_cost(length_mm: int, byte: int, factor: int) -> int:
    """Cost of a checked motion driven in a gear with this factor."""
    cost = length_mm * (byte & EIGHTHS) * factor
    if byte & OPEN:
        cost += length_mm * UNIT_PER_MM * OPEN_WEIGHT
    return cost


@kernel
def first_at(ordered: Ints, value: int) -> int:
    """Index of the first entry of an ascending array that is not below a value."""
    low, high = 0, ordered.shape[0]
    while low < high:
        middle = (low + high) // 2
        if ordered[middle] < value:
            low = middle + 1
        else:
            high = middle
    return low


class Relaxation(NamedTuple):
    """The lattice with headings and hazards forgotten: places are cells (row * cols + col), then anchors."""

    shut: Bytes  # (rows, cols) 1 where no heading at all can stand
    moves: Ints  # (n, 3) rows, cols, cost of every displacement that a motion makes
    back_to: Ints  # links reversed, sorted by the place they lead to
    back_from: Ints
    back_cost: Ints
    linked: Bytes  # (places,) 1 where a link leads


class Spread(NamedTuple):
    """What a relaxation has reached: see ``relaxed``."""

    out: Ints  # (places,) bounds
    done: Bytes  # (places,) 1 where the bound is final, or nobody can stand
    watched: Bytes  # (places,) 1 for the places that the search starts from
    heap_key: Ints
    heap_state: Ints
    size: Ints  # (1,) entries in the heap
    nearest: Ints  # (2,) bound of the nearest watched place or UNREACHED; last bound met


@kernel
def _relax_place(spread: Spread, place: int, cost: int) -> None:
    if spread.done[place] == 0 and (spread.out[place] == UNREACHED or cost < spread.out[place]):
        spread.out[place] = cost
        push(spread.heap_key, spread.heap_state, spread.size, cost, place)


@kernel
def relaxed(relaxation: Relaxation, spread: Spread, spare: int) -> int:
    """Lower bounds on the cost to the goal from every place; the goals stand in the heap before the first call.

    Every motion and link of the lattice is one of the relaxation's, so the bound is consistent. The search stops
    ``spare`` beyond the nearest of the watched places; what lies farther gets the last cost met, still a lower bound.
    A place is UNREACHED where no way exists at all. Returns FULL when the heap needs more room, else EXHAUSTED.
    """
    rows, cols = relaxation.shut.shape
    n_cells, moves = rows * cols, relaxation.moves
    room = spread.heap_key.shape[0] - moves.shape[0] - relaxation.back_to.shape[0]
    stopped = False
    while spread.size[0] > 0 and not stopped:
        if spread.size[0] > room:
            return FULL
        cost, place = pop(spread.heap_key, spread.heap_state, spread.size)
        if spread.done[place] or cost > spread.out[place]:
            continue
        spread.nearest[1] = cost
        stopped = spread.nearest[0] != UNREACHED and cost > spread.nearest[0] + spare
        spread.done[place] = 1
        if spread.watched[place] and spread.nearest[0] == UNREACHED:
            spread.nearest[0] = cost
        if relaxation.linked[place]:
            for n in range(first_at(relaxation.back_to, place), relaxation.back_to.shape[0]):
                if relaxation.back_to[n] != place:
                    break
                _relax_place(spread, relaxation.back_from[n], cost + relaxation.back_cost[n])
        if place < n_cells:
            r, c = place // cols, place % cols
            for m in range(moves.shape[0]):
                rr, cc = r + moves[m, 0], c + moves[m, 1]
                if 0 <= rr < rows and 0 <= cc < cols:
                    _relax_place(spread, rr * cols + cc, cost + moves[m, 2])
    if stopped:
        for place in range(spread.out.shape[0]):
            if spread.done[place] == 0:
                spread.out[place] = spread.nearest[1]
    return EXHAUSTED


@kernel
def relax(frontier: Frontier, state: int, cost: int, bound: int, parent: int) -> None:
    """Keep a way to a state; the bound is inflated, so that the search leans towards the goal."""
    frontier.best[state] = cost + 1
    frontier.parent[state] = parent
    push(
        frontier.heap_key,
        frontier.heap_state,
        frontier.size,
        cost + bound + bound * frontier.inflation[0] // 1000,
        state,
    )


@kernel
def better(frontier: Frontier, state: int, cost: int) -> bool:
    """Whether a cost would improve on the way kept; expanded states hold negative costs and never do."""
    best = frontier.best[state]
    return bool(best == 0 or cost + 1 < best)


@kernel
def checked_byte(
    lattice: Lattice, checker: Checker, row: int, col: int, heading: int, primitive: int, goal: int
) -> int:
    """The byte of a motion, looked at now if need be; ``goal`` is the number of the pose that it leads to or comes
    from.
    """
    byte = lattice.table[row, col, heading, primitive]
    if byte != UNKNOWN:
        return int(byte)
    if free_motion(checker, row, col):
        lattice.table[row, col, heading, primitive] = COMFORTABLE
        return COMFORTABLE
    n_h, cols = lattice.table.shape[2], lattice.table.shape[1]
    r, c, h = goal // n_h // cols, goal // n_h % cols, goal % n_h
    if lattice.poses[r, c, h] == 0:
        lattice.checked[0] += 1
        lattice.poses[r, c, h] = FREE if pose_free(checker, r, c, h) else TAKEN
    value = BLOCKED
    if lattice.poses[r, c, h] == FREE:
        lattice.checked[0] += 1
        value = motion_byte(checker, row, col, heading, primitive)
    lattice.table[row, col, heading, primitive] = value
    return value


@kernel
def expand_forward(lattice: Lattice, checker: Checker, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Relax every motion out of a lattice state along the arrow, and turns on the spot."""
    rows, cols, n_h, n_p = lattice.table.shape
    gear, pose = state % 2, state // 2
    cell, heading = pose // n_h, pose % n_h
    row, col = cell // cols, cell % cols
    for p in range(n_p):
        r, c = row + lattice.d_row[heading, p], col + lattice.d_col[heading, p]
        if lattice.counts[heading, p] == 0 or r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        bound = bounds[r * cols + c]
        to_pose = (r * cols + c) * n_h + lattice.end[heading, p]
        spot = r == row and c == col
        to = 2 * to_pose + (gear if spot else 0)
        switch = SWITCH_MM * UNIT_PER_MM if gear == 1 and not spot else 0
        length = lattice.length_mm[heading, p]
        if bound == UNREACHED or not better(
            frontier, to, cost + motion_cost(length, COMFORTABLE, FORWARD_FACTOR) + switch
        ):
            continue
        byte = checked_byte(lattice, checker, row, col, heading, p, to_pose)
        new = cost + motion_cost(length, byte, FORWARD_FACTOR) + switch
        if byte != BLOCKED and better(frontier, to, new):
            relax(frontier, to, new, bound, 1 + ((heading * n_p + p) * 2 + 0) * 2 + gear)


@kernel
def expand_backward(
    lattice: Lattice, checker: Checker, bounds: Ints, frontier: Frontier, state: int, cost: int
) -> None:
    """Relax every motion that ends at a lattice state, driven against the arrow."""
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
        bound = bounds[r * cols + c]
        to_pose = (r * cols + c) * n_h + h0
        to, length = 2 * to_pose + 1, lattice.length_mm[h0, p]
        if bound == UNREACHED or not better(
            frontier, to, cost + motion_cost(length, COMFORTABLE, REVERSE_FACTOR) + switch
        ):
            continue
        byte = checked_byte(lattice, checker, r, c, h0, p, to_pose)
        new = cost + motion_cost(length, byte, REVERSE_FACTOR) + switch
        if byte != BLOCKED and better(frontier, to, new):
            relax(frontier, to, new, bound, 1 + ((h0 * n_p + p) * 2 + 1) * 2 + gear)


@kernel
def expand_links(lattice: Lattice, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Relax the links out of a state; link n is driven in gear ``n % 2``."""
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
        if bounds[place] != UNREACHED and better(frontier, to, new):
            relax(frontier, to, new, bounds[place], -1 - (n * 2 + gear))


@kernel
def search(
    lattice: Lattice, checker: Checker, bounds: Ints, goal: Bytes, frontier: Frontier, limit: int
) -> tuple[int, int]:
    """Best-first search until a goal anchor is reached, the heap is empty or full, too much was expanded, or for a
    breath.

    Parameters
    ----------
    bounds
        (rows * cols + anchors,) lower bounds on the cost to go; UNREACHED where no way exists.
    goal
        (anchors,) 1 for a goal.
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
    while frontier.size[0] > 0:
        if frontier.expanded[0] >= limit:
            return LIMIT, -1
        if frontier.size[0] + 256 > frontier.heap_key.shape[0]:
            return FULL, -1
        if lattice.checked[0] > breath:
            return PAUSED, -1
        _, state = pop(frontier.heap_key, frontier.heap_state, frontier.size)
        if frontier.best[state] < 0:
            continue
        cost = frontier.best[state] - 1
        frontier.best[state] = -frontier.best[state]
        if state >= n_lattice:
            if goal[(state - n_lattice) // 2]:
                return FOUND, state
            expand_links(lattice, bounds, frontier, state, cost)
            continue
        frontier.expanded[0] += 1
        expand_forward(lattice, checker, bounds, frontier, state, cost)
        expand_backward(lattice, checker, bounds, frontier, state, cost)
        if lattice.linked[state // 2 // n_h]:
            expand_links(lattice, bounds, frontier, state, cost)
    return EXHAUSTED, -1
