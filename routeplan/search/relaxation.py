"""The lattice with headings and hazards forgotten: lower bounds on the cost to go, from every place at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.kernel import kernel
from routeplan.search.heap import Heap, pop, push

Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

EXHAUSTED, FULL = 1, 4
UNREACHED = -1


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


@kernel
def is_in(ordered: Ints, value: int) -> bool:
    """Whether an ascending array holds a value."""
    i = first_at(ordered, value)
    return bool(i < ordered.shape[0] and ordered[i] == value)


class Relaxation(NamedTuple):
    """The lattice with headings and hazards forgotten: places are cells (row * cols + col), then anchors."""

    shut: Bytes  # (rows, cols) 1 where no heading at all can stand
    walked: Bytes  # (rows, cols) 1 where every heading has the body over a walkway: motions cost twice as much
    moves: Ints  # (n, 3) rows, cols, cost of every displacement that a motion makes
    hops: Bytes  # (rows * cols) 1 where some of them are barred
    barred: Ints  # ascending ``cell * n + move``
    back_to: Ints  # links reversed, sorted by the place they lead to
    back_from: Ints
    back_cost: Ints
    linked: Bytes  # (places,) 1 where a link leads


class Spread(NamedTuple):
    """What a relaxation has reached: see ``relaxed``."""

    out: Ints  # (places,) bounds
    done: Bytes  # (places,) 1 where the bound is final, or nobody can stand
    watched: Bytes  # (places,) 1 for the places that the search starts from
    heap: Heap
    nearest: Ints  # (2,) bound of the nearest watched place or UNREACHED; last bound met


@kernel
def _relax_place(spread: Spread, place: int, cost: int) -> None:
    if spread.done[place] == 0 and (spread.out[place] == UNREACHED or cost < spread.out[place]):
        spread.out[place] = cost
        push(spread.heap, cost, place, 0)


@kernel
def relaxed(relaxation: Relaxation, spread: Spread, spare: int) -> int:
    """Lower bounds on the cost to the goal from every place; the goals stand in the heap before the first call.

    Every motion and link of the lattice is one of the relaxation's, so the bound is consistent. The search stops
    ``spare`` beyond the nearest of the watched places; what lies farther gets the last cost met, still a lower bound.
    A place is UNREACHED where no way exists at all. Returns FULL when the heap needs more room, else EXHAUSTED.
    """
    rows, cols = relaxation.shut.shape
    n_cells, moves = rows * cols, relaxation.moves
    room = spread.heap.key.shape[0] - moves.shape[0] - relaxation.back_to.shape[0]
    stopped = False
    while spread.heap.size[0] > 0 and not stopped:
        if spread.heap.size[0] > room:
            return FULL
        cost, place, _ = pop(spread.heap)
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
                if rr < 0 or cc < 0 or rr >= rows or cc >= cols or spread.done[rr * cols + cc]:
                    continue
                if relaxation.hops[place] and is_in(relaxation.barred, place * moves.shape[0] + m):
                    continue
                times = 1 + max(relaxation.walked[r, c], relaxation.walked[rr, cc])
                _relax_place(spread, rr * cols + cc, cost + times * moves[m, 2])
    if stopped:
        for place in range(spread.out.shape[0]):
            if spread.done[place] == 0:
                spread.out[place] = spread.nearest[1]
    return EXHAUSTED
