"""The legs of a move in words: from where to where, how far, how, and what decides."""

from __future__ import annotations

import dataclasses

from routeplan.report.legs import leg_words, legs_of
from routeplan.report.stops import stops_of
from routeplan.route.model import Check, CheckVerdict, Hold, Leg, Move, Pose
from tests.report.world import at, moves, site

SITE = site()


def leg(start: str, goal: str, from_m: float, to_m: float, hazards: tuple[str, ...] = ()) -> Leg:
    return Leg(start, goal, to_m - from_m, to_m - from_m, "pass", (), hazards, from_m, to_m, "ridden")


def check(kind: str, margin: float, at_m: float, verdict: CheckVerdict = "pass") -> Check:
    return Check(kind, verdict, margin, 0.0, margin, "m", 0.0, 3.0, at_m, at(10.0, 10.0), "docs/method.md")


def three_legs() -> Move:
    """Gate to bay: ridden to a hold point at 10 m, from there beside with the rails folded, in crab from 20 m."""
    poses = tuple(
        Pose(
            *at(8.0 + n, 12.0), 90.0, 1, "ridden" if n < 10 else "beside_rails_folded", "crab" if n >= 20 else "front",
            "stowed", 0.5, float(n),
        )
        for n in range(31)
    )  # fmt: skip
    return dataclasses.replace(
        moves()[0],
        poses=poses,
        holds=(Hold(10.0, at(18.0, 12.0), "Stop, key out."),),
        checks=(check("side clearance", 0.042, 3.0), check("head gap", 0.4, 4.0), check("ground strike", 10.0, 25.0)),
        legs=(
            leg("gate-2", "hold point 1", 0.0, 10.0),
            leg("hold point 1", "gap between a and b", 10.0, 20.0, ("H1", "H2", "K1", "S1", "canopy")),
            leg("gap between a and b", "bay-3", 20.0, 30.0),
        ),
    )


def test_a_leg_goes_from_name_to_name_and_a_hold_point_is_called_by_its_stop() -> None:
    move = three_legs()
    watched = dataclasses.replace(move, holds=(Hold(2.0, at(10.0, 12.0), "Stop."), *move.holds))
    rows = leg_words(watched, stops_of(watched), SITE)
    assert [row[:4] for row in rows] == [
        ("1", "Gate 2", "stop 2", "10.0 m"),
        ("2", "stop 2", "gap between a and b", "10.0 m"),
        ("3", "gap between a and b", "Bay 3", "10.0 m"),
    ]


def test_a_leg_says_how_it_is_driven_and_how_it_is_steered_where_that_changes() -> None:
    move = three_legs()
    assert [row[4] for row in leg_words(move, (), SITE)] == [
        "ridden; front wheels only",
        "beside, rails folded; front wheels only",
        "beside, rails folded; crab",
    ]
    straight = dataclasses.replace(move, poses=tuple(pose._replace(steer="front") for pose in move.poses))
    assert [row[4] for row in leg_words(straight, (), SITE)] == ["ridden", *["beside, rails folded"] * 2]


def test_a_leg_is_decided_by_the_tightest_check_at_its_worst_in_it_or_by_what_it_passes() -> None:
    rows = leg_words(three_legs(), (), SITE)
    assert rows[0][5] == "Pass: side clearance, 42 mm to spare"
    assert rows[1][5] == "Pass, past H1, H2, K1 and 2 more"
    assert rows[2][5] == "Pass", "a margin that nothing was looked for beyond decides nothing"


def test_an_open_leg_is_never_told_as_if_it_passed() -> None:
    move = three_legs()
    opened = dataclasses.replace(
        move,
        checks=(*move.checks, check("bounce rise", 0.2, 15.0, "not proven")),
        legs=(move.legs[0], dataclasses.replace(move.legs[1], verdict="not proven"), move.legs[2]),
    )
    assert leg_words(opened, (), SITE)[1][5] == "Not proven: bounce rise, 200 mm to spare"


def test_a_move_of_one_leg_has_no_table_of_legs() -> None:
    move = three_legs()
    assert legs_of(dataclasses.replace(move, legs=move.legs[:1]), (), SITE) == ""
    assert legs_of(move, (), SITE).count("<tr>") == 1 + 3
