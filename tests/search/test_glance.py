"""Where a closer look begins at a glance, no way is given whose motions do not hold when looked at in full."""

from __future__ import annotations

import pytest

from routeplan.search.lattice import CheckedLattice, Found
from tests.search.test_best_first import driven, total
from tests.search.windows import draw

SEEDS = range(12)


def hold(seed: int) -> list[bool]:
    """Of each way found over a window: whether all its motions hold and cost what the search has them cost."""
    window = draw(seed, closer=True)
    found = [window.lattice.find(*ends) for ends in window.asked]
    held = []
    for way in found:
        if isinstance(way, Found):
            try:
                held.append(driven(way.motions, window) == total(way))
            except AssertionError:  # a motion of it is blocked
                held.append(False)
    return held


def test_every_way_found_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    held = [hold(seed) for seed in SEEDS]
    assert sum(map(len, held)) >= len(SEEDS), "hopeless windows show nothing"
    assert all(map(all, held))
    monkeypatch.setattr(CheckedLattice, "_holds", lambda lattice, way: True)
    assert not all(map(all, map(hold, SEEDS))), "all that passes at a glance holds: this test shows nothing"


def test_few_looks_give_up_and_more_go_on() -> None:
    """Looks taken are kept: what the first find puts right, the next need not look at again."""
    for seed in SEEDS:
        window = draw(seed, closer=True)
        for ends in window.asked:
            first = window.lattice.find(*ends, looks=1)
            if not isinstance(first, Found) and first.why == "limit":
                more = [window.lattice.find(*ends, looks=1) for _ in range(60)]
                assert isinstance(more[-1], Found) or more[-1].why == "exhausted"
                return
    pytest.fail("every way holds at the first look: this test shows nothing")
