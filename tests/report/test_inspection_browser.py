"""The inspection page in a real browser: offline, on a phone, what it says to readings, what it saves, on paper."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.inspection import write_inspection_page
from routeplan.report.tongue import UNCHECKED, tongue
from routeplan.route.model import CAUTIONS
from tests.report.browser import DESK, PHONE, opened
from tests.report.test_inspection import PLAN, SHA, SITE, lists, page


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "inspection.html"
    write_inspection_page(PLAN, SITE, lists(), path, sha256=SHA)
    return path.as_uri()


def row_of(thing: str, figure: str, move: str = "D2") -> int:
    """Number of the boxes of a figure."""
    found = re.search(r'id="list">(.*?)</script>', page())
    assert found
    listed = json.loads(found[1])["rows"]
    return 1 + next(
        n for n, row in enumerate(listed)
        if (row["move"], row.get("thing"), row.get("figure")) == (move, thing, figure)
    )  # fmt: skip


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_it_opens_without_error_request_or_sideways_scroll(browser: Any, address: str, size: tuple[int, int]) -> None:
    with opened(browser, address, size) as (shown, seen):
        assert shown.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert shown.locator("#save").is_visible()
        for target in shown.locator("input:visible, nav a, #save").all():
            box = target.bounding_box()
            assert round(box["width"], 1) >= 44 and round(box["height"], 1) >= 44
        assert shown.evaluate("window.bad === undefined") and seen == []


@pytest.mark.parametrize(
    ("thing", "figure", "typed", "says"),
    [
        ("H2", "depth", "88", "Not as recorded, short of the number."),
        ("H2", "depth", "89", "STOP: beyond 88 mm. The machine does not move."),
        ("H2", "depth", "88,5", "STOP: beyond 88 mm. The machine does not move."),
        ("H2", "depth", "75", "As recorded."),
        ("H2", "depth", "7", "LOOK AND ASK: less than recorded, and the number does not tell of that."),
        ("H2", "depth", "about 80", "LOOK AND ASK: not a number of mm."),
        ("H2", "depth", "0x10", "LOOK AND ASK: not a number of mm."),
        ("H2", "depth", "1.234", "LOOK AND ASK: not a number of mm."),
        ("H2", "width", "600", "LOOK AND ASK: there is no number."),
        ("canopy", "clear height", "2.951", "Not as recorded, short of the number."),
        ("canopy", "clear height", "2,95", "STOP: beyond 2.951 m. The machine does not move."),
        ("canopy", "clear height", "3.2", "Not as recorded, short of the number."),
        ("canopy", "clear height", "305", "LOOK AND ASK: more than a metre from what is recorded. Is the unit right?"),
    ],
)
def test_a_reading_is_held_against_its_number_in_words(
    browser: Any, address: str, thing: str, figure: str, typed: str, says: str
) -> None:
    with opened(browser, address, PHONE) as (shown, seen):
        number = row_of(thing, figure)
        shown.fill(f"#r{number}", typed)
        assert shown.inner_text(f"#s{number}") == says
        lead = says.split(":")[0]
        whole = shown.inner_text("#sum-2")
        assert whole.startswith(lead) if ":" in says else "boxes are empty" in whole
        assert seen == []


def test_two_readings_that_differ_ask_for_a_person_and_a_full_list_is_no_permission(browser: Any, address: str) -> None:
    with opened(browser, address, PHONE) as (shown, _):
        shown.fill(f"#r{row_of('H2', 'depth')}", "80")
        shown.fill(f"#r{row_of('canopy', 'clear height')}", "3.000")
        assert shown.inner_text("#sum-2").startswith("LOOK AND ASK: 2 readings are not as recorded")
    with opened(browser, address, PHONE) as (shown, _):
        last = shown.locator("#move-5 input[id^=r]")
        assert last.count() == 1
        last.fill("seen")
        assert shown.inner_text("#sum-5") == (
            "Every box is filled, and no reading stops the move. A competent person decides."
        )


def test_readings_are_saved_with_the_plan_they_belong_to(browser: Any, address: str, tmp_path: Path) -> None:
    with opened(browser, address, PHONE) as (shown, seen):
        number = row_of("H2", "depth")
        shown.fill(f"#r{number}", "89")
        shown.locator(f"#r{number}").blur()
        shown.fill(f"#i{number}", "</script>AB")
        with shown.expect_download() as waiting:
            shown.click("#save")
        waiting.value.save_as(tmp_path / "saved.json")
        assert waiting.value.suggested_filename == "inspection_readings.json"
        assert not [one for one in seen if not one.startswith("request: blob:")]
    saved = json.loads((tmp_path / "saved.json").read_text(encoding="utf-8"))
    assert saved["plan"]["sha256"] == SHA and saved["plan"]["revision"] == "R1" and saved["cautions"] == list(CAUTIONS)
    row = saved["readings"][number - 1]
    assert (row["thing"], row["reading"], row["initials"], row["last_good"]) == ("H2", "89", "</script>AB", 88)
    assert row["says"].startswith("STOP") and re.fullmatch(r"\d\d:\d\d", row["time"])
    assert next(one for one in saved["moves"] if one["move"] == "D2")["says"].startswith("STOP")
    assert len(saved["readings"]) == sum(max(1, len(one.readings)) for found in lists().values() for one in found)


def test_without_scripts_it_is_paper(browser: Any, address: str) -> None:
    with opened(browser, address, PHONE, scripts=False) as (shown, seen):
        assert not shown.locator("#save").is_visible()
        words = shown.locator("body").inner_text()
        assert "deepest reading that still lets the move go: 88 mm; recorded 75 mm" in words
        assert all(caution in words for caution in CAUTIONS) and seen == []


def test_paper_has_each_move_on_its_own_sheets_with_state_void_and_cautions(browser: Any, address: str) -> None:
    with opened(browser, address) as (shown, _):
        made: bytes = shown.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", made)) >= len(PLAN.moves)
        shown.emulate_media(media="print")
        for index in range(1, 1 + len(PLAN.moves)):
            sheet = shown.locator(f"#move-{index}").inner_text()
            assert "DRAFT" in sheet and "Void if" in sheet and "Signature" in sheet and "2026-11-30 07:30 UTC" in sheet
            assert all(caution in sheet for caution in CAUTIONS)
            frame = shown.locator(f"#move-{index}").bounding_box()
            for box in (one.bounding_box() for one in shown.locator(f"#move-{index} input:visible").all()):
                assert box["x"] + box["width"] <= frame["x"] + frame["width"] + 0.5


def test_in_another_language_it_says_so_to_readings_and_saves_them_in_english(browser: Any, tmp_path: Path) -> None:
    polish = tongue("pl")
    path = tmp_path / "inspection-pl.html"
    write_inspection_page(PLAN, SITE, lists(), path, sha256=SHA, tongue=polish)
    number = row_of("H2", "depth")
    with opened(browser, path.as_uri(), PHONE) as (shown, seen):
        assert shown.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        assert shown.evaluate("document.documentElement.lang") == "pl"
        assert UNCHECKED in shown.locator(".unchecked").first.inner_text()
        shown.locator(f"#r{number}").fill("89")
        stop = polish.template("STOP: {x}").replace("{x}", "")
        beyond = polish.template("beyond {n} {x}. The machine does not move.")
        assert shown.locator(f"#s{number}").inner_text() == stop + beyond.replace("{n}", "88").replace("{x}", "mm")
        assert "is-stop" in str(shown.locator(f"#s{number}").get_attribute("class"))
        with shown.expect_download() as saving:
            shown.locator("#save").click()
        saved = json.loads(Path(saving.value.path()).read_text(encoding="utf-8"))
        assert saved["readings"][number - 1]["says"] == "STOP: beyond 88 mm. The machine does not move."
        assert [one for one in seen if not one.startswith("request: blob:")] == []
