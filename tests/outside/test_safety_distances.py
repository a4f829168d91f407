"""Safety distances of overhead lines against published tables, through the door that a site's own table passes."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely.geometry import box

from routeplan.recheck.swing import KIND as SWING
from routeplan.site.faults import Faults
from routeplan.site.lines import SafetyTable, read_safety_table
from routeplan.site.model import LineCorridor, LineHeight, Thresholds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, with_controls, yard_for
from tests.recheck.test_lines import POSTS
from tests.worlds import scissor

TABLES = Path(__file__).parents[2] / "docs" / "safety-distances"
FT_M = 0.3048

#: 29 CFR 1926.1408 Table A, as at cfr.laws-info.com/text/29/1926/1408; "to" includes its own value: 200 kV asks 15 ft.
TABLE_A = {0.4: 10, 50.0: 10, 50.001: 15, 200.0: 15, 345.0: 20, 350.0: 20, 500.0: 25, 750.0: 35, 1000.0: 45}
#: 29 CFR 1926.1411 Table T, travelling without a load, as at safetyadvantage.com/working-safety-near-power-lines/.
TABLE_T = {0.75: 4, 0.751: 6, 50.0: 6, 50.001: 10, 200.0: 10, 345.0: 10, 350.0: 16, 750.0: 16, 1000.0: 20}


def table(name: str) -> SafetyTable:
    """A published table, read as a site's would be."""
    faults = Faults()
    found = read_safety_table(TABLES / f"{name}.csv", label=name, faults=faults)
    faults.raise_if_any()
    return found


def distance_m(given: SafetyTable, voltage_kv: float) -> float:
    found = given.distance(voltage_kv)
    assert found is not None and "29 CFR 1926." in found.source and found.scope.startswith("US construction")
    return found.distance_m


PUBLISHED = {"29-cfr-1926-1408-table-a": TABLE_A, "29-cfr-1926-1411-table-t": TABLE_T}


@pytest.mark.parametrize(("name", "feet"), PUBLISHED.items())
def test_published_rows(name: str, feet: dict[float, int]) -> None:
    """Feet are exact; the files hold them to the millimetre."""
    given = table(name)
    assert {kv: distance_m(given, kv) for kv in feet} == pytest.approx(
        {kv: FT_M * ft for kv, ft in feet.items()}, abs=5e-4
    )
    assert given.distance(1000.001) is None, "over 1000 kV the owner or an engineer says, and no row may"


def test_distances_that_grow_with_the_voltage() -> None:
    """29 CFR 1926.451(f)(6), insulated: 10 ft and 0.4 in for each kV over 50 (apps.leg.wa.gov, WAC 296-874-20046 Table
    2); worked for 69, 132, 230 and 345 kV.
    """
    given = table("29-cfr-1926-451-f-6-insulated")
    worked = {69.0: 10.633, 132.0: 12.733, 230.0: 16.0, 345.0: 19.833}
    assert {kv: distance_m(given, kv) / FT_M for kv in worked} == pytest.approx(worked, abs=5e-4)
    assert [distance_m(given, kv) for kv in (0.23, 0.3, 50.0)] == [0.9, 3.048, 3.048], "less than 300 V, not up to it"


def test_no_table_is_asked_for_what_it_does_not_say() -> None:
    """Both ends of each published table: nothing at 0 kV or below."""
    for path in sorted(TABLES.glob("*.csv")):
        assert table(path.stem).distance(0.0) is None


#: Lowest that a line of up to 33 kV may hang over a road, m: ESQCR 2002 (UK), Schedule 2, as at
#: legislation.gov.uk/uksi/2002/2665/schedules/made.
OVER_ROADS_M = 5.8


@pytest.mark.parametrize(("spare_m", "refused"), [(0.001, set()), (-0.001, {"line clearance", SWING})])
def test_how_high_a_machine_passes_under_the_lowest_line_over_a_road(spare_m: float, refused: set[str]) -> None:
    """Level ground, no bounce: 5.8 m less the 6 ft of Table T leave 3.971 m for the machine."""
    asked = table("29-cfr-1926-1411-table-t").distance(33.0)
    assert asked is not None
    machine = scissor(height_m=OVER_ROADS_M - asked.distance_m - spare_m)
    poses = drive(15.0, 15.0, 0.0, [(1.0, 0.0)], step_m=0.1)
    line = LineCorridor("l", box(10.0, 10.0, 20.0, 20.0), 1.0, asked, LineHeight(OVER_ROADS_M, 0.0, 1e-9, "S1"))
    limits = Thresholds(head_height_m=1.5)
    site = certain(yard_for(poses, machine, line_corridors=(line,), thresholds=limits))
    move = with_controls(move_of(poses, machine), POSTS)
    assert kinds(opinion(move, site)) == refused
