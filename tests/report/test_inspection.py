"""The inspection list: what stands on it and in what order, numbers rounded against the user, words that stay words."""

from __future__ import annotations

import csv
import dataclasses
import functools
import io
import json
import math
import re

import pytest
from shapely.geometry import Point

from routeplan.report.inspection import RULES, VOID_IF, inspection_page
from routeplan.report.inspection_csv import COLUMNS, inspection_csv
from routeplan.report.inspection_line import ASK, Line, Reading
from routeplan.report.inspection_list import inspection_lines
from routeplan.report.markup import plain
from routeplan.route.model import CAUTIONS, Control, Leg, Measured, Move, Stand, StopNumber
from routeplan.site.model import Defect, Site
from tests.report.test_page import Reader
from tests.report.world import NASTY, area, at, moves, plan, site

SHA = "ab" * 32
NUMBERS = (
    StopNumber("H2", "depth", 0.075, 0.0889, ("head gap", "bounce rise"), 71.04, (0.0, 0.0)),
    StopNumber("canopy", "clear height", 3.05, 2.9503, ("head gap",), 20.0, (0.0, 0.0)),
)
PLAN, SITE = plan(), site()


def lines(move: Move, numbers: tuple[StopNumber, ...] = NUMBERS, world: Site = SITE) -> tuple[Line, ...]:
    return inspection_lines(move, numbers, plan=PLAN, site=world)


@functools.cache
def lists() -> dict[str, tuple[Line, ...]]:
    return {move.id: lines(move) for move in PLAN.moves}


@functools.cache
def page() -> str:
    return inspection_page(PLAN, SITE, lists(), sha256=SHA)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def reader(text: str) -> Reader:
    read = Reader()
    read.feed(text.replace("<input", "<use"))
    read.close()
    assert read.open == []
    return read


def line_of(found: tuple[Line, ...], title: str) -> Line:
    (one,) = [line for line in found if line.title == title]
    return one


def test_lines_stand_in_driving_order_between_what_comes_before_and_what_comes_last() -> None:
    for move in PLAN.moves:
        if move.poses:
            found = [line.chainage_m for line in lists()[move.id]]
            assert found == sorted(found) and found[-1] == math.inf and len(found) > 5
            assert lists()[move.id][-1].title == "Anything that is not on this list"


def test_every_hole_near_a_way_is_on_the_list_and_none_that_is_far() -> None:
    move = moves()[1]
    near, far = Point(move.poses[300].x, move.poses[300].y), Point(at(245.0, 5.0))
    holes = tuple(
        Defect(f"N{n}", "pothole", spot.buffer(0.2), 0.4, 0.05, 0.0, None) for n, spot in enumerate((near, far))
    )
    titles = [line.title for line in lines(move, (), dataclasses.replace(SITE, defects=holes))]
    assert "Pothole N0" in titles and "Pothole N1" not in titles


def test_a_thing_with_a_number_is_on_the_list_however_far_it_is() -> None:
    line = line_of(lists()["D2"], "Canopy canopy")
    assert [reading.last_good for reading in line.readings] == ["2.951"]
    assert line_of(lists()["D2"], "Pothole H2").readings[0].stops == "head gap, bounce rise, machine at 71.0 m"


def test_what_has_no_number_says_look_and_ask_and_nowhere_ok() -> None:
    readings = [one for found in lists().values() for line in found for one in line.readings]
    bare = [one for one in readings if one.number is None]
    assert len(bare) >= 3
    assert all((one.lead, one.limit, one.last_good) == ("no number", ASK, "") for one in bare)
    words = " ".join(reader(page()).words)
    assert not re.search(r"\bOK\b|\bsafe\b|\bpassed\b", words, re.IGNORECASE)


@pytest.mark.parametrize(
    ("figure", "recorded_m", "last_good_m", "recorded", "last_good"),
    [
        ("depth", 0.03, 0.0435, "30", "43"),
        ("depth", 0.0305, 0.0435, "30.5", "43"),
        ("width", 0.3, 0.1 + 0.2, "300", "300"),
        ("depth", 0.03, 0.057, "30", "57"),
        ("height", 0.01, 0.0119, "10", "11"),
        ("level", 12.0, 11.9401, "12.000", "11.941"),
        ("clear height", 3.05, 2.95, "3.050", "2.950"),
        ("level", -1.25, -1.3004, "-1.250", "-1.300"),
    ],
)
def test_numbers_are_rounded_against_the_user(
    figure: Measured, recorded_m: float, last_good_m: float, recorded: str, last_good: str
) -> None:
    number = StopNumber("thing", figure, recorded_m, last_good_m, ("head gap",), 1.0, (0.0, 0.0))
    reading = Reading("thing", figure, recorded_m, number)
    assert (reading.recorded, reading.last_good) == (recorded, last_good)
    shown_m = float(reading.last_good) / (1.0 if reading.overhead else 1000.0)
    assert shown_m >= last_good_m - 1e-9 if reading.overhead else shown_m <= last_good_m + 1e-9
    assert reading.limit == f"{last_good} {'m' if reading.overhead else 'mm'}" and reading.measured_from


def test_things_without_a_number_are_told_from_plan_and_site() -> None:
    move = moves()[1]
    pose = move.poses[len(move.poses) // 2]
    door = dataclasses.replace(
        SITE.places["gate-2"], id="door-x", kind="door", title="Door X", point=Point(pose.x, pose.y)
    )
    cover = Defect("MH9", "cover", Point(pose.x + 1.0, pose.y).buffer(0.3), 0.6, 0.0, 0.0, None)
    pit = dataclasses.replace(SITE.excavations[0], geometry=area(0, 0, 1, 1), id="far pit")
    near_pit = dataclasses.replace(pit, id="near pit", geometry=Point(pose.x, pose.y + 4.0).buffer(1.0))
    bare = dataclasses.replace(SITE.surfaces[0], id="bare", acceptance=None)
    world = dataclasses.replace(
        SITE, places=dict(SITE.places) | {"door-x": door}, defects=(cover,), excavations=(pit, near_pit),
        surfaces=(SITE.surfaces[0], bare),
    )  # fmt: skip
    found = lines(move, (), world)
    told = {line.title: line.look for line in found}
    assert "held open" in told["Door: Door X"]
    assert "No wheel on it" in told["Cover MH9"] and "nobody said in what state" in told["Cover MH9"]
    assert "Wheels keep" in told["Excavation near pit"] and "Excavation far pit" not in told
    assert "the marshal is there" in told["Walkway W1"]
    assert "accepted by temporary works coordinator on 2026-11-20 for up to 12000 kg" in told["Ground stone yard"]
    assert "nobody accepted" in told["Ground bare"]
    assert told["Start: Gate 2"] and told["Finish: Plant park"]
    assert any("Stop short of walkway W1" in line.look for line in found)


def test_legs_name_gaps_and_leave_hold_points_to_the_stops() -> None:
    move = moves()[1]
    ends = ("gate-2", "hold point 1", "gap between a and b", "park")
    cuts = (0.0, 20.0, 40.0, move.length_m)
    legs = tuple(
        Leg(ends[n], ends[n + 1], cuts[n + 1] - cuts[n], 1.0, "pass", (), (), cuts[n], cuts[n + 1], "ridden")
        for n in range(3)
    )
    titles = [line.title for line in lines(dataclasses.replace(move, legs=legs))]
    assert "On the way: gap between a and b" in titles and not any("hold point" in title for title in titles)


def test_a_limit_of_speed_is_watched_and_nobody_stops_for_it() -> None:
    move = next(move for move in PLAN.moves if move.poses)
    text = "No faster than 0.40 m/s between 3 m and 9 m, held steady: the basket bounces."
    slow = dataclasses.replace(move, controls=(Control("speed", 3.0, text),), holds=())
    found = next(line for line in lines(slow) if text in line.look)
    assert (found.title, found.chainage_m) == ("Watch", 3.0)


def test_zones_and_open_checks_are_told() -> None:
    found = [line for move in PLAN.moves for line in lists()[move.id]]
    zones = [zone for move in PLAN.moves for zone in move.zones]
    assert sum(" zone " in line.title for line in found) == len(zones) > 0
    opened = [line for line in lists()[moves()[2].id] if line.title.startswith("Open: ")]
    assert opened and all(line.chainage_m == -math.inf and ASK in line.look for line in opened)


def test_a_move_without_a_way_says_so_in_one_line() -> None:
    for move in PLAN.moves:
        if not move.poses:
            (line,) = lists()[move.id]
            assert line.title == "No way to walk: the machine does not make this move"
            assert move.reason in line.look
            assert plain(line.look) in " ".join(reader(page()).words)
    assert sum(not move.poses for move in PLAN.moves) == 3


def test_the_page_says_what_it_is_how_it_is_used_when_it_is_void_and_carries_the_cautions() -> None:
    words = " ".join(" ".join(reader(page()).words).split())
    for text in (*CAUTIONS, *RULES, *VOID_IF, "Revision R1", "2026-11-30 07:30 UTC", "DRAFT", "INVENTED DATA", SHA):
        assert text.split("R1")[0] in words
    for text in CAUTIONS:
        assert words.count(text) == 1 + len(PLAN.moves), "on the page, and on every sheet of paper"


def test_every_line_has_its_boxes_and_every_box_its_row() -> None:
    count = sum(max(1, len(line.readings)) for found in lists().values() for line in found)
    ids = reader(page()).ids
    assert len(ids) == len(set(ids))
    for letter in "rtis":
        assert sum(bool(re.fullmatch(rf"{letter}\d+", one)) for one in ids) == count
    data = json.loads(reader(page()).data)
    assert len(data["rows"]) == count and data["plan"]["sha256"] == SHA
    told = next(row for row in data["rows"] if row.get("thing") == "H2" and row["figure"] == "depth")
    assert (told["last_good"], told["recorded"], told["overhead"]) == (88.0, 75.0, False)


def test_nothing_on_the_page_is_fetched_and_only_its_own_scripts_run() -> None:
    read = reader(page())
    assert not {key for _, key, _ in read.attributes} & {"src", "srcset", "data", "poster", "action", "style"}
    assert not [key for _, key, _ in read.attributes if key.startswith("on")]
    assert all(value.startswith("#") for _, key, value in read.attributes if key == "href")
    assert "url(" not in page() and "http:" not in page() and "https:" not in page()
    rule = next(value for _, key, value in read.attributes if key == "content" and "default-src" in value)
    assert "default-src 'none'" in rule and rule.count("'sha256-") == len(read.scripts) == 3


def test_names_stay_words_on_the_page() -> None:
    text = page()
    for nasty in NASTY:
        assert nasty not in text
    read = reader(text)
    assert plain(NASTY[3]) in " ".join(read.words)
    titled = inspection_page(
        dataclasses.replace(PLAN, site_name=NASTY[0], revision=NASTY[2]), SITE, lists(), sha256=SHA
    )
    assert len(reader(titled).scripts) == 3 and NASTY[0] not in titled and NASTY[2] not in titled


def test_the_same_plan_and_site_give_the_same_bytes() -> None:
    again = {move.id: lines(move) for move in PLAN.moves}
    assert inspection_page(PLAN, SITE, again, sha256=SHA) == page()
    assert inspection_csv(PLAN, again, sha256=SHA) == inspection_csv(PLAN, lists(), sha256=SHA)


def test_the_csv_has_the_rows_of_the_page_and_the_cautions() -> None:
    text = inspection_csv(PLAN, lists(), sha256=SHA)
    assert text.endswith("\r\n") and text.count("\n") == text.count("\r\n")
    found = rows(text)
    assert tuple(found[0]) == COLUMNS
    assert [row["look"] for row in found if row["row"] == "caution"] == ["INVENTED DATA", *CAUTIONS]
    listed = [row for row in found if row["row"] != "caution"]
    assert [row["title"] for row in listed] == [plain(row["title"]) for row in json.loads(reader(page()).data)["rows"]]
    hole = next(row for row in listed if row["title"] == "Pothole H2" and row["measure"] == "depth")
    assert (hole["last_good"], hole["recorded"], hole["unit"]) == ("88", "75", "mm")
    assert hole["number_in_words"] == "deepest reading that still lets the move go: 88 mm"
    assert all(row["plan_sha256"] == SHA and row["reading"] == row["time"] == row["initials"] == "" for row in found)


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", " =", "\t=", "\r@", "\uff1d"])
def test_no_cell_begins_a_formula(begin: str) -> None:
    hostile = f'{begin}HYPERLINK("x";"y"),1\n2'
    line = Line(1.0, None, hostile, hostile)
    made = dataclasses.replace(PLAN, moves=(PLAN.moves[0],), revision=hostile)
    found = rows(inspection_csv(made, {PLAN.moves[0].id: (line,)}, sha256=SHA))
    cells = [cell for row in found for cell in row.values() if "HYPERLINK" in cell]
    assert len(cells) == 2 + len(found)
    assert not any(cell.lstrip().startswith(("=", "+", "-", "@", "\t", "\r", "\uff1d")) for cell in cells)


def test_a_level_below_zero_stays_a_figure() -> None:
    number = StopNumber("s", "level", -1.25, -1.3, ("head gap",), 1.0, (0.0, 0.0))
    line = Line(1.0, None, "Beam s", "", (Reading("s", "level", -1.25, number),))
    made = dataclasses.replace(PLAN, moves=(PLAN.moves[0],))
    row = rows(inspection_csv(made, {PLAN.moves[0].id: (line,)}, sha256=SHA))[-1]
    assert (row["last_good"], row["recorded"]) == ("-1.300", "-1.250")


def test_who_walks_the_way_sees_which_end_leads_and_which_is_uphill() -> None:
    stands = (
        Stand(0.0, 4.0, "basket end", "level", "leading"), Stand(4.0, 9.0, "basket end", "downhill", "trailing"),
        Stand(9.0, 12.5, "basket end", "level", "trailing"),
    )  # fmt: skip
    found = [line for line in lines(dataclasses.replace(PLAN.moves[0], stands=stands)) if "end trailing" in line.title]
    assert [(line.chainage_m, line.title) for line in found] == [
        (4.0, "Basket end trailing; basket end downhill, until 9.0 m")
    ]


def test_who_walks_the_way_of_a_raised_move_is_told_its_zone() -> None:
    told = Control("elevated", 0.0, "Platform raised, within elevated zone Z only.")
    move = dataclasses.replace(PLAN.moves[0], controls=(told,), platform_height_m=5.0)
    assert any("within elevated zone Z only" in line.look for line in lines(move))
