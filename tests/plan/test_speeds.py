"""Speed limits of rows: where the basket would swing beyond its limit or into a soffit, and nowhere else."""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.hazards.arrays import HEAD_PROVEN, OVERHEAD_PROVEN, UNDER_LINE_PROVEN, Body
from routeplan.hazards.body import build_body
from routeplan.hazards.bounce import lever
from routeplan.hazards.catalogue import by_kind
from routeplan.hazards.levels import SURVEYED
from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.rolling import allowed_for, rolled, rolled_on, wheel_levels
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.profile import Profile
from routeplan.plan.ridden import Path, heights, path_of, rides
from routeplan.plan.speeds import FIGURES, TOGETHER_M, Paced, largest_kept, least_over, paced, points_of
from routeplan.plan.swing import SWING, Swung
from routeplan.plan.whole import plan_site
from routeplan.recheck.stance import planes_of
from routeplan.route.model import Check, Move
from routeplan.site.model import Defect, LineCorridor, LineHeight, SafetyDistance, Site, Soffit, Thresholds
from tests.pitch_plane import PitchPlane
from tests.recheck.drives import drive, opinion
from tests.worlds import boom, flat_site, place, scissor, wanted

Floats = NDArray[np.float64]

ISSUED = "2026-11-24T12:00:00+00:00"
BOUNCE: dict[str, Any] = {
    "bounce_period_s": 1.0, "bounce_damping_pct": 2.0, "travel_speed_mps": 1.6, "creep_speed_mps": 0.2,
}
#: Across the yard: 50 mm high, from 9.0 m ahead of where the move starts.
KERB = Defect("k", "kerb", box(14.0, -1.0, 14.2, 21.0), 0.2, 0.0, 0.05, None)


@cache
def planned(*, kerb: bool, limit_m: float, soffit_m: float = math.inf, tag: Any = "sheet", **figures: Any) -> Move:
    """15 m straight over a yard, at travel speed wherever the basket allows for it."""
    return crossing(boom("TB", tag=tag, **figures), kerb=kerb, limit_m=limit_m, soffit_m=soffit_m)


def yard(
    machine: Machine, *, kerb: bool, limit_m: float, soffit_m: float = math.inf, line_m: float = math.inf,
    doubt_m: float | None = 0.001,
) -> Site:  # fmt: skip
    """Level but for a kerb across, a beam or a line beyond it, and 15 m to drive."""
    layers: dict[str, Any] = {"thresholds": Thresholds(bounce_limit_m=limit_m), "defects": (KERB,) if kerb else ()}
    if soffit_m < math.inf:
        beam = box(25.0, -1.0, 26.0, 21.0)
        layers["soffits"] = (Soffit("beam", beam, "beam", soffit_m, None, 0.0, 0.0, doubt_m, "S1"),)
    if line_m < math.inf:
        height, apart = LineHeight(line_m, 0.4, doubt_m, "S1"), SafetyDistance(11.0, 1.829, "invented", "invented")
        layers["line_corridors"] = (LineCorridor("line", box(25.0, -1.0, 26.0, 21.0), 0.5, apart, height),)
    return flat_site(
        30.0, 20.0, machines=(machine,), places=(place("w", 5.0, 10.0, 90.0), place("e", 20.0, 10.0, 90.0)),
        moves=(wanted("TB", "w", "e"),), **layers,
    )  # fmt: skip


def crossing(machine: Machine, **how: Any) -> Move:
    """The drive of a machine, planned."""
    return plan_site(yard(machine, **how), issued=ISSUED).moves[0]


def limits(move: Move) -> Floats:
    return np.array([pose.v_max_mps for pose in move.poses])


def test_level_ground_is_driven_at_travel_speed() -> None:
    move = planned(kerb=False, limit_m=0.3, **BOUNCE)
    assert (move.verdict, move.controls) == ("pass", ()) and np.all(limits(move) == 1.6)


def row(move: Move) -> Check:
    """What is said of the swing."""
    (check,) = (check for check in move.checks if check.kind == SWING)
    return check


def test_of_a_machine_that_does_not_say_how_it_bounces_nothing_is_proven() -> None:
    """It is told to creep, and what is to be measured; whatever else it keeps."""
    machine = boom("TB", travel_speed_mps=1.6)
    figures = {name: figure for name, figure in machine.figures.items() if not name.startswith("bounce_")}
    move = crossing(dataclasses.replace(machine, figures=figures), kerb=True, limit_m=2.0)
    assert move.verdict == "not proven" and np.all(limits(move) == 0.2)
    assert "Creep all the way" in move.controls[0].text and math.isnan(row(move).margin)
    assert any("count its cycles in ten seconds" in why for why in row(move).assumed)
    assert any("until it swings half as far" in why for why in row(move).assumed)


def test_a_kerb_is_crossed_slowly_and_people_are_told() -> None:
    move = planned(kerb=True, limit_m=0.7, **BOUNCE)
    slow = np.array([pose.chainage_m for pose in move.poses])[limits(move) < 1.6]
    # The front wheels meet the kerb from 6.2 m on, the rear wheels leave it by 9.5 m.
    assert slow.min() < 6.3 and slow.max() > 9.5 and np.all(np.diff(slow) < 0.1)
    assert 0.2 <= limits(move).min() < 0.5
    (control,) = move.controls
    assert (move.verdict, control.kind) == ("pass with controls", "speed")
    least = f"{limits(move).min():.2f}"
    assert control.text.startswith(f"No faster than {least} m/s between {math.floor(control.chainage_m)} m and")


@pytest.mark.parametrize("seed", range(20))
def test_each_stretch_is_as_fast_as_any_speed_of_whole_centimetres_that_keeps_it(seed: int) -> None:
    """Found by bisection; here by trying all. Of a swing that grows with the speed, by so much at each sample."""
    rng = np.random.default_rng(seed)
    at = np.arange(0.0, 60.0, 0.5)
    path = Path(at, at, np.zeros((at.size, 3)), at, np.zeros(at.size, bool))
    grows = np.where(rng.random(at.size) < 0.06, rng.uniform(0.05, 1.5, at.size), 0.01)
    tried: list[float] = []

    def left(speed: Floats | float) -> Swung:
        tried.append(float(speed))
        one = np.ones(at.size)
        return Swung(at, at, at, 0.2 * one, grows * speed, 0.01 * one, assumed=False)

    found = largest_kept(left, 2.0, path, 1.6, 0.2)
    kept = [grows * speed <= 0.18 for speed in np.arange(20, 161) / 100.0]
    slow = np.flatnonzero(~kept[-1])
    for run in np.split(slow, np.flatnonzero(np.diff(at[slow]) > TOGETHER_M + 0.5) + 1):
        keep = [20 + n for n, of in enumerate(kept) if of[run].all()]
        assert np.all(found[run] == max(keep, default=20) / 100.0)
    assert np.all(found[kept[-1]] == 1.6) and len(tried) <= 1 + 8 * len(slow)


def test_driven_at_its_limits_the_basket_keeps_its_limit() -> None:
    """By a motion in time of the tests' own: a kerb rolled over by 0.46 m wheels, the worst corner of the basket."""
    move, step_s = planned(kerb=True, limit_m=0.7, **BOUNCE), 0.002
    at, row, chainages = [0.0], 0, [pose.chainage_m for pose in move.poses]
    while at[-1] < chainages[-1]:
        while row < len(chainages) - 1 and chainages[row + 1] <= at[-1]:
            row += 1
        at.append(at[-1] + limits(move)[row] * step_s)

    def level(ahead_m: float) -> Floats:
        off = np.maximum(0.0, np.abs(5.0 + np.array(at) + ahead_m - 14.1) - 0.1)
        return np.maximum(0.0, 0.05 + np.sqrt(np.maximum(0.46**2 - off**2, 0.0)) - 0.46)

    front, rear = level(2.5), level(0.0)
    for tyre_npm in (1e6, 1e9):
        machine = PitchPlane(tip_xi_m=7.10, boom_damping=0.02, tyre_npm=tyre_npm, tip_kg=300.0)
        assert machine.tip(front, rear, step_s).max() < 0.7


def test_a_swing_under_a_beam_is_slowed_down_for() -> None:
    """The beam is met 3 m beyond the kerb's reach, where the search allows for nothing and the basket still swings."""
    free = planned(kerb=True, limit_m=2.0, **BOUNCE)
    under = planned(kerb=True, limit_m=2.0, soffit_m=2.95, **BOUNCE)
    assert np.all(limits(free) == 1.6)
    assert under.verdict == "pass with controls" and limits(under).min() < 1.6


def test_a_swing_under_a_line_is_slowed_down_for() -> None:
    """As under the beam: the line hangs a safety distance and its sag higher."""
    under = crossing(boom("TB", **BOUNCE), kerb=True, limit_m=2.0, line_m=2.65 + 1.829 + 0.4)
    assert under.verdict == "pass with controls" and limits(under).min() < 1.6
    assert row(under).limit < 0.15 + 1e-6


def test_where_creep_is_too_fast_nothing_is_given_to_drive() -> None:
    move = planned(kerb=True, limit_m=0.7, **(BOUNCE | {"bounce_period_s": 3.0}))
    assert move.verdict == "fail" and not move.poses and move.refused is not None
    (found,) = move.refused.objections
    assert "even at creep speed" in move.reason and (found.kind, found.unit) == (SWING, "m") and found.chainage_m > 6.0
    assert found.value > found.limit


def test_assumed_figures_slow_a_machine_down_but_fail_nothing() -> None:
    move = planned(kerb=True, limit_m=0.7, tag="class", **(BOUNCE | {"bounce_period_s": 3.0}))
    assert move.verdict == "not proven" and limits(move).min() == 0.2
    assert "not the machine's own: bounce_period_s, bounce_damping_pct, travel_speed_mps" in move.controls[0].text
    assert move.reason.startswith("open: ") and SWING in move.reason
    assert row(move).verdict == "not proven" and row(move).margin < 0.0


@pytest.mark.parametrize("name", FIGURES)
def test_no_pass_rests_on_a_figure_of_the_bounce_that_is_assumed(name: str) -> None:
    """Though every gap is kept at travel speed."""
    machine = boom("TB", **BOUNCE)
    assumed = dataclasses.replace(machine.figures[name], tag="memory")
    move = crossing(dataclasses.replace(machine, figures={**machine.figures, name: assumed}), kerb=False, limit_m=0.3)
    also = ", grip" if name == "travel_speed_mps" else ""
    assert (move.verdict, move.reason) == ("not proven", f"open: {SWING}{also}") and np.all(limits(move) == 1.6)
    assert [leg.verdict for leg in move.legs] == ["not proven"]


@pytest.mark.parametrize(("thing", "overhead"), [("beam", {"soffit_m": 3.5}), ("line", {"line_m": 5.5})])
def test_what_hangs_there_that_nobody_vouches_for_leaves_the_swing_open(thing: str, overhead: dict[str, Any]) -> None:
    move = crossing(boom("TB", **BOUNCE), kerb=True, limit_m=2.0, doubt_m=None, **overhead)
    assert row(move).verdict == "not proven" and any(f"{thing} has no accuracy" in why for why in row(move).assumed)


def test_speeds_are_told_rounded_down() -> None:
    slow = BOUNCE | {"bounce_period_s": 3.0, "creep_speed_mps": 0.1077}
    move = planned(kerb=True, limit_m=0.7, tag="class", **slow)
    assert limits(move).min() == 0.1077
    assert move.controls[0].text.startswith("No faster than 0.10 m/s")


def test_a_plan_whose_speeds_are_raised_by_hand_is_refused() -> None:
    """The second opinion bounds the swing by itself. A head 2.5 m high has 0.2 m to swing under a beam at 3.0 m."""
    site = yard(boom("TB", **BOUNCE), kerb=True, limit_m=2.0, soffit_m=3.0)
    move = planned(kerb=True, limit_m=2.0, soffit_m=3.0, **BOUNCE)
    assert opinion(move, site) == () and limits(move).min() < 1.6
    raised = dataclasses.replace(move, poses=tuple(pose._replace(v_max_mps=1.6) for pose in move.poses))
    (found,) = (one for one in opinion(raised, site) if one.kind == SWING)
    assert found.value > found.limit == pytest.approx(0.2, abs=1e-4)


def test_levels_too_poor_to_tell_are_not_proven_and_fail_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the doubt is as large as the room, no speed is sure, though by the best guess each is slow enough."""
    asked: list[Any] = []

    def heard(*args: Any) -> Paced:
        asked.extend(args)
        return paced(*args)

    monkeypatch.setattr("routeplan.plan.outcome.paced", heard)
    planned.__wrapped__(kerb=True, limit_m=2.0, **BOUNCE)
    found, machine, hazards, k, holds, gripped, surer = asked
    poor = dataclasses.replace(hazards, sigma=np.full_like(hazards.sigma, 2.0 / k))
    both = [paced(found, machine, one, k, holds, gripped, surer) for one in (hazards, poor)]
    assert [len(pace.thrown) for pace in both] == [0, 0]
    checks = [pace.swung.check(by_kind(SWING), k, (), 0.0, math.inf) for pace in both]
    assert [check.verdict for check in checks] == ["pass", "not proven"]
    assert min(pose.v_max_mps for pose in both[1].poses) == 0.2


def test_a_swing_that_is_not_known_is_no_pass() -> None:
    at, room, swing, sigma = np.arange(3.0), np.full(3, 0.3), np.full(3, 0.1), np.full(3, 0.01)
    known = Swung(at, at, at, room, swing, sigma, assumed=False)
    unknown = dataclasses.replace(known, swing_m=np.array([0.1, math.nan, 0.1]))
    line = by_kind(SWING)
    assert known.check(line, 3.0, (), 0.0, 2.0).verdict == "pass"
    assert unknown.check(line, 3.0, (), 0.0, 2.0).verdict == "not proven"
    assert known.check(line, 3.0, (), 5.0, 6.0).verdict == "not proven"
    assert known.check(line, 3.0, ("a layer is not given",), 0.0, 2.0).verdict == "not proven"
    assert dataclasses.replace(known, swing_m=np.full(3, 0.4)).check(line, 3.0, (), 0.0, 2.0).verdict == "fail"


def hazards_of(machine: Machine, site: Site) -> Hazards:
    met = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=0.0,
        terrain=build_terrain(site.ground, site.grid),
    )  # fmt: skip
    return met.on(None, travel_m=1.0)


@cache
def rough_yard() -> tuple[Hazards, Floats]:
    """A boom on levels that differ by 20 mm from node to node."""
    machine = boom()
    z = np.random.default_rng(4).normal(0.0, 0.02, (81, 121))
    return hazards_of(machine, flat_site(30.0, 20.0, z=z, machines=(machine,))), z


def test_a_disc_stands_as_high_as_the_highest_of_all_its_places() -> None:
    hazards, z = rough_yard()
    rng = np.random.default_rng(1)
    t = np.linspace(-0.46, 0.46, 8001)
    for _ in range(60):
        x, y, heading = rng.uniform(5, 15), rng.uniform(5, 15), rng.uniform(-4, 4)
        c, s = math.cos(heading), math.sin(heading)
        u, v = (x + t * c) / 0.25, (y + t * s) / 0.25
        col, row = u.astype(int), v.astype(int)
        fu, fv = u - col, v - row
        south = (1 - fu) * z[row, col] + fu * z[row, col + 1]
        north = (1 - fu) * z[row + 1, col] + fu * z[row + 1, col + 1]
        brute = ((1 - fv) * south + fv * north + np.sqrt(np.maximum(0.46**2 - t**2, 0.0)) - 0.46).max()
        found = rolled_on(hazards.world, SURVEYED, 0.46, x, y, c, s)
        assert brute - 1e-9 <= found + 1e-5 and found <= brute + 1e-5


def test_a_tyre_stands_on_a_crest_wherever_it_is_under_it() -> None:
    """One node stands up, between the middle of a broad tyre and its edge."""
    z = np.zeros((81, 121))
    z[40, 60] = 0.05
    machine = boom(wheel_width_m=0.45)
    hazards = hazards_of(machine, flat_site(30.0, 20.0, z=z, machines=(machine,)))
    assert rolled(hazards.world, hazards.body, SURVEYED, 15.0, 10.11, 1.0, 0.0) == pytest.approx(0.05, abs=1e-9)
    assert rolled(hazards.world, hazards.body, SURVEYED, 15.11, 10.0, 0.0, 1.0) == pytest.approx(0.05, abs=1e-9)
    assert rolled(hazards.world, hazards.body, SURVEYED, 15.0, 10.6, 1.0, 0.0) == pytest.approx(0.0, abs=1e-9)


def test_an_unknown_level_under_a_disc_is_unknown() -> None:
    hazards, _ = rough_yard()
    assert math.isnan(rolled_on(hazards.world, SURVEYED, 0.46, 0.2, 10.0, 1.0, 0.0))


@pytest.mark.parametrize(("axle", "follow"), [(None, (0, 0.0)), ("front", (1, 1.0)), ("rear", (-1, 1.0))])
def test_heights_are_those_of_both_planes(axle: str | None, follow: tuple[int, float]) -> None:
    """The second opinion stands the same machine on the same wheels: its two planes are the two found here."""
    machine = boom(oscillating=axle, oscillation_stop_deg=0.5)
    follow = (follow[0], follow[1] * math.tan(math.radians(0.5)))
    body: Body = build_body(flat_site(machines=(machine,)), machine, machine.configurations["stowed"], ridden=True)
    levels = np.random.default_rng(2).normal(0.0, 0.03, (200, 4))
    points = np.array([[7.1, 1.15], [7.1, -1.15], [-1.7, 0.3]])
    middle, apart = heights(body, levels, points)
    planes = planes_of(
        levels, wheelbase_m=machine.wheelbase_m, track_m=machine.track_m, xi_rear_m=0.0, follow=follow
    )  # fmt: skip
    both = planes.level[..., None] + planes.pitch[..., None] * points[:, 0] + planes.roll[..., None] * points[:, 1]
    mine = np.stack([middle + 0.5 * np.abs(apart), middle - 0.5 * np.abs(apart)])
    assert np.allclose(mine[0].T, both.max(axis=1), rtol=0.0, atol=1e-12)
    assert np.allclose(mine[1].T, both.min(axis=1), rtol=0.0, atol=1e-12)


def test_no_point_may_swing_by_more_than_was_allowed_for_at_it() -> None:
    """Near a kerb, 0.2 m left of every gap: of a box the least counts, at its back less than at its front."""
    hazards = hazards_of(boom(), flat_site(machines=(boom(),), defects=(KERB,)))
    margins = np.full((1, UNDER_LINE_PROVEN + 1), 0.2)
    starts, ends = np.array([[12.0, 10.0, 0.0]]), np.array([[12.1, 10.0, 0.0]])
    found = Profile((), margins, starts, ends, np.array([0.0, 0.1]), np.ones(1))
    points = points_of(found, hazards, 0.0)
    own = [max(lever(xi, eta, 2.5, 0.0, 2.05), lever(xi, eta, 0.0, 2.5, 2.05)) for xi, eta in points.places]
    most = 0.2 + hazards.body.amplification * 0.05 * np.array(own)
    assert np.all(points.room_m[:, 0] <= most + 1e-9) and np.all(points.room_m > 0.2)
    # All four corners of the floor come first, each with all that is its own.
    floor = boom().configurations["stowed"].basket.ring
    assert sorted(map(tuple, points.places[:4].round(6).tolist())) == sorted(floor)
    assert points.room_m[:4, 0] == pytest.approx(most[:4])
    # Nothing was allowed for certain of a kerb 2.9 m ahead; what hangs overhead counts less its own doubt.
    far = dataclasses.replace(found, starts=np.array([[8.6, 10.0, 0.0]]))
    assert np.all(points_of(far, hazards, 0.0).room_m == 0.2)
    margins[:, [HEAD_PROVEN, OVERHEAD_PROVEN, UNDER_LINE_PROVEN]] = 0.15
    assert points_of(far, hazards, 0.0).room_m[:, 0].tolist() == [0.2] * 4 + [0.15] * (len(points.places) - 4)


def test_where_stretches_meet_and_on_the_spot_the_least_of_all_counts() -> None:
    """Of a way on for 1 m, about on the spot in three stretches, and on for 1 m."""
    room, along = np.array([[5.0, 4.0, 2.0, 4.0, 3.0]]), np.array([0.0, 1.0, 1.0, 1.0, 1.0, 2.0])
    assert least_over(room, along, np.array([0.0, 0.5, 1.0, 1.5, 2.0])).tolist() == [[5.0, 5.0, 2.0, 3.0, 3.0]]


def test_a_path_stands_still_at_reversals_and_hold_points_and_goes_on_the_spot_by_its_wheels() -> None:
    rows = drive(5.0, 5.0, 0.0, [(2.0, 0.0), (0.0, 1.0), (-1.0, 0.0)])
    hazards, _ = rough_yard()
    path = path_of(rows, hazards.body, [1.0])
    arm = math.hypot(2.5, 2.05 / 2)
    assert path.at_m[path.halts] == pytest.approx([0.0, 1.0, 2.0, 2.0 + arm, 3.0 + arm])
    assert path.rows_m[-1] == pytest.approx(3.0 + arm) and np.diff(path.at_m).max() <= 0.0201
    assert path.chainage_m[-1] == pytest.approx(3.0)


def test_a_hole_between_two_lines_of_the_tube_is_met() -> None:
    """50 mm wide and 100 mm beside where the tyre runs, the tyre as wide: within the tube, on none of its lines."""
    machine = scissor(wheel_width_m=0.05)
    site = flat_site(
        machines=(machine,), defects=(Defect("h", "pothole", box(15.0, 10.45, 15.6, 10.451), 0.6, 0.04, 0.0, None),),
    )  # fmt: skip
    hazards = hazards_of(machine, site)
    path = path_of(drive(13.0, 10.0, 0.0, [(2.0, 0.0)]), hazards.body, [])
    lowest = min(float(ride.middle_m.min()) for ride in rides(path, np.array([[1.85, 0.35]]), hazards))
    assert lowest < -0.005


def test_a_hole_between_two_lines_of_a_tube_that_only_turns_is_met() -> None:
    """Under a front wheel that is turned half as far as the tube goes, narrow, 60 mm beside where it runs."""
    machine = scissor(wheel_width_m=0.03)
    site = flat_site(
        machines=(machine,), defects=(Defect("h", "pothole", box(15.0, 10.415, 15.6, 10.416), 0.6, 0.04, 0.0, None),),
        thresholds=Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=4.0),
    )  # fmt: skip
    hazards = hazards_of(machine, site)
    path = path_of(drive(12.5, 10.0, 0.0, [(2.0, 0.0)]), hazards.body, [])
    lowest = min(float(ride.middle_m.min()) for ride in rides(path, np.array([[1.85, 0.35]]), hazards))
    assert lowest < -0.005


@pytest.mark.parametrize(("lateral_m", "turn_deg", "y"), [(0.15, 0.0, 10.55), (0.0, 4.0, 10.49)])
def test_a_hole_at_the_edge_of_the_tube_is_met(lateral_m: float, turn_deg: float, y: float) -> None:
    """Beside the left wheels of a drive that keeps its line, under them where it strays or turns as far as it may."""
    machine = scissor(wheel_width_m=0.03)
    site = flat_site(
        machines=(machine,), defects=(Defect("h", "pothole", box(15.0, y, 15.6, y + 0.001), 0.6, 0.04, 0.0, None),),
        thresholds=Thresholds(lateral_tolerance_m=lateral_m, heading_tolerance_deg=turn_deg),
    )  # fmt: skip
    hazards = hazards_of(machine, site)
    path = path_of(drive(12.5, 10.0, 0.0, [(2.0, 0.0)]), hazards.body, [])
    lowest = min(float(ride.middle_m.min()) for ride in rides(path, np.array([[1.85, 0.35]]), hazards))
    assert lowest < -0.005


def test_no_more_is_taken_as_allowed_for_than_is_near() -> None:
    hazards = hazards_of(boom(), flat_site(machines=(boom(),), defects=(KERB,)))
    found = np.empty((3, 2))
    allowed_for(
        hazards.world, hazards.body, np.array([[8.6, 10.0, 0.0], [8.8, 10.0, 0.0], [12.0, 10.0, 0.0]]), 2.75, found
    )
    assert found.tolist() == [[0.0, 0.0], [0.05, 0.0], [0.05, 0.05]]


def test_a_raised_feature_lifts_a_wheel_in_reach_of_it() -> None:
    hazards = hazards_of(boom(), flat_site(machines=(boom(),), defects=(KERB,)))
    levels = np.empty((2, 4))
    wheel_levels(hazards.world, hazards.body, np.array([[11.6, 10.0, 0.0], [10.0, 10.0, 0.0]]), 0.0, levels)
    assert levels[0].tolist() == pytest.approx([0.05, 0.05, 0.0, 0.0]) and np.all(levels[1] == 0.0)
