"""Tracks on the ground: all of a track's length is in contact, not only its ends, and it turns about its middle.

Of the small random sites, each with a tracked machine in place of its own, ten run by default, 100 when
``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.hazards.arrays import ACCEPTANCE, CLEARANCE, COVERS, EXCAVATION
from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.prepare import Hazards, encounter, margin_sigmas
from routeplan.hazards.register import doubts
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.plan.steer import turn_radius_m
from routeplan.recheck.bounce import levers
from routeplan.recheck.steering import turn_radius_m as second_radius_m
from routeplan.recheck.uncertainty import Sigmas
from routeplan.search.anchors import check_motions
from routeplan.site.model import Defect, Excavation, Obstacle, Site, Thresholds
from tests import worlds
from tests.hazards.test_never_kinder import drawn_motions, hold_against_the_second_opinion
from tests.random_sites import small_site

SITES = range(100 if os.environ.get("ROUTEPLAN_FULL") else 10)
EXACT = Thresholds(
    lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, body_gap_m=0.0, structure_clearance_m=0.0
)  # fmt: skip
SPIDER = worlds.spider()
#: Checks that rest on the levels under a track: the body leans with them.
OPEN = {
    "gradeability", "side slope", "combined slope", "ground strike", "head gap", "overhead clearance", "bounce rise",
    "basket swing", "step", "kerb angle", "kerb side slope", "survey resolution", "side clearance", "overhead lines",
    "line clearance", "closed areas",
    "walkways", "grip", "set-up tilt", "tail swing",
}  # fmt: skip
#: A plate of 0.1 m in the middle of the left track of a machine at (10, 10); between its ends, 0.55 m from either.
UNDER_THE_MIDDLE = box(9.95, 10.25, 10.05, 10.35)


def prepared(site: Site) -> Hazards:
    return encounter(
        site, SPIDER, configuration="stowed", travel_mode="beside_rails_up", k=3.0,
        terrain=build_terrain(site.ground, site.grid),
    ).on(None, travel_m=8.0)  # fmt: skip


def margin(index: int, piece: tuple[float, ...], *, brief: bool = False, **layers: Any) -> float:
    """The margin of a check over one piece driven exactly, from (10, 10) heading east."""
    site = worlds.flat_site(20.0, 20.0, cell_m=0.1, machines=(SPIDER,), thresholds=EXACT, **layers)
    margins, _ = check_motions(prepared(site), np.array([[10.0, 10.0, 0.0]]), np.array([[piece]]), brief=brief)
    return float(margins[0, index])


@pytest.mark.parametrize("brief", [False, True])
@pytest.mark.parametrize("piece", [(0.01, 0.0, 0.0, 0.0), (0.01, 0.5, 0.0, 0.0), (0.01, 0.0, 1.0, 0.0)], ids=str)
def test_what_lies_between_the_ends_of_a_track_is_under_it(piece: tuple[float, ...], brief: bool) -> None:
    plate = Defect("c", "cover", UNDER_THE_MIDDLE, 0.1, 0.0, 0.0, None)
    assert margin(COVERS, piece, brief=brief, defects=(plate,)) < 0.0
    dug = Excavation("e", UNDER_THE_MIDDLE, 0.0)
    assert margin(EXCAVATION, piece, brief=brief, excavations=(dug,)) < 0.0
    low = Obstacle("o", UNDER_THE_MIDDLE, "plate", 0.01)
    assert margin(CLEARANCE, piece, brief=brief, obstacles=(low,)) < 0.0
    yard = worlds.flat_site(20.0, 20.0).surfaces[0]
    hole = replace(yard, geometry=yard.geometry.difference(UNDER_THE_MIDDLE))
    assert margin(ACCEPTANCE, piece, brief=brief, surfaces=(hole,)) < 0.0


def test_what_lies_beside_a_track_is_as_far_off_as_it_is() -> None:
    """A track 0.18 m wide, 0.30 m off the middle: 0.39 m to its outer side."""
    beside = Defect("c", "cover", box(9.95, 10.49, 10.05, 10.60), 0.1, 0.0, 0.0, None)
    assert margin(COVERS, (0.01, 0.0, 0.0, 0.0), defects=(beside,)) == pytest.approx(0.10, abs=0.002)


def test_tracks_turn_about_their_middle() -> None:
    """The front corner, 0.6 + 2.1 m ahead, runs on 2.8 m: sqrt(2.8^2 - 2.7^2) - 0.4 = 0.34162 m (worked out here)."""
    assert turn_radius_m(SPIDER) == pytest.approx(0.34162, abs=5e-6)
    assert second_radius_m(SPIDER) == pytest.approx(0.34162, abs=5e-6)


def test_levers_and_sigmas_go_by_where_the_ends_of_the_tracks_are() -> None:
    """Both rooms agree; front and rear end of a machine alike about its middle have the same levers."""
    body = prepared(site := worlds.flat_site(machines=(SPIDER,))).body
    basket = body.rows("basket")
    xi, eta = basket[:, 0], basket[:, 1]
    expected = levers(SPIDER, xi, eta)[:, [0, 2]]
    assert basket[:, 2:] == pytest.approx(expected)
    assert sorted(basket[:, 2]) == pytest.approx(sorted(basket[:, 3]))
    second = Sigmas.of(SPIDER, site.ground.accuracy)
    found = margin_sigmas(site, SPIDER, SPIDER.configurations["stowed"])
    index = {line.kind: line.index for line in CATALOGUE}
    assert found[index["bounce rise"]] == pytest.approx(second.point(xi, eta).max())


def test_what_rests_on_levels_under_a_track_says_that_it_is_not_modelled() -> None:
    site = worlds.flat_site(machines=(SPIDER, worlds.scissor()))
    said = {line.kind for line in CATALOGUE if UNDER_TRACKS in doubts(line, site, SPIDER)}
    assert said == OPEN | {"ground load"}, "which a site without a claim does not ask for"
    assert not any(UNDER_TRACKS in doubts(line, site, worlds.scissor()) for line in CATALOGUE)
    own = ("ground load", "grip", "set-up tilt", "tail swing")
    lines = [line for line in CATALOGUE if line.kind not in own]
    texts = {text for line in lines for text in doubts(line, site, SPIDER)} - {UNDER_TRACKS}
    missing = {text.partition(":")[0] for text in texts}
    names = ("platform_floor_m", "creep_speed_mps", "bounce_period_s", "bounce_damping_pct")
    assert missing == {f"{name} is missing" for name in names}


@pytest.mark.parametrize("seed", SITES)
def test_no_margin_is_more_than_the_second_opinions(seed: int) -> None:
    """Ranked by what tracks stand on and by everything that blocks; turns on the spot among the motions."""
    site = small_site(seed)
    machine = worlds.spider(site.moves[0].machine)
    site = replace(
        site, machines={machine.id: machine}, moves=(replace(site.moves[0], travel_mode="beside_rails_up"),)
    )
    starts, pieces = drawn_motions(site, machine, np.random.default_rng(30_000 + seed))
    assert (pieces[..., 2] == 1.0).any()
    hold_against_the_second_opinion(site, machine, starts, pieces)
    hold_against_the_second_opinion(site, machine, starts, pieces, governing=[ACCEPTANCE, COVERS, EXCAVATION])
