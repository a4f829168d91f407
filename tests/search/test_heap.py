"""The heap of the kernels against the standard library's, compiled and as plain Python."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.search.heap import grown, new_heap, pop, push

#: Pushes of (key, state), few enough to be alike now and then; None takes one off.
STEPS = st.lists(st.none() | st.tuples(st.integers(-3, 12), st.integers(0, 5)), max_size=120)


def plain(kernel: Any) -> Callable[..., Any]:
    """The plain Python of a kernel."""
    function: Callable[..., Any] = kernel.py_func
    return function


@pytest.mark.parametrize(("add", "take"), [(push, pop), (plain(push), plain(pop))], ids=["compiled", "plain"])
@given(steps=STEPS)
def test_entries_come_off_in_order_with_what_they_brought(
    add: Callable[..., None], take: Callable[..., tuple[int, int, int]], steps: list[tuple[int, int] | None]
) -> None:
    heap, other = new_heap(1), list[tuple[int, int]]()
    brought: dict[tuple[int, int], list[int]] = {}
    for number, step in enumerate([*steps, *(None for _ in steps)]):
        if step is None and other:
            key, state, parent = take(heap)
            assert (key, state) == heapq.heappop(other)
            brought[key, state].remove(parent)
        elif step is not None:
            if heap.size[0] == len(heap.key):
                heap = grown(heap)
            add(heap, *step, number)
            heapq.heappush(other, step)
            brought.setdefault(step, []).append(number)
    assert heap.size[0] == len(other) == 0
