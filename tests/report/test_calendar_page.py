"""A calendar in words and on its page: what stands first, letters with words, names that do nothing, folded days."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.calendar_page import calendar_page, write_calendar_page
from routeplan.report.calendar_table import MOST_COLUMNS, columns_of
from routeplan.report.calendar_words import (
    LETTERS,
    MEANINGS,
    RULES,
    alarms,
    causes_text,
    facts_of,
    safe_text,
    slip_text,
    summary_of,
)
from routeplan.route.days import Slip
from routeplan.route.model import CAUTIONS
from tests.report.browser import DESK, PHONE, opened
from tests.report.calendars import HOSTILE, calendar, iso, lanes, machines, site
from tests.report.test_page import Reader

SC12, AB16, TB26, SC8 = machines()


def page() -> str:
    return calendar_page(calendar(), site())


def facts(number: int) -> dict[str, str]:
    return dict(facts_of(machines()[number], site()))


# Words.


def test_who_is_stranded_stands_first_then_what_is_open_and_late() -> None:
    found = list(alarms(calendar(), site()))
    assert [word for word, _ in found] == ["Stranded", "Stranded", "Not proven", "Late", "Not known"]
    assert found[0][1].startswith("SC12 from Fri 4 Dec to Sat 5 Dec 2026, at rack-1: no way out, Crane slew (closed); ")
    assert "trackway boards (not accepted)" in found[0][1] and "North bay" not in found[0][1], "it is gone by then"
    assert "the search for a way out gave up" in found[1][1] and "the way out is refused" in found[1][1]
    assert "15 days" in dict(found)["Late"] and dict(found)["Not known"].endswith("move R7 has no day")


def test_a_move_that_has_no_way_on_its_day_is_an_alarm() -> None:
    day = replace(SC12.days[2], reach="no route")
    shut = calendar([replace(SC12, days=(*SC12.days[:2], day, *SC12.days[3:]))])
    assert ("Move", "SC12: D1 on Wed 2 Dec 2026: no way") in list(alarms(shut, site()))


def test_the_last_safe_date_says_how_it_comes_about() -> None:
    assert safe_text(SC12)[0] == "Mon 30 Nov 2026"
    assert safe_text(SC12)[1] == "last day with a way out Thu 3 Dec 2026, less 2 days of notice and 1 day of buffer"
    assert safe_text(TB26)[0] == "No end known" and safe_text(SC8) == ("Not known", "move R7 has no day")
    asked = replace(SC12, last_safe=None, notice_days=None, in_hand_days=None, spare_days=None)
    assert safe_text(asked)[0] == "Ask the hire desk" and "Thu 3 Dec 2026" in safe_text(asked)[1]
    assert safe_text(replace(SC12, last_way_out=None, last_safe=None))[0] == "None"


def test_what_ends_it_what_is_in_hand_and_what_a_slip_does() -> None:
    assert facts(0)["Ended by"] == "Crane slew (closed), from Fri 4 Dec to Sat 5 Dec 2026"
    assert facts(0)["Planned"] == (
        "C1 on Tue 15 Dec 2026: late by 15 days, among later days with a way out, from Mon 14 Dec to Mon 4 Jan 2027"
    )
    assert facts(0)["All work slips"] == "not safe as planned"
    assert facts(1)["Ended by"].startswith("open: grip") and facts(1)["Planned"] == "no collection is planned"
    assert facts(1)["From issue"] == "14 days in hand"
    assert slip_text(Slip(0, "from 2026-12-11 no way out")) == "1 day: from Fri 11 Dec 2026 no way out"
    assert slip_text(Slip(14, "")).startswith("up to 14 days") and slip_text(None) == "not safe as planned"
    assert causes_text(SC12.without[2]) == "Crane slew, North bay (closed; opening any one brings the way back)"
    assert "all together" in causes_text(replace(SC12.without[2], alone=False))


def test_the_answer_begins_with_who_is_stranded_and_carries_the_cautions() -> None:
    said = summary_of(calendar(), site(), Path("out")).splitlines()
    assert said[0].endswith("DRAFT.") and said[1].startswith("STRANDED  SC12")
    assert all(caution in said for caution in CAUTIONS) and said[-1] == "Page: out/calendar.html"
    assert any(line.startswith("SC12  last safe collection date: MON 30 NOV 2026") for line in said)


def test_every_verdict_has_a_letter_and_every_letter_its_words() -> None:
    assert set(LETTERS.values()) == set(MEANINGS)
    assert {LETTERS[safe] for safe in ("pass", "pass with controls")} == {"Y"}
    assert len({LETTERS[v] for v in LETTERS}) == 5
    assert all("counts as no way" in MEANINGS[letter] for letter in "?RL")


# The page.


def test_it_is_whole_names_nothing_outside_and_no_name_does_anything() -> None:
    text = page()
    Reader().feed(text)
    assert HOSTILE not in text and "http" not in text.replace("http-equiv", "")
    assert text == page(), "the same bytes"
    read = text.replace("&#39;", "'")
    assert all(said in read for said in (*RULES, *CAUTIONS, *MEANINGS.values(), "DRAFT", "INVENTED DATA"))


def test_days_without_a_way_out_run_together_and_name_what_bars_them() -> None:
    text = page()
    assert re.search(r'<td colspan="2" class="v-none bad narrow"[^>]*><b>N</b> <span>Crane slew</span></td>', text)
    assert re.search(r'class="v-none if bad[^"]*"[^>]*><b>n</b> <span>Crane slew, North bay</span>', text)
    assert re.search(r'class="v-open bad[^"]*"[^>]*><b>\?</b> <span>not proven</span>', text)
    assert len(re.findall(r'<small class="last">last</small>', text)) == 2


def test_days_on_which_nothing_changes_are_one_column_and_every_day_is_in_one() -> None:
    columns = columns_of(calendar())
    days = [n for column in columns for n in range(column.first, column.last + 1)]
    assert days == list(range(40)) and any(column.last > column.first for column in columns)
    for column in columns:
        for machine in (SC12, AB16, TB26):
            alike = {(d.out, d.reach, d.planned, d.moves) for d in machine.days[column.first : column.last + 1]}
            assert len(alike) == 1
    assert columns[-1].ends and not any(column.ends for column in columns[:-1])
    tables = re.findall(r"<thead>(.*?)</thead>", page())
    assert sum(head.count("data-first") for head in tables) == len(columns)
    assert all(head.count("data-first") <= MOST_COLUMNS for head in tables)


def test_three_causes_in_a_cell_are_one_and_a_count() -> None:
    run = SC12.without[2]
    more = replace(run, ended_by=(*run.ended_by, *run.ended_by))
    text = calendar_page(calendar([replace(SC12, without=(*SC12.without[:2], more))]), site())
    assert "<span>Crane slew, and 3 more</span>" in text


# In a browser.


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "calendar.html"
    write_calendar_page(calendar(), site(), path)
    return path.as_uri()


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("scripts", [True, False])
def test_it_opens_without_error_request_or_sideways_scroll(
    browser: Any, address: str, size: tuple[int, int], scripts: bool
) -> None:
    with opened(browser, address, size, scripts=scripts) as (shown, seen):
        assert shown.locator(".a-stranded").first.is_visible() and shown.locator(".days").first.is_visible()
        if scripts:
            assert shown.evaluate("document.documentElement.scrollWidth") <= size[0]
            assert shown.evaluate("window.bad === undefined")
        assert seen == []


def test_the_table_begins_on_the_first_screen_and_cells_do_not_spill(browser: Any, address: str) -> None:
    with opened(browser, address, DESK) as (shown, _):
        assert shown.locator(".days").first.bounding_box()["y"] < DESK[1] * 0.7
        spilt = shown.evaluate(
            "[...document.querySelectorAll('.days td')].filter(td => td.scrollWidth > td.clientWidth + 1).length"
        )
        assert spilt == 0


def test_today_is_marked_by_the_readers_clock(browser: Any, address: str) -> None:
    with opened(browser, address, DESK) as (shown, _):
        for now, first in ((iso(8), iso(8)), ("2031-01-01", iso(39))):
            shown.clock.set_fixed_time(f"{now}T09:00:00")
            shown.reload()
            marked = shown.locator("th.today")
            assert [head.get_attribute("data-first") for head in marked.all()] == [first]
            assert "today" in marked.first.inner_text()


def test_letters_are_told_without_colour(browser: Any, address: str) -> None:
    """In grey, a day without a way out is white on black; one that may have one is hatched."""
    with opened(browser, address, DESK) as (shown, _):
        cell = shown.locator("td.v-none.bad").first
        looks = cell.evaluate("td => [getComputedStyle(td).backgroundColor, getComputedStyle(td).color]")
        assert looks == ["rgb(17, 17, 17)", "rgb(255, 255, 255)"]
        assert "gradient" in shown.locator("td.v-open.bad").first.evaluate("td => getComputedStyle(td).backgroundImage")


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_it_prints_with_the_table_on_the_first_sheet(browser: Any, tmp_path: Path, paper: str) -> None:
    """Nothing of a table is cut off at its edge."""
    path = tmp_path / "calendar.html"
    write_calendar_page(lanes(5), site(), path)
    width = {"A4": 1053, "A3": 1520}[paper]
    with opened(browser, path.as_uri(), (width, 730)) as (shown, _):
        made: bytes = shown.pdf(format=paper, landscape=True)
        assert made.startswith(b"%PDF")
        shown.emulate_media(media="print")
        for table in shown.locator(".days").all():
            box = table.bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= width + 1
