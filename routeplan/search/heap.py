"""A binary heap as arrays, so that kernels can keep one between calls."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.kernel import kernel

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]


class Heap(NamedTuple):
    """Entries by key, smallest first; equal keys go by state and then by parent, whatever came first."""

    key: Ints
    state: Ints
    parent: Ints32  # how the state was reached, in the words of whoever pushes
    size: Ints  # (1,) entries


def new_heap(room: int) -> Heap:
    """An empty heap with room for so many entries."""
    return Heap(np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room, np.int32), np.zeros(1, np.int64))


def grown(heap: Heap) -> Heap:
    """The same entries with twice the room."""
    larger = new_heap(2 * len(heap.key))
    n = len(heap.key)
    larger.key[:n], larger.state[:n], larger.parent[:n] = heap.key, heap.state, heap.parent
    return larger._replace(size=heap.size)


@kernel
def before(key: int, state: int, parent: int, other_key: int, other_state: int, other_parent: int) -> bool:
    """Whether an entry comes before another."""
    if key != other_key:
        return key < other_key
    return state < other_state or (state == other_state and parent < other_parent)


@kernel
def push(heap: Heap, key: int, state: int, parent: int) -> None:
    """Add an entry."""
    i = heap.size[0]
    heap.size[0] += 1
    while i > 0:
        up = (i - 1) // 2
        if not before(key, state, parent, heap.key[up], heap.state[up], heap.parent[up]):
            break
        heap.key[i], heap.state[i], heap.parent[i] = heap.key[up], heap.state[up], heap.parent[up]
        i = up
    heap.key[i], heap.state[i], heap.parent[i] = key, state, parent


@kernel
def pop(heap: Heap) -> tuple[int, int, int]:
    """Take the smallest entry off: key, state, parent."""
    keys, states, parents = heap.key, heap.state, heap.parent
    key, state, parent = keys[0], states[0], parents[0]
    heap.size[0] -= 1
    n = heap.size[0]
    last_key, last_state, last_parent = keys[n], states[n], parents[n]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= n:
            break
        if child + 1 < n and before(
            keys[child + 1], states[child + 1], parents[child + 1], keys[child], states[child], parents[child]
        ):
            child += 1
        if not before(keys[child], states[child], parents[child], last_key, last_state, last_parent):
            break
        keys[i], states[i], parents[i] = keys[child], states[child], parents[child]
        i = child
    if n > 0:
        keys[i], states[i], parents[i] = last_key, last_state, last_parent
    return key, state, parent
