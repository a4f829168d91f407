"""The search kernels: plain arrays in, a route of states out. They know nothing of sites or machines.

A lattice state is ``((row * cols + col) * H + heading) * 2 + gear`` with gear 0 along the chassis arrow, 1 against it:
the gear of the motion that led there. Exact poses off the lattice (anchors) follow the lattice states. Costs are whole
numbers: sixteenths of a millimetre at the best multiplier, so sums are exact.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.kernel import kernel

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
Bytes = NDArray[np.uint8]

FOUND, EXHAUSTED, NEED_TILES, LIMIT = 0, 1, 2, 3
BLOCKED, OPEN, EIGHTHS = 255, 64, 63
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
    table: Bytes  # (rows, cols, H, P): see hazards.tile.verdict_byte; 0 unfilled
    filled: Bytes  # (tile rows, tile cols)
    tile: int
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


class Relaxation(NamedTuple):
    """The lattice with headings and hazards forgotten: places are cells (row * cols + col), then anchors."""

    shut: Bytes  # (rows, cols) 1 where no heading at all can stand
    moves: Ints  # (n, 3) rows, cols, cost of every displacement that a motion makes
    back_to: Ints  # links reversed, sorted by the place they lead to
    back_from: Ints
    back_cost: Ints
    linked: Bytes  # (places,) 1 where a link leads


@kernel
def _relax_place(out: Ints, done: Bytes, key: Ints, state: Ints, size: Ints, place: int, cost: int) -> None:
    if done[place] == 0 and (out[place] == UNREACHED or cost < out[place]):
        out[place] = cost
        push(key, state, size, cost, place)


@kernel
def relaxed(relaxation: Relaxation, goals: Ints, watch: Ints, spare: int, out: Ints) -> int:
    """Lower bounds on the cost to the goal from every place.

    Every motion and link of the lattice is one of the relaxation's, so the bound is consistent. The search stops
    ``spare`` beyond the nearest of the ``watch`` places; what lies farther gets the last cost met, still a lower bound.
    ``out`` (places,) is UNREACHED where no way exists at all.

    Returns the nearest watched place's bound, or UNREACHED when none has a way.
    """
    rows, cols = relaxation.shut.shape
    n_cells, moves = rows * cols, relaxation.moves
    out[:] = UNREACHED
    done = np.zeros(out.shape[0], np.uint8)
    done[:n_cells] = relaxation.shut.ravel()
    watched = np.zeros(out.shape[0], np.uint8)
    watched[watch] = 1
    key, state, size = np.empty(4096, np.int64), np.empty(4096, np.int64), np.zeros(1, np.int64)
    for place in goals:
        _relax_place(out, done, key, state, size, place, 0)
    nearest, last, stopped = UNREACHED, 0, False
    while size[0] > 0:
        cost, place = pop(key, state, size)
        if done[place] or cost > out[place]:
            continue
        last = cost
        if nearest != UNREACHED and cost > nearest + spare:
            stopped = True
            break
        done[place] = 1
        if watched[place] and nearest == UNREACHED:
            nearest = cost
        while size[0] + moves.shape[0] + relaxation.back_to.shape[0] > key.shape[0]:
            key, state = np.append(key, np.empty_like(key)), np.append(state, np.empty_like(state))
        if relaxation.linked[place]:
            for n in range(np.searchsorted(relaxation.back_to, place), relaxation.back_to.shape[0]):
                if relaxation.back_to[n] != place:
                    break
                _relax_place(out, done, key, state, size, relaxation.back_from[n], cost + relaxation.back_cost[n])
        if place < n_cells:
            r, c = place // cols, place % cols
            for m in range(moves.shape[0]):
                rr, cc = r + moves[m, 0], c + moves[m, 1]
                if 0 <= rr < rows and 0 <= cc < cols:
                    _relax_place(out, done, key, state, size, rr * cols + cc, cost + moves[m, 2])
    if stopped:
        for place in range(out.shape[0]):
            if done[place] == 0:
                out[place] = last
    return nearest


@kernel
def tiles_wanted(lattice: Lattice, row: int, col: int, heading: int, wanted: Ints) -> int:
    """List the unfilled tiles that hold motions out of, or reversed out of, a state."""
    rows, cols = lattice.table.shape[0], lattice.table.shape[1]
    count = 0
    across = lattice.filled.shape[1]
    for m in range(-1, lattice.into_heading.shape[1]):
        r, c = row, col
        if m >= 0:
            h0 = lattice.into_heading[heading, m]
            if h0 < 0:
                break
            p = lattice.into_primitive[heading, m]
            r, c = row - lattice.d_row[h0, p], col - lattice.d_col[h0, p]
        if r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        tr, tc = r // lattice.tile, c // lattice.tile
        if lattice.filled[tr, tc] == 0:
            index = tr * across + tc
            known = False
            for i in range(count):
                known = known or wanted[i] == index
            if not known:
                wanted[count] = index
                count += 1
    return count


@kernel
def relax(frontier: Frontier, state: int, cost: int, bound: int, parent: int) -> None:
    """Keep a cheaper way to a state; the bound is inflated, so that the search leans towards the goal."""
    if frontier.best[state] == 0 or cost + 1 < frontier.best[state]:
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
def expand_cell(lattice: Lattice, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Relax every motion out of a lattice state, along the arrow and against it."""
    rows, cols, n_h, n_p = lattice.table.shape
    gear, rest = state % 2, state // 2
    heading, cell = rest % n_h, rest // n_h
    row, col = cell // cols, cell % cols
    for p in range(n_p):
        byte = lattice.table[row, col, heading, p]
        if lattice.counts[heading, p] == 0 or byte == BLOCKED:
            continue
        r, c, h = row + lattice.d_row[heading, p], col + lattice.d_col[heading, p], lattice.end[heading, p]
        if r < 0 or c < 0 or r >= rows or c >= cols or bounds[r * cols + c] == UNREACHED:
            continue
        new = cost + motion_cost(lattice.length_mm[heading, p], byte, FORWARD_FACTOR)
        spot = r == row and c == col
        if gear == 1 and not spot:
            new += SWITCH_MM * UNIT_PER_MM
        to = ((r * cols + c) * n_h + h) * 2 + (gear if spot else 0)
        relax(frontier, to, new, bounds[r * cols + c], 1 + ((heading * n_p + p) * 2 + 0) * 2 + gear)
    for m in range(lattice.into_heading.shape[1]):
        h0 = lattice.into_heading[heading, m]
        if h0 < 0:
            break
        p = lattice.into_primitive[heading, m]
        r, c = row - lattice.d_row[h0, p], col - lattice.d_col[h0, p]
        if (r == row and c == col) or r < 0 or c < 0 or r >= rows or c >= cols or bounds[r * cols + c] == UNREACHED:
            continue
        byte = lattice.table[r, c, h0, p]
        if byte == BLOCKED:
            continue
        new = cost + motion_cost(lattice.length_mm[h0, p], byte, REVERSE_FACTOR)
        if gear == 0:
            new += SWITCH_MM * UNIT_PER_MM
        to = ((r * cols + c) * n_h + h0) * 2 + 1
        relax(frontier, to, new, bounds[r * cols + c], 1 + ((h0 * n_p + p) * 2 + 1) * 2 + gear)


@kernel
def expand_links(lattice: Lattice, bounds: Ints, frontier: Frontier, state: int, cost: int) -> None:
    """Relax the links out of a state; link n is driven in gear ``n % 2``."""
    rows, cols, n_h, _ = lattice.table.shape
    n_lattice = rows * cols * n_h * 2
    gear, pose = state % 2, state // 2
    for n in range(np.searchsorted(lattice.link_from, pose), lattice.link_from.shape[0]):
        if lattice.link_from[n] != pose:
            break
        to_gear = lattice.link_to[n] % 2
        new = cost + lattice.link_cost[n]
        if to_gear != gear:
            new += SWITCH_MM * UNIT_PER_MM
        to = lattice.link_to[n]
        place = to // 2 // n_h if to < n_lattice else rows * cols + (to - n_lattice) // 2
        if bounds[place] != UNREACHED:
            relax(frontier, to, new, bounds[place], -1 - (n * 2 + gear))


@kernel
def search(
    lattice: Lattice, bounds: Ints, goal: Bytes, frontier: Frontier, limit: int, wanted: Ints
) -> tuple[int, int]:
    """Best-first search until a goal anchor is reached, a tile is wanted, the heap is empty or too much was expanded.

    Parameters
    ----------
    bounds
        (rows * cols + anchors,) lower bounds on the cost to go; UNREACHED where no way exists.
    goal
        (anchors,) 1 for a goal.
    frontier
        Filled with the starts before the first call; keeps its state between calls.
    wanted
        Filled with tile indices, -1 behind the last, when the answer is NEED_TILES.

    Returns
    -------
    status, state
        ``state`` is the goal's state when found.
    """
    rows, cols, n_h, _ = lattice.table.shape
    n_lattice = rows * cols * n_h * 2
    while frontier.size[0] > 0:
        if frontier.size[0] + 256 > frontier.heap_key.shape[0] or frontier.expanded[0] >= limit:
            return LIMIT, -1
        _, state = pop(frontier.heap_key, frontier.heap_state, frontier.size)
        cost = abs(frontier.best[state]) - 1
        if frontier.best[state] < 0:
            continue
        if state >= n_lattice:
            if goal[(state - n_lattice) // 2]:
                return FOUND, state
            frontier.best[state] = -frontier.best[state]
            expand_links(lattice, bounds, frontier, state, cost)
            continue
        cell = state // 2 // n_h
        count = tiles_wanted(lattice, cell // cols, cell % cols, (state // 2) % n_h, wanted)
        if count > 0:
            key = cost + bounds[cell] + bounds[cell] * frontier.inflation[0] // 1000
            push(frontier.heap_key, frontier.heap_state, frontier.size, key, state)
            wanted[count] = -1
            return NEED_TILES, -1
        frontier.best[state] = -frontier.best[state]
        frontier.expanded[0] += 1
        expand_cell(lattice, bounds, frontier, state, cost)
        if lattice.linked[cell]:
            expand_links(lattice, bounds, frontier, state, cost)
    return EXHAUSTED, -1
