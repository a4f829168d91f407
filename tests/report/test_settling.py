"""What settles an open check, in words: every place with its level, and nothing where nothing is told."""

from __future__ import annotations

import math

from routeplan.machine.read import build_machine
from routeplan.report.settling import measured_text
from routeplan.report.trouble import unsettled
from routeplan.route.model import Measurement
from tests.plans import check, move

NOWHERE = (math.nan, math.nan)
SPOTS = (
    Measurement("level", "", (12.12, 1.15), 100.0, 0.002, True, "read it"),
    Measurement("level", "", (9.38, 1.85), 99.9876, 0.002, True, "read it"),
)
FIGURE = Measurement("figure", "track_m", NOWHERE, math.nan, math.nan, False, "track_m is missing: measure it")
BETTER = Measurement("accuracy", "", (1.0, 2.0), math.nan, 0.0012, False, "survey it again, so that levels err no more")


def test_spot_levels_are_told_to_the_centimetre_with_what_the_plan_has() -> None:
    text = measured_text(check(verdict="not proven", margin=0.3, settled_by=SPOTS))
    assert text == (
        "it is proven if 2 spot levels (the fewest), read to 2 mm, find what the plan has: E 12.12 N 1.15 (plan: "
        "100.000 m); E 9.38 N 1.85 (plan: 99.988 m)"
    )
    assert "it fails if 1 spot level (" in measured_text(check(verdict="not proven", margin=-0.3, settled_by=SPOTS[:1]))


def test_a_survey_is_told_how_good_it_has_to_be() -> None:
    assert measured_text(check(settled_by=(BETTER,))) == "survey it again, so that levels err no more, 1.2 mm"


def test_what_is_assumed_and_what_is_measured_are_both_to_settle() -> None:
    machine = build_machine("SC", {"class": "slab-scissor-8m"}, where="test")
    row = check(verdict="not proven", margin=0.3, assumed=(FIGURE.text,), settled_by=(FIGURE, *SPOTS))
    first, second = unsettled(move(checks=(row,)), machine)
    assert first == FIGURE.text and second.startswith("side slope: ") and "E 9.38 N 1.85" in second
    alone = check(verdict="not proven", margin=0.3, assumed=(FIGURE.text,), settled_by=(FIGURE,))
    assert list(unsettled(move(checks=(alone,)), machine)) == [FIGURE.text]
