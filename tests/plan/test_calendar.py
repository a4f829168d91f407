"""Calendars made by hand, a case a rule: a yard and a bay, a wall between them, and a door in it that closes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import Polygon, box

from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan import finer, whole
from routeplan.plan.calendar import calendar_of, days_of
from routeplan.plan.covered import Covered
from routeplan.plan.move import MovePlanner
from routeplan.route.days import Cause, MachineCalendar, Slip, Window
from routeplan.route.model import Move, Objection
from routeplan.site.bearing import HardGround, Proof
from routeplan.site.hire import Hire
from routeplan.site.model import Acceptance, Area, Defect, GridSpec, MoveWanted, Obstacle, Site, Surface
from routeplan.site.spans import NO_FIRST, NO_LAST, Span
from tests import worlds
from tests.calendars import ISSUED, day, move
from tests.plan.test_ground_load import weighed

EAST_M, NORTH_M = 15.0, 8.0
IN, OUT = move("D1", "delivery", "yard", "bay", 0), move("C1", "collection", "bay", "yard", 6)
DOOR = box(6.5, 2.0, 8.5, 6.0)
ACCEPTED = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A finer look that takes no minute."""
    monkeypatch.setattr(finer, "LOOKS", ((GridSpec(cell_m=0.25), 0),))


def closed(*spans: tuple[int | None, int | None], name: str = "door", shape: Polygon = DOOR) -> Area:
    """An area closed from one day to another, from the first; ``None`` is an end that nobody knows."""
    found: list[Span] = [
        (NO_FIRST if first is None else day(first), NO_LAST if last is None else day(last)) for first, last in spans
    ]
    return Area(name, name.capitalize(), shape, tuple(found))


def yard(
    *areas: Area, moves: Sequence[MoveWanted] = (IN, OUT), machine: Machine | None = None,
    **layers: Any,
) -> Site:  # fmt: skip
    """The yard in the west, the bay in the east, more places in both."""
    walls = (box(7.4, -1.0, 7.6, 2.5), box(7.4, 5.5, 7.6, NORTH_M + 1.0))
    machine = machine or worlds.scissor()
    return worlds.flat_site(
        EAST_M, NORTH_M, machines=(machine,), moves=tuple(moves), areas=areas, grid=GridSpec(cell_m=0.5),
        places=(
            worlds.place("yard", 3.0, 4.0, 90.0), worlds.place("bay", 11.5, 4.0, 90.0),
            worlds.place("corner", 3.0, 6.5), worlds.place("store", 11.5, 6.5, 90.0),
        ),
        obstacles=tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(walls)),
        hire={machine.id: Hire(1, 1)}, **layers,
    )  # fmt: skip


def told(site: Site, issued: str = ISSUED) -> MachineCalendar:
    """The calendar of the one machine."""
    (found,) = calendar_of(site, issued=issued).machines
    return found


def outs(found: MachineCalendar) -> str:
    """A letter a day: whether it has a way out, in small where it is there no more."""
    letters = {
        None: ".", "pass": "Y", "pass with controls": "Y", "not proven": "?", "no route": "N", "search limit": "L",
        "fail": "R",
    }  # fmt: skip
    return "".join(letters[row.out] if row.planned else letters[row.out].lower() for row in found.days)


def reaches(found: MachineCalendar) -> str:
    return "".join("." if row.reach is None else "Y" if row.reach == "pass" else "N" for row in found.days)


def iso(n: int) -> str:
    return day(n).isoformat()


def test_a_door_that_closes_for_some_days_and_then_for_good() -> None:
    """Every figure of one calendar: letters, last dates, windows, what ends it, and who is stranded."""
    found = told(yard(closed((3, 4), (9, None))))
    assert (outs(found), reaches(found)) == ("YYYNNYYyyn", "YYYNNYY...")
    assert [row.next_move for row in found.days[:2]] == ["D1", "C1"]
    assert (found.first_without, found.last_way_out, found.last_safe) == (iso(3), iso(2), iso(0))
    assert (found.in_hand_days, found.spare_days, found.collected) == (0, -6, iso(6))
    assert found.later == (Window(iso(5), iso(8)),)
    first, second = found.without
    assert (first.first, first.last, first.place) == (iso(3), iso(4), "bay")
    assert first.ended_by == (Cause("area", "door", "Door"),) and first.alone
    assert first.stranded and not second.stranded and second.last is None
    assert found.slip_collection == Slip(2, f"from {iso(9)} no way out from bay for good")
    assert found.slip_work is None, "it is stranded as planned"


def test_notice_and_buffer_are_taken_off_in_calendar_days_and_unknown_is_no_date() -> None:
    site = yard(closed((9, None)))
    assert told(replace(site, hire={"SC": Hire(5, 2)})).last_safe == iso(1)
    assert told(replace(site, hire={"SC": Hire(0, 0)})).last_safe == iso(8)
    for terms in ({}, {"SC": Hire(5, None)}, {"SC": Hire(None, 2)}):
        found = told(replace(site, hire=terms))
        assert (found.last_way_out, found.last_safe) == (iso(8), None)
        assert found.in_hand_days is None and found.spare_days is None


def test_days_in_hand_count_from_the_day_of_issue_and_what_is_past_is_not_asked_for() -> None:
    site = yard(closed((9, None)))
    found = told(site, issued="2026-12-04T23:59:00+01:00")
    assert found.days[0].day == iso(3) and outs(found) == "YYYYyyn"
    assert (found.last_safe, found.in_hand_days, found.spare_days) == (iso(6), 3, 0)


def test_a_machine_that_is_gone_by_the_day_of_issue_has_no_calendar() -> None:
    assert calendar_of(yard(), issued="2026-12-31T06:00:00+00:00").machines == ()


def test_an_area_that_is_closed_until_it_opens() -> None:
    """It cannot be delivered before; one that is there already is stranded until then."""
    later = replace(IN, on=day(3))
    found = told(yard(closed((None, 1)), moves=(later, OUT)))
    assert reaches(found) == "NNYYYYY." and outs(found) == "...YYYYy"
    inside = told(yard(closed((None, 1)), moves=(OUT,)))
    assert outs(inside) == "NNYYYYYy" and inside.last_way_out is None and inside.last_safe is None
    assert inside.without[0].stranded and inside.without[0].ended_by[0].id == "door"


def test_nothing_ends_it() -> None:
    found = told(yard())
    assert outs(found) == "YYYYYYYy" and found.without == () and found.first_without is None
    assert found.last_safe is None and found.last_way_out is None
    assert found.slip_collection == Slip(14, "") and found.slip_work == Slip(14, "")


@pytest.fixture(params=["both opinions", "the first alone"])
def opinions(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the second opinion put out of action, the ground that a way covers has to be enough."""
    if request.param == "the first alone":
        monkeypatch.setattr(whole, "second_opinion", lambda *_, **__: ())


@pytest.mark.usefixtures("opinions")
def test_a_plate_is_a_way_until_it_is_taken_away() -> None:
    """Its last day is the last with a way, the day after has none, and the plate is what ends it."""
    trench = Defect("t", "trench", box(9.0, -1.0, 9.6, NORTH_M + 1.0), 0.6, 1.2, 0.0, "plated")
    proof = Proof(dt.date(2026, 11, 20), HardGround("engineer", 40.0), day(4))
    plate = Defect("l", "plate", box(8.5, 2.5, 10.1, 5.5), 3.0, 0.0, 0.01, "proven", proof)
    far = worlds.place("far", 12.5, 4.0, 90.0)
    site = yard(machine=weighed(), moves=(replace(IN, goal="far"), replace(OUT, start="far")), defects=(trench, plate))
    found = told(replace(site, places={**site.places, "far": far}))
    assert outs(found) == "YYYYYNNNN"[: len(found.days)] and found.last_way_out == iso(4)
    assert found.without[0].ended_by == (Cause("plate", "l", "plate l"),)


@pytest.mark.usefixtures("opinions")
def test_ground_is_a_way_until_its_acceptance_ends_and_from_when_it_begins() -> None:
    strip = box(6.5, 0.0, 8.5, NORTH_M)
    whole_yard = box(0.0, 0.0, EAST_M, NORTH_M)
    yard_ground = Surface("yard", whole_yard.difference(strip), "stone", ACCEPTED, friction=worlds.ROUGH)
    word = replace(ACCEPTED, date=day(1), valid_until=day(4))
    boards = Surface("strip", strip, "boards", word, friction=worlds.ROUGH)
    found = told(yard(surfaces=(yard_ground, boards), moves=(replace(IN, on=day(2)), OUT)))
    assert reaches(found) == "NYYYYNN." and outs(found) == "..YYYNNN"
    assert found.last_way_out == iso(4) and found.without[0].ended_by == (Cause("surface", "strip", "boards strip"),)


BESIDE = box(10.0, 0.0, 11.0, 1.0)


@pytest.mark.parametrize(
    ("areas", "ended_by", "alone"),
    [
        ((closed((3, 4)), closed((3, 4), name="beside", shape=BESIDE)), {"door"}, True),
        ((closed((3, 4)), closed((3, 4), name="again", shape=box(8.6, 0, 9.4, 8))), {"door", "again"}, False),
        ((closed((3, 4), shape=box(8, 0, 15, 8)), closed((3, 4), name="again", shape=box(8, 0, 15, 7))),
         {"door", "again"}, False),
        ((closed((1, 9), name="again", shape=box(8.6, 0, 9.4, 4)), closed((3, 4))), {"door"}, True),
    ],
    ids=["one bars it, one lies beside", "both bar it", "it stands in both", "one was closed before"],
)
def test_what_ends_it_is_found_by_opening_each_alone(areas: tuple[Area, ...], ended_by: set[str], alone: bool) -> None:
    run = told(yard(*areas)).without[0]
    assert run.first == iso(3)
    assert ({cause.id for cause in run.ended_by}, run.alone) == (ended_by, alone)


def test_either_of_two_doors_brings_the_way_back() -> None:
    gap = box(7.4, -1.0, 7.6, 0.1), box(7.4, 2.7, 7.6, 5.3), box(7.4, 7.9, 7.6, 9.0)
    doors = (
        closed((3, 4), name="south", shape=box(6.5, 0.0, 8.5, 2.7)),
        closed((3, 4), name="north", shape=box(6.5, 5.3, 8.5, 8.0)),
    )
    walls = tuple(Obstacle(f"w{n}", wall, "wall", None) for n, wall in enumerate(gap))
    run = told(replace(yard(*doors), obstacles=walls)).without[0]
    assert {cause.id for cause in run.ended_by} == {"south", "north"} and run.alone


def test_a_move_behind_a_closure_that_is_in_force_strands_it_from_that_day() -> None:
    """Nothing closes on that day; all that is closed is looked at."""
    moves = (IN, move("R1", "relocation", "bay", "store", 3), replace(OUT, start="store"))
    found = told(yard(closed((2, 4), name="fence", shape=box(10.0, 5.2, 13.0, 8.0)), moves=moves))
    (run,) = found.without
    assert outs(found) == "YYYNNYYy"
    assert (run.first, run.place, run.stranded) == (iso(3), "store", True)
    assert [cause.id for cause in run.ended_by] == ["fence"] and run.alone


def test_a_way_that_is_not_proven_is_no_way_out_and_strands_nobody() -> None:
    found = told(yard(closed((3, 4)), machine=worlds.scissor(tag="class")))
    assert outs(found) == "???NN????"[: len(found.days)]
    assert (found.first_without, found.last_way_out, found.last_safe) == (iso(0), None, None)
    assert [run.stranded for run in found.without] == [False, True, False]
    assert found.slip_collection is None and found.slip_work is None


def test_a_search_that_gives_up_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    """It proves nothing, and is no way."""
    look = finer.Look(None, 1, 1, "")
    monkeypatch.setattr("routeplan.plan.move.look_finer", lambda *_, **__: look)
    monkeypatch.setattr("routeplan.plan.move.parted_m", lambda *_: None)  # as if only a search could tell
    found = told(yard(closed((3, 4))))
    assert outs(found) == "YYYLLYYy" and found.without[0].stranded and found.without[0].verdict == "search limit"


def test_a_way_that_the_second_opinion_refuses_is_no_way(monkeypatch: pytest.MonkeyPatch) -> None:
    no = Objection("form", 0.0, (0.0, 0.0), 0.0, 0.0, "", "a test")
    monkeypatch.setattr(whole, "second_opinion", lambda *_, **__: (no,))
    found = told(yard())
    assert set(outs(found)) == {"R"} and found.first_without == iso(0) and found.without[0].stranded


@pytest.mark.usefixtures("opinions")
def test_a_raised_way_is_known_on_no_other_day() -> None:
    """Its zone is accepted until the day before."""
    machine = worlds.scissor(**worlds.RAISED)
    zone = worlds.zone(0.2, 0.2, 14.8, 7.8)
    assert zone.acceptance is not None
    word = replace(zone.acceptance, valid_until=day(2))
    up = replace(move("R1", "relocation", "bay", "yard", 3), regime="elevated", platform_height_m=5.0)
    moves, zones = (IN, up, replace(OUT, start="yard", goal="corner")), (replace(zone, acceptance=word),)
    site = yard(moves=moves, machine=machine, elevated_zones=zones)
    rows = {row.day: row for row in told(site).days if row.next_move == "R1"}
    assert [rows[iso(n)].reach in ("pass", "pass with controls") for n in (1, 2, 3)] == [True, True, False]


def test_a_way_known_from_another_day_must_miss_what_is_closed_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second opinion put out of action: the ground that the way covers is enough."""
    monkeypatch.setattr(whole, "second_opinion", lambda *_, **__: ())
    assert outs(told(yard(closed((3, 4))))) == "YYYNNYYy"


def test_the_second_opinion_must_accept_it_on_that_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """The ground that it covers put out of action: the second opinion is enough."""
    monkeypatch.setattr(Covered, "met", lambda *_: ())
    assert outs(told(yard(closed((3, 4))))) == "YYYNNYYy"


def test_a_way_known_from_another_day_is_searched_for_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is closed in a corner that no way leads through costs no search."""
    asked = list[str | None]()
    real = MovePlanner.plan

    def noted(planner: MovePlanner, wanted: MoveWanted) -> Move:
        asked.append(None if wanted.on is None else wanted.on.isoformat())
        return real(planner, wanted)

    monkeypatch.setattr(MovePlanner, "plan", noted)
    corner = [closed((n, n), name=f"c{n}", shape=box(13.0, 0.0, 14.0, 0.5)) for n in range(2, 6)]
    found = told(yard(*corner))
    assert outs(found) == "YYYYYYYy" and len(asked) == 2  # each move on its own day


def test_a_collection_that_has_no_way_on_its_day_leaves_it_there() -> None:
    found = told(yard(closed((6, 8))))
    assert outs(found) == "YYYYYYNNNY" and found.without[0].stranded
    assert found.slip_collection is None


def test_how_much_later_work_may_be() -> None:
    """Three days later its collection meets the door; a move that meets it is named."""
    late = told(yard(closed((9, 10))))
    assert late.slip_work == Slip(2, f"from {iso(9)} no way out from bay until {iso(11)}")
    assert late.slip_collection == Slip(2, f"from {iso(9)} no way out from bay until {iso(11)}")
    moves = (IN, replace(OUT, on=day(1)))
    early = told(yard(closed((3, 10)), moves=moves))
    assert early.slip_work == Slip(1, f"from {iso(3)} no way out from bay until {iso(11)}")
    past = told(yard(closed((9, 10))), issued="2026-12-03T06:00:00+00:00")
    assert past.slip_work == Slip(2, f"from {iso(9)} no way out from bay until {iso(11)}")


def test_a_machine_of_which_nobody_knows_where_it_stands_has_no_days() -> None:
    for moves, why in (
        ((IN, replace(OUT, on=None)), "move C1 has no day"),
        ((IN, replace(OUT, start="store")), "move D1 leaves it at bay, and C1 starts from store"),
        ((OUT, move("R1", "relocation", "yard", "corner", 8)), "move R1 follows C1, which collects it, and does not"),
        ((move("R1", "relocation", "bay", "store", 1),), "no move delivers or collects it"),
    ):
        found = told(yard(closed((9, None)), moves=moves))
        assert found.unplaced is not None and found.unplaced.startswith(why)
        assert found.days == () and found.last_safe is None


def test_a_machine_that_comes_twice_has_a_calendar_each_time() -> None:
    again = (move("D2", "delivery", "yard", "bay", 8), move("C2", "collection", "bay", "yard", 9))
    first, second = calendar_of(yard(closed((9, 9)), moves=(IN, OUT, *again)), issued=ISSUED).machines
    assert (first.collection, second.collection) == ("C1", "C2")
    assert outs(second).startswith("........YN") and second.without[0].stranded


def test_where_nothing_collects_it_it_gets_out_to_where_it_was_delivered() -> None:
    found = told(yard(closed((4, None)), moves=(IN,)))
    assert outs(found) == "YYYYN" and found.last_safe == iso(1) and found.collection is None
    assert found.slip_work == Slip(3, f"move D1 has no way on {iso(4)}")
    back = told(yard(moves=(IN, move("R1", "relocation", "bay", "yard", 2))))
    assert outs(back) == "YY??", "it stands there already, and nobody looks whether that is free"


def test_days_go_from_the_first_dated_thing_or_today_until_nothing_changes() -> None:
    site = yard(closed((3, 4)), moves=())
    assert days_of(site, dt.date(2026, 1, 1))[0] == ACCEPTED.date
    days = days_of(site, day(0))
    assert (days[0], days[-1]) == (day(0), day(5))
    assert days_of(yard(closed((None, None)), moves=()), day(2)) == [day(2)]
    assert days_of(yard(moves=(OUT,)), day(0))[-1] == day(7)


def test_what_is_asked_aside_moves_no_machine() -> None:
    """Where a way leads that nobody drives, the machine still stands as it was left there."""
    south = worlds.place("south", 4.5, 2.5, 0.0)
    site = replace(yard(), places={**yard().places, "south": south})
    terrain = build_terrain(site.ground, site.grid)
    planner = MovePlanner(site, terrain, ())
    left = planner.plan(move("D1", "delivery", "yard", "corner", 0)).poses[-1]
    other = planner.aside(site).plan(move("C1", "collection", "south", "corner", 0)).poses[-1]
    assert abs(left.bearing_deg - other.bearing_deg) > 1.0, "they would stand there alike"
    first = planner.plan(move("R1", "relocation", "corner", "yard", 1)).poses[0]
    assert (first.x, first.y, first.bearing_deg) == pytest.approx((left.x, left.y, left.bearing_deg))


def test_moves_are_on_their_days_what_a_plan_has_them_be() -> None:
    site = yard(closed((9, None)), moves=(IN, move("R1", "relocation", "bay", "store", 3), replace(OUT, start="store")))
    plain = whole.plan_site(site, issued=ISSUED).moves
    assert [row.reach for row in told(site).days if row.moves] == [one.verdict for one in plain]
