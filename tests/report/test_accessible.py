"""The pages by axe-core: nothing grave, on a phone and a desk; the map after a walk and with a card too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from routeplan.report.briefing.page import briefing_page, briefing_sheets
from routeplan.report.diff_sheet import diff_sheet
from routeplan.report.inspection import inspection_page
from routeplan.report.page import write_map
from routeplan.report.tongue import tongue
from routeplan.route.change import MoveChange
from tests.report.browser import DESK, PHONE, opened
from tests.report.conftest import needed
from tests.report.test_inspection import SHA, lists
from tests.report.world import plan, site

#: Findings that keep somebody from using the page.
GRAVE = ("serious", "critical")


@pytest.fixture(scope="module")
def axe() -> str:
    try:
        from axe_playwright_python.base import AXE_SCRIPT
    except ImportError:
        needed("axe-playwright-python is not installed")
    return str(AXE_SCRIPT)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "map.html"
    write_map(plan(), site(), path)
    return path.as_uri()


def grave(page: Any, axe: str) -> list[str]:
    """What axe-core finds on a page as it stands, every rule asked."""
    page.evaluate(axe)
    told = page.evaluate("axe.run()")
    assert len(told["passes"]) > 15, "the page was not looked at"
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in told["violations"] if one["impact"] in GRAVE]


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("index", range(1, 7))
def test_axe_finds_nothing_grave_on_any_move(
    browser: Any, axe: str, address: str, size: tuple[int, int], index: int
) -> None:
    with opened(browser, f"{address}#move-{index}", size) as (page, _):
        assert grave(page, axe) == []


def test_axe_finds_nothing_grave_after_a_walk_nor_with_a_card_open(browser: Any, axe: str, address: str) -> None:
    with opened(browser, f"{address}#move-2", PHONE) as (page, _):
        page.locator(".under [data-walk=next]").click()
        assert grave(page, axe) == []
        page.locator(".go:visible").first.click()
        assert page.locator(".leaflet-popup").is_visible() and grave(page, axe) == []


def test_axe_sees_a_picture_without_words(browser: Any, axe: str, address: str) -> None:
    with opened(browser, f"{address}#move-1", DESK) as (page, _):
        spoil = "e => { e.removeAttribute('aria-labelledby'); e.querySelector('title').remove(); }"
        page.locator(".under .side-view").evaluate(spoil)
        assert [one.split(":")[0] for one in grave(page, axe)] == ["svg-img-alt"]


OTHERS = {
    "briefing": lambda: briefing_page(plan(), briefing_sheets(plan(), site(), (), [tongue("pl"), tongue("ar")])),
    "inspection": lambda: inspection_page(plan(), site(), lists(), sha256=SHA),
    "inspection in Arabic": lambda: inspection_page(plan(), site(), lists(), sha256=SHA, tongue=tongue("ar")),
    "diff": lambda: diff_sheet(plan(), plan(), [MoveChange(m.id, "changed", "", m, m) for m in plan().moves], site()),
}


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("name", OTHERS)
def test_axe_finds_nothing_grave_on_the_other_pages(
    browser: Any, axe: str, tmp_path: Path, size: tuple[int, int], name: str
) -> None:
    path = tmp_path / "page.html"
    path.write_text(OTHERS[name](), encoding="utf-8")
    with opened(browser, path.as_uri(), size) as (page, _):
        assert grave(page, axe) == []
