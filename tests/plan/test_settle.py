"""What settles an open check is fed back: read as told, it is proven, and with any of it left out it is still open."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from routeplan.hazards.catalogue import TILT
from routeplan.plan.surer import Surer
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.recheck.readings import Readings
from routeplan.recheck.uncertainty import Sigmas, Sure
from routeplan.route.model import Measurement
from routeplan.search.anchors import Anchor
from routeplan.site.read import read_site
from tests.plan.test_set_up import hazards_of
from tests.plan.yards import ISSUED, SHEET, door_head, fed_back, open_kinds, planned, row, write_yard
from tests.site.folders import feature, polygon

#: Under a door head that leaves 18 mm; at a workface that rises by 2.5 deg of the 2.8 allowed.
GATE = {"soffits": [door_head(0.018)]}
FACE = {"rise": 0.0437, "kind": "workface"}
#: Over a band that lets a wheel carry 0.34 kN more than it does; up a tenth over one that holds it by 0.014 of its
#: weight; over a lump between its wheels; over a sill on ground that falls to the side by 0.67 deg less than it may.
DECK = {
    "bands": [{"bearing_by": "engineer", "wheel_limit_kn": 15.52}],
    "sheet": dict(SHEET) | {
        "rated_load_kg": 230.0, "gravity_xi_m": 0.8, "gravity_eta_m": 0.0, "gravity_height_m": 0.6,
        "wheel_load_max_kn": 1.0,
    },
}  # fmt: skip
SLICK = {"rise": 0.1, "bands": [{"friction_by": "a test", "friction_dry": 0.1166, "friction_wet": 0.1166}]}
LUMP = {"defects": [feature(polygon(11.95, 1.48, 12.05, 1.52), id="lump", kind="sill", height_m=0.031)]}
SILL = {"falls": 0.0403, "defects": [feature(polygon(11.9, 0, 12.1, 3), id="sill", kind="sill", height_m=0.01)]}
OPEN: list[tuple[str, dict[str, Any], bool]] = [
    ("basket swing", GATE, False), (TILT, FACE, True), ("ground load", DECK, False), ("grip", SLICK, False),
    ("ground strike", LUMP, True), ("kerb side slope", SILL, False),
]  # fmt: skip
PASSES = ("pass", "pass with controls")


def places(found: tuple[Measurement, ...]) -> list[tuple[float, float]]:
    return [one.place for one in found]


@pytest.mark.parametrize(("kind", "yard", "fewest"), OPEN)
def test_readings_fed_back_prove_it_and_none_may_be_left_out(
    kind: str, yard: dict[str, Any], fewest: bool, tmp_path: Path
) -> None:
    site, plan = planned(tmp_path / "before", **yard)
    told = open_kinds(plan.moves[0])
    assert list(told) == [kind] and plan.moves[0].verdict == "not proven"
    found = told[kind]
    assert {(one.what, one.sigma_m, one.fewest) for one in found} == {("level", 0.002, fewest)}
    assert len(set(places(found))) == len(found) >= 2
    readings = fed_back(found)
    site, plan = planned(tmp_path / "after", **yard, readings=readings)
    check = row(plan, kind)
    assert (check.verdict, check.settled_by) == ("pass", ()) and plan.moves[0].verdict in PASSES
    assert check.k * check.sigma <= check.margin
    assert not any(recheck_plan(plan, site=site).values())
    if kind == "ground strike":
        assert check.sigma > site.ground.accuracy.short_range_m, "nobody read the ground below the lump"
    for left_out in range(len(readings)):
        fewer = [one for n, one in enumerate(readings) if n != left_out]
        _, plan = planned(tmp_path / f"without-{left_out}", **yard, readings=fewer)
        assert row(plan, kind).verdict == "not proven"
        again = row(plan, kind).settled_by
        assert len(again) == 1 or kind != TILT, "the one that was left out is asked for again"
        assert not set(places(again)) & {(x, y) for x, y, *_ in fewer}, "and none that was read"


def test_readings_that_find_it_worse_fail_the_workface(tmp_path: Path) -> None:
    """Levels that rise 36 mm more over the wheelbase than surveyed: 1.1 deg, of which readings pull most."""
    _, plan = planned(tmp_path / "before", **FACE)
    found = row(plan, TILT).settled_by
    worse = [(x, y, level + 0.018 * (x - 18.925) / 0.925, sigma) for x, y, level, sigma in fed_back(found)]
    _, plan = planned(tmp_path / "after", **FACE, readings=worse)
    (move,) = plan.moves
    assert (move.verdict, row(plan, TILT).verdict, move.poses) == ("fail", "fail", ())
    assert move.refused is not None and move.refused.objections[0].kind == TILT


def test_readings_that_find_the_ground_higher_leave_no_way_under_the_door_head(tmp_path: Path) -> None:
    found = row(planned(tmp_path / "before", **GATE)[1], "basket swing").settled_by
    for off_m, verdicts in ((-0.004, PASSES), (0.024, ("no route",))):
        readings = fed_back(found, off_m)
        _, plan = planned(tmp_path / f"{off_m}", **GATE, readings=readings)
        assert plan.moves[0].verdict in verdicts


def test_a_margin_that_is_beyond_its_limit_is_failed_by_what_it_asks_for(tmp_path: Path) -> None:
    """Rises 3.1 deg of 2.8 allowed, which the survey cannot tell: readings that find just that fail it."""
    yard = FACE | {"rise": 0.0544}
    _, plan = planned(tmp_path / "before", **yard)
    check = row(plan, TILT)
    assert check.verdict == "not proven" and check.margin < 0.0
    assert all("fails it" in one.text for one in check.settled_by)
    _, plan = planned(tmp_path / "after", **yard, readings=fed_back(check.settled_by))
    assert row(plan, TILT).verdict == "fail"
    for left_out in range(len(check.settled_by)):
        fewer = [one for n, one in enumerate(fed_back(check.settled_by)) if n != left_out]
        _, plan = planned(tmp_path / f"without-{left_out}", **yard, readings=fewer)
        assert row(plan, TILT).verdict == "not proven"


def test_a_margin_too_small_for_the_instrument_says_so(tmp_path: Path) -> None:
    """0.02 deg is 0.6 mm over the wheelbase."""
    _, plan = planned(tmp_path, **FACE | {"rise": 0.0486})
    (told,) = row(plan, TILT).settled_by
    assert told.what == "nothing" and "no 24 spot levels of 2 mm" in told.text


def test_the_second_opinion_refuses_what_rests_on_a_reading_that_is_gone(tmp_path: Path) -> None:
    """It looks at the tube in nine poses, the planner at whatever lies between, so that some readings it can spare."""
    for name, yard, kind in (
        ("gate", {"soffits": [door_head(0.013)]}, "head gap"), ("face", FACE, TILT), ("deck", DECK, "ground load"),
    ):  # fmt: skip
        _, plan = planned(tmp_path / name, **yard)
        readings = fed_back(row(plan, kind).settled_by)
        site, plan = planned(tmp_path / name, **yard, readings=readings)
        assert row(plan, kind).verdict == "pass" and not any(recheck_plan(plan, site=site).values())
        _, fewer = planned(tmp_path / f"{name}-fewer", **yard, readings=readings[1:])
        assert row(fewer, kind).verdict == "not proven", "nor does the planner claim it without"
        for gone in (readings[:1], readings):
            left = [one for one in readings if one not in gone]
            site = read_site(write_yard(tmp_path / name, **yard, readings=left))
            found, *_ = (one for one in recheck_plan(plan, site=site)["M1"] if one.kind == kind)
            assert "claimed as pass" in found.text and "less than k sigma" in found.text


def test_readings_prove_nothing_where_the_accuracy_is_assumed(tmp_path: Path) -> None:
    readings = fed_back(row(planned(tmp_path / "stated", **FACE)[1], TILT).settled_by)
    site, plan = planned(tmp_path / "assumed", **FACE, readings=readings, assumed=True)
    check = row(plan, TILT)
    assert check.verdict == "not proven" and [one.what for one in check.settled_by] == ["accuracy"]
    surveyed = row(planned(tmp_path / "stated", **FACE)[1], TILT)
    assert check.sigma == surveyed.sigma, "it stays as unsure as the survey"
    passed = replace(check, verdict="pass", assumed=())
    move = replace(plan.moves[0], checks=tuple(passed if one.kind == TILT else one for one in plan.moves[0].checks))
    objections = recheck_plan(replace(plan, moves=(move,)), site=site)["M1"]
    texts = [one.text for one in objections if one.kind == TILT]
    assert any("assumed" in text for text in texts) and any("less than k sigma" in text for text in texts)


def test_a_figure_fed_back_decides(tmp_path: Path) -> None:
    bare = {name: value for name, value in SHEET.items() if name not in ("side_slope_pct", "brake_mps2")}
    _, plan = planned(tmp_path / "before", sheet=bare)
    told = open_kinds(plan.moves[0])
    asked = {kind: {(one.what, one.name) for one in found} for kind, found in told.items()}
    assert asked == {
        "side slope": {("figure", "side_slope_pct")}, "combined slope": {("figure", "side_slope_pct")},
        "grip": {("figure", "brake_mps2")},
    }  # fmt: skip
    given = {one.name: SHEET[one.name] for found in told.values() for one in found}
    assert (
        plan_site(read_site(write_yard(tmp_path / "after", sheet=bare | given)), issued=ISSUED).moves[0].verdict
        in PASSES
    )
    for name in given:
        _, plan = planned(tmp_path / f"only-{name}", sheet=bare | {name: given[name]})
        assert plan.moves[0].verdict == "not proven"


def test_a_layer_declared_decides(tmp_path: Path) -> None:
    _, plan = planned(tmp_path / "before", without="excavations")
    assert {kind: [(one.what, one.name) for one in found] for kind, found in open_kinds(plan.moves[0]).items()} == {
        "excavation edge": [("layer", "excavations")]
    }
    assert planned(tmp_path / "after")[1].moves[0].verdict in PASSES


def test_a_soffit_fed_back_as_sure_as_is_asked_for_decides(tmp_path: Path) -> None:
    _, plan = planned(tmp_path / "before", soffits=[door_head(0.05, None)])
    check = row(plan, "head gap")
    (told,) = check.settled_by
    assert (told.what, told.name) == ("overhead", "head") and 0.005 < told.sigma_m < 0.05
    assert told.place == pytest.approx((11.9, 1.5), abs=0.21), "on the door head, where the way goes under it"
    for share, verdict in ((1.0, "pass"), (1.05, "not proven")):
        _, plan = planned(tmp_path / f"{share}", soffits=[door_head(0.05, told.sigma_m * share)])
        assert row(plan, "head gap").verdict == verdict


def test_the_second_opinion_puts_levels_right_by_itself(tmp_path: Path) -> None:
    """Planned and passed 28 mm under the door head; then readings find the ground 22 mm higher."""
    yard: dict[str, Any] = {"soffits": [door_head(0.028)]}
    site, plan = planned(tmp_path, **yard)
    assert row(plan, "head gap").verdict == "pass" and not any(recheck_plan(plan, site=site).values())
    higher = [(x, y, 100.022, 0.001) for x in (9.4, 10.5, 11.5, 12.5, 14.0) for y in (1.15, 1.85)]
    site = read_site(write_yard(tmp_path, **yard, readings=higher))
    surveyed = site.ground.surveyed
    assert surveyed is not None
    as_surveyed = replace(site, ground=replace(site.ground, z=surveyed, surveyed=None))
    for told in (site, as_surveyed):
        found, *_ = (one for one in recheck_plan(plan, site=told)["M1"] if one.kind == "head gap")
        assert found.value == pytest.approx(0.328 - 0.0215, abs=0.006) and "less than k sigma" in found.text


def test_what_is_put_right_amiss_between_nodes_makes_both_rooms_less_sure(tmp_path: Path) -> None:
    """Readings that find what was surveyed pull nothing; 12 mm off, their field bends between nodes."""
    at = Anchor(18.0, 1.5, 0.0)
    hubs = np.array([[19.85, 19.85, 18.0, 18.0]]), np.array([[1.85, 1.15, 1.85, 1.15]])
    pitch, second = [], []
    for off_m in (0.0, 0.012):
        readings = [(x, y, 100.0 + off_m, 0.002) for x in (18.0, 19.85) for y in (1.15, 1.85)]
        site = read_site(write_yard(tmp_path, readings=readings))
        machine = site.machines["SC"]
        hazards = hazards_of(site, machine)
        pitch.append(Surer.of(site, machine, hazards, ["stowed"]).at(at, 2.0)[0])
        sigmas, taken = Sigmas.of(machine, site.ground.accuracy), Readings(site.ground, site.readings)
        second.append(float(np.max(Sure.of(sigmas, taken, *hubs, 2.0).pitch)))
    assert pitch[1] > 1.05 * pitch[0] and second[1] > 1.05 * second[0]
