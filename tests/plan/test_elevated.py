"""Travel with the platform raised: denied by default, planned inside a zone, just inside and beyond each limit."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.machine.model import Figure, Machine
from routeplan.plan.elevated import DENIED, LOWER, Raised, raised_for
from routeplan.plan.findings import findings
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.recheck.raised import Raised as Again
from routeplan.recheck.raised import raised_as_asked
from routeplan.route.model import Move
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import Defect, Obstacle, Site, Soffit, Thresholds
from tests import worlds
from tests.recheck.drives import certain

ISSUED = "2026-11-24T12:00:00+00:00"
BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
#: What the search's bounds may ask for more than the closed form, m and degrees.
BOUNDS_M, BOUNDS_DEG = 0.006, 0.03
MM = 0.001
SCISSOR = worlds.scissor(**worlds.RAISED)
#: The same with room under its guards.
HIGH = worlds.scissor(**worlds.RAISED | {"elevated_clearance_m": 0.08})
NOT_ITS_OWN = dataclasses.replace(SCISSOR, figures={
    **SCISSOR.figures, "elevated_height_max_m": Figure("elevated_height_max_m", 8.0, "class", "a class"),
})  # fmt: skip
WIDE: dict[str, Any] = {"tilt_side_deg": 44.0, "tilt_long_deg": 44.0}
EVERYWHERE = worlds.zone(4.0, 5.5, 13.0, 10.5)
ASIDE_M = 2.0 * 1.6 * 7.0 * 0.010 / 0.70


def yard(
    machine: Machine = SCISSOR, *, zone: ElevatedZone = EVERYWHERE, height_m: float | None = 5.0, **layers: Any
) -> Site:
    """A yard of 20 x 16 m with a move of 3 m to the east, raised."""
    layers.setdefault("elevated_zones", (zone,))
    layers.setdefault("thresholds", BARE)
    layers.setdefault("moves", (worlds.raised(worlds.wanted(machine.id, "w", "e"), height_m),))
    site = worlds.flat_site(
        20.0, 16.0, machines=(machine,),
        places=(worlds.place("w", 6.0, 8.0, 90.0), worlds.place("e", 9.0, 8.0, 90.0)), **layers,
    )  # fmt: skip
    return certain(site)


def planned(site: Site) -> Move:
    """The move, once the second opinion agrees with what it is called."""
    plan = plan_site(site, issued=ISSUED)
    assert not recheck_plan(plan, site=site)["M1"]
    return plan.moves[0]


def driven(site: Site) -> bool:
    """Whether there is a way; where there is none the search itself finds none, before the second opinion is asked."""
    move = planned(site)
    assert move.poses or move.refused is None
    return bool(move.poses)


def test_a_move_raised_says_so_in_every_row_and_is_told() -> None:
    move = planned(yard())
    assert (move.verdict, move.platform_height_m) == ("pass with controls", 5.0)
    assert {pose.regime for pose in move.poses} == {"elevated"} and max(p.v_max_mps for p in move.poses) <= 0.3
    assert move.controls[0].kind == "elevated" and "5.00 m" in move.controls[0].text and " Z " in move.controls[0].text
    rows = {check.kind: check for check in move.checks}
    assert rows["side slope"].limit == pytest.approx(1.8) and rows["gradeability"].limit == pytest.approx(2.8)
    assert rows["elevated zone"].verdict == "pass" and rows["elevated zone"].margin == rows["closed areas"].margin
    assert {leg.verdict for leg in move.legs} == {"pass with controls"} and not any(leg.areas for leg in move.legs)


def test_a_lowered_move_passes_the_zone_and_needs_none() -> None:
    site = yard(elevated_zones=())
    lowered = dataclasses.replace(site.moves[0], regime="stowed", platform_height_m=None)
    move = planned(dataclasses.replace(site, moves=(lowered,)))
    (row,) = (check for check in move.checks if check.kind == "elevated zone")
    assert row.verdict == "pass" and "lowered" in row.source and move.platform_height_m is None


@pytest.mark.parametrize(
    ("site", "why"),
    [
        (yard(elevated_zones=()), "the site has no elevated zone"),
        (yard(zone=dataclasses.replace(EVERYWHERE, acceptance=None)), "zone Z is accepted by nobody"),
        (yard(zone=worlds.zone(1, 1, 8, 15)), "zone Z does not hold e"),
        (yard(zone=worlds.zone(1, 1, 19, 15, mass_limit_kg=2299.0)), "the machine's mass is 2300 kg"),
        (yard(zone=worlds.zone(1, 1, 19, 15, platform_height_m=5.0 - MM)), "up to 4.999 m, not 5 m"),
        (yard(worlds.scissor(**worlds.RAISED | {"elevated_height_max_m": 4.999})), "above elevated_height_max_m"),
        (yard(NOT_ITS_OWN), "elevated_height_max_m is a class figure"),
        (yard(moves=(dataclasses.replace(yard().moves[0], travel_mode="any"),)), "modelled ridden only"),
        (yard(height_m=None), "platform_height_m given"),
        (yard(height_m=1.2), "not above the floor"),
        (yard(worlds.scissor()), "nobody gave elevated_height_max_m"),
        (yard(worlds.scissor(**worlds.RAISED, tilt_sensor_tolerance_deg=2.0)), "leaves nothing of its tilt cut-out"),
        (yard(worlds.boom(**worlds.RAISED)), "only scissors and masts"),
    ],
)
def test_denied_in_words(site: Site, why: str) -> None:
    """Not planned, told at the door, and the second opinion denies it too."""
    move = planned(site)
    assert (move.verdict, move.poses) == ("not proven", ())
    assert why in move.reason and move.reason.startswith(DENIED) and LOWER in move.reason
    assert all(check.verdict == "not proven" and check.assumed == (move.reason,) for check in move.checks)
    assert f"M1: {move.reason}" in {row["why"] for row in findings(site)["open"]}
    said = raised_as_asked(move, site=site, machine=site.machines[move.machine])
    assert isinstance(said, str)


def test_the_days_of_the_zone() -> None:
    assert EVERYWHERE.acceptance is not None
    for first, last, taken in (
        ((2026, 12, 1), (2026, 12, 1), True), ((2026, 11, 1), (2026, 11, 30), False),
        ((2026, 12, 2), (2026, 12, 31), False),
    ):  # fmt: skip
        word = dataclasses.replace(EVERYWHERE.acceptance, date=dt.date(*first), valid_until=dt.date(*last))
        site = yard(zone=dataclasses.replace(EVERYWHERE, acceptance=word))
        assert isinstance(raised_for(site.moves[0], site), Raised) == taken
    dayless = dataclasses.replace(yard().moves[0], on=None)
    assert isinstance(raised_for(dayless, yard()), str)


@pytest.mark.parametrize(
    ("limits", "way"),
    [
        ({**WIDE, "tilt_side_deg": 1.5}, (0.0, 1.0)), ({**WIDE, "tilt_long_deg": 1.5}, (-1.0, 0.0)),
        ({**WIDE, "tilt_any_deg": 1.5}, (0.6, -0.8)),
    ],
)  # fmt: skip
def test_a_plane_just_inside_and_just_beyond_each_tilt_limit(
    limits: dict[str, Any], way: tuple[float, float]
) -> None:
    machine = worlds.scissor(**worlds.RAISED, **limits)
    y, x = np.mgrid[0:65, 0:81] * 0.25
    for lean_deg, passes in ((1.3 - BOUNDS_DEG, True), (1.31, False)):
        slope = math.tan(math.radians(lean_deg))
        assert driven(yard(machine, z=slope * (way[0] * x + way[1] * y))) == passes


def test_the_edge_of_the_zone() -> None:
    """A strip as wide as the machine with what it is thrown by to both sides; a millimetre less gives no way."""
    for spare_m, passes in ((BOUNDS_M, True), (-MM, False)):
        half = 0.405 + ASIDE_M + spare_m
        move = planned(yard(zone=worlds.zone(1.0, 8.0 - half, 19.0, 8.0 + half)))
        assert bool(move.poses) == passes
        assert passes or (move.verdict == "no route" and "lower the platform before leaving the zone" in move.reason)


def test_a_way_does_not_leave_the_zone_to_go_round() -> None:
    """Round a post that stands across the zone there is room enough, but outside it: lowered it goes round."""
    post = Obstacle("post", box(7.9, 6.0, 8.1, 10.0), "wall", None)
    site = yard(zone=worlds.zone(1.0, 5.5, 19.0, 10.5), obstacles=(post,))
    far = {**site.places, "w": worlds.place("w", 4.0, 8.0, 90.0), "e": worlds.place("e", 12.0, 8.0, 90.0)}
    raised = dataclasses.replace(site, places=far)
    assert planned(raised).verdict == "no route"
    lowered = dataclasses.replace(raised.moves[0], regime="stowed", platform_height_m=None)
    assert driven(dataclasses.replace(raised, moves=(lowered,)))


def test_side_clearance_keeps_the_throw_at_height() -> None:
    for spare_m, passes in ((BOUNDS_M, True), (-MM, False)):
        walls = tuple(
            Obstacle(f"wall {side}", box(1.0, min(a, b), 19.0, max(a, b)), "wall", None)
            for side in (-1, 1)
            for a, b in [(8.0 + side * (0.405 + ASIDE_M + 0.5 + spare_m), 8.0 + side * 6.0)]
        )
        assert driven(yard(obstacles=walls)) == passes


def test_what_hangs_over_the_operator_as_high_as_the_platform_is() -> None:
    for spare_m, passes in ((BOUNDS_M, True), (-MM, False)):
        beam = Soffit("beam", box(8.0, 0.5, 8.5, 15.5), "beam", 7.3 + spare_m, None, 0.0, 0.0, 1e-9, "S1")
        assert driven(yard(soffits=(beam,))) == passes


def sill(height_m: float) -> Defect:
    return Defect("sill", "sill", box(8.0, 0.5, 8.3, 15.5), 0.3, 0.0, height_m, None)


def test_a_step_with_the_guards_down_and_a_defect_beyond_the_zone() -> None:
    rough = worlds.zone(4.0, 5.0, 13.0, 11.0, smooth_to_m=0.03)
    assert driven(yard(HIGH, zone=rough, defects=(sill(0.015),)))
    assert not driven(yard(HIGH, zone=rough, defects=(sill(0.016),)))
    assert driven(yard(HIGH, defects=(sill(0.010),)))
    assert not driven(yard(HIGH, defects=(sill(0.011),)))


def test_a_trench_in_the_levels_deeper_than_the_zone_is_smooth_to() -> None:
    for depth_m, passes in ((0.0098, True), (0.0102, False)):
        z = np.zeros((65, 81))
        z[:, 32] = -depth_m
        assert driven(yard(HIGH, z=z)) == passes


def test_a_class_s_figure_is_driven_but_never_proven() -> None:
    for name in ("tilt_side_deg", "tilt_sensor_tolerance_deg", "elevated_speed_mps", "elevated_step_m"):
        loose = Figure(name, SCISSOR.value(name), "class", "a class")
        machine = dataclasses.replace(SCISSOR, figures={**SCISSOR.figures, name: loose})
        move = planned(yard(machine))
        assert move.verdict == "not proven" and any(name in why for row in move.checks for why in row.assumed)


def test_both_opinions_raise_a_machine_alike() -> None:
    """Written twice: the same body, the same limits, whichever figures the sheet gives."""
    kinds: tuple[dict[str, Any], ...] = (
        {}, {"tilt_any_deg": 1.7}, {"tilt_any_deg": 2.5}, {"creep_speed_mps": 0.5},
        {"mass_kg": 2900.0, "track_m": 0.6},
    )  # fmt: skip
    move = planned(yard())
    for changes in kinds:
        site = yard(worlds.scissor(**worlds.RAISED | changes))
        machine = site.machines["SC"]
        one = raised_for(site.moves[0], site)
        two = raised_as_asked(move, site=site, machine=machine)
        assert isinstance(one, Raised) and isinstance(two, Again)
        mine, other = one.site.machines["SC"], two.machine
        one_body, other_body = mine.configurations["stowed"], other.configurations["stowed"]
        assert np.array(one_body.footprint) == pytest.approx(np.array(other_body.footprint))
        parts = [[(one.name, one.bottom_m, one.top_m, one.occupied) for one in body.boxes]
                 for body in (one_body, other_body)]  # fmt: skip
        assert parts[0] == parts[1] and mine.wheels == other.wheels
        assert {k: f.tag for k, f in mine.figures.items()} == {k: f.tag for k, f in other.figures.items()}
        values = [{k: f.value for k, f in m.figures.items()} for m in (mine, other)]
        assert values[0] == pytest.approx(values[1])
