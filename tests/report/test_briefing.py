"""The briefing pack: what every sheet says, what may not be mistaken, true size on paper, words that stay words."""

from __future__ import annotations

import dataclasses
import functools
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from routeplan.report.briefing.operator import ASK_WHOM, RULED, VOID_IF, _along, _height
from routeplan.report.briefing.page import briefing_page, briefing_sheets
from routeplan.report.briefing.sheet import CHECK_FIRST, Sheet, earliest
from routeplan.report.briefing.signs import facing_signs, signs_of
from routeplan.report.markup import escape, plain
from routeplan.report.stops import Stop
from routeplan.report.wording import down, driven, up
from routeplan.route.lifelines import OnFoot, Reached
from routeplan.route.model import CAUTIONS, Control, Move, Plan, SectionRow, Stand, Zone
from routeplan.site.spans import span_words
from tests.report.test_page import Reader
from tests.report.world import NASTY, plan, site

PLAN, SITE = plan(), site()
BAD = [move for move in PLAN.moves if not driven(move)]


@functools.cache
def sheets() -> tuple[Sheet, ...]:
    return briefing_sheets(PLAN, SITE)


@functools.cache
def page() -> str:
    return briefing_page(PLAN, sheets())


def of(kind: str) -> list[str]:
    return [one.html for one in sheets() if one.kind == kind]


def words_of(html: str) -> str:
    read = Reader()
    read.feed(html)
    read.close()
    assert read.open == []
    return " ".join(" ".join(read.words).split())


def test_there_is_a_sheet_for_the_board_for_each_operator_and_for_the_supervisor() -> None:
    assert (len(of("board")), len(of("operator")), len(of("supervisor"))) == (1, 6, 7)


@pytest.mark.parametrize("number", range(14))
def test_every_sheet_says_its_revision_its_last_day_that_it_can_be_void_and_the_cautions(number: int) -> None:
    said = words_of(sheets()[number].html)
    barred = 0 < number <= len(PLAN.moves) and not driven(PLAN.moves[number - 1])
    head = "DO NOT DRIVE" if barred else "Last day 2026-12-07 18:00 UTC"
    assert f"Revision {PLAN.revision} {head} Issued" in said and ("Last day" in said) == (not barred)
    assert CHECK_FIRST in said and "DRAFT" in said and "INVENTED DATA" in said
    assert all(text in said for text in CAUTIONS)


def test_a_sheet_of_a_move_ends_with_the_move_and_a_plan_without_a_last_day_asks_for_one() -> None:
    moves = (dataclasses.replace(PLAN.moves[0], valid_until="2026-12-02"), *PLAN.moves[1:])
    told = briefing_sheets(dataclasses.replace(PLAN, moves=moves), SITE)
    ends = [re.findall(r'data-until="([^"]*)"', one.html)[0] for one in told]
    last = "2026-12-07"
    assert [day[:10] for day in ends] == [last, "2026-12-02", *[last] * 6, "2026-12-02", *[last] * 5]
    for one in briefing_sheets(dataclasses.replace(PLAN, valid_until=None), SITE):
        said = words_of(one.html)
        assert "No last day stated: ask before use" in said or "Do not drive this move." in said
    assert earliest(None, None) is None and earliest("2026-12-02", "2026-12-01") == "2026-12-01"


def test_a_sheet_that_replaces_another_says_so() -> None:
    for one in briefing_sheets(dataclasses.replace(PLAN, supersedes="R0, issued before"), SITE):
        assert "replaces R0, issued before" in words_of(one.html)


def test_what_the_second_opinion_refuses_is_not_driven_whatever_its_verdict() -> None:
    (refused,) = [move for move in PLAN.moves if move.refused is not None]
    assert not driven(dataclasses.replace(refused, verdict="pass"))
    assert driven(dataclasses.replace(refused, verdict="pass", refused=None))


@pytest.mark.parametrize("number", range(6))
def test_an_operator_gets_what_the_move_asks_for_or_that_it_is_not_to_be_driven(number: int) -> None:
    move, html = PLAN.moves[number], of("operator")[number]
    said = words_of(html)
    barred = "Do not drive this move." in said and ">DO NOT DRIVE</text>" in html and ASK_WHOM in said
    assert barred == (not driven(move))
    to_drive = all(text in said for text in (*VOID_IF, *RULED)) and '<ul class="signs"' in html
    assert to_drive == driven(move) and ("Stops and tight places in driving order" in said) == driven(move)
    assert "Access 1" in said and "Rescue 2" in said
    if driven(move):
        for control in move.controls:
            assert plain(control.text) in said
    else:
        assert plain(move.reason) in said


def test_without_contacts_the_rescuer_is_to_be_written_in() -> None:
    for one in briefing_sheets(PLAN, dataclasses.replace(SITE, contacts=())):
        if one.kind != "supervisor":
            assert "nobody is named in the site folder" in words_of(one.html)


def test_the_board_tells_every_move_and_draws_none_that_may_not_be_driven() -> None:
    (board,) = of("board")
    said = words_of(board)
    assert all(plain(move.id) in said for move in PLAN.moves) and said.count("DO NOT DRIVE") == len(BAD)
    drawn = re.findall(r'<text class="label l-route"[^>]*>([^<]*)</text>', board)
    assert sorted(drawn) == sorted(move.id for move in PLAN.moves if driven(move))
    none = dataclasses.replace(PLAN, moves=tuple(BAD))
    assert 'class="s-way' not in briefing_sheets(none, SITE)[0].html
    assert 'class="s-refused' not in briefing_sheets(none, SITE)[0].html


@pytest.mark.parametrize("number", range(6))
def test_the_supervisor_sees_every_check_with_its_source_and_what_it_rests_on(number: int) -> None:
    move, said = PLAN.moves[number], words_of(of("supervisor")[number + 1])
    for check in move.checks:
        assert check.kind in said and plain(check.source) in said
        assert all(plain(text) in said for text in check.assumed)
    for control in move.controls:
        assert plain(control.text) in said
    for miss in move.nearest_misses:
        assert plain(miss.text) in said


def test_the_supervisor_signs_and_sees_what_the_plan_was_made_from() -> None:
    said = words_of(of("supervisor")[0])
    assert "Signature" in said and "none is given by this paper" in said
    assert all(plain(item.path) in said and item.sha256 in said for item in PLAN.inputs)
    assert all(plain(text) in said for text in PLAN.not_checked)


def test_names_stay_words() -> None:
    read = Reader()
    read.feed(page())
    read.close()
    assert read.open == [] and len(read.scripts) == 1 and len(set(read.ids)) == len(read.ids)
    assert not [one for one in read.attributes if one[1].startswith("on")]
    for text in NASTY:
        assert escape(text) in page() and text not in page()
    assert not re.findall(r'(?:src|href)="(?!#)', page())


def test_an_operator_starts_as_the_first_row_says_and_stops_where_the_rows_say() -> None:
    move = PLAN.moves[1]
    back = dataclasses.replace(move, poses=tuple(pose._replace(gear=-1) for pose in move.poses))
    for told, words in ((move, "Start forwards."), (back, "Start backwards, with a traffic marshal in sight.")):
        plan = dataclasses.replace(PLAN, moves=(told,))
        assert f"Start 0 m {words}" in words_of(briefing_sheets(plan, SITE)[1].html)
    stops = (Stop(1, 44.89, (0.0, 0.0), ("a",), True, 45.31), Stop(2, 50.06, (0.0, 0.0), ("b",), True, 50.06))
    assert [_along(one) for one in stops] == ["44.8 to 45.4 m", "50.0 m"]
    assert _along(Stop(3, -math.inf, None, ("c",))) == "all along"


def test_why_a_machine_is_turned_is_for_the_supervisor() -> None:
    text = "Stop. The line turns the machine. The other way round head gap would lack up to 0.1 m at 3.0 m."
    move = dataclasses.replace(PLAN.moves[1], controls=(Control("turning", 3.0, text),))
    _, mine, _, his = briefing_sheets(dataclasses.replace(PLAN, moves=(move,)), SITE)
    assert "The line turns the machine" in words_of(mine.html) and "The other way round" not in words_of(mine.html)
    assert text in words_of(his.html)


def test_no_figure_that_reads_as_room_stands_on_the_picture_of_a_move_that_may_not_be_driven() -> None:
    figures = re.compile(r'<text class="label l-(?:governing|zone|objection|miss)')
    labels = [figures.findall(html) for html in of("operator")]
    assert not any(told for told, move in zip(labels, PLAN.moves, strict=True) if not driven(move))
    moves = tuple(dataclasses.replace(move, verdict="pass", refused=None) for move in PLAN.moves if move.poses)
    shown = briefing_sheets(dataclasses.replace(PLAN, moves=moves), SITE)
    assert any(figures.search(one.html) for one in shown if one.kind == "operator")


def test_the_height_is_the_machine_s_and_the_rider_s_rounded_up() -> None:
    move, machine = PLAN.moves[0], PLAN.machines[PLAN.moves[0].machine]
    shape = machine.configurations[move.configuration]
    limits = dataclasses.replace(SITE.thresholds, head_height_m=SITE.thresholds.head_height_m + 0.001)
    site = dataclasses.replace(SITE, thresholds=limits)
    head_m = shape.basket.floor_height_m + limits.head_height_m
    assert up(head_m, 2) != down(head_m, 2)
    top_m = max(box.top_m for box in shape.boxes)
    assert _height(move, machine, site) == f"machine {up(top_m, 2)} m, head of who rides {up(head_m, 2)} m"
    walked = dataclasses.replace(move, poses=tuple(p._replace(travel_mode="beside_rails_up") for p in move.poses))
    assert _height(walked, machine, SITE) == f"machine {up(top_m, 2)} m"
    assert _height(dataclasses.replace(move, platform_height_m=3.0), machine, SITE) == ""


@pytest.mark.parametrize(("end", "facing", "arrow"), [
    ("front", "leading", "M22 4H50"), ("front", "trailing", "M50 4H22"), ("rear", "leading", "M50 4H22"),
    ("rear", "trailing", "M22 4H50"), (None, "leading", "M22 4H50"),
])  # fmt: skip
def test_the_machine_is_drawn_as_it_drives(end: Any, facing: Any, arrow: str) -> None:
    machine = PLAN.machines[PLAN.moves[0].machine]
    shape = machine.configurations[PLAN.moves[0].configuration]
    turned = dataclasses.replace(shape, basket=dataclasses.replace(shape.basket, end=end))
    drawn = facing_signs(
        dataclasses.replace(PLAN.moves[0], stands=(dataclasses.replace(SLOPE, facing=facing),) * 2),
        dataclasses.replace(machine, configurations={PLAN.moves[0].configuration: turned}),
    )
    assert drawn.count("<svg") == 1 and f'd="{arrow}' in drawn and ("M52 15" in drawn) == (end == "front")


WAY = OnFoot("gate 2", 169.45, 1.5673, (4153.94, 7171.96))
BLOCKED = Reached("D1", None, "no way 0.75 m wide on foot to the ground controls of TB26; in the way: trench TR2")


def test_the_rescuer_s_way_is_on_the_sheet_of_a_move_that_leaves_a_machine_at_work() -> None:
    place = next(iter(SITE.places.values()))
    reached = Reached("D1", dataclasses.replace(WAY, start=place.id), "")
    told = words_of(briefing_sheets(PLAN, SITE, [reached])[1].html)
    called = plain(place.title or place.id)
    assert f"On foot from {called}: 170 m to the ground controls, 1.56 m wide at E 4153.9 N 7172.0; steps" in told
    assert f"No way on foot: {BLOCKED.no_way}." in words_of(briefing_sheets(PLAN, SITE, [BLOCKED])[1].html)
    assert "on foot" not in words_of(of("operator")[0]).lower()


def test_the_board_tells_what_closes() -> None:
    (board,) = of("board")
    for area in SITE.areas:
        for first, last in area.closures:
            assert f"{plain(area.title or area.id)} {span_words((first, last))}" in words_of(board)


def of_signs(**changes: Any) -> set[str]:
    plain_move = dataclasses.replace(
        PLAN.moves[0], controls=(), zones=(), reversals=0, section=(), checks=(), stands=(), platform_height_m=None
    )
    return {ident for ident, _ in signs_of(dataclasses.replace(plain_move, **changes))}


#: A row of the section with so much left overhead, and a stand on a slope.
LOW = SectionRow(*[9.0] * len(SectionRow._fields))._replace(head_m=0.9)
SLOPE = Stand(0.0, 9.0, "basket end", "uphill", "leading")
EDGE = Zone("bounce", 0.0, 1.0, 0.2, 0.3, "m", (), (), "an edge")


def check_of(kind: str, margin: float) -> tuple[Any, ...]:
    (found,) = [check for check in PLAN.moves[0].checks if check.kind == kind]
    return (dataclasses.replace(found, margin=margin),)


@pytest.mark.parametrize(
    ("asked", "changes"),
    [
        ({"overhead"}, {"section": (LOW,)}),
        (set(), {"section": (LOW._replace(head_m=1.0),)}),
        (set(), {"section": (LOW._replace(head_m=float("nan")),)}),
        ({"ground"}, {"zones": (EDGE,)}),
        ({"slope"}, {"stands": (SLOPE,)}),
        (set(), {"stands": (dataclasses.replace(SLOPE, orientation="level"),)}),
        ({"people", "wait"}, {"controls": (Control("walkway", 1.0, "hold"),)}),
        ({"turn"}, {"controls": (Control("turning", 1.0, "turn"),)}),
        ({"reverse"}, {"reversals": 1}),
        ({"line"}, {"checks": check_of("line clearance", 1.0)}),
        ({"line"}, {"checks": check_of("overhead lines", 0.1)}),
        (set(), {"checks": check_of("line clearance", 1000.0)}),
    ],
)
def test_a_move_has_the_signs_that_it_asks_for(asked: set[str], changes: dict[str, Any]) -> None:
    assert of_signs(**changes) == {"walk", "down", "keep-out", "rescue"} | asked


def test_a_raised_platform_is_told_how_high_and_not_told_to_be_down() -> None:
    raised = dataclasses.replace(PLAN.moves[0], platform_height_m=4.119)
    told = dict(signs_of(raised))
    assert told["raised"] == "Platform floor no higher than 4.11 m" and "down" not in told


def long_names(move: Move) -> Plan:
    """A plan whose words do not break by themselves."""
    endless = "x" * 300
    bad = dataclasses.replace(
        move, reason=endless, controls=(*move.controls, Control("other", 3.0, endless)), verdict="pass with controls"
    )
    return dataclasses.replace(PLAN, site_name=endless, moves=(bad, *PLAN.moves[1:]))


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> Any:
    pytest.importorskip("plutoprint", reason="the library that sets the PDF is not made for this machine")
    from routeplan.report.briefing.paper import write_briefing_pdf

    path: Path = tmp_path_factory.mktemp("paper") / "briefing.pdf"
    write_briefing_pdf(sheets(), PLAN, path)
    import pypdfium2

    return pypdfium2.PdfDocument(path)


def test_the_board_is_a3_and_every_operator_has_one_page_of_a4(paper: Any) -> None:
    said = [one.get_textpage().get_text_range() for one in paper]
    assert [round(value) for value in paper[0].get_size()] == [1191, 842]
    assert {tuple(map(round, one.get_size())) for one in list(paper)[1:]} == {(595, 842)}
    assert sum("OPERATOR'S SHEET" in text for text in said) == 6 and "BOARD SHEET" in said[0]
    for text in said:
        assert f"Revision {PLAN.revision}" in text and ("Last day 2026-12-07" in text or "DO NOT DRIVE" in text)
        assert "Planning aid only." in text and "sheet is void" in text and re.search(r"\d+ of \d+", text)


def darkest_run_mm(shown: Any, *, dots_per_inch: int = 300) -> list[float]:
    """Lengths of all level dark lines on a page, mm."""
    dark = shown.render(scale=dots_per_inch / 72).to_numpy()[..., :3].max(axis=2) < 90
    found = []
    for row in dark:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
        found += [float(value) for value in np.unique(edges[1::2] - edges[::2]) if value > 900]
    return sorted({round(value * 25.4 / dots_per_inch, 1) for value in found})


def test_a_hundred_millimetres_are_a_hundred_on_paper(paper: Any) -> None:
    for number in (0, 1, 2):
        lengths = darkest_run_mm(paper[number])
        assert any(abs(length - 100.0) <= 0.5 for length in lengths), lengths


def test_nothing_is_shrunk_to_fit(paper: Any) -> None:
    from routeplan.report.briefing.paper import books

    for told in (PLAN, long_names(PLAN.moves[1])):
        for book in books(briefing_sheets(told, SITE), told):
            assert book.get_document_width() <= 1.001 * book.get_viewport_width()


@pytest.mark.parametrize("more", range(0, 11, 2))
def test_a_sheet_with_much_to_do_sets_it_closer_and_stays_on_its_page(paper: Any, more: int) -> None:
    from routeplan.report.briefing.paper import books

    move = PLAN.moves[0]
    words = "Somebody stands where this says so, with a flag in the hand, and holds back whoever comes the other way."
    controls = tuple(Control("other", 60.0 + 9.0 * n, words) for n in range(more))
    busy = dataclasses.replace(move, controls=(*move.controls, *controls))
    told = briefing_sheets(dataclasses.replace(PLAN, moves=(busy,)), SITE, [dataclasses.replace(BLOCKED, move=move.id)])
    mine = [one for one in told if one.kind == "operator"]
    assert ['class="close"' in one.html for one in mine] == [more >= 2]
    assert [book.get_page_count() for book in books(mine, PLAN)] == [1]


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    pytest.importorskip("plutoprint", reason="the library that sets the PDF is not made for this machine")
    from routeplan.report.briefing.paper import write_briefing_pdf

    for name in ("one", "two"):
        write_briefing_pdf(briefing_sheets(PLAN, SITE), PLAN, tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
    assert briefing_page(PLAN, briefing_sheets(PLAN, SITE)) == page()
