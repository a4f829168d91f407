"""The briefing page in a real browser: offline, on a phone, on paper, and after its last day."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.briefing.page import briefing_page, briefing_sheets
from routeplan.route.model import CAUTIONS
from tests.report.browser import DESK, PHONE, opened
from tests.report.test_briefing import PLAN, SITE, darkest_run_mm, page


def address(folder: Path, text: str) -> str:
    path = folder / "briefing.html"
    path.write_text(text, encoding="utf-8")
    return path.as_uri()


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("scripts", [True, False])
def test_it_opens_without_error_request_or_sideways_scroll(
    browser: Any, tmp_path: Path, size: tuple[int, int], scripts: bool
) -> None:
    with opened(browser, address(tmp_path, page()), size, scripts=scripts) as (shown, seen):
        if scripts:
            assert shown.evaluate("document.documentElement.scrollWidth") <= size[0]
            assert shown.evaluate("window.bad === undefined")
            # The page and paper are set in the face that the page brings along.
            assert shown.evaluate("document.fonts.ready.then(() => document.fonts.check('12px Sheet'))")
            assert shown.evaluate("[...document.fonts].every(face => face.status === 'loaded')")
        assert shown.locator("article.sheet").count() == 14
        for one in shown.locator("article.sheet").all():
            # On a screen as on paper: on top what says that a sheet is void, below the cautions.
            assert f"Revision {PLAN.revision}" in one.inner_text() and CAUTIONS[0] in one.inner_text()
            head, body, foot = (one.locator(f".sheet-{part}").bounding_box() for part in ("head", "body", "foot"))
            assert head["y"] < body["y"] < foot["y"]
        for link in shown.locator("nav a").all():
            assert link.bounding_box()["height"] >= 44
        assert seen == []


def test_every_sheet_is_one_page_on_paper(browser: Any, tmp_path: Path) -> None:
    pypdfium2 = pytest.importorskip("pypdfium2")
    with opened(browser, address(tmp_path, page())) as (shown, _):
        told = pypdfium2.PdfDocument(shown.pdf(prefer_css_page_size=True))
    assert len(told) == 14
    assert [one.get_size()[0] for one in told] == pytest.approx([1191.0, *[595.0] * 13], abs=1.0)
    for number in (0, 1, 2):
        assert any(abs(length - 100.0) <= 0.5 for length in darkest_run_mm(told[number]))
    for one in told:
        said = one.get_textpage().get_text_range()
        assert f"Revision {PLAN.revision}" in said and "Planning aid only." in said


@pytest.mark.parametrize(("last", "void"), [("2020-01-01", True), ("2099-01-01", False)])
def test_after_its_last_day_every_sheet_says_that_it_is_void(
    browser: Any, tmp_path: Path, last: str, void: bool
) -> None:
    old = dataclasses.replace(PLAN, valid_until=last)
    with opened(browser, address(tmp_path, briefing_page(old, briefing_sheets(old, SITE)))) as (shown, _):
        assert shown.locator(".past").count() == (14 if void else 0)
