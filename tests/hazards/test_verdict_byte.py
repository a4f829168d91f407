"""What each check means to the search, by itself: a motion that lacks anything in one of them is blocked."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from routeplan.hazards.arrays import KINDS, WALKWAY
from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.ground import OUT
from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.sweep import FAR
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.tile import BLOCKED, COMFORTABLE, verdict_byte
from tests.worlds import flat_site, scissor

#: The kernel as it stands in the source.
IN_PLAIN = verdict_byte.py_func  # type: ignore[attr-defined]
NAMES = {line.index: line.kind for line in CATALOGUE if 0 <= line.index < KINDS}


@cache
def hazards() -> Hazards:
    site = flat_site(machines=(scissor(),))
    met = encounter(
        site, scissor(), configuration="stowed", travel_mode="ridden", k=2.0,
        terrain=build_terrain(site.ground, site.grid),
    )  # fmt: skip
    return met.on(None, travel_m=1.0)


def test_every_margin_is_of_a_check_of_the_catalogue() -> None:
    assert sorted(NAMES) == list(range(KINDS))


@pytest.mark.parametrize("kind", range(KINDS), ids=lambda kind: NAMES[kind])
@pytest.mark.parametrize("lacks", [-1e-6, np.nan])
def test_each_check_blocks_by_itself_and_only_by_its_own_rule(kind: int, lacks: float) -> None:
    """But for a walkway, which doubles the price; with its rule taken away nothing blocks."""
    body, blocking = hazards().body, hazards().blocking
    out = np.full(OUT, FAR)
    assert IN_PLAIN(body, out, blocking) == COMFORTABLE
    out[kind] = lacks
    if kind == WALKWAY:
        assert IN_PLAIN(body, out, blocking) == (2 * COMFORTABLE if lacks < 0.0 else COMFORTABLE)
        return
    assert IN_PLAIN(body, out, blocking) == BLOCKED
    without = blocking.copy()
    without[kind] = 0
    assert IN_PLAIN(body, out, without) != BLOCKED
