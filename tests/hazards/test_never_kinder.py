"""No margin that the search sees of a motion is more than what the second opinion finds on the same motion.

Motions are drawn at random on the small random sites; of each site's, the ones that are nearest to being blocked are
held against the second opinion's ledger. Forty sites run by default, 300 when ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import Point

from routeplan.hazards import arrays
from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.prepare import encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.steer import turn_radius_m
from routeplan.recheck.attitude import offer_attitude
from routeplan.recheck.bounce import offer_bounce
from routeplan.recheck.case import Case
from routeplan.recheck.kerbs import offer_kerbs
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.overhead import offer_overhead
from routeplan.recheck.stance import stand
from routeplan.recheck.strike import offer_strike
from routeplan.recheck.sweep import Crossing, offer_sweep
from routeplan.recheck.track import envelope, read_rows, subdivide
from routeplan.recheck.wheels import keep_off, meet_defects, unaccepted_ground
from routeplan.route.model import Conditions
from routeplan.search.anchors import check_motions
from routeplan.site.model import LineCorridor, LineHeight, MoveWanted, SafetyDistance, Site
from tests.random_sites import small_site
from tests.recheck.drives import drive, move_of

Floats = NDArray[np.float64]

SITES = range(300 if os.environ.get("ROUTEPLAN_FULL") else 40)
DRAWN, HELD, K = 400, 12, 3.0
INDEX = {line.kind: line.index for line in CATALOGUE if line.index >= 0 and line.kind != "walkways"}
#: Margins of plan distances beyond this say "at least".
CAPPED = {arrays.CLEARANCE, arrays.ACCEPTANCE, arrays.COVERS, arrays.EXCAVATION, arrays.LINES, arrays.CLOSED}
NOISE = 1e-6
BLOCKING = [index for index in range(arrays.KINDS) if index != arrays.WALKWAY]


def drawn_starts(site: Site, rng: np.random.Generator) -> Floats:
    """Poses (n, 3) all over a site."""
    west, south, east, north = site.boundary.bounds
    return np.column_stack([
        rng.uniform(west + 1, east - 1, DRAWN), rng.uniform(south + 1, north - 1, DRAWN),
        rng.uniform(-math.pi, math.pi, DRAWN),
    ])  # fmt: skip


def drawn_motions(site: Site, machine: Machine, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Starts (n, 3) and pieces (n, 1, 4): straights, arcs and, for machines that can, pivots."""
    starts = drawn_starts(site, rng)
    bent = np.where(rng.random(DRAWN) < 0.4, 0.0, rng.uniform(-1, 1, DRAWN) / turn_radius_m(machine))
    none = np.zeros(DRAWN)
    pieces = np.column_stack([rng.uniform(0.3, 2.5, DRAWN), bent, none, none])
    if machine.value("pivots") == 1.0:
        turned = rng.random(DRAWN) < 0.2
        pieces[turned] = np.column_stack([rng.uniform(0.3, 1.5, DRAWN), none, np.ones(DRAWN), none])[turned]
    return starts, pieces[:, None, :]


def second_look(
    site: Site, machine: Machine, wanted: MoveWanted, start: Floats, piece: Floats
) -> tuple[Ledger, list[Crossing]]:
    """What the second opinion finds on one motion."""
    (length, bent, pivot, slip), (x, y, heading) = map(float, piece[0]), map(float, start)
    stretch = (0.0, length) if pivot else (length, length * bent, math.asin(slip))
    poses = tuple(pose._replace(travel_mode=wanted.travel_mode) for pose in drive(x, y, heading, [stretch]))
    move = replace(move_of(poses, machine), on=None if wanted.on is None else wanted.on.isoformat())
    track = subdivide(read_rows(poses), envelope(machine, machine.configurations["stowed"]))
    case = Case.of(move, track, site=site, machine=machine, conditions=Conditions())
    ledger, crossings = Ledger(track, K), list[Crossing]()
    rows = np.arange(len(track.x))
    case = case.around(rows)
    stance = meet_defects(case, stand(case, rows), ledger)
    for offer in (offer_attitude, offer_kerbs, offer_bounce, offer_strike, offer_overhead):
        offer(case, stance, ledger)
    offer_sweep(case, stance, ledger, crossings)
    keep_off(case, stance, ledger, unaccepted_ground(case))
    return ledger, crossings


def hold_against_the_second_opinion(
    site: Site, machine: Machine, starts: Floats, pieces: Floats, *, governing: Sequence[int] = BLOCKING,
    closer: bool = False,
) -> None:
    """Of the motions that nothing blocks, those with the smallest governing margins; at least as many as are held."""
    (wanted,) = site.moves
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode=wanted.travel_mode, k=K,
        terrain=build_terrain(site.ground, site.grid),
    ).on(wanted.on, travel_m=8.0)  # fmt: skip
    margins, _ = check_motions(hazards.closer() if closer else hazards, starts, pieces)
    allowed = np.flatnonzero(margins[:, BLOCKING].min(axis=1) >= 0.0)
    assert len(allowed) >= HELD
    nearest = margins[allowed][:, governing].min(axis=1)
    for i in allowed[np.argsort(nearest)][:HELD]:
        ledger, crossings = second_look(site, machine, wanted, starts[i], pieces[i])
        where = f"motion {i} at {starts[i].round(3).tolist()}, {pieces[i, 0].round(3).tolist()}"
        assert margins[i, arrays.WALKWAY] < 0.0 or not any(found.steps for found in crossings), where
        for kind, index in INDEX.items():
            found = ledger.least_margin.get(kind)
            margin = min(margins[i, index], COMFORT_M) if index in CAPPED else margins[i, index]
            if found is not None:
                assert margin <= found.margin + NOISE, f"{kind}: {margin} for {found.margin}, {where}"


@pytest.mark.parametrize("seed", SITES)
def test_no_margin_is_more_than_the_second_opinions(seed: int) -> None:
    site = small_site(seed)
    machine = site.machines[site.moves[0].machine]
    starts, pieces = drawn_motions(site, machine, np.random.default_rng(10_000 + seed))
    hold_against_the_second_opinion(site, machine, starts, pieces)


@pytest.mark.parametrize("seed", SITES[::4])
def test_no_line_clearance_is_more_than_the_second_opinions(seed: int) -> None:
    """Lines all over the yard, as low as machines are high, so that how they hang governs."""
    rng, site = np.random.default_rng(20_000 + seed), small_site(seed)
    machine = site.machines[site.moves[0].machine]
    west, south, east, north = site.boundary.bounds
    top_m = float(np.nanmedian(site.ground.z)) + max(box.top_m for box in machine.configurations["stowed"].boxes)
    asked = SafetyDistance(11.0, 1.0, "invented for a test", "invented for a test")
    lines = []
    for i in range(6):
        shape = Point(rng.uniform(west, east), rng.uniform(south, north)).buffer(rng.uniform(1.0, 4.0))
        sag_m, survey = rng.uniform(0.0, 0.5), str(rng.choice(["S1", "S2"]))
        height = LineHeight(top_m + asked.distance_m + rng.uniform(0.0, 2.0), sag_m, 0.01, survey)
        lines.append(LineCorridor(f"l{i}", shape, 1.0, asked, height))
    site = replace(site, line_corridors=tuple(lines))
    starts, pieces = drawn_motions(site, machine, rng)
    hold_against_the_second_opinion(site, machine, starts, pieces, governing=[arrays.UNDER_LINE])
