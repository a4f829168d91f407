"""Covers and plates that are proven: driven over by the day, for their load, wholly on or wholly off; else refused."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import Point, Polygon, box

from routeplan.machine.model import Machine
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.model import Defect, Thresholds
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for
from tests.recheck.test_ground_load import WEIGHT, by_hand

MM = 0.001
DAY = dt.date(2026, 11, 20)
LIMITS = Thresholds(bounce_limit_m=9.0)
POSES = drive(18.0, 15.0, 0.0, [(4.0, 0.0)], step_m=0.1)
ACROSS = box(20.0, 13.0, 21.2, 17.0)
OFF = "covers, plates and trenches"


def scissor(**changes: float) -> Machine:
    return worlds.scissor(**WEIGHT | changes)


def plate(
    outline: Polygon = ACROSS, *, limit_kn: float = 40.0, day: dt.date | None = DAY, height_m: float = 0.002,
    until: dt.date | None = None,
) -> Defect:  # fmt: skip
    """A plate, proven from a day, until one, or by nobody."""
    proof = None if day is None else Proof(day, HardGround("temporary works coordinator", limit_kn), until)
    return Defect("l", "plate", outline, 4.0, 0.0, height_m, "proven", proof)


def trench(outline: Polygon) -> Defect:
    return Defect("t", "trench", outline, 0.6, 1.2, 0.0, "open")


def refused(*defects: Defect, machine: Machine | None = None, on: str | None = None, **layers: Any) -> set[str]:
    """What the second opinion objects to where a drive over them claims that all passes."""
    machine = machine or scissor()
    layers.setdefault("thresholds", LIMITS)
    site = certain(yard_for(POSES, machine, defects=defects, **layers))
    day = None if on is None else dt.date.fromisoformat(on)
    site = replace(site, moves=tuple(replace(wanted, on=day) for wanted in site.moves))
    return kinds(opinion(replace(move_of(POSES, machine), on=on, valid_until=on), site))


def test_only_what_is_proven_by_the_day_is_driven_over() -> None:
    assert refused(plate()) == set()
    assert refused(plate(day=None)) == {OFF}
    assert refused(plate(), on="2026-11-20") == set()
    assert refused(plate(), on="2026-11-19") == {OFF}
    last = dt.date(2026, 11, 23)
    assert refused(plate(until=last), on="2026-11-23") == set()
    assert refused(plate(until=last), on="2026-11-24") == {OFF}
    assert refused(plate(until=last)) == {OFF}, "a move without a day"


def test_a_plate_at_twice_what_a_wheel_carries() -> None:
    """The lip of 2 mm tips it by a thousandth: some newtons."""
    twice_kn = 2.0 * by_hand(scissor())
    for spare_kn, expected in ((0.03, set()), (-0.03, {"ground load"})):
        assert refused(plate(limit_kn=twice_kn + spare_kn)) == expected


def test_what_nobody_weighed_is_no_pass_on_a_plate() -> None:
    lighter = {name: value for name, value in WEIGHT.items() if name.startswith("rated")}
    assert refused(plate(), machine=worlds.scissor(**lighter)) == {"ground load", OFF}
    assert OFF not in refused(plate(), machine=worlds.scissor(**lighter, wheel_load_max_kn=9.0))


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_tyre_is_wholly_on_it_or_wholly_off_it(side: float) -> None:
    """Tube and all: a plate that ends a millimetre beyond the tyres, or that begins there, or between."""
    machine, t = scissor(), math.radians(LIMITS.heading_tolerance_deg)
    front, rear = machine.wheels[0], machine.wheels[2]
    outer = LIMITS.lateral_tolerance_m + (front.xi_m + front.radius_m) * math.sin(t)
    outer += (front.eta_m + front.width_m / 2) * math.cos(t)

    def between(low: float, high: float) -> set[str]:
        ends = sorted((15.0 + side * low, 15.0 + side * high))
        return refused(plate(box(20.0, ends[0], 21.2, ends[1])), machine=machine)

    assert between(-outer - MM, outer + MM) == set()
    assert between(-outer - MM, outer - MM) == {"kerb angle"}
    assert between(outer + MM, 4.0) == set()
    assert "kerb angle" in between(outer - 0.01, 4.0)
    assert "kerb angle" in between(-outer - MM, rear.eta_m)


def test_a_round_cover_is_met_along_its_rim() -> None:
    proof = Proof(DAY, HardGround("maker", 100.0))
    lid = Defect("c", "cover", Point(20.0, 15.35).buffer(0.4), 0.8, 0.0, 0.002, "proven", proof)
    assert refused(lid) == {"kerb angle"}


def test_a_trench_is_bridged_where_a_proven_plate_lies_over_it() -> None:
    inside = trench(box(20.3, 5.0, 20.9, 25.0))
    assert refused(plate(), inside) == set()
    assert refused(plate(day=None), inside) == {OFF}
    assert refused(plate(), trench(box(20.3, 5.0, 21.3, 25.0))) == {OFF}  # longer than the plate
    assert refused(plate(), Defect("c", "cover", box(20.3, 14.0, 20.9, 16.0), 2.0, 0.0, 0.0, None)) == {OFF}


def test_its_lip_is_a_step() -> None:
    machine = scissor()
    high = machine.value("step_limit_m")
    for spare_m, expected in ((MM, False), (-MM, True)):
        assert ("step" in refused(plate(height_m=high - spare_m, limit_kn=900.0), machine=machine)) is expected


def test_tracks_do_not_go_over_it() -> None:
    machine = worlds.spider()
    site = certain(yard_for(POSES, machine, defects=(plate(limit_kn=900.0),), thresholds=LIMITS))
    assert OFF in kinds(opinion(move_of(POSES, machine), site))
