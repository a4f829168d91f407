"""Motion primitives: each ends on a node at a heading of the lattice, turns no tighter, and counts its whole length."""

from __future__ import annotations

import math

import numpy as np
import pytest

from routeplan.hazards.sweep import along
from routeplan.search.motions import Motions, Turn, heading_vectors, solve_motions


@pytest.fixture(params=[(16, 0.25, 0.5), (16, 0.5, 3.1), (32, 0.25, 4.4), (32, 0.1, 1.7)], ids=str)
def solved(request: pytest.FixtureRequest) -> tuple[Motions, float, float]:
    headings, cell_m, radius_m = request.param
    motions = solve_motions(headings=headings, cell_m=cell_m, radius_m=radius_m, pivots=True, pivot_arm_m=1.9)
    return motions, cell_m, radius_m


def test_every_motion_ends_on_a_pose_of_the_lattice(solved: tuple[Motions, float, float]) -> None:
    motions, cell_m, radius_m = solved
    for h, p in np.argwhere(motions.counts > 0):
        pose = (0.0, 0.0, float(motions.headings[h]))
        for piece in motions.pieces[h, p]:
            pose = along(*pose, *piece)
        assert pose[0] == pytest.approx(motions.d_col[h, p] * cell_m, abs=1e-9)
        assert pose[1] == pytest.approx(motions.d_row[h, p] * cell_m, abs=1e-9)
        turned = math.remainder(pose[2] - float(motions.headings[motions.end[h, p]]), 2.0 * math.pi)
        assert turned == pytest.approx(0.0, abs=1e-9)
        assert (np.abs(motions.pieces[h, p, :, 1]) <= 1.0 / radius_m + 1e-12).all()
        driven = motions.pieces[h, p, :, 2] == 0.0
        assert (motions.pieces[h, p, driven, 0] >= 0.0).all()


def test_lengths_are_rounded_up_to_the_millimetre(solved: tuple[Motions, float, float]) -> None:
    motions, _, _ = solved
    spot = motions.pieces[..., 0, 2] == 1.0
    length_mm = 1000.0 * np.abs(motions.pieces[..., 0]).sum(axis=2) * np.where(spot, 1.9, 1.0)
    over = motions.length_mm - length_mm
    assert (over > -1e-5).all() and (over < 1.0).all()
    assert motions.travel_m == pytest.approx(length_mm[~spot].max() / 1000.0, abs=1e-9)


def test_headings_go_round_and_every_turn_has_its_mirror(solved: tuple[Motions, float, float]) -> None:
    motions, _, _ = solved
    n = len(motions.headings)
    assert (np.diff(motions.headings) > 0.0).all() and motions.headings[0] == 0.0
    east_north = {(round(math.cos(h), 9), round(math.sin(h), 9)) for h in motions.headings}
    assert east_north == {(round(-c, 9), s) for c, s in east_north} == {(s, c) for c, s in east_north}
    turned = np.where(motions.counts > 0, (motions.end - np.arange(n)[:, None] + n // 2) % n - n // 2, 0)
    assert (np.sort(turned, axis=1) == np.sort(-turned, axis=1)).all()


def test_as_many_headings_as_there_is_no_set_for_are_refused() -> None:
    with pytest.raises(KeyError):
        solve_motions(headings=12, cell_m=0.25, radius_m=1.0, pivots=False, pivot_arm_m=1.0)
    assert len(heading_vectors([[1, 0], [4, 1], [2, 1], [4, 3]])) == 32


def test_the_hash_tells_motions_apart() -> None:
    hashes = {
        solve_motions(headings=h, cell_m=0.25, radius_m=r, pivots=p, pivot_arm_m=1.0).sha256()
        for h in (16, 32) for r in (1.0, 1.1) for p in (False, True)
    }  # fmt: skip
    assert len(hashes) == 8


@pytest.mark.parametrize(("headings", "cell_m"), [(16, 0.25), (32, 0.1)])
@pytest.mark.parametrize("turn", [Turn(1.4, 0.9), Turn(2.1, 1.25)], ids=str)
def test_coordinated_and_crab_motions_end_on_the_lattice_too(headings: int, cell_m: float, turn: Turn) -> None:
    """Seen from the point abeam of which it turns, coordinated steer is front steer; crab steer never turns."""
    motions = solve_motions(
        headings=headings, cell_m=cell_m, radius_m=4.0, pivots=False, pivot_arm_m=2.0, coordinated=turn,
        crab_rad=math.radians(20.0),
    )  # fmt: skip
    kinds = set()
    for h, p in np.argwhere(motions.counts > 0):
        pose = (0.0, 0.0, float(motions.headings[h]))
        for piece in motions.pieces[h, p, : motions.counts[h, p]]:
            kinds.add((bool(piece[1]), bool(piece[3])))
            assert abs(piece[3]) <= (abs(turn.slip) if piece[1] else math.sin(math.radians(20.0))) + 1e-12
            if piece[1] and piece[3]:
                assert piece[3] == pytest.approx(-turn.ahead_m * piece[1]), "abeam of the point ahead"
            pose = along(*pose, *piece)
        assert pose[0] == pytest.approx(motions.d_col[h, p] * cell_m, abs=1e-9)
        assert pose[1] == pytest.approx(motions.d_row[h, p] * cell_m, abs=1e-9)
        turned = math.remainder(pose[2] - float(motions.headings[motions.end[h, p]]), 2.0 * math.pi)
        assert turned == pytest.approx(0.0, abs=1e-9)
        driven = motions.pieces[h, p]
        counted = np.abs(driven[:, 0]) * np.where(driven[:, 3] != 0.0, 2.0, 1.0)
        assert 0.0 <= motions.length_mm[h, p] - 1000.0 * counted.sum() < 1.0 + 1e-5
    assert kinds == {(False, False), (True, False), (True, True), (False, True)}
    slips = (motions.pieces[..., 0, 3] != 0.0).sum(axis=1)
    assert (slips == 2).all(), "one to either side of every heading"


def test_front_steer_alone_has_the_motions_it_had() -> None:
    front = solve_motions(headings=16, cell_m=0.25, radius_m=3.0, pivots=True, pivot_arm_m=1.0)
    assert front.counts.shape == (16, 7) and not front.pieces[..., 3].any()
