"""What a plan claims: form of the rows, verdicts that rest on nothing, k, and machines that differ."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from shapely.geometry import Polygon, box

from routeplan.machine.model import Figure, Tag
from routeplan.recheck.ledger import CATALOGUE
from routeplan.recheck.opinion import WHOLE_SITE, recheck_plan, second_opinion
from routeplan.recheck.swing import KIND as SWING
from routeplan.recheck.uncertainty import confidence_k
from routeplan.recheck.verdicts import SET_UP_TILT, TAIL_SWING
from routeplan.route.model import CAUTIONS, Conditions, Control, FileRecord, Leg, Move, Objection, Plan
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.model import Acceptance, Area, Defect, InputFile, Obstacle, Site, Soffit, Surface
from tests import worlds
from tests.recheck.drives import drive, kinds, move_of, opinion, with_controls, with_stands, yard_for
from tests.recheck.test_just_beyond import DAY, ROLE, YARD

#: Weighed, on ground that claims what its wheels may weigh: so that every check rests on something.
MACHINE = worlds.scissor(
    pivots=1.0, rated_load_kg=230.0, gravity_xi_m=0.9, gravity_eta_m=0.0, gravity_height_m=0.6, wheel_load_max_kn=9.0
)
POSES = drive(19.0, 15.0, 0.0, [(1.0, 0.0), (0.5, 0.1), (0.0, -0.1), (-0.5, 0.0)], step_m=0.05, turn_deg=2.0)
_YARD = yard_for(POSES, MACHINE).surfaces[0]
SITE = yard_for(POSES, MACHINE, surfaces=(dataclasses.replace(_YARD, bearing=HardGround("engineer", 90.0)),))
MOVE = with_stands(move_of(POSES, MACHINE), SITE)


def texts(objections: tuple[Objection, ...]) -> str:
    return "\n".join(found.text for found in objections)


def with_row(kind: str, **changes: Any) -> Move:
    checks = tuple(dataclasses.replace(row, **changes) if row.kind == kind else row for row in MOVE.checks)
    return dataclasses.replace(MOVE, checks=checks)


def test_a_good_move_is_accepted() -> None:
    assert opinion(MOVE, SITE) == ()


def poses_with(at: int, **changes: Any) -> Move:
    poses = list(POSES)
    poses[at] = poses[at]._replace(**changes)
    return dataclasses.replace(MOVE, poses=tuple(poses))


@pytest.mark.parametrize(
    ("move", "said"),
    [
        (poses_with(5, x=POSES[5].x + 0.002, y=POSES[5].y + 0.002), "no arc"),
        (poses_with(5, bearing_deg=POSES[5].bearing_deg + 3.0), "bearing jumps"),
        (dataclasses.replace(MOVE, poses=POSES[:4] + POSES[6:]), "envelope jumps"),
        (poses_with(5, chainage_m=POSES[5].chainage_m + 0.003), "not the length of the path"),
        (poses_with(5, chainage_m=0.0), "chainage falls"),
        (poses_with(5, gear=-1), "gear does not agree"),
        (poses_with(5, travel_mode="beside_rails_up"), "travel mode"),
        (poses_with(5, regime="elevated"), "travel mode"),
        (poses_with(5, steer="crab"), "steering is 'crab'"),
        (poses_with(5, x=math.nan), "not finite"),
        (dataclasses.replace(MOVE, reversals=0), "reversals"),
        (dataclasses.replace(MOVE, length_m=1.9), "length of the move"),
        (dataclasses.replace(MOVE, goal="A"), "to is 'A'"),
        (dataclasses.replace(MOVE, goal="A"), "does not stand at A"),
        (dataclasses.replace(MOVE, goal="C"), "no place C"),
        (dataclasses.replace(MOVE, on="2026-12-01"), "on is"),
        (dataclasses.replace(MOVE, id="M2"), "no move M2"),
        (dataclasses.replace(MOVE, configuration="raised"), "no configuration"),
        (dataclasses.replace(MOVE, poses=()), "0 rows to drive"),
        (dataclasses.replace(MOVE, poses=POSES[:1]), "there is one only"),
        (dataclasses.replace(MOVE, verdict="fail"), "rows to drive"),
    ],
)
def test_a_fault_of_form_is_refused(move: Move, said: str) -> None:
    assert said in texts(opinion(move, SITE))


def test_a_pivot_of_a_machine_that_cannot() -> None:
    machine = worlds.scissor(pivots=0.0)
    assert "a pivot" in texts(opinion(MOVE, dataclasses.replace(SITE, machines={"SC": machine})))


def test_a_bearing_other_than_the_places() -> None:
    turned = dataclasses.replace(SITE.places["B"], bearing_deg=POSES[-1].bearing_deg + 2.01)
    assert "bearing at B" in texts(opinion(MOVE, dataclasses.replace(SITE, places={**SITE.places, "B": turned})))
    turned = dataclasses.replace(turned, bearing_deg=POSES[-1].bearing_deg + 1.99)
    assert opinion(MOVE, dataclasses.replace(SITE, places={**SITE.places, "B": turned})) == ()


def test_a_move_that_gives_nothing_to_drive_is_left_alone() -> None:
    for verdict in ("no route", "search limit", "fail"):
        assert opinion(dataclasses.replace(MOVE, poses=(), verdict=verdict), SITE) == ()


@pytest.mark.parametrize("kind", CATALOGUE)
def test_every_check_needs_a_row_that_does_not_fail(kind: str) -> None:
    without = dataclasses.replace(MOVE, checks=tuple(row for row in MOVE.checks if row.kind != kind))
    assert kinds(opinion(without, SITE)) == {kind}
    assert kinds(opinion(with_row(kind, verdict="fail"), SITE)) == {kind, "verdict"}


def test_a_row_the_method_does_not_know() -> None:
    extra = dataclasses.replace(MOVE.checks[0], kind="luck")
    assert kinds(opinion(dataclasses.replace(MOVE, checks=(*MOVE.checks, extra)), SITE)) == {"luck"}


@pytest.mark.parametrize("kind", [kind for kind in CATALOGUE if kind not in (SET_UP_TILT, TAIL_SWING)])
def test_a_pass_that_rests_on_nothing_is_refused_and_not_proven_is_accepted(kind: str) -> None:
    basis = CATALOGUE[kind]
    spoilt: list[tuple[Site, str]] = []
    for n, name in enumerate(basis.figures):
        figures = {other: figure for other, figure in MACHINE.figures.items() if other != name}
        why = f"{name} is missing"
        if n % 3:
            tag: Tag = "class" if n % 3 == 1 else "memory"
            figures[name], why = Figure(name, MACHINE.value(name), tag, "invented"), f"{name} is a {tag} figure"
        machine = dataclasses.replace(MACHINE, figures=figures)
        spoilt.append((dataclasses.replace(SITE, machines={"SC": machine}), why))
    for layer in basis.layers:
        given = SITE.layers_given - {layer}
        spoilt.append((dataclasses.replace(SITE, layers_given=given), f"does not give {layer}"))
    if basis.surveyed:
        accuracy = dataclasses.replace(worlds.GOOD_SURVEY, assumed=True)
        ground = dataclasses.replace(SITE.ground, accuracy=accuracy)
        spoilt.append((dataclasses.replace(SITE, ground=ground), "accuracy of the levels is assumed"))
    open_move = dataclasses.replace(with_row(kind, verdict="not proven"), verdict="not proven")
    for site, why in spoilt:
        assert why in texts(tuple(o for o in opinion(MOVE, site) if o.kind == kind))
        assert kind not in kinds(opinion(open_move, site))


def test_not_proven_is_refused_where_the_margin_is_negative() -> None:
    wall = Obstacle("wall", YARD.intersection(YARD.buffer(0)).buffer(-14.7), "wall", None)
    site = dataclasses.replace(SITE, obstacles=(wall,))
    move = dataclasses.replace(with_row("side clearance", verdict="not proven"), verdict="not proven")
    assert kinds(opinion(move, site)) == {"side clearance"}


def test_between_zero_and_k_sigma_not_proven_is_accepted_and_pass_refused() -> None:
    head = 1.2 + 2.0 + 0.3
    canopy = Soffit("c", YARD, "canopy", head + 0.02, None, 0.0, 0.0, 0.02, "S1")
    site = dataclasses.replace(SITE, soffits=(canopy,))
    assert kinds(opinion(MOVE, site)) == {"head gap", SWING}
    assert kinds(opinion(with_row("head gap", verdict="not proven"), site)) == {SWING, "verdict"}
    rows = {"head gap": "not proven", SWING: "not proven"}
    open_move = dataclasses.replace(move_of(POSES, MACHINE, rows=rows), verdict="not proven")
    assert opinion(open_move, site) == ()


def test_a_soffit_without_sigma_is_never_a_pass() -> None:
    canopy = Soffit("c", YARD, "canopy", 9.0, None, 0.0, 0.0, None, "S1")
    found = opinion(MOVE, dataclasses.replace(SITE, soffits=(canopy,)))
    assert kinds(found) == {"head gap", "overhead clearance", SWING} and "soffit c has no sigma" in texts(found)


def test_a_survey_that_would_not_show_the_hole_is_no_pass() -> None:
    for smallest in (None, 0.36):
        accuracy = dataclasses.replace(worlds.GOOD_SURVEY, smallest_hole_m=smallest)
        site = dataclasses.replace(SITE, ground=dataclasses.replace(SITE.ground, accuracy=accuracy))
        assert kinds(opinion(MOVE, site)) == {"survey resolution"}
        move = dataclasses.replace(with_row("survey resolution", verdict="not proven"), verdict="not proven")
        assert opinion(move, site) == ()


def test_a_move_is_no_better_than_its_worst_row() -> None:
    assert kinds(opinion(with_row("step", verdict="not proven"), SITE)) == {"verdict"}
    assert opinion(dataclasses.replace(MOVE, verdict="not proven"), SITE) == ()


def test_a_move_that_asks_something_of_people_is_no_plain_pass() -> None:
    asks = with_controls(MOVE, (*MOVE.controls, Control("marshal", 0.5, "Keep people back.")))
    assert asks.verdict == "pass with controls" and opinion(asks, SITE) == ()
    assert kinds(opinion(dataclasses.replace(asks, verdict="pass"), SITE)) == {"verdict"}


@pytest.mark.parametrize(("second", "refused"), [("not proven", False), ("pass", True), ("pass with controls", True)])
def test_what_is_not_proven_is_so_on_some_leg(second: Any, refused: bool) -> None:
    first = Leg("A", "here", 1.0, 1.0, "pass", (), (), 0.0, 1.0, "ridden")
    last = Leg("here", "B", 1.0, 1.0, second, (), (), 1.0, 2.0, "ridden")
    move = dataclasses.replace(with_row("grip", verdict="not proven"), verdict="not proven", legs=(first, last))
    assert kinds(opinion(move, SITE)) == ({"verdict"} if refused else set())


def test_k_may_be_larger_but_not_smaller() -> None:
    k = confidence_k(MOVE.length_m, route_confidence=0.95, correlation_m=2.0)
    for said, expected in ((k, set()), (k + 1, set()), (k - 1e-5, {"confidence"}), (None, {"confidence"})):
        found = second_opinion(MOVE, said, site=SITE, machine=MACHINE, conditions=Conditions())
        assert kinds(found) == expected
    for less in (k - 1e-5, math.nan):
        assert kinds(opinion(with_row("bounce rise", k=less), SITE)) == {"bounce rise"}


def test_acceptances_and_closures_go_by_the_day() -> None:
    moves = (dataclasses.replace(SITE.moves[0], on=DAY),)
    move = dataclasses.replace(MOVE, on=DAY.isoformat(), valid_until=DAY.isoformat())

    def accepted(**changes: Any) -> set[str]:
        acceptance = dataclasses.replace(Acceptance(ROLE, DAY, 2300.0, DAY), **changes)
        surface = Surface("yard", YARD, "stone", acceptance, friction=worlds.ROUGH)
        return kinds(opinion(move, dataclasses.replace(SITE, moves=moves, surfaces=(surface,))))

    before, after = DAY.replace(day=DAY.day - 1), DAY.replace(day=DAY.day + 1)
    assert accepted() == set()
    for refused in (
        {"date": before, "valid_until": before},
        {"date": after, "valid_until": None},
        {"mass_limit_kg": 2299.0},
    ):
        assert accepted(**refused) == {"surface acceptance"}
    for closed_on, expected in ((DAY, {"closed areas"}), (after, set())):
        area = Area("a", "bay", YARD, ((closed_on, closed_on),))
        assert kinds(opinion(move, dataclasses.replace(SITE, moves=moves, areas=(area,)))) == expected


def test_conditions_close_and_open_areas_and_closing_wins() -> None:
    never, dated = Area("a", "bay", YARD, ()), Area("a", "bay", YARD, ((DAY, DAY),))
    told = Control("opened area", 0.0, "bay (a) is taken as open against the site's own dates: make sure that it is.")
    move = dataclasses.replace(MOVE, controls=(*MOVE.controls, told), verdict="pass with controls")
    for area, conditions, expected in (
        (never, Conditions(), set()),
        (never, Conditions(closed=("a",)), {"closed areas"}),
        (dated, Conditions(), {"closed areas"}),
        (dated, Conditions(opened=("a",)), set()),
        (dated, Conditions(opened=("a",), closed=("a",)), {"closed areas"}),
    ):
        found = opinion(move, dataclasses.replace(SITE, areas=(area,)), conditions=conditions)
        assert kinds(found) == expected
    untold = opinion(MOVE, dataclasses.replace(SITE, areas=(dated,)), conditions=Conditions(opened=("a",)))
    assert [one.text for one in untold] == ["nobody is told that a is taken as open against the site's own dates"]


def test_a_move_without_a_day_counts_on_nothing_that_is_accepted_after_the_day_of_issue() -> None:
    (surface,) = (one for one in SITE.surfaces if one.acceptance)
    given = dataclasses.replace(surface, acceptance=Acceptance(ROLE, DAY, 20_000.0))
    site = dataclasses.replace(SITE, surfaces=(given,))
    for issued, expected in ((DAY, set()), (DAY.replace(day=DAY.day - 1), {"surface acceptance"})):
        assert kinds(opinion(MOVE, site, conditions=Conditions(on=issued.isoformat()))) == expected


def plan_of(move: Move, site: Site) -> Plan:
    k = confidence_k(move.length_m, route_confidence=0.95, correlation_m=2.0)
    return Plan(
        software="test", issued="2026-12-01T08:00:00Z", valid_until=None, revision="1", supersedes=None, status="draft",
        conditions=Conditions(on="2026-12-01"), site_name=site.name, site_revision=site.revision, crs=site.crs,
        invented=True,
        inputs=tuple(FileRecord(entry.path, entry.sha256) for entry in site.inputs), grid={}, confidence_route=0.95,
        k_by_move={move.id: k}, machines=dict(site.machines), moves=(move,), not_checked=("gusts",), cautions=CAUTIONS,
    )  # fmt: skip


def test_a_plan_of_this_site_is_accepted() -> None:
    site = dataclasses.replace(SITE, inputs=(InputFile("levels.tif", "00"),))
    assert dict(recheck_plan(plan_of(MOVE, site), site=site)) == {WHOLE_SITE: (), "M1": ()}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"conditions": Conditions(opened=("A",), on="2026-12-01")}, "no area A"),
        ({"conditions": Conditions(closed=("A",), on="2026-12-01")}, "no area A"),
        ({"conditions": Conditions(on="2026-12-09")}, "the day of issue, 2026-12-01"),
        ({"conditions": Conditions()}, "the day of issue, 2026-12-01"),
        ({"status": "issued"}, "nobody has issued it"),
        ({"cautions": ("Certified stable. No walk needed.",)}, "of the cautions"),
        ({"not_checked": ()}, "what is not checked"),
        ({"invented": False}, "whether the data are invented"),
    ],
)
def test_a_plan_does_not_choose_what_it_says_of_itself(changes: Any, said: str) -> None:
    found = recheck_plan(dataclasses.replace(plan_of(MOVE, SITE), **changes), site=SITE)
    assert said in texts(found[WHOLE_SITE])


def changed_machine(**changes: Any) -> Any:
    return {"SC": dataclasses.replace(MACHINE, **changes)}


@pytest.mark.parametrize(
    ("machines", "said"),
    [
        ({}, "plan does not describe"),
        (changed_machine(wheels=worlds.boom().wheels), "wheel front_left"),
        (changed_machine(configurations=worlds.boom().configurations), "configuration stowed"),
        (
            changed_machine(figures={**MACHINE.figures, "mass_kg": Figure("mass_kg", 2299.0, "sheet", "invented")}),
            "mass_kg of SC",
        ),
        (
            changed_machine(figures={**MACHINE.figures, "mass_kg": Figure("mass_kg", 2300.0, "measured", "invented")}),
            "measured in the plan, sheet on site",
        ),
    ],
)
def test_a_machine_that_differs_from_the_site_folders_is_refused(machines: Any, said: str) -> None:
    plan = dataclasses.replace(plan_of(MOVE, SITE), machines=machines)
    assert said in texts(recheck_plan(plan, site=SITE)["M1"])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"inputs": (InputFile("levels.tif", "01"),)}, "changed since: levels.tif"),
        ({"inputs": (InputFile("levels.tif", "00"), InputFile("new.csv", "00"))}, "changed since: new.csv"),
        ({"inputs": ()}, "changed since: levels.tif"),
        ({"revision": "T2"}, "another site, revision"),
        ({"moves": (*SITE.moves, worlds.wanted("SC", "B", "A", move_id="M9"))}, "asks for move M9"),
    ],
)
def test_a_site_that_has_changed_since_is_refused(changes: Any, said: str) -> None:
    site = dataclasses.replace(SITE, inputs=(InputFile("levels.tif", "00"),))
    found = recheck_plan(plan_of(MOVE, site), site=dataclasses.replace(site, **changes))
    assert said in texts(found[WHOLE_SITE])


def test_a_move_is_not_said_to_hold_beyond_a_dated_change_where_its_body_goes() -> None:
    moves = (dataclasses.replace(worlds.wanted("SC", "A", "B"), on=DAY),)
    (surface,) = (one for one in SITE.surfaces if one.acceptance)
    first, ends = DAY.replace(day=DAY.day + 4), DAY.replace(day=DAY.day + 3)
    closes = Area("a", "bay", YARD, ((first, first),))
    given = dataclasses.replace(surface, acceptance=Acceptance(ROLE, DAY, 20_000.0, ends))

    def kinds_until(until: str | None, site: Site, conditions: Conditions | None = None) -> set[str]:
        move = dataclasses.replace(MOVE, on=DAY.isoformat(), valid_until=until)
        return kinds(opinion(move, dataclasses.replace(site, moves=moves), conditions=conditions))

    closing, ending = dataclasses.replace(SITE, areas=(closes,)), dataclasses.replace(SITE, surfaces=(given,))
    plate = Defect("p", "plate", YARD, 1.0, 0.0, 0.0, "proven", Proof(DAY, HardGround("maker", 90.0), ends))
    for site in (closing, ending, dataclasses.replace(SITE, defects=(plate,))):
        assert kinds_until(ends.isoformat(), site) == set()
        assert kinds_until(first.isoformat(), site) == {"validity"}
        assert kinds_until(None, site) == {"validity"}
    assert kinds_until(None, SITE) == set()
    today = dataclasses.replace(given, acceptance=Acceptance(ROLE, DAY, 20_000.0, DAY))
    plate_today = dataclasses.replace(plate, proof=Proof(DAY, HardGround("maker", 90.0), DAY))
    for layers in ({"surfaces": (today,)}, {"defects": (plate_today,)}):
        assert kinds_until(DAY.isoformat(), dataclasses.replace(SITE, **layers)) == set()
        assert kinds_until(None, dataclasses.replace(SITE, **layers)) == {"validity"}
    assert "validity" not in kinds_until(None, closing, Conditions(opened=("a",))), "it is open on every day"
    elsewhere = Area("a", "bay", box(0.0, 0.0, 1.0, 1.0), ((first, first),))
    assert kinds_until(None, dataclasses.replace(SITE, areas=(elsewhere,))) == set()


def test_a_plan_past_its_last_day_is_void() -> None:
    plan = dataclasses.replace(plan_of(MOVE, SITE), valid_until=DAY.isoformat())
    assert recheck_plan(plan, site=SITE, today=DAY)[WHOLE_SITE] == ()
    (over,) = recheck_plan(plan, site=SITE, today=DAY.replace(day=DAY.day + 1))[WHOLE_SITE]
    assert over.kind == "validity" and "it is void" in over.text


def test_a_plan_is_not_said_to_hold_beyond_the_next_dated_change_after_its_moves() -> None:
    """Its moves are made by then; who still has the sheet must not drive it again."""
    first, last = DAY.replace(day=DAY.day + 4), (DAY.replace(day=DAY.day + 3)).isoformat()
    moves = (dataclasses.replace(worlds.wanted("SC", "A", "B"), on=DAY),)
    move = dataclasses.replace(MOVE, on=DAY.isoformat(), valid_until=last)

    def told(until: str | None, shape: Polygon, opened: tuple[str, ...] = ()) -> str:
        closes = (Area("a", "bay", shape, ((first, first),)),)
        site = dataclasses.replace(SITE, areas=closes, moves=moves)
        plan = dataclasses.replace(plan_of(move, site), valid_until=until, issued=f"{DAY}T08:00:00+00:00")
        conditions = dataclasses.replace(plan.conditions, on=None, opened=opened)
        return texts(recheck_plan(dataclasses.replace(plan, conditions=conditions), site=site)[WHOLE_SITE])

    assert told(last, YARD) == ""
    for until in (first.isoformat(), None):
        assert f"the closure of a ends it on {last}" in told(until, YARD)
        assert told(until, box(0.0, 0.0, 1.0, 1.0)) == ""
        assert "ends it" not in told(until, YARD, opened=("a",))
