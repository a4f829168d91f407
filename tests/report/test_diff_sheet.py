"""The diff sheet: what it says of each move, that it is one side of paper, and that pages past their day say so."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.diff_sheet import accepted, diff_sheet
from routeplan.report.inspection import inspection_page
from routeplan.report.page import map_page
from routeplan.route.change import MoveChange
from routeplan.route.model import MoveVerdict, Plan
from tests.report.browser import DESK, PHONE, opened
from tests.report.world import NASTY, moves, plan, site

BEFORE = plan()
AFTER = dataclasses.replace(
    BEFORE, revision="R2", supersedes="revision R1",
    conditions=dataclasses.replace(BEFORE.conditions, closed=("north-bay",), machines={"SC": NASTY[0]}),
)  # fmt: skip


def changes() -> list[MoveChange]:
    """The first move cut off, the second changed, the others as they were."""
    first, second, *others = BEFORE.moves
    none: dict[str, Any] = {"poses": (), "legs": (), "length_m": math.nan}
    gone = dataclasses.replace(first, verdict="no route", reason="north-bay is closed", **none)
    return [
        MoveChange(others[0].id, "unchanged", NASTY[1], others[0], others[0]),
        MoveChange(second.id, "changed", "searched again", second, dataclasses.replace(second, length_m=99.0)),
        MoveChange(first.id, "cut off", "no way is left", first, gone),
    ]


def sheet(after: Plan = AFTER) -> str:
    return diff_sheet(BEFORE, after, changes(), site())


def test_the_same_plans_give_the_same_bytes() -> None:
    assert sheet() == sheet()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_it_opens_without_error_request_or_sideways_scroll(browser: Any, tmp_path: Path, size: tuple[int, int]) -> None:
    (tmp_path / "changes.html").write_text(sheet(), encoding="utf-8")
    with opened(browser, f"file://{tmp_path}/changes.html", size) as (page, seen):
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        text = page.inner_text("body")
        assert seen == []
    assert "REVISION R1 IS VOID" in text.upper() and "Revision R2" in text
    assert NASTY[1] in text and NASTY[0] in text
    assert text.index("Cut off") < text.index("Changed") < text.index("Unchanged")
    assert all(caution in text for caution in AFTER.cautions)
    assert f"Made for: north-bay closed; {NASTY[0]} instead of SC" in text
    assert "north-bay: closed" in text and f"{NASTY[0]} delivered instead of SC" in text


def test_each_picture_says_in_words_what_it_shows(browser: Any, tmp_path: Path) -> None:
    (tmp_path / "changes.html").write_text(sheet(), encoding="utf-8")
    with opened(browser, f"file://{tmp_path}/changes.html", scripts=False) as (page, _):
        told = page.locator("svg.plan desc").all_text_contents()
        titles = page.locator("svg.plan title").all_text_contents()
        ways = page.locator(".s-old-way").count()
    assert len(told) == len(titles) == ways == 2
    assert told[0] == "Cut off. Before: Pass, 270.1 m; ground strike: 5 mm; now: No route, no way."
    assert told[1].startswith("Changed. Before: ") and "99.0 m" in told[1]


def test_a_machine_is_accepted_only_when_every_move_of_it_passes() -> None:
    machine = moves()[0].machine
    passes = tuple(dataclasses.replace(one, machine=machine, verdict="pass with controls") for one in moves()[:2])
    told = dataclasses.replace(AFTER.conditions, machines={"OLD": machine})
    verdicts: tuple[tuple[MoveVerdict, str], ...] = (
        ("pass", "ACCEPT"), ("not proven", "REJECT"), ("fail", "REJECT"), ("no route", "REJECT"),
    )  # fmt: skip
    for verdict, first_word in verdicts:
        done = (*passes[:1], dataclasses.replace(passes[1], verdict=verdict))
        (text,) = accepted(dataclasses.replace(AFTER, moves=done, conditions=told))
        assert text.startswith(first_word)
    (text,) = accepted(dataclasses.replace(AFTER, moves=(), conditions=told))
    assert text.startswith("REJECT")


def _pages() -> list[Callable[[Plan], str]]:
    return [
        lambda past: map_page(past, site()),
        lambda past: inspection_page(past, site(), {one.id: () for one in past.moves}, sha256="0" * 64),
        sheet,
    ]


@pytest.mark.parametrize("made", _pages(), ids=["map", "inspection", "changes"])
@pytest.mark.parametrize(("last", "past"), [("2020-01-31", True), ("2999-01-31", False)])
def test_a_page_past_its_last_day_says_that_it_is_void(
    browser: Any, tmp_path: Path, made: Callable[[Plan], str], last: str, past: bool
) -> None:
    (tmp_path / "page.html").write_text(made(dataclasses.replace(AFTER, valid_until=last)), encoding="utf-8")
    with opened(browser, f"file://{tmp_path}/page.html") as (page, seen):
        said = page.locator("[role=alert].past").all_text_contents()
        assert seen == []
    assert said == ([f"VOID: its last day was {last}. Do not drive by it."] if past else [])


def test_a_move_past_its_own_last_day_says_so_on_its_sheet(browser: Any, tmp_path: Path) -> None:
    first, *others = AFTER.moves
    over = dataclasses.replace(first, valid_until="2020-01-31")
    page_text = map_page(dataclasses.replace(AFTER, valid_until=None, moves=(over, *others)), site())
    (tmp_path / "map.html").write_text(page_text, encoding="utf-8")
    with opened(browser, f"file://{tmp_path}/map.html") as (page, _):
        assert page.locator(".move .past").count() == 1
        page.emulate_media(media="print")
        assert page.locator(".move .past").first.is_visible()
