"""Where machines come to stand to work: tilt cut-outs and the circle of the tail, closed forms and whole plans."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely.geometry import box

from routeplan.hazards.catalogue import TAIL, TILT, by_kind
from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.register import doubts
from routeplan.hazards.set_up import Lean
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Figure, Machine
from routeplan.machine.modelled import ON_OUTRIGGERS
from routeplan.plan.findings import findings
from routeplan.plan.set_up import SetUp, set_up_at, set_up_check, set_ups
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import look, recheck_plan
from routeplan.route.model import Check, Conditions, Move, Plan, Pose
from routeplan.search.anchors import Anchor
from routeplan.site.model import Obstacle, Site, Thresholds, Walkway
from tests import worlds
from tests.recheck.drives import certain, drive, move_of, yard_for

ISSUED = "2026-11-24T12:00:00+00:00"
#: No tube: a plane then has the slopes that it is drawn with.
BARE = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0)
AT = Anchor(20.0, 15.0, 0.0)
START = Pose(20.0, 15.0, 90.0, 1, "ridden", "front", "stowed", 0.5, 0.0)
#: How much more than a plane's slope the bounds on it may add, a wheel's disc on it being told apart, degrees.
BOUNDS_DEG = 0.02
MM = 0.001
NO_FIGURE = {"tilt_side_deg": 44.0, "tilt_long_deg": 44.0}


def plane(pitch_deg: float, roll_deg: float) -> NDArray[np.float64]:
    """Levels that rise to the east and to the north by these."""
    y, x = np.mgrid[0:121, 0:161] * 0.25
    return np.asarray(math.tan(math.radians(pitch_deg)) * x + math.tan(math.radians(roll_deg)) * y)


def hazards_of(site: Site, machine: Machine) -> Hazards:
    terrain = build_terrain(site.ground, site.grid)
    met = encounter(site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain)
    return met.on(None, travel_m=1.0)


def judged(kind: str, site: Site, machine: Machine, at: Anchor = AT, *, k: float = 3.0) -> Check:
    """The check of a machine that stands to work at a pose."""
    line = by_kind(kind)
    stood = set_up_at(at, site, machine, hazards_of(site, machine))
    return set_up_check(line, [stood], machine, k, doubts(line, site, machine), START)


def tilted(machine: Machine, pitch_deg: float, roll_deg: float) -> str:
    """The verdict on the tilt of a machine on a plane, its levels as good as exact."""
    site = certain(worlds.flat_site(machines=(machine,), z=plane(pitch_deg, roll_deg), thresholds=BARE))
    return judged(TILT, site, machine).verdict


@pytest.mark.parametrize(
    ("limits", "way"),
    [
        ({"tilt_side_deg": 1.5, "tilt_long_deg": 44.0}, (0.0, 1.0)),
        ({"tilt_side_deg": 1.5, "tilt_long_deg": 44.0}, (0.0, -1.0)),
        ({"tilt_side_deg": 44.0, "tilt_long_deg": 1.5}, (1.0, 0.0)),
        ({"tilt_side_deg": 44.0, "tilt_long_deg": 1.5}, (-1.0, 0.0)),
        ({**NO_FIGURE, "tilt_any_deg": 1.5}, (0.6, -0.8)),
        ({**NO_FIGURE, "tilt_any_deg": 1.5}, (-0.8, 0.6)),
    ],
)
def test_a_plane_just_inside_and_just_beyond_each_limit(limits: dict[str, Any], way: tuple[float, float]) -> None:
    """Along, across and, by ``tan^2 = tan^2 pitch + tan^2 roll``, whichever way it leans; 0.2 deg the sensor's."""
    machine = worlds.scissor(**limits)

    def at(lean_deg: float) -> str:
        slope = math.tan(math.radians(lean_deg))
        pitch, roll = (math.degrees(math.atan(slope * share)) for share in way)
        return tilted(machine, pitch, roll)

    assert at(1.3 - BOUNDS_DEG) == "pass"
    assert at(1.3 + 0.002) == "fail"


def test_a_sensor_for_any_direction_sees_what_two_axes_do_not_and_the_other_way_round() -> None:
    two = worlds.scissor(tilt_side_deg=2.2, tilt_long_deg=2.2)
    whichever = worlds.scissor(tilt_side_deg=44.0, tilt_long_deg=44.0, tilt_any_deg=2.2)
    assert (tilted(two, 1.6, 1.6), tilted(whichever, 1.6, 1.6)) == ("pass", "fail")
    narrow = worlds.scissor(tilt_side_deg=1.5, tilt_long_deg=3.0)
    assert (tilted(narrow, 0.0, 1.7), tilted(whichever, 0.0, 1.7)) == ("fail", "pass")


def test_what_the_class_says_of_two_axes_gives_way_to_the_machines_own_limit_for_any() -> None:
    machine = worlds.scissor(tilt_any_deg=2.2, tilt_side_deg=0.5, tilt_long_deg=0.5)
    assert tilted(machine, 1.0, 1.0) == "fail", "a plate that gives both holds in both"
    loose = {name: Figure(name, 0.5, "class", "a class") for name in ("tilt_side_deg", "tilt_long_deg")}
    assert tilted(dataclasses.replace(machine, figures={**machine.figures, **loose}), 1.0, 1.0) == "pass"


def test_the_sensors_tolerance_flips_a_verdict() -> None:
    assert tilted(worlds.scissor(tilt_side_deg=2.0, tilt_sensor_tolerance_deg=0.0), 0.0, 1.9) == "pass"
    assert tilted(worlds.scissor(tilt_side_deg=2.0, tilt_sensor_tolerance_deg=0.2), 0.0, 1.9) == "fail"


def test_the_survey_leaves_k_sigma() -> None:
    """Levels good to 1 mm: 0.06 deg across a track of 0.70 m; what is left has to be three times that."""
    machine = worlds.scissor()
    site = worlds.flat_site(machines=(machine,), z=plane(0.0, 1.65), thresholds=BARE)
    row = judged(TILT, site, machine)
    rho = math.exp(-0.70 / 2.0)
    assert row.sigma == pytest.approx(math.degrees(0.001 / 0.70 * math.sqrt(2.0 * (1.0 - rho))), rel=1e-6)
    assert 0.0 < row.margin < 3.0 * row.sigma and row.verdict == "not proven"
    assert judged(TILT, site, machine, k=0.0).verdict == "pass"


def test_the_lean_that_is_least_sure_governs() -> None:
    """More is left to the side than along, but less beyond three sigma: the track is narrower than the wheelbase."""
    machine = worlds.scissor(tilt_side_deg=1.2, tilt_long_deg=1.15)
    site = worlds.flat_site(machines=(machine,), z=plane(0.8, 0.82), thresholds=BARE)
    row = judged(TILT, site, machine)
    assert row.limit == pytest.approx(1.0) and row.verdict == "not proven"
    assert judged(TILT, site, machine, k=0.0).limit == pytest.approx(0.95)


def test_the_workface_that_is_least_sure_governs() -> None:
    seen = enumerate((Lean(1.0, 2.0, 0.1, "tilt_side_deg"), Lean(0.9, 2.0, 0.5, "tilt_long_deg")))
    found = [SetUp(n, Anchor(n, 0.0, 0.0), (lean,), math.nan, 0.5) for n, lean in seen]
    row = set_up_check(by_kind(TILT), found, worlds.scissor(), 3.0, (), START)
    assert (row.verdict, row.chainage_m, row.sigma) == ("not proven", 1.0, 0.5)


def test_what_surely_fails_is_not_hidden_behind_what_is_less_sure() -> None:
    seen = (Lean(2.2, 2.0, 0.05, "tilt_side_deg"), Lean(2.1, 2.0, 0.5, "tilt_long_deg"))
    apart = [SetUp(n, Anchor(n, 0.0, 0.0), (lean,), math.nan, 0.5) for n, lean in enumerate(seen)]
    for found in (apart, [SetUp(0.0, Anchor(0.0, 0.0, 0.0), seen, math.nan, 0.5)]):
        row = set_up_check(by_kind(TILT), found, worlds.scissor(), 3.0, (), START)
        assert (row.verdict, row.chainage_m, row.sigma) == ("fail", 0.0, 0.05)


def test_the_driving_tolerance_turns_the_fall_on_to_the_other_axis() -> None:
    """On 10 deg of pitch a heading that is 2 deg off gives ``tan 10 sin 2`` of roll."""
    machine = worlds.scissor(tilt_side_deg=0.5, tilt_long_deg=44.0)
    site = certain(worlds.flat_site(machines=(machine,), z=plane(10.0, 0.0)))
    roll = math.degrees(math.atan(math.tan(math.radians(10.0)) * math.sin(math.radians(2.0))))
    row = judged(TILT, site, machine)
    assert roll <= row.value < roll + 0.15 and row.verdict == "fail"


@pytest.mark.parametrize("name", ["tilt_side_deg", "tilt_long_deg", "tilt_sensor_tolerance_deg"])
def test_a_figure_that_nobody_gave_is_asked_for_and_never_a_pass(name: str) -> None:
    machine = worlds.scissor()
    bare = dataclasses.replace(machine, figures={k: v for k, v in machine.figures.items() if k != name})
    site = certain(worlds.flat_site(machines=(bare,), thresholds=BARE))
    row = judged(TILT, site, bare)
    assert row.verdict == "not proven"
    assert f"{name} is missing: read it from the machine's plate or sheet" in row.assumed
    if name == "tilt_sensor_tolerance_deg":
        assert tilted(bare, 0.0, 2.01) == "fail", "beyond the limit even if the sensor were right"


def test_a_machine_on_outriggers_is_not_judged_by_the_lean_of_its_tracks() -> None:
    machine = worlds.spider(tilt_side_deg=1.0, tilt_long_deg=1.0, tilt_sensor_tolerance_deg=0.1)
    site = certain(worlds.flat_site(machines=(machine,), z=plane(0.0, 3.0), thresholds=BARE))
    row = judged(TILT, site, machine)
    assert row.verdict == "not proven" and math.isnan(row.margin) and ON_OUTRIGGERS in row.assumed
    tail = judged(TAIL, site, machine)
    assert tail.verdict == "not proven" and any("tail_swing_radius_m is missing" in why for why in tail.assumed)


def boom_by(obstacle: Obstacle | None = None, **layers: Any) -> Check:
    """The tail of a boom that stands at ``AT``: axis 1.2 m ahead, circle 2.9 m."""
    obstacles = () if obstacle is None else (obstacle,)
    layers.setdefault("thresholds", BARE)
    machine = worlds.boom()
    return judged(TAIL, certain(worlds.flat_site(machines=(machine,), obstacles=obstacles, **layers)), machine)


def wall(north_m: float, top_m: float | None = None) -> Obstacle:
    """A wall whose near face is so far to the north of the turntable's axis."""
    return Obstacle("wall", box(10.0, 15.0 + north_m, 30.0, 16.0 + north_m), "wall", top_m)


def test_a_wall_a_millimetre_inside_and_outside_the_gap_of_the_tail() -> None:
    """EN ISO 13854 / EN 349, body 500 mm (app.auva.at/Lexikon/Topic/SafetyDistances), round a circle of 2.9 m."""
    assert BARE.tail_gap_m == 0.5
    assert boom_by(wall(2.9 + 0.5 + MM)).verdict == "pass"
    assert boom_by(wall(2.9 + 0.5 - MM)).verdict == "fail"


def test_the_circle_strays_with_the_tube() -> None:
    """0.15 m to the side, and 1.2 m ahead of the origin as far as 2 deg turn it."""
    astray_m = 0.15 + 1.2 * math.sin(math.radians(2.0))
    for spare_m, expected in ((MM, "pass"), (-MM, "fail")):
        assert boom_by(wall(2.9 + 0.5 + astray_m + spare_m), thresholds=Thresholds()).verdict == expected


def test_the_top_of_a_tail_leans_towards_a_wall() -> None:
    """On a crossfall the top, 2.6 m up, is ``2.6 sin(lean)`` nearer to what stands on the low side."""
    leaned_m = 2.6 * math.sin(math.radians(2.0))
    for spare_m, expected in ((0.01, "pass"), (-MM, "fail")):
        row = boom_by(wall(2.9 + 0.5 + leaned_m + spare_m), z=plane(0.0, -2.0))
        assert row.verdict == expected


def test_a_tail_passes_over_what_is_low_enough() -> None:
    """Its underside is 1.30 m up, and wants 0.01 m of ground clearance."""
    assert boom_by(wall(2.0, 1.30 - 0.01 - 0.005)).verdict == "pass"
    assert boom_by(wall(2.0, 1.30 - 0.01 + MM)).verdict == "fail"
    falling = plane(0.0, 2.0)
    falling -= falling[60, 80]
    rim_m = 1.30 * math.cos(math.radians(2.0)) - 2.9 * math.sin(math.radians(2.0))
    assert boom_by(wall(2.0, rim_m - 0.02), z=falling).verdict == "pass"
    assert boom_by(wall(2.0, rim_m + 0.02), z=falling).verdict == "fail"


def test_people_and_the_boundary_keep_off_a_tail_too() -> None:
    for spare_m, expected in ((MM, "pass"), (-MM, "fail")):
        strip = Walkway("path", box(10.0, 15.0 + 3.4 + spare_m, 30.0, 20.0), "footway")
        assert boom_by(walkways=(strip,)).verdict == expected
        site = certain(worlds.flat_site(machines=(worlds.boom(),), thresholds=BARE))
        fenced = dataclasses.replace(site, boundary=box(0.0, 0.0, 40.0, 15.0 + 3.4 + spare_m))
        assert judged(TAIL, fenced, worlds.boom()).verdict == expected


def test_where_nobody_works_or_nothing_slews_there_is_nothing_to_check() -> None:
    site = certain(worlds.flat_site(obstacles=(wall(0.5),), thresholds=BARE))
    row = judged(TAIL, site, worlds.scissor())
    assert row.verdict == "pass" and "nothing on this machine slews" in row.source
    for kind in (TILT, TAIL):
        none = set_up_check(by_kind(kind), [], worlds.boom(), 3.0, ("a doubt",), START)
        assert none.verdict == "pass" and none.assumed == () and "at no workface" in none.source


def test_every_pose_at_a_workface_counts_but_those_it_leaves_from() -> None:
    """A round over two workfaces with a turn on the spot at each: start and mere passing do not count."""
    machine = worlds.scissor(pivots=1.0)
    places = [worlds.place(name, 10.0 + n, 10.0, kind="workface") for n, name in enumerate("ABC")]
    poses = [
        Pose(10.0 + at, 10.0, bearing, 1, "ridden", "front", "stowed", 0.5, at)
        for at, bearing in ((0.0, 90.0), (0.5, 90.0), (1.0, 90.0), (1.0, 120.0), (1.5, 90.0), (2.0, 90.0), (2.0, 60.0))
    ]
    site = worlds.flat_site(machines=(machine,), places=tuple(places), thresholds=BARE)
    found = set_ups(poses, [(0.0, "A"), (1.0, "B"), (2.0, "C")], site, machine, hazards_of(site, machine))
    assert [one.chainage_m for one in found] == [1.0, 1.0, 2.0]


def test_a_workface_from_which_it_only_turns_to_the_goal_counts() -> None:
    """It works across the fall, beyond its limit, then turns on the spot along it, where the move ends."""
    machine = worlds.scissor(pivots=1.0)
    places = [worlds.place("w", 10.0, 15.0, 90.0), worlds.place("v", 14.0, 15.0, 90.0, kind="workface")]
    wanted = dataclasses.replace(worlds.wanted("SC", "w", "g"), via=("v",))
    for kind in ("parking", "workface"):
        goal = worlds.place("g", 14.0, 15.0, 0.0, kind=kind)
        site = worlds.flat_site(machines=(machine,), z=plane(0.0, 1.9), places=(*places, goal), moves=(wanted,))
        move = the_move(plan_site(certain(site), issued=ISSUED))
        assert move.verdict == "fail" and row_of(move, TILT).verdict == "fail"
        assert row_of(move, TILT).value == pytest.approx(1.9, abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_the_plan_is_never_kinder_than_the_second_opinion_on_rough_ground(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine = worlds.boom(tilt_any_deg=6.0) if seed % 2 else worlds.scissor()
    z = plane(*rng.uniform(-1.0, 1.0, 2)) + rng.normal(0.0, 0.003, (121, 161))
    post = Obstacle("post", box(23.5, 18.5, 23.7, 18.7), "post", None)
    poses = drive(19.0, 15.0, float(rng.uniform(-math.pi, math.pi)), [(1.0, 0.3)], step_m=0.05)
    site = yard_for(poses, machine, z=z, obstacles=(post,))
    works = dataclasses.replace(site.places["B"], kind="workface")
    site = dataclasses.replace(site, places={**site.places, "B": works})
    ledger = look(move_of(poses, machine), site=site, machine=machine, conditions=Conditions()).ledger
    end = poses[-1]
    at = Anchor(end.x, end.y, math.radians(90.0 - end.bearing_deg))
    for kind in (TILT, TAIL) if machine.slews else (TILT,):
        mine, theirs = judged(kind, site, machine, at, k=0.0).margin, ledger.least_margin[kind].margin
        assert theirs - (0.3 if kind == TILT else 0.15) < mine <= theirs + 1e-6


def hall(machine: Machine, *, roll_deg: float = 0.0, bearing: float | None = None, **layers: Any) -> Site:
    """A yard that falls to one side, with a workface and a move to it."""
    return worlds.flat_site(
        machines=(machine,), z=plane(0.0, roll_deg), moves=(worlds.wanted(machine.id, "w", "e"),),
        places=(worlds.place("w", 8.0, 15.0, 90.0), worlds.place("e", 22.0, 15.0, bearing, kind="workface")), **layers,
    )  # fmt: skip


def the_move(plan: Plan) -> Move:
    return plan.moves[0]


def row_of(move: Move, kind: str) -> Check:
    return next(check for check in move.checks if check.kind == kind)


def test_a_plan_to_a_workface_shows_both_checks_and_passes() -> None:
    move = the_move(plan_site(hall(worlds.scissor()), issued=ISSUED))
    assert move.verdict == "pass", move.reason
    tilt = row_of(move, TILT)
    assert tilt.limit == pytest.approx(1.8) and tilt.chainage_m == pytest.approx(move.length_m)
    assert "slews" in row_of(move, TAIL).source


def test_a_plan_stands_at_a_workface_as_suits_the_work() -> None:
    """On 1.9 deg of fall a limit of 1.8 deg to the side lets it work along the fall only, where 2.8 deg are allowed."""
    machine = worlds.scissor(pivots=1.0)
    move = the_move(plan_site(hall(machine, roll_deg=1.9), issued=ISSUED))
    assert move.verdict == "pass", move.reason
    assert abs(math.sin(math.radians(move.poses[-1].bearing_deg))) < 0.5


def test_a_workface_at_which_it_leans_too_far_is_refused_in_words() -> None:
    move = the_move(plan_site(certain(hall(worlds.scissor(), roll_deg=1.9, bearing=90.0)), issued=ISSUED))
    assert move.verdict == "fail" and not move.poses and move.refused is not None
    assert [one.kind for one in move.refused.objections] == [TILT] and TILT in move.reason
    assert row_of(move, TILT).verdict == "fail"


def test_a_tail_that_would_strike_is_refused_in_words() -> None:
    """The boom drives in beside the wall with room for its body, not for its tail."""
    move = the_move(plan_site(hall(worlds.boom(), bearing=90.0, obstacles=(wall(2.6),)), issued=ISSUED))
    assert move.verdict == "fail" and move.refused is not None
    assert [one.kind for one in move.refused.objections] == [TAIL]


def test_the_next_move_drives_off_as_the_machine_was_left_at_a_workface() -> None:
    """Only the pose in which it came to a workface was judged there; it turns round nowhere in between."""
    machine = worlds.scissor()

    def planned(x: float, bearing: float) -> tuple[Plan, Site]:
        site = worlds.flat_site(
            machines=(machine,), moves=(worlds.wanted("SC", "w", "v"), worlds.wanted("SC", "v", "g", move_id="M2")),
            places=(worlds.place("w", x, 15.0, bearing), worlds.place("v", 16.0, 15.0, kind="workface"),
                    worlds.place("g", 16.0, 25.0, 0.0)),
        )  # fmt: skip
        return plan_site(site, issued=ISSUED), site

    (plan, site), (other, _) = planned(10.0, 90.0), planned(22.0, 270.0)
    assert plan.moves[0].poses[-1].bearing_deg != other.moves[0].poses[-1].bearing_deg
    assert not any(recheck_plan(plan, site=site).values())
    mixed = dataclasses.replace(plan, moves=(plan.moves[0], other.moves[1]), k_by_move={
        "M1": plan.k_by_move["M1"], "M2": other.k_by_move["M2"]
    })  # fmt: skip
    found = recheck_plan(mixed, site=site)
    assert not found["M1"] and ["bearing" in one.text for one in found["M2"]] == [True]
    undriven = dataclasses.replace(plan.moves[0], verdict="fail", poses=(), holds=(), controls=())
    alone = dataclasses.replace(mixed, moves=(undriven, other.moves[1]))
    assert not recheck_plan(alone, site=site)["M2"]


def test_what_a_workface_leaves_open_is_told_before_anybody_plans() -> None:
    machine = worlds.boom()
    lacking = {name: f for name, f in machine.figures.items() if name != "tail_swing_radius_m"}
    bare = dataclasses.replace(machine, figures=lacking)
    rows = {row["why"]: row["checks"] for row in findings(hall(bare))["open"]}
    assert rows["TB: tail_swing_radius_m is missing"] == [TAIL]
    assert not any("tilt_any_deg" in why for why in rows)
    idle = worlds.flat_site(machines=(bare,), places=(worlds.place("w", 8.0, 15.0),))
    assert "TB: tail_swing_radius_m is missing" not in {row["why"] for row in findings(idle)["open"]}
