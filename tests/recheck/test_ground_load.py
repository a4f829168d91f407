"""What wheels carry: closed forms, the search's bound against the second opinion, and limits just met and just broken.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.hazards.bearing import drained_kpa
from routeplan.hazards.wheel_loads import level_kn, load_kn, statics_kn
from routeplan.machine.model import Machine
from routeplan.recheck.ground_load import standing_loads, tripod_loads
from routeplan.recheck.stance import Plane
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.route.model import Objection
from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform
from routeplan.site.model import Defect, Site, Surface
from tests import worlds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for

G = 9.80665e-3
WEIGHT: dict[str, Any] = {
    "rated_load_kg": 230.0, "gravity_xi_m": 0.80, "gravity_eta_m": 0.02, "gravity_height_m": 0.60,
    "wheel_load_max_kn": 6.0,
}  # fmt: skip
POSES = drive(19.0, 15.0, 0.0, [(1.0, 0.0)], step_m=0.05)
BAND = box(19.5, 10.0, 21.5, 20.0)


def scissor(**changes: float) -> Machine:
    return worlds.scissor(**WEIGHT | changes)


def plane(pitch: float, roll: float) -> Plane:
    return Plane(np.zeros((1, 1, 1)), np.full((1, 1, 1), pitch), np.full((1, 1, 1), roll))


def site_of(bearing: Bearing | None, machine: Machine, **layers: Any) -> Site:
    site = yard_for(POSES, machine, **layers)
    accepted = site.surfaces[0]
    claimed = Surface("deck", BAND, "deck", accepted.acceptance, bearing, worlds.ROUGH)
    return certain(dataclasses.replace(site, surfaces=(accepted, claimed)))


def refused(site: Site, *, verdict: str = "pass", **rows: str) -> set[str]:
    machine = site.machines["SC"]
    claims = {name.replace("_", " "): claim for name, claim in rows.items()}
    return kinds(opinion(move_of(POSES, machine, verdict=verdict, rows=claims), site))


def by_hand(machine: Machine, pitch: float = 0.0, roll: float = 0.0) -> float:
    """The worst wheel's load: the lesser of its axle's and its side's share, over where the load is carried."""
    xi, eta, zeta = (machine.value(f"gravity_{name}_m") for name in ("xi", "eta", "height"))
    mass, load = machine.value("mass_kg"), machine.value("rated_load_kg")
    floor = machine.value("platform_floor_m") + 1.0
    worst = 0.0
    corners = machine.configurations["stowed"].basket.ring
    for carried, (x, y) in [(0.0, (0.0, 0.0)), *((load, corner) for corner in corners)]:
        total = mass + carried
        along = (mass * (xi - zeta * pitch) + carried * (x - floor * pitch)) / machine.wheelbase_m
        left = total / 2 + (mass * (eta - zeta * roll) + carried * (y - floor * roll)) / machine.track_m
        worst = max(worst, min(max(along, total - along), max(left, total - left)))
    return worst * G


def test_reactions_on_a_tripod_add_up_and_the_axles_share_by_the_lever() -> None:
    """A weight a ahead of the rear axle puts a/L of itself on the front axle, on whichever three wheels it stands."""
    machine = scissor()
    a = 0.6
    loads = tripod_loads(machine, plane(0.0, 0.0), 1000.0, np.array([a, 0.0, 0.5]))[0, 0, 0] / (1000.0 * G)
    share = a / machine.wheelbase_m
    assert loads[:2] == pytest.approx([share, share]), "a front wheel on the diagonal carries the whole axle's share"
    assert loads[2:] == pytest.approx([0.5, 0.5]), "a rear one no more than its side's"
    middle = np.array([machine.wheelbase_m / 2, 0.0, 0.5])
    assert tripod_loads(machine, plane(0.0, 0.0), 1000.0, middle)[0, 0, 0] == pytest.approx([500.0 * G] * 4)


def test_a_slope_shifts_the_load_by_height_times_slope_over_the_span() -> None:
    machine = scissor()
    middle = np.array([machine.wheelbase_m / 2, 0.0, 0.6])
    loads = tripod_loads(machine, plane(0.1, 0.0), 1000.0, middle)[0, 0, 0] / (1000.0 * G)
    shift = 0.6 * 0.1 / machine.wheelbase_m
    assert loads == pytest.approx([0.5 - shift, 0.5 - shift, 0.5, 0.5]), "nose up loads the rear"
    loads = tripod_loads(machine, plane(0.0, 0.1), 1000.0, middle)[0, 0, 0] / (1000.0 * G)
    assert loads[::2] == pytest.approx([0.5 - 0.06 / machine.track_m] * 2), "left side up loads the right"


def test_what_stands_on_no_three_wheels_may_be_all_on_one() -> None:
    outside = np.array([-0.2, 0.0, 0.6])
    assert tripod_loads(scissor(), plane(0.0, 0.0), 1000.0, outside)[0, 0, 0] == pytest.approx([1000.0 * G] * 4)


@pytest.mark.parametrize("seed", range(40))
def test_the_bound_is_never_below_the_second_opinion(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine = (scissor if seed % 2 else boom)(
        gravity_xi_m=float(rng.uniform(0.2, 1.6)), gravity_eta_m=float(rng.uniform(-0.1, 0.1)),
        gravity_height_m=float(rng.uniform(0.3, 1.2)),
    )  # fmt: skip
    shape = machine.configurations["stowed"]
    pitch, roll = rng.uniform(-0.3, 0.3), rng.uniform(-0.2, 0.2)
    bound = load_kn(machine, shape, (pitch, pitch), (roll, roll))
    found = standing_loads(machine, shape, plane(pitch, roll))[0]
    assert (bound >= found - 1e-9).all()
    wide = load_kn(machine, shape, (pitch - 0.05, pitch + 0.02), (roll - 0.01, roll + 0.04))
    assert (wide >= bound - 1e-9).all()


@pytest.mark.parametrize("seed", range(10))
def test_without_a_load_the_bound_is_what_the_worst_tripod_carries(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine = scissor(rated_load_kg=1e-9, wheel_load_max_kn=0.1, gravity_eta_m=float(rng.uniform(-0.05, 0.05)))
    pitch, roll = rng.uniform(-0.1, 0.1, 2)
    shape = machine.configurations["stowed"]
    bound = load_kn(machine, shape, (pitch, pitch), (roll, roll))
    assert bound == pytest.approx(standing_loads(machine, shape, plane(pitch, roll))[0], rel=2e-3)


def boom(**changes: float) -> Machine:
    return worlds.boom(**WEIGHT | {"wheel_load_max_kn": 50.0} | changes)


def test_level_load_by_hand() -> None:
    machine = scissor()
    assert by_hand(machine) == pytest.approx(
        float(standing_loads(machine, machine.configurations["stowed"], plane(0.0, 0.0)).max())
    )
    assert level_kn(machine, machine.configurations["stowed"]) >= by_hand(machine)


def test_a_wheel_at_what_the_ground_lets_it_carry() -> None:
    machine = scissor()
    for spare_kn, expected in ((0.001, set()), (-0.001, {"ground load"})):
        assert refused(site_of(HardGround("engineer", by_hand(machine) + spare_kn), machine)) == expected


def test_the_sheets_largest_load_where_it_is_more() -> None:
    machine = scissor(wheel_load_max_kn=20.0)
    for limit_kn, expected in ((20.001, set()), (19.999, {"ground load"})):
        assert refused(site_of(HardGround("engineer", limit_kn), machine)) == expected


@pytest.mark.parametrize(("pitch", "roll"), [(0.08, 0.0), (-0.08, 0.0), (0.0, 0.06)])
def test_a_slope_at_the_limit(pitch: float, roll: float) -> None:
    """No tolerance in heading, so that the whole slope lies as it is drawn; rolling on it the disc changes nothing."""
    machine = scissor()
    y, x = np.mgrid[0:121, 0:161] * 0.25
    sharp = dataclasses.replace(yard_for(POSES, machine).thresholds, heading_tolerance_deg=0.0)
    for spare_kn, expected in ((0.001, set()), (-0.001, {"ground load"})):
        limit = HardGround("engineer", by_hand(machine, pitch, roll) + spare_kn)
        assert refused(site_of(limit, machine, z=pitch * x + roll * y, thresholds=sharp)) == expected


def test_sigma_of_the_slopes_carries_into_the_load() -> None:
    machine, accuracy = scissor(), worlds.GOOD_SURVEY
    sigmas = Sigmas.of(machine, accuracy)
    moment = 2300.0 * 0.6 + 230.0 * 2.2
    sigma = moment * G * max(sigmas.pitch / machine.wheelbase_m, sigmas.roll / machine.track_m)
    k = confidence_k(1.0, route_confidence=0.95, correlation_m=2.0)
    for spare_kn, expected in ((0.001, set()), (-0.001, {"ground load"})):
        site = site_of(HardGround("engineer", by_hand(machine) + k * sigma + spare_kn), machine)
        site = dataclasses.replace(site, ground=dataclasses.replace(site.ground, accuracy=accuracy))
        assert refused(site) == expected


def test_a_sill_on_the_deck_doubles_the_load() -> None:
    machine = scissor()
    sill = Defect("s", "sill", box(19.9, 10.0, 20.0, 20.0), 0.1, 0.0, 1e-6, None)
    for factor, expected in ((2.001, set()), (1.999, {"ground load"})):
        limit = HardGround("engineer", factor * by_hand(machine))
        assert refused(site_of(limit, machine, defects=(sill,))) == expected
    assert refused(site_of(HardGround("engineer", 1.01 * by_hand(machine)), machine)) == set()


SPREAD = Platform("engineer", 0.2, 30.0, 100.0, 1.0)
LIMITED: list[tuple[Bearing, float]] = [
    (Clay("engineer", 100.0, 2.0, 9000.0, 1.0), 0.01 * 100.0 * 1.2 * (math.pi + 2.0) / 2.0),
    (Clay("engineer", 500.0, 1.0, 700.0, 1.0), 0.01 * 700.0),
    (Clay("engineer", 100.0, 2.0, 9000.0, 0.4), 0.4 * 0.01 * 100.0 * 1.2 * (math.pi + 2.0) / 2.0),
    (Clay("engineer", 500.0, 1.0, 700.0, 0.5), 0.5 * 0.01 * 700.0),
    (SPREAD, 100.0 * (0.01 / 0.11 + 0.4 / math.sqrt(3)) * (0.11 + 0.4 / math.sqrt(3))),
    (dataclasses.replace(SPREAD, wet=0.6), 60.0 * (0.01 / 0.11 + 0.4 / math.sqrt(3)) * (0.11 + 0.4 / math.sqrt(3))),
]


@pytest.mark.parametrize(("bearing", "limit_kn"), LIMITED)
def test_clay_and_platforms_as_loads(bearing: Bearing, limit_kn: float) -> None:
    """A tyre of 0.11 m covers 0.01 m2: what clay and a spread let it carry, met and broken by the sheet's load."""
    for load_kn_, expected in ((limit_kn - 0.001, set()), (limit_kn + 0.001, {"ground load"})):
        machine = scissor(mass_kg=100.0, rated_load_kg=1.0, wheel_load_max_kn=load_kn_)
        assert refused(site_of(bearing, machine)) == expected


@pytest.mark.parametrize("slope", [0.0, 0.15])
def test_a_platform_on_drained_ground_bears_less_on_a_slope(slope: float) -> None:
    """Under the platform EN 1997-1 Annex D, as the search has it, on sides of 0.3218 by 0.3409 m."""
    soil, more = Drained(30.0, 10.0, 2.0), 0.4 / math.sqrt(3)
    sides = (0.01 / 0.11 + more, 0.11 + more)
    bears = drained_kpa(soil, cover_kpa=2.0, width_m=sides[0], length_m=sides[1], across=slope)
    limit_kn = bears / 2.0 * sides[0] * sides[1]
    assert limit_kn == pytest.approx(4.24 if slope == 0.0 else 3.17, abs=0.005)
    _, x = np.mgrid[0:121, 0:161] * 0.25
    for spare_kn, expected in ((0.001, set()), (-0.001, {"ground load"})):
        machine = scissor(mass_kg=100.0, rated_load_kg=1.0, wheel_load_max_kn=limit_kn - spare_kn)
        sharp = dataclasses.replace(yard_for(POSES, machine).thresholds, heading_tolerance_deg=0.0)
        ground = Platform("engineer", 0.2, 30.0, soil, 1.0)
        assert refused(site_of(ground, machine, z=slope * x, thresholds=sharp)) == expected


def test_where_nothing_is_claimed_the_acceptance_decides_whatever_is_missing() -> None:
    machine = worlds.scissor()
    assert "gravity_xi_m" not in machine.figures
    assert refused(site_of(None, machine)) == set()


@pytest.mark.parametrize("missing", sorted({*WEIGHT, "mass_kg"}))
def test_an_unknown_load_where_a_limit_is_claimed_is_open_and_never_a_pass(missing: str) -> None:
    whole = scissor()
    figures = {name: figure for name, figure in whole.figures.items() if name != missing}
    machine = dataclasses.replace(whole, figures=figures)
    site = site_of(HardGround("engineer", 900.0), machine)
    assert "ground load" in refused(site)
    open_rows = {"ground_load": "not proven", "surface_acceptance": "not proven" if missing == "mass_kg" else "pass"}
    assert refused(site, verdict="pass", **open_rows) == {"verdict"}, "the row is accepted as open, the move is no pass"


def test_a_class_figure_leaves_it_open_and_so_does_an_area_nobody_gave() -> None:
    machine = scissor()
    load = dataclasses.replace(machine.figures["gravity_height_m"], tag="class")
    loose = dataclasses.replace(machine, figures={**machine.figures, "gravity_height_m": load})
    assert refused(site_of(HardGround("engineer", 900.0), loose)) == {"ground load"}
    bare = {name: figure for name, figure in machine.figures.items() if name != "contact_area_m2"}
    bare_machine = dataclasses.replace(machine, figures=bare)
    assert refused(site_of(HardGround("engineer", 900.0), bare_machine)) == set(), "hard ground asks for no area"
    assert refused(site_of(Clay("engineer", 500.0, 1.0, 3000.0, 1.0), bare_machine)) == {"ground load"}


def test_the_sheets_load_beyond_a_limit_is_refused_even_as_open() -> None:
    """Where the weight acts is not known, but one wheel's load is: a limit below it is broken, not open."""
    machine = worlds.scissor(wheel_load_max_kn=11.0)
    rows = {"ground_load": "not proven"}
    site = site_of(HardGround("engineer", 10.0), machine)
    assert "ground load" in refused(site, verdict="not proven", **rows)


def test_a_figure_edited_into_the_row_changes_nothing() -> None:
    """The limit and the load are the site's and the machine's, whatever the plan's row says of them."""
    machine = scissor()
    site = site_of(HardGround("engineer", by_hand(machine) - 0.5), machine)
    move = move_of(POSES, machine)
    edited = tuple(
        dataclasses.replace(row, value=1.0, limit=900.0, margin=899.0, source="a letter") if row.kind == "ground load"
        else row for row in move.checks
    )  # fmt: skip
    found: tuple[Objection, ...] = opinion(dataclasses.replace(move, checks=edited), site)
    assert kinds(found) == {"ground load"}
    assert found[0].limit == pytest.approx(by_hand(machine) - 0.5)


def test_a_tyre_that_only_comes_near_the_surface_is_not_on_it() -> None:
    machine = scissor()
    site = site_of(None, machine)
    reach = 0.35 + 0.055 + 0.15 * 1.0 + math.hypot(1.85, 0.41) * math.radians(2.0)
    for gap_m, expected in ((0.005, set()), (-0.02, {"ground load"})):
        beside = Surface("deck", box(15.0, 15.0 + reach + gap_m, 25.0, 20.0), "deck", site.surfaces[0].acceptance,
                         HardGround("engineer", 1.0), worlds.ROUGH)  # fmt: skip
        assert refused(dataclasses.replace(site, surfaces=(site.surfaces[0], beside))) == expected


def test_a_load_of_a_machine_that_nobody_weighed_is_the_sheets() -> None:
    machine = worlds.scissor(wheel_load_max_kn=9.0)
    shape = machine.configurations["stowed"]
    assert np.isnan(statics_kn(machine, shape, (0.0, 0.0), (0.0, 0.0))).all()
    assert level_kn(machine, shape) == 9.0 and math.isnan(level_kn(worlds.scissor(), shape))


@pytest.mark.parametrize("ground", [Clay("engineer", 500.0, 1.0, 3000.0), SPREAD])
def test_what_is_left_in_the_wet_and_nobody_said_is_open_but_on_a_dry_move(ground: Clay | Platform) -> None:
    """Strong enough dry by far; a dry-only move has to say so, and a plan's wet conditions count all the same."""
    machine = scissor(mass_kg=100.0, rated_load_kg=1.0, wheel_load_max_kn=1.0)
    unsaid = dataclasses.replace(ground, wet=None)
    assert refused(site_of(unsaid, machine)) == {"ground load"}
    assert refused(site_of(unsaid, machine), verdict="not proven", ground_load="not proven") == set()
    site = site_of(unsaid, machine)
    site = dataclasses.replace(site, moves=tuple(dataclasses.replace(one, wet=False) for one in site.moves))
    assert refused(site) == {"grip"}  # for the control that is not there


def test_a_dry_move_stands_on_what_the_ground_bears_dry() -> None:
    full_kn = 0.01 * 100.0 * 1.2 * (math.pi + 2.0) / 2.0
    clay = Clay("engineer", 100.0, 2.0, 9000.0, 0.4)
    for spare_kn, expected in ((0.001, {"grip"}), (-0.001, {"grip", "ground load"})):
        machine = scissor(mass_kg=100.0, rated_load_kg=1.0, wheel_load_max_kn=full_kn - spare_kn)
        site = site_of(clay, machine)
        site = dataclasses.replace(site, moves=tuple(dataclasses.replace(one, wet=False) for one in site.moves))
        assert refused(site) == expected
