"""The second opinion's bound on the swing of the basket: closed forms, a motion in time, limits that are refused."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.machine.model import Machine
from routeplan.recheck.case import Case
from routeplan.recheck.swing import Drive
from routeplan.recheck.track import envelope, read_rows, subdivide
from routeplan.recheck.uncertainty import Sigmas, confidence_k
from routeplan.route.model import MOVE_VERDICTS, Conditions, Hold, Move, Objection, Pose
from routeplan.site.model import Defect, LineCorridor, LineHeight, Site, Soffit, Thresholds
from tests import worlds
from tests.pitch_plane import PitchPlane
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, slowly, with_controls, yard_for
from tests.recheck.test_lines import DISTANCE, POSTS

Floats = NDArray[np.float64]

#: Slow to ring down, so that little is lost on the way.
LIVELY: dict[str, Any] = {
    "bounce_period_s": 1.0, "bounce_damping_pct": 2.0, "travel_speed_mps": 1.6, "creep_speed_mps": 0.2,
}
RINGING = math.sqrt(1.0 - 0.02**2)
OMEGA = 2.0 * math.pi
#: Only what is bounded, the tip as rigid as the rest.
EXACT = Thresholds(tip_participation=1.0, bounce_limit_m=2.0)


def at_speed(poses: Sequence[Pose], *limits: float) -> tuple[Pose, ...]:
    """Rows at limits that each hold for an equal part of them."""
    part = math.ceil(len(poses) / len(limits))
    return tuple(pose._replace(v_max_mps=limits[n // part]) for n, pose in enumerate(poses))


def bound(
    heights: Any, poses: Sequence[Pose], machine: Machine, holds: tuple[Hold, ...] = (), *, apart_m: float = 0.0
) -> tuple[Floats, Floats]:
    """Bound at every sample of a drive for one point at heights over its path, two planes apart; path and bound."""
    move, site = move_of(poses, machine, holds=holds), yard_for(poses, machine, thresholds=EXACT)
    rows = read_rows(move.poses)
    track = subdivide(rows, envelope(machine, machine.configurations["stowed"]))
    case = Case.of(move, track, site=site, machine=machine, conditions=Conditions())
    driven = Drive.of(move, rows, case)
    level = heights(driven.path_m)[:, None, None]
    return driven.path_m, driven.swings(level, level + apart_m, case, driven.fastest_mps)[:, 0, 0]


def test_a_kerb_met_at_speed() -> None:
    """Closed form: from a step of 0.1 m an oscillator goes 0.1 exp(-pi z / sqrt(1 - z^2)) beyond; at most the step."""
    poses = at_speed(drive(5.0, 5.0, 0.0, [(10.0, 0.0)]), 1.6)
    _, most = bound(lambda s: np.where(s < 5.0, 0.0, 0.1), poses, worlds.boom(**LIVELY))
    assert 0.1 * math.exp(-math.pi * 0.02 / RINGING) <= most.max() <= 0.1 / RINGING + 1e-9
    # It rings down as the path is driven, 3 m in 3 / 1.6 s.
    assert most[-1] == pytest.approx(most.max() * math.exp(-0.02 * OMEGA * 5.0 / 1.6), rel=0.01)


def test_a_start_on_a_slope() -> None:
    """Closed form: g v / omega, and a stop with its start wherever it does most, twice as much."""
    poses = at_speed(drive(5.0, 5.0, 0.0, [(10.0, 0.0)]), 0.8)
    machine = worlds.boom(**(LIVELY | {"bounce_damping_pct": 1e-4}))
    path, most = bound(lambda s: 0.1 * s, poses, machine)
    assert most[path < 9.9].max() == pytest.approx(3.0 * 0.1 * 0.8 / OMEGA, rel=0.001)


def test_a_snap_from_plane_to_plane() -> None:
    """Planes 60 mm apart all along, the rest level: closed form, a step of that, as large as it is."""
    poses = at_speed(drive(5.0, 5.0, 0.0, [(10.0, 0.0)]), 0.8)
    path, most = bound(lambda s: 0.0 * s, poses, worlds.boom(**LIVELY), apart_m=0.06)
    assert most == pytest.approx(np.full_like(path, 0.06 / RINGING))


def test_a_limit_holds_up_to_the_faster_of_two_rows() -> None:
    poses = at_speed(drive(5.0, 5.0, 0.0, [(10.0, 0.0)]), 0.4, 0.8)
    machine = worlds.boom(**(LIVELY | {"bounce_damping_pct": 1e-4}))
    _, most = bound(lambda s: 0.1 * np.minimum(s, 5.02), poses, machine)
    # From the last slow row on, 20 mm before the slope ends, 0.8 m/s may have been reached.
    assert most.max() >= 0.1 * (0.4 + 0.8 + 2 * 0.8) / OMEGA


def _extra(poses: Sequence[Pose], holds: tuple[Hold, ...] = ()) -> float:
    """How much more, as changes of speed by 0.8 m/s on 10 %, than a drive of one limit has, just short of its end."""
    machine = worlds.boom(**(LIVELY | {"bounce_damping_pct": 1e-4}))
    path, most = bound(lambda s: 0.1 * s, poses, machine, holds)
    return float(most[path < path[-1] - 0.1].max()) / (0.1 * 0.8 / OMEGA) - 3.0


def test_stops_and_other_limits_count() -> None:
    """A hold point stops and starts; a reversal does; where a limit falls both speeds may be anything up to theirs."""
    straight = drive(5.0, 5.0, 0.0, [(10.0, 0.0)])
    assert _extra(at_speed(straight, 0.8)) == pytest.approx(0.0, abs=0.01)
    assert _extra(at_speed(straight, 0.8), (Hold(5.0, (10.0, 5.0), "Stop."),)) == pytest.approx(2.0, abs=0.01)
    assert _extra(at_speed(straight, 0.8, 0.4)) == pytest.approx(1.0, abs=0.01)
    assert _extra(at_speed(drive(5.0, 5.0, 0.0, [(5.0, 0.0), (-5.0, 0.0)]), 0.8)) == pytest.approx(2.0, abs=0.01)


def test_on_the_spot_the_farthest_wheel_counts() -> None:
    poses = drive(15.0, 15.0, 0.0, [(1.0, 0.0), (0.0, 1.0)])
    path, _ = bound(lambda s: 0.0 * s, poses, worlds.boom(pivots=1.0))
    assert path[-1] == pytest.approx(1.0 + math.hypot(2.5, 2.05 / 2), abs=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_no_motion_in_time_exceeds_the_bound(seed: int) -> None:
    """Steps, ramps and joints, at speeds up to the limit; the tests' own motion in time, a hard machine."""
    rng = np.random.default_rng(seed)
    steps, sizes = np.sort(rng.uniform(2.0, 9.0, 5)), rng.uniform(-0.05, 0.05, 5)
    nodes, hills = np.arange(0.0, 11.0, 0.5), np.cumsum(rng.normal(0.0, 0.02, 22))

    def height(s: Floats) -> Floats:
        # Steps as a wheel takes them, over 0.2 m.
        return np.asarray(np.interp(s, nodes, hills) + np.clip((s[:, None] - steps) / 0.2, 0.0, 1.0) @ sizes)

    limit = float(rng.uniform(0.3, 1.5))
    path, most = bound(height, at_speed(drive(5.0, 5.0, 0.0, [(10.0, 0.0)]), limit), worlds.boom(**LIVELY))
    hard = PitchPlane(tip_kg=1e-3, tyre_npm=1e11, boom_damping=0.02)
    for speed in limit * rng.uniform(0.2, 1.0, 3):
        s = np.arange(0.0, 10.0, 0.002)
        ground = height(s)
        swung = hard.tip(ground, ground, 0.002 / speed) - ground
        assert np.all(swung <= 1.02 * np.maximum(np.interp(s, path, most), np.interp(s + 0.05, path, most)) + 1e-4)


KERB = Defect("k", "kerb", box(22.0, 5.0, 22.2, 25.0), 0.2, 0.0, 0.05, None)


def over_a_kerb(limit_mps: float, *, told: bool = True, **layers: Any) -> tuple[Move, Site]:
    """A boom over a kerb, 12 m straight, at one limit."""
    machine = layers.pop("machine", worlds.boom(**LIVELY))
    poses = at_speed(drive(15.0, 15.0, 0.0, [(12.0, 0.0)]), limit_mps)
    layers.setdefault("thresholds", Thresholds(bounce_limit_m=0.62))
    move = move_of(poses, machine, rows=layers.pop("rows", None))
    controls = (*POSTS, slowly(0.0, limit_mps)) if told else POSTS
    verdict = min((check.verdict for check in move.checks), key=MOVE_VERDICTS.index)
    site = certain(yard_for(poses, machine, defects=(KERB,), **layers))
    return with_controls(dataclasses.replace(move, verdict=verdict), controls), site


def objected(limit_mps: float, **how: Any) -> tuple[Objection, ...]:
    return opinion(*over_a_kerb(limit_mps, **how))


def test_a_limit_too_fast_for_the_basket_is_refused_and_a_slower_one_is_not() -> None:
    assert objected(0.2) == ()
    (found,) = objected(1.6)
    assert found.kind == "basket swing" and found.value > found.limit and found.unit == "m" and found.chainage_m > 4.0


#: Beyond the reach of the kerb's allowance the basket still swings under it.
BEAM: dict[str, Any] = {
    "soffits": (Soffit("beam", box(33.0, 5.0, 33.4, 25.0), "beam", 2.95, None, 0.0, 0.0, 1e-9, "S1"),),
    "thresholds": Thresholds(bounce_limit_m=2.0),
}


def test_a_limit_too_fast_under_a_beam_is_refused() -> None:
    assert objected(0.2, **BEAM) == ()
    assert kinds(objected(1.6, **BEAM)) == {"basket swing"}
    assert objected(1.6, thresholds=BEAM["thresholds"]) == ()


def test_under_a_beam_the_worst_corner_counts() -> None:
    """The front of the basket, 7.10 m ahead of the rear axle, on wheels of 0.46 m over the kerb; 1.3 of participation.

    Its swing is as for a point at that height over the path; the basket's back, at 6.20 m, swings an eighth less.
    """
    poses = at_speed(drive(15.0, 15.0, 0.0, [(12.0, 0.0)]), 1.6)

    def level(hub_x: Floats) -> Floats:
        off = np.maximum(0.0, np.abs(hub_x - 22.1) - 0.1)
        return np.maximum(0.0, 0.05 + np.sqrt(np.maximum(0.46**2 - off**2, 0.0)) - 0.46)

    path, most = bound(lambda s: level(17.5 + s) * 2.84 - level(15.0 + s) * 1.84, poses, worlds.boom(**LIVELY))
    limits = Thresholds(bounce_limit_m=2.0, heading_tolerance_deg=0.0, tip_participation=1.3)
    (found,) = objected(1.6, **(BEAM | {"thresholds": limits}))
    assert found.value == pytest.approx(1.3 * np.interp(found.chainage_m, path, most), rel=0.02)


@pytest.mark.parametrize("beam", [False, True])
def test_a_millimetre_more_than_the_swing_and_k_sigma_and_a_millimetre_less(beam: bool) -> None:
    """With the real sigmas of levels and beam: what is short by the best estimate, and k sigma, is just enough."""

    def refused(more_m: float) -> tuple[Objection, ...]:
        layers: dict[str, Any] = {"thresholds": Thresholds(bounce_limit_m=0.62 + more_m)}
        if beam:
            (hung,) = BEAM["soffits"]
            layers = BEAM | {"soffits": (dataclasses.replace(hung, level_m=2.95 + more_m, sigma_m=0.02),)}
        move, site = over_a_kerb(1.6, **layers)
        return opinion(move, dataclasses.replace(site, ground=worlds.flat_site().ground))

    machine = worlds.boom(**LIVELY)
    xi, eta = np.array(machine.configurations["stowed"].basket.ring).T
    sigma = math.hypot(Sigmas.of(machine, worlds.GOOD_SURVEY).point(xi, eta).max(), 0.02 if beam else 0.0)
    k = confidence_k(12.0, route_confidence=0.95, correlation_m=worlds.GOOD_SURVEY.correlation_m)
    (short,) = refused(0.0)
    enough_m = short.value - short.limit + k * sigma
    assert short.kind == "basket swing" and k * sigma > 0.005
    assert kinds(refused(enough_m - 0.001)) == {"basket swing"} and refused(enough_m + 0.001) == ()


#: A line over the same place, its safety distance and its sag as far above the basket as the beam's gap is.
LINE = LineCorridor("l", box(33.0, 5.0, 33.4, 25.0), 0.2, DISTANCE, LineHeight(5.0, 0.521, 1e-9, "S1"))


def test_a_limit_too_fast_under_a_line_is_refused() -> None:
    """A head 2.5 m high, 1.829 m of safety distance and a sag of 0.521 m: 0.15 m are left to swing."""
    under = {"line_corridors": (LINE,), "thresholds": BEAM["thresholds"]}
    assert objected(0.2, **under) == ()
    (found,) = objected(1.6, **under)
    assert found.kind == "basket swing" and found.limit == pytest.approx(0.15, abs=1e-6)


def test_a_soffit_that_nobody_vouches_for_leaves_the_swing_open() -> None:
    (beam,) = BEAM["soffits"]
    vague = BEAM | {"soffits": (dataclasses.replace(beam, sigma_m=None),)}
    assert "basket swing" in kinds(objected(0.2, **vague))


def test_an_unknown_level_under_a_wheel_leaves_the_swing_open() -> None:
    move, site = over_a_kerb(0.2)
    z = site.ground.z.copy()
    z[64, 75] = math.nan
    unknown = dataclasses.replace(site, ground=dataclasses.replace(site.ground, z=z))
    assert any(found.kind == "basket swing" and "not known" in found.text for found in opinion(move, unknown))


def test_rows_say_a_speed_that_the_machine_has_and_people_are_told_of_slower_ones() -> None:
    for limit in (1.7, 0.0, math.nan):
        assert "basket swing" in kinds(objected(limit))
    (found,) = objected(0.2, told=False)
    assert "nobody is told" in found.text


def test_nobody_is_told_to_go_slower_than_the_machine_can() -> None:
    """At a tenth of creep speed the basket would keep its gap; at creep, which is as slow as it goes, it does not."""
    slack = worlds.boom(**(LIVELY | {"bounce_period_s": 3.0}))
    (found,) = objected(0.2, machine=slack, **BEAM)
    assert "the machine has" not in found.text and found.unit == "m"
    for limit in (0.02, 0.199):
        refusals = [found.text for found in objected(limit, machine=slack, **BEAM)]
        assert "the row's limit is no speed that the machine has" in refusals
    # Where nobody knows how slowly it can go, no limit slows it down.
    figures = {name: figure for name, figure in slack.figures.items() if name != "creep_speed_mps"}
    bare = dataclasses.replace(slack, figures=figures)
    assert any("the machine has" in found.text for found in objected(0.2, machine=bare, **BEAM))


def test_each_slower_stretch_is_told_of_where_it_begins() -> None:
    """Rows at 0.8, then 0.4, then 0.8 m/s: who is told of the first and of the last drives 0.8 all the way."""
    move, site = over_a_kerb(0.4, thresholds=BEAM["thresholds"])
    move = dataclasses.replace(move, poses=at_speed(move.poses, 0.8, 0.4, 0.8))
    at = [move.poses[n].chainage_m for n, pose in enumerate(move.poses)
          if n and pose.v_max_mps != move.poses[n - 1].v_max_mps]  # fmt: skip

    def told(*where: float, first: float = 0.8, then: float = 0.4) -> tuple[Objection, ...]:
        said = [slowly(m, first if n == 0 or m == at[1] else then) for n, m in enumerate(where)]
        return opinion(dataclasses.replace(move, controls=tuple(said)), site)

    assert told(0.0, *at) == () and told(0.0, at[0]) == ()
    (found,) = told(0.0, at[1])
    assert "nobody is told" in found.text and found.chainage_m == at[0]
    assert told(0.0, at[0] + 0.2) != () and told(*at) != ()
    # Who is told of a stretch has to be told how slow it is.
    (found,) = told(0.0, at[0], then=0.41)
    assert "told of a faster speed" in found.text and found.value == 0.4 and found.limit == pytest.approx(0.41)
    (found,) = told(0.0, at[0], first=0.81)
    assert "told of a faster speed" in found.text and found.chainage_m == 0.0


def test_assumed_figures_prove_nothing_and_do_not_excuse_more_than_creep() -> None:
    def assumed(period_s: float) -> Machine:
        machine = worlds.boom(**LIVELY)
        figure = dataclasses.replace(machine.figures["bounce_period_s"], tag="memory", value=period_s)
        return dataclasses.replace(machine, figures={**machine.figures, "bounce_period_s": figure})

    opened = {"basket swing": "not proven"}
    # Even creep swings too far by what is assumed: left open. The machine's own figure would have it refused.
    own = worlds.boom(**(LIVELY | {"bounce_period_s": 3.0}))
    assert kinds(objected(0.2, machine=own, rows=opened, **BEAM)) == {"basket swing"}
    assert objected(0.2, machine=assumed(3.0), rows=opened, **BEAM) == ()
    assert any("memory figure" in found.text for found in objected(0.2, machine=assumed(3.0), **BEAM))
    # Where creep keeps every gap nothing faster is excused, though nothing is proven.
    assert objected(0.2, machine=assumed(1.0), rows=opened, **BEAM) == ()
    assert kinds(objected(1.6, machine=assumed(1.0), rows=opened, **BEAM)) == {"basket swing"}


def test_without_a_figure_of_the_bounce_no_pass_is_believed() -> None:
    machine = worlds.boom(**LIVELY)
    for name in LIVELY:
        figures = {other: figure for other, figure in machine.figures.items() if other != name}
        found = objected(0.2, machine=dataclasses.replace(machine, figures=figures))
        assert any(f"{name} is missing" in objection.text for objection in found)
