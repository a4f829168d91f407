"""Ground under wheels: a published sheet of drained ground, spreads, and clay, in both forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from routeplan.hazards.bearing import SQUARE_ON_CLAY, Patch, drained_kpa, limit_kn
from routeplan.recheck.ground_load import resistance_kpa
from routeplan.site.bearing import Clay, Drained, HardGround, Platform

#: pt.scribd.com/document/383761215, a calculation sheet of EN 1997-1 Annex D, drained, without cohesion: sides 1.0 by
#: 6.0 m, 0.75 m deep, V 200, HB 60, HL 30 kN, MB 30, ML 88 kNm; it prints 95 kPa, its figures carried on give 94.907.
SOIL = Drained(30.0, 10.0, 1.0)
SHORT_M, LONG_M = 1.0 - 2 * 30.0 / 200.0, 6.0 - 2 * 88.0 / 200.0
SHEET = {"cover_kpa": 7.5, "across": 60.0 / 200.0, "along": 30.0 / 200.0}

#: Nq and Ngamma by angle. 36 degrees: the same sheet; the others are arithmetic.
FACTORS = [(30.0, 18.40, 20.09), (36.0, 37.75, 53.40), (20.0, 6.40, 3.93), (25.0, 10.66, 9.01), (40.0, 64.20, 106.05)]


def test_a_published_sheet_of_drained_ground() -> None:
    found = drained_kpa(SOIL, width_m=SHORT_M, length_m=LONG_M, **SHEET)
    assert round(found) == 95 and found == pytest.approx(94.907, abs=0.001)


def test_the_shorter_side_is_taken_whichever_is_named_first() -> None:
    """With the sides as they are named the shape factor of the weight would be 1 - 0.3 x 5.12 / 0.7 = -1.19."""
    turned = {"cover_kpa": 7.5, "across": 30.0 / 200.0, "along": 60.0 / 200.0}
    found = drained_kpa(SOIL, width_m=LONG_M, length_m=SHORT_M, **turned)
    assert found == pytest.approx(94.907, abs=0.001)


@pytest.mark.parametrize(("phi_deg", "n_q", "n_weight"), FACTORS)
def test_bearing_factors(phi_deg: float, n_q: float, n_weight: float) -> None:
    """Under a strip of no width only the cover counts; without a cover only the weight, 0.5 gamma B Ngamma."""
    soil = Drained(phi_deg, 10.0, 1.0)
    assert drained_kpa(soil, cover_kpa=1.0, width_m=1e-12, length_m=1.0) == pytest.approx(n_q, abs=0.005)
    found = drained_kpa(soil, cover_kpa=0.0, width_m=0.2, length_m=2e9)
    assert found == pytest.approx(n_weight, abs=0.006)
    slope = np.zeros(1)
    assert resistance_kpa(soil, 1.0, 1e-12, 1.0, slope)[0] == pytest.approx(n_q, abs=0.005)
    assert resistance_kpa(soil, 0.0, 0.2, 2e9, slope)[0] == pytest.approx(n_weight, abs=0.006)


def test_factors_of_the_published_sheet_one_by_one() -> None:
    """Published: iq 0.493631, igamma 0.328062, sq 1.07, sgamma 0.96; the others go with cohesion: there is none."""
    cover = {name: SHEET[name] for name in ("across", "along")}
    by_cover = drained_kpa(Drained(30.0, 0.0, 1.0), cover_kpa=1.0, width_m=SHORT_M, length_m=LONG_M, **cover)
    upright = drained_kpa(Drained(30.0, 0.0, 1.0), cover_kpa=1.0, width_m=SHORT_M, length_m=LONG_M)
    assert by_cover / upright == pytest.approx(0.493631, abs=1e-6)
    assert upright / 18.4011 == pytest.approx(1.06836, abs=1e-5)
    by_weight = drained_kpa(SOIL, cover_kpa=0.0, width_m=SHORT_M, length_m=LONG_M, **cover)
    level = drained_kpa(SOIL, cover_kpa=0.0, width_m=SHORT_M, length_m=LONG_M)
    assert by_weight / level == pytest.approx(0.328062, abs=1e-6)
    assert level / (0.5 * 10.0 * SHORT_M * 20.0931) == pytest.approx(0.95898, abs=1e-5)


@pytest.mark.parametrize("slope", [0.0, 0.05, 0.2, 0.5])
def test_both_forms_agree(slope: float) -> None:
    for sides in ((0.7, 5.12), (1.0, 1.0), (0.3, 0.4)):
        first = drained_kpa(SOIL, cover_kpa=3.0, width_m=sides[0], length_m=sides[1], across=slope)
        assert resistance_kpa(SOIL, 3.0, *sides, np.array([slope]))[0] == pytest.approx(first, rel=1e-12)


@pytest.mark.parametrize(("spread_deg", "printed_kpa"), [(45.0, 133.33), (math.degrees(math.atan(0.5)), 253.97)])
def test_a_load_spread_on_to_what_lies_below(spread_deg: float, printed_kpa: float) -> None:
    """40 kN on 0.30 x 0.20 m, 0.15 m above: 1 in 1 and 1 in 2, ``P / ((a + 2 t tan) (b + 2 t tan))``: arithmetic."""
    patch = Patch(0.30, 0.20, 3.0, 2.0)
    found = limit_kn(Platform("engineer", 0.15, spread_deg, printed_kpa), patch, 0.0, wet=False)
    assert found == pytest.approx(40.0, abs=0.002)


def test_overlapping_spreads_add() -> None:
    platform = Platform("engineer", 0.5, 45.0, 100.0)
    alone, beside, all_four = (Patch(0.3, 0.2, *apart) for apart in ((3.0, 2.0), (3.0, 1.1), (1.2, 1.1)))
    whole = 100.0 * 1.3 * 1.2
    for patch, share in ((alone, 1), (beside, 2), (all_four, 4)):
        assert limit_kn(platform, patch, 0.0, wet=False) == pytest.approx(whole / share)


def test_clay_under_a_tyre() -> None:
    """A square on clay of 50 kPa bears (pi + 2) 1.2 x 50 = 308.50 kPa (formula from memory); "about 6.2 cu"."""
    assert SQUARE_ON_CLAY <= 6.2
    bare = limit_kn(Clay("engineer", 50.0, 1.0, 900.0), Patch(1.0, 1.0, 3.0, 2.0), 0.0, wet=False)
    assert bare == pytest.approx(308.50, abs=0.005)
    patch = Patch(0.5, 0.2, 3.0, 2.0)
    assert limit_kn(Clay("engineer", 50.0, 2.0, 900.0), patch, 0.0, wet=False) == pytest.approx(15.425, abs=0.001)
    assert limit_kn(Clay("engineer", 50.0, 2.0, 90.0), patch, 0.0, wet=False) == pytest.approx(9.0), "ruts come first"


def test_hard_ground_is_never_a_pressure() -> None:
    """A slab's limit is the engineer's, whatever the tyre covers, known or not."""
    for patch in (Patch(0.5, 0.2, 3.0, 2.0), Patch(math.nan, 0.2, 3.0, 2.0)):
        assert limit_kn(HardGround("engineer", 30.0), patch, 0.3, wet=True) == 30.0
    assert math.isnan(limit_kn(Clay("engineer", 50.0, 2.0, 900.0), Patch(math.nan, 0.2, 3.0, 2.0), 0.0, wet=False))
