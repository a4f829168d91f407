"""The long section on the page: what each strip says in words and draws, and a walk along it in a browser."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.long_section import STRIPS, long_section, walk_data
from routeplan.report.page import write_map
from routeplan.report.route_drawing import MoveDrawing, draw_move
from routeplan.route.model import Move
from tests.report.browser import DESK, PHONE, opened
from tests.report.world import moves, plan, site

CLEAR = moves()[0]


def drawn(move: Move = CLEAR) -> MoveDrawing:
    return draw_move(move, plan=plan(), site=site())


#: What strips say on a walk: what is to spare rounded down, 0.2999 m and 4.39 degrees.
WALKED = {
    "strike_m": "here 200 mm", "bounce_m": "here 299 mm", "side_deg": "here 4.3\N{DEGREE SIGN}",
    "pitch_deg": "here 1.50\N{DEGREE SIGN}", "v_max_mps": "here 0.50 m/s", "head_m": "here: nothing near",
    "load_kn": "here: nothing claimed of the ground, or not known",
}  # fmt: skip


def strip(html: str, field: str) -> str:
    found = re.search(rf'data-field="{field}">(.*?)</div>', html)
    assert found is not None
    return found.group(1)


def test_every_strip_says_its_least_and_where_in_words() -> None:
    html = long_section(1, CLEAR, drawn())
    assert re.findall(r'data-field="(\w+)"', html) == [one.field for one in STRIPS]
    assert "least 250 mm at 29.5 m" in strip(html, "head_m")
    assert "least 300 mm at 40.0 m" in strip(html, "body_m")
    assert "least 4.3\N{DEGREE SIGN}" in strip(html, "side_deg")
    assert "least 7.2 kN at 50.0 m" in strip(html, "load_kn")
    assert "1.50 to 1.50\N{DEGREE SIGN}" in strip(html, "pitch_deg")
    assert "0.50 to 0.50 m/s" in strip(html, "v_max_mps")


def test_what_is_near_nowhere_is_said_and_not_drawn() -> None:
    rows = tuple(row._replace(body_m=math.nan) for row in CLEAR.section)
    move = replace(CLEAR, section=rows)
    html = strip(long_section(1, move, drawn(move)), "body_m")
    assert "nothing near" in html and "<svg" not in html
    move = replace(CLEAR, section=tuple(row._replace(load_kn=math.nan) for row in CLEAR.section))
    html = strip(long_section(1, move, drawn(move)), "load_kn")
    assert "nothing claimed of the ground, or not known" in html and "<svg" not in html
    empty = replace(CLEAR, section=())
    assert long_section(1, empty, drawn(empty)) == ""


def test_a_line_is_drawn_where_something_is_near_and_lower_where_less_is_to_spare() -> None:
    """From 20 m to 30 m of the way, 1.2 m drawn as the most and 0.25 m as a quarter of it."""
    picture = strip(long_section(1, CLEAR, drawn()), "head_m")
    (line,) = re.findall(r'class="line" d="M([^"]*)"', picture)
    points = [tuple(map(float, pair)) for pair in re.findall(r"([\d.]+) ([\d.]+)", line)]
    assert points[0][0] == pytest.approx(1000 * 20.0 / CLEAR.length_m, abs=2)
    assert points[-1][0] == pytest.approx(1000 * 30.0 / CLEAR.length_m, abs=2)
    assert points[0][1] == pytest.approx(2.0, abs=0.2) and points[-1][1] == pytest.approx(38 - 36 * 0.25, abs=0.6)
    assert 'class="limit" d="M0 38.0H1000"' in picture


def test_figures_on_a_walk_are_never_more_than_the_rows_say() -> None:
    drawing = replace(drawn(), tightest_m=12.0)
    assert drawing.side is not None
    walk = walk_data(CLEAR, drawing, drawing.side, (0, 0))
    assert len(walk["rows"]) == len(CLEAR.section) and walk["tightest"] == 12.0
    for shown, row in zip(walk["rows"], CLEAR.section, strict=True):
        for value, one in zip(shown[4:], STRIPS, strict=True):
            known = getattr(row, one.field)
            assert value is None if math.isnan(known) else -2e-9 <= known - value < 0.001 + 1e-9


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "map.html"
    write_map(plan(), site(), path)
    return path.as_uri()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_stops_are_walked_by_buttons_and_by_keys(browser: Any, address: str, size: tuple[int, int]) -> None:
    with opened(browser, f"{address}#move-2", size) as (page, seen):
        section = page.locator(".under .long")
        assert section.count() == 1 and page.locator(".s-standing").count() == 0
        said = section.locator(".at")
        section.locator("[data-walk=next]").click()
        assert said.text_content().startswith("Stop 2, at 12.0 m: ")
        assert page.locator(".live .s-standing").count() == 1 and section.locator(".cursor").is_visible()
        section.locator("[data-walk=next]").click()
        assert said.text_content().startswith("Watch 3, at 28.4 m: ")
        section.locator("[data-walk=back]").click()
        assert said.text_content().startswith("Stop 2, at 12.0 m: ")
        section.locator("[data-walk=back]").click()
        assert said.text_content() == "Start"
        section.focus()
        page.keyboard.press("ArrowRight")
        assert said.text_content() == "At 0.5 m"
        page.keyboard.press("End")
        assert said.text_content() == "Finish"
        section.locator("[data-walk=tightest]").click()
        assert said.text_content() == "Tightest place"
        boxes = [button.bounding_box() for button in section.locator("button").all()]
        assert all(box["height"] >= 48 and box["width"] >= 48 for box in boxes)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0] and seen == []


def test_a_finger_on_a_strip_stands_the_machine_there(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        strips = page.locator(".under .strips")
        box = strips.bounding_box()
        strips.click(position={"x": box["width"] / 2, "y": 40})
        walked_m = float(page.locator(".under .at").text_content().split()[1])
        assert abs(walked_m - CLEAR.length_m / 2) <= 0.5 + CLEAR.length_m / box["width"]
        here = {name: page.locator(f'.under [data-field="{name}"] .here').text_content() for name in WALKED}
        assert here == WALKED


def test_a_finger_is_followed_along_a_strip(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        box = page.locator(".under .strips").bounding_box()
        y, told = box["y"] + 40, []
        page.mouse.move(box["x"] + 0.2 * box["width"], y)
        assert page.locator(".under .at").text_content() == ""
        page.mouse.down()
        for share in (0.3, 0.6):
            page.mouse.move(box["x"] + share * box["width"], y)
            told.append(float(page.locator(".under .at").text_content().split()[1]) / CLEAR.length_m)
        page.mouse.up()
        assert told == pytest.approx([0.3, 0.6], abs=0.01)


def test_another_move_brings_its_own_section_and_one_without_a_way_has_none(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        page.locator(".picker a").nth(1).click()
        assert page.locator(".under .long").get_attribute("data-move") == "2"
        page.locator(".picker a").nth(4).click()
        assert page.locator(".under .long").count() == 0


def test_without_scripts_the_strips_stand_in_the_move_and_nothing_is_to_press(browser: Any, address: str) -> None:
    with opened(browser, address, DESK, scripts=False) as (page, _):
        assert page.locator("#move-1 .long svg").count() >= 8
        assert page.locator(".walk button:visible").count() == 0


def test_paper_leaves_the_section_out(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        page.emulate_media(media="print")
        assert page.locator(".long:visible").count() == 0
