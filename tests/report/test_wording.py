"""Figures in words err on the careful side, and the deciding check is the one that decides."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.report.wording import (
    VERDICTS,
    against_text,
    bound_text,
    down,
    governing,
    length_text,
    limit_text,
    margin_text,
    place_text,
    time_text,
    up,
    value_text,
)
from routeplan.route import MOVE_VERDICTS, Check, CheckVerdict
from tests.report.world import move, moves

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


@given(FIGURE)
def test_a_shown_margin_is_never_larger_than_the_margin(margin: float) -> None:
    assert float(margin_text(check(margin=margin)).removesuffix(" m")) <= margin + 2e-9


@pytest.mark.parametrize(
    ("value", "limit", "margin", "shown"),
    [(0.3344, 0.3, 0.0344, "0.334 m"), (0.2651, 0.3, 0.0349, "0.266 m"), (0.2999, 0.3, -0.0001, "0.299 m")],
)
def test_a_shown_value_leans_towards_its_limit(value: float, limit: float, margin: float, shown: str) -> None:
    assert value_text(check(value=value, limit=limit, margin=margin)) == shown


def test_what_was_not_made_has_no_figures() -> None:
    row = check(verdict="not proven", margin=math.nan, limit=math.nan, value=math.nan)
    assert {margin_text(row), value_text(row), limit_text(row)} == {"not made"}


def test_units_have_their_own_decimals() -> None:
    assert margin_text(check(unit="deg", margin=1.29)) == "1.2 deg"
    assert margin_text(check(unit="1", margin=0.339)) == "0.33"
    assert against_text(5.1, 11.3, "deg") == "5.1 deg, limit 11.3 deg"


@pytest.mark.parametrize(
    ("bound", "words"),
    [
        (1.0, "the best on the planner's grid"),
        (1.0701, "within 8 % of the best on the planner's grid"),
        (math.nan, "no way to measure"),
        (1.07, "within 7 % of the best on the planner's grid"),
    ],
)
def test_the_bound_in_words_is_rounded_up(bound: float, words: str) -> None:
    assert bound_text(dataclasses.replace(moves()[0], bound=bound)) == words


def test_no_way_has_no_length() -> None:
    assert length_text(move("M", "no route", "a", "b", ())) == "no way"


def test_the_worst_verdict_decides_and_then_the_smallest_share_of_the_limit() -> None:
    roomy, tight = check("step", margin=0.05, limit=0.06), check("head gap", margin=0.06, limit=0.3)
    not_made = check("walkways", "not proven", margin=math.nan)
    opened = check("bounce rise", "not proven", margin=0.2)
    base = moves()[0]
    assert governing(dataclasses.replace(base, checks=(roomy, tight))) is tight
    assert governing(dataclasses.replace(base, checks=(roomy, tight, not_made))) is not_made
    assert governing(dataclasses.replace(base, checks=(not_made, opened, tight))) is opened
    assert governing(dataclasses.replace(base, checks=())) is None


def test_every_verdict_has_its_own_words_and_its_own_symbol() -> None:
    assert set(VERDICTS) == set(MOVE_VERDICTS)
    assert len({words.symbol for words in VERDICTS.values()}) == len(MOVE_VERDICTS)
    assert len({words.words for words in VERDICTS.values()}) == len(MOVE_VERDICTS)


def test_places_and_times_are_written_for_people() -> None:
    assert place_text((math.nan, 1.0)) == "no place"
    assert time_text("2026-11-30T07:30:00+00:00") == "2026-11-30 07:30 UTC"
    assert time_text("<now>") == "<now>"
