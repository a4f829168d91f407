"""Rows of a route keep the steps that the plan promises, whatever the pieces that it is driven in."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from routeplan.hazards.sweep import along
from routeplan.plan.trace import DRAWN_M, ROW_TURN_RAD, trace
from routeplan.plan.way import Stretch
from routeplan.recheck.track import envelope, largest_displacement, read_rows
from routeplan.route.model import Pose
from routeplan.search.anchors import Anchor
from routeplan.search.straighten import Motion
from tests import worlds

MACHINE = worlds.scissor(pivots=1.0)
CONFIGURATION = MACHINE.configurations["stowed"]
#: Promised of any two rows (docs/method.md 1).
STEP_M, TURN_DEG = 0.10, 2.0
#: Length (m; rad on the spot), curvature (1/m), 1 on the spot, slip.
Piece = tuple[float, float, float, float]


def traced(*pieces: Piece) -> tuple[Pose, ...]:
    """Rows of a route that is one motion."""
    hazards = SimpleNamespace(configuration=CONFIGURATION, travel_mode="ridden")
    motion = Motion(Anchor(0.0, 0.0, 0.3), np.array(pieces), 0)
    return trace([Stretch((motion,), cast(Any, SimpleNamespace(hazards=hazards)))], MACHINE)


def largest_steps(poses: tuple[Pose, ...]) -> tuple[float, float]:
    """Farthest that a corner moves, m, and most that the machine turns, degrees, between two rows."""
    rows = read_rows(poses)
    moved = largest_displacement(rows, envelope(MACHINE, CONFIGURATION))
    return float(moved.max()), float(np.degrees(np.abs(rows.turn)).max())


SHORT: Piece = (0.99 * DRAWN_M, 2.2, 0.0, 0.0)
WHOLE_ROWS: Piece = (3.0 * ROW_TURN_RAD / 2.2, 2.2, 0.0, 0.0)


@pytest.mark.parametrize(
    "pieces",
    [
        (WHOLE_ROWS, SHORT), (SHORT, WHOLE_ROWS), (SHORT, WHOLE_ROWS, SHORT, SHORT), (WHOLE_ROWS, SHORT, WHOLE_ROWS),
    ],
)
def test_pieces_too_short_to_draw_stretch_no_row_beyond_what_is_promised(pieces: tuple[Piece, ...]) -> None:
    poses = traced(*pieces)
    step, turn = largest_steps(poses)
    assert step <= STEP_M and turn <= TURN_DEG
    assert poses[-1].chainage_m == pytest.approx(sum(piece[0] for piece in pieces))


@pytest.mark.parametrize("seed", range(100))
def test_any_pieces_keep_the_steps_and_end_where_they_lead(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pieces: list[Piece] = []
    for _ in range(rng.integers(1, 8)):
        short = rng.random() < 0.4
        length = DRAWN_M * rng.uniform(0.1, 0.999) if short else rng.uniform(0.02, 2.0)
        pieces.append((length, rng.choice([0.0, rng.uniform(-2.2, 2.2)]), 0.0, 0.0))
    pieces.append((1.0, 0.0, 0.0, 0.0))
    poses = traced(*pieces)
    step, turn = largest_steps(poses)
    assert step <= STEP_M and turn <= TURN_DEG
    at = (0.0, 0.0, 0.3)
    for piece in pieces:
        at = along(*at, *piece)
    assert (poses[-1].x, poses[-1].y) == pytest.approx(at[:2], abs=1e-9)
    turned = math.radians(90.0 - poses[-1].bearing_deg) - at[2]
    assert math.remainder(turned, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-9)
