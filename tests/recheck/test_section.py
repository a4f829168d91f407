"""A long section that tells of more room or speed than the checks and rows of its move is refused."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from routeplan.plan.whole import plan_site
from routeplan.recheck.section import TELLS, section_objections
from routeplan.route.model import Move, SectionRow
from tests.recheck.test_verdicts import SITE
from tests.worlds import wanted


@pytest.fixture(scope="module")
def move() -> Move:
    """A planned move; every field of its section gets a check that something is near."""
    (move,) = plan_site(replace(SITE, moves=(wanted("SC", "A", "B"),)), issued="2026-11-24T12:00:00+00:00").moves
    assert move.poses and move.section
    kinds = {kind for kinds, _ in TELLS.values() for kind in kinds}
    checks = tuple(replace(one, margin=0.3) if one.kind in kinds else one for one in move.checks)
    rows = tuple(row._replace(**dict.fromkeys(TELLS, 0.4)) for row in move.section)
    rows = (rows[0], rows[1]._replace(**dict.fromkeys(TELLS, 0.3)), *rows[2:])
    return replace(move, checks=checks, section=rows)


def test_every_figure_of_a_row_is_held_to_something() -> None:
    """What is to spare is held to the checks, speed to the rows of the route; the rest are places and slopes."""
    others = {"chainage_m", "level_m", "pitch_deg", "roll_deg", "v_max_mps"}
    assert {*TELLS} == {*SectionRow._fields} - others


def told(move: Move) -> str:
    return " ".join(one.text for one in section_objections(move))


def test_a_section_that_tells_what_the_checks_do_is_accepted(move: Move) -> None:
    assert told(move) == ""
    assert told(replace(move, section=())) == ""


@pytest.mark.parametrize("field", TELLS)
@pytest.mark.parametrize("value", [0.3002, math.nan])
def test_more_to_spare_than_the_checks_is_refused(move: Move, field: str, value: float) -> None:
    rows = (move.section[0], move.section[1]._replace(**{field: value}), *move.section[2:])
    assert f"{field} leaves" in told(replace(move, section=rows))


def test_nothing_near_is_told_where_the_checks_say_so(move: Move) -> None:
    checks = tuple(replace(one, margin=10.0) if one.kind == "bounce rise" else one for one in move.checks)
    rows = tuple(row._replace(bounce_m=math.nan) for row in move.section)
    assert told(replace(move, checks=checks, section=rows)) == ""


def test_more_speed_than_the_rows_is_refused(move: Move) -> None:
    faster = move.section[1].v_max_mps + 0.001
    rows = (move.section[0], move.section[1]._replace(v_max_mps=faster), *move.section[2:])
    assert "lets the machine go" in told(replace(move, section=rows))


@pytest.mark.parametrize("change", [lambda rows: rows[::-1], lambda rows: rows[1:], lambda rows: (*rows, rows[-1])])
def test_rows_run_from_start_to_finish(move: Move, change: Any) -> None:
    assert "one after another" in told(replace(move, section=change(move.section)))
