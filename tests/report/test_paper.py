"""The map page on A4 upright and on A3 across: sheets, sizes, what each shows, and the page afterwards."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.page import write_map
from tests.report.browser import DESK, opened
from tests.report.world import moves, plan, site

#: Of a sheet, points of 1/72 inch: ISO 216, 210 x 297 mm and 420 x 297 mm.
A4, A3 = (595, 842), (1191, 842)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "map.html"
    write_map(plan(), site(), path)
    return path.as_uri()


def printed(page: Any, paper: str) -> list[tuple[int, int]]:
    """The sheets that come out of a button, each by its size."""
    page.evaluate("window.print = () => { window.asked = true; }")
    page.locator(f"[data-paper={paper}]").click()
    assert page.evaluate("window.asked")
    made: bytes = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", made)
    assert len(boxes) == len(re.findall(rb"/Type\s*/Page\b", made))
    return [(round(float(wide)), round(float(high))) for wide, high in boxes]


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("a3", A3)])
def test_a_move_is_one_sheet_of_the_paper_that_was_asked_for(
    browser: Any, address: str, paper: str, size: tuple[int, int]
) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, seen):
        sheets = printed(page, paper)
        assert len(sheets) == len(moves())
        assert all(abs(one[axis] - size[axis]) <= 1 for one in sheets for axis in (0, 1))
        assert page.locator(".under .long").count() == 1 and seen == []


def test_a3_shows_each_move_from_its_side_in_its_own_sheet_and_a4_does_not(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print")
        assert page.locator(".under .long").count() == 0 and page.locator(".long:visible").count() == 0
        page.evaluate("document.getElementById('paper-a3').media = 'print'")
        assert page.locator("#move-1 .side-view").is_visible() and page.locator("#move-2 .strips").is_visible()
        assert page.locator(".walk:visible, .cursor:visible, .paper:visible").count() == 0
        columns = page.locator("#move-1 .checks:not(.idle) tr").nth(2).locator("td:visible")
        assert columns.count() == 7
        page.emulate_media(media="screen")
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert page.locator(".under .long").count() == 1
        assert page.evaluate("document.getElementById('paper-a3').media") == "not all"


def test_without_scripts_nothing_is_to_press_and_paper_is_a4(browser: Any, address: str) -> None:
    with opened(browser, address, DESK, scripts=False) as (page, _):
        assert page.locator(".paper button:visible").count() == 0
        made: bytes = page.pdf(prefer_css_page_size=True)
        assert {round(float(wide)) for wide in re.findall(rb"/MediaBox ?\[0 0 ([\d.]+)", made)} == {A4[0]}
