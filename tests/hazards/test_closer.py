"""The closer look: never kinder than the second opinion, and less careful than the bounds at stances."""

from __future__ import annotations

import os

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.hazards import arrays
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.hazards.tile import BLOCKED
from routeplan.search.anchors import check_motions
from routeplan.site.model import Defect, Site
from tests import worlds
from tests.hazards.test_never_kinder import K, drawn_motions, hold_against_the_second_opinion
from tests.random_sites import small_site
from tests.test_completeness import drawn_site

Floats = NDArray[np.float64]

#: The last of the few has a middle that is open in a tube that fails.
SITES = range(150) if os.environ.get("ROUTEPLAN_FULL") else (*range(12), 29)
#: Motions held for each site, those that only a closer look passes first.
HELD = 12
#: Straight ahead, and on an arc to the left.
AHEAD = ((1.0, 0.0, 0.0, 0.0), (1.0, 0.3, 0.0, 0.0))


def looked_at(site: Site, starts: Floats, pieces: Floats, *, closer: bool) -> tuple[Floats, NDArray[np.uint8]]:
    """Margins and verdicts of motions as a search sees them."""
    (machine,), (wanted,) = site.machines.values(), site.moves
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode=wanted.travel_mode, k=K,
        terrain=build_terrain(site.ground, site.grid),
    ).on(wanted.on, travel_m=8.0)  # fmt: skip
    return check_motions(hazards.closer() if closer else hazards, starts, pieces, brief=True)


@pytest.mark.parametrize("seed", SITES)
def test_no_margin_of_a_closer_look_is_more_than_the_second_opinions(seed: int) -> None:
    site = drawn_site(seed, rough=True)
    (machine,) = site.machines.values()
    starts, pieces = drawn_motions(site, machine, np.random.default_rng(20_000 + seed))
    passed = looked_at(site, starts, pieces, closer=True)[1] != BLOCKED
    only_closer = passed & (looked_at(site, starts, pieces, closer=False)[1] == BLOCKED)
    order = np.argsort(~only_closer, kind="stable")
    chosen = order[passed[order]][: 3 * HELD]
    hold_against_the_second_opinion(site, machine, starts[chosen], pieces[chosen], closer=True)


@pytest.mark.parametrize("seed", SITES)
def test_nor_for_other_machines(seed: int) -> None:
    site = small_site(seed)
    machine = site.machines[site.moves[0].machine]
    starts, pieces = drawn_motions(site, machine, np.random.default_rng(30_000 + seed))
    hold_against_the_second_opinion(site, machine, starts[:150], pieces[:150], closer=True)


def yard(z: Floats | None = None, *, defects: tuple[Defect, ...] = ()) -> Site:
    """A yard 20 x 10 m with a scissor."""
    places = worlds.place("w", 3.0, 5.0), worlds.place("e", 17.0, 5.0)
    return worlds.flat_site(
        20.0, 10.0, z=z, machines=(worlds.scissor(),), places=places, moves=(worlds.wanted("SC", "w", "e"),),
        defects=defects,
    )  # fmt: skip


def passes(site: Site, x: float, *, closer: bool) -> list[bool]:
    """Whether the motions ahead from a place on the middle line are passed."""
    starts = np.array([(x, 5.0, 0.0)] * len(AHEAD))
    verdicts = looked_at(site, starts, np.array(AHEAD)[:, None, :], closer=closer)[1]
    return [bool(verdict != BLOCKED) for verdict in verdicts]


def crest(slope: float) -> Floats:
    """Level ground that falls from x = 10 m on."""
    x, _ = np.meshgrid(np.arange(0.0, 20.1, 0.25), np.arange(0.0, 10.1, 0.25))
    fallen: Floats = -slope * np.maximum(x - 10.0, 0.0)
    return fallen


def test_a_crest_is_passed_that_leaves_room_and_no_other() -> None:
    """Half way between axles 1.85 m apart the ground stands 1.85 / 4 of the change of slope above the wheels' plane."""
    start = 10.0 - 1.85 / 2 - 0.5
    assert not any(passes(yard(crest(0.11)), start, closer=False)), "the bounds at stances do: this test shows nothing"
    assert all(passes(yard(crest(0.11)), start, closer=True))  # 51 of 80 mm, and the tube's
    assert not any(passes(yard(crest(0.18)), start, closer=True))  # 83 mm


@pytest.mark.parametrize(("far_m", "counts"), [(3.4, False), (2.9, True)])
def test_a_hole_counts_within_three_metres_of_a_wheel(far_m: float, counts: bool) -> None:
    """0.1 m x 2 x 1.6 x 1.15 is more than the 0.3 m that a basket may rise."""
    front_m = 6.0 + 1.0 + 1.85
    hole = Defect("h", "pothole", box(front_m + far_m, 0.0, front_m + far_m + 1.0, 10.0), 1.0, 0.1, 0.0, None)
    site = yard(defects=(hole,))
    assert passes(site, 6.0, closer=False)[0] is False, "the bounds at stances pass it: this test shows nothing"
    assert passes(site, 6.0, closer=True)[0] is not counts


@pytest.mark.parametrize(("high_m", "room"), [(0.05, True), (0.085, False)])
def test_a_kerb_is_straddled_that_leaves_room_and_no_other(high_m: float, room: bool) -> None:
    """A ridge 50 mm wide under a clearance of 90 mm, of which 10 mm are kept; no wheel meets it."""
    ridge = Defect("k", "kerb", box(7.0, 4.975, 7.5, 5.025), 0.05, 0.0, high_m, None)
    site = yard(defects=(ridge,))
    assert passes(site, 6.0, closer=True)[0] is room


def test_ground_that_nobody_knows_is_not_passed() -> None:
    z = np.zeros((41, 81))
    z[20, 30] = np.nan
    margins, verdicts = looked_at(
        yard(z), np.array([(6.0, 5.0, 0.0)]), np.array(AHEAD)[:1, None, :], closer=True
    )  # fmt: skip
    assert verdicts[0] == BLOCKED
    assert margins[0, arrays.LEVELS] < 0.0 or margins[0, arrays.STRIKE] < 0.0
