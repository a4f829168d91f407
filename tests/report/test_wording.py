"""Figures in words err on the careful side, and the deciding check is the one that decides."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.report.margins import BETWEEN, decisive, figures_text, governing, margin_text, spare_text
from routeplan.report.wording import VERDICTS, bound_text, down, length_text, place_text, time_text, up
from routeplan.route.model import MOVE_VERDICTS, Check, CheckVerdict
from tests.report.world import KINDS, move, moves

FIGURE = st.floats(-1e4, 1e4)


def check(
    kind: str = "head gap",
    verdict: CheckVerdict = "pass",
    margin: float = 0.1,
    limit: float = 0.3,
    value: float = 0.4,
    unit: str = "m",
) -> Check:
    return Check(kind, verdict, value, limit, margin, unit, 0.0, 3.0, 0.0, (0.0, 0.0), "docs/method.md")


@given(FIGURE, st.integers(0, 3))
def test_rounding_keeps_to_its_side_within_one_last_digit(value: float, decimals: int) -> None:
    digit = 10.0**-decimals
    assert value - digit <= float(down(value, decimals)) <= value + 2e-9
    assert value - 2e-9 <= float(up(value, decimals)) <= value + digit


@given(st.integers(-9999, 9999))
def test_a_figure_that_needs_no_rounding_is_not_rounded(millimetres: int) -> None:
    exact = millimetres / 1000.0
    assert float(down(exact, 3)) == float(up(exact, 3)) == exact


@given(st.floats(-9.9, 9.9))
def test_a_shown_margin_is_never_larger_than_the_margin(margin: float) -> None:
    words = margin_text(check("ground strike", margin=margin)).split()
    shown = float(words[0]) * (-1.0 if words[-1] == "short" else 1.0)
    assert words[1] == "mm" and shown <= margin * 1000.0 + 1e-3
    assert shown > margin * 1000.0 - 1.001


@pytest.mark.parametrize(
    ("kind", "value", "limit", "margin", "shown"),
    [
        ("head gap", 0.3344, 0.3, 0.0344, "334 mm, at least 300 mm"),
        ("bounce rise", 0.2651, 0.3, 0.0349, "266 mm, at most 300 mm"),
        ("head gap", 0.2999, 0.3, -0.0001, "299 mm, at least 300 mm"),
        ("turning", 4.2004, 4.2, 0.0004, ""),
        ("turning", 4.5, 4.2, 0.3, "4500 mm, at least 4200 mm"),
        ("turning", 4.1, 4.2, -0.1, "4100 mm, at least 4200 mm"),
        ("head gap", 0.12, 0.0, 0.12, ""),
    ],
)
def test_a_shown_value_leans_towards_its_limit(
    kind: str, value: float, limit: float, margin: float, shown: str
) -> None:
    assert figures_text(check(kind, value=value, limit=limit, margin=margin)) == shown


def test_what_was_not_made_has_no_figures() -> None:
    row = check(verdict="not proven", margin=math.nan, limit=math.nan, value=math.nan)
    assert (margin_text(row), spare_text(row), figures_text(row)) == ("not made", "not made", "")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (check("side slope", unit="deg", margin=1.29, limit=11.3), "1.2 deg to spare"),
        (check("combined slope", unit="1", margin=0.339, limit=1.0), "33 % to spare"),
        (check("head gap", margin=-0.0301), "31 mm short"),
        (check("side clearance", margin=0.5), "500 mm or more to spare"),
        (check("head gap", margin=10.0), "10.0 m or more to spare"),
        (check("walkways", "pass with controls", margin=-1.0), "crosses a walkway"),
        (check("walkways", margin=0.5), "none crossed"),
        (check("turning", margin=0.0004, value=4.2004, limit=4.2), "as tight as it turns"),
        (check("turning", margin=-0.0004, value=4.1996, limit=4.2), "1 mm short"),
        (check("levels known", unit="1", margin=0.0), "all known"),
        (check("set-up tilt", unit="deg", margin=0.39, limit=1.8), "0.3 deg to spare"),
        (check("set-up tilt", unit="deg", margin=1000.0, limit=1000.0), "not set up"),
        (check("tail swing", margin=1000.0, limit=1000.0), "no tail sweeps"),
        (check("levels known", "fail", unit="1", margin=-0.1), "10 % short"),
    ],
)
def test_margins_are_said_as_people_say_them(row: Check, words: str) -> None:
    assert spare_text(row) == words


def test_every_kind_with_a_real_margin_says_what_it_lies_between() -> None:
    unsaid = {kind for kind, _, _ in KINDS} - set(BETWEEN)
    assert unsaid == {"walkways", "levels known", "survey resolution"}


@pytest.mark.parametrize(
    ("bound", "words"),
    [
        (1.0, "the best on the planner's grid"),
        (1.0701, "costs at most 8 % above the best on the planner's grid"),
        (math.nan, "no way to measure"),
        (1.07, "costs at most 7 % above the best on the planner's grid"),
    ],
)
def test_the_bound_in_words_is_rounded_up(bound: float, words: str) -> None:
    assert bound_text(dataclasses.replace(moves()[0], bound=bound)) == words


def test_no_way_has_no_length() -> None:
    assert length_text(move("M", "no route", "a", "b", ())) == "no way"


def test_the_worst_verdict_decides_and_then_the_tightest_real_margin() -> None:
    roomy, tight = check("step", margin=0.05, limit=0.06), check("head gap", margin=0.06)
    crossed = check("walkways", "pass with controls", margin=-1.0, limit=0.0)
    full_lock = check("turning", margin=0.0, limit=4.2)
    not_made = check("survey resolution", "not proven", margin=math.nan)
    opened = check("bounce rise", "not proven", margin=0.2)
    base = moves()[0]

    def decides(*checks: Check) -> Check | None:
        return governing(dataclasses.replace(base, checks=checks))

    assert decides(roomy, tight, crossed, full_lock) is tight
    assert decides(roomy, tight, not_made) is not_made
    assert decides(not_made, opened, tight) is opened
    assert decides() is None and decides(crossed) is None


def test_what_is_far_away_or_hardly_used_is_not_the_tightest() -> None:
    far, unused = check("side clearance", margin=0.5), check("bounce rise", margin=0.3, limit=0.3, value=0.0)
    slight = check("side slope", unit="deg", margin=10.0, limit=11.3, value=1.3)
    over = check("overhead clearance", margin=0.59, limit=0.0, value=0.59)
    assert governing(dataclasses.replace(moves()[0], checks=(far, unused, slight, over))) is over
    assert min((far, unused, slight, over), key=decisive) is over


def test_every_verdict_has_its_own_words_and_its_own_symbol() -> None:
    assert set(VERDICTS) == set(MOVE_VERDICTS)
    assert len({words.symbol for words in VERDICTS.values()}) == len(MOVE_VERDICTS)
    assert len({words.words for words in VERDICTS.values()}) == len(MOVE_VERDICTS)


def test_places_and_times_are_written_for_people() -> None:
    assert place_text((math.nan, 1.0)) == "no place"
    assert time_text("2026-11-30T07:30:00+00:00") == "2026-11-30 07:30 UTC"
    assert time_text("<now>") == "<now>"
