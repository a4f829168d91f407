"""The same as ``test_never_kinder`` for coordinated and crab steer: motions whose origin travels aslant of the arrow.

The sites are those; their machines are given the figures of both. Twelve sites run by default, 100 when
``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import math
import os
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from routeplan.machine.model import Figure, Machine
from routeplan.plan.steer import coordinated_turn
from routeplan.search.motions import Turn
from routeplan.site.model import Site
from tests.hazards.test_never_kinder import DRAWN, drawn_starts, hold_against_the_second_opinion
from tests.random_sites import small_site

Floats = NDArray[np.float64]

SITES = range(100 if os.environ.get("ROUTEPLAN_FULL") else 12)
CRAB_DEG = 25.0


def both(machine: Machine) -> Machine:
    """The machine with an outside radius in coordinated steer half a metre less than in front steer, and crab steer."""
    own = {"crab_angle_deg": CRAB_DEG}
    own["turn_radius_outside_coordinated_m"] = machine.value("turn_radius_outside_m") - 0.5
    figures = {name: Figure(name, value, "sheet", "invented for a test") for name, value in own.items()}
    return replace(machine, figures={**machine.figures, **figures})


def drawn_motions(site: Site, machine: Machine, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Starts (n, 3) and pieces (n, 1, 4): arcs in coordinated steer and lines in crab steer, half each."""
    starts = drawn_starts(site, rng)
    turn = coordinated_turn(machine)
    assert turn is not None
    pieces = []
    for n, length in enumerate(rng.uniform(0.3, 2.5, DRAWN)):
        way = Turn(turn.radius_m * (1.0 + float(rng.exponential(0.5))), turn.ahead_m)
        side = float(rng.choice((-1.0, 1.0)))
        crab = math.sin(math.radians(rng.uniform(-CRAB_DEG, CRAB_DEG)))
        arc = (length, side / way.origin_radius_m, 0.0, side * way.slip)
        pieces.append((length, 0.0, 0.0, crab) if n % 2 else arc)
    return starts, np.array(pieces)[:, None, :]


@pytest.mark.parametrize("seed", SITES)
def test_no_margin_is_more_than_the_second_opinions(seed: int) -> None:
    site = small_site(seed)
    machine = both(site.machines[site.moves[0].machine])
    site = replace(site, machines={machine.id: machine})
    starts, pieces = drawn_motions(site, machine, np.random.default_rng(20_000 + seed))
    hold_against_the_second_opinion(site, machine, starts, pieces)
