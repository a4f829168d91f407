"""A sheet says which steering to select, how the machine is driven, and how the move before leaves it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import pytest

from routeplan.machine.read import build_machine
from routeplan.report.driving import (
    after_text,
    before_text,
    facing_text,
    modes_text,
    orientation_text,
    short_text,
    speed_text,
    steering_text,
)
from routeplan.route.model import Control, Move, Plan, Pose, Stand
from tests.report.world import moves, plan

RIDDEN, BESIDE, FOLDED = "ridden", "beside_rails_up", "beside_rails_folded"


def way(modes: Sequence[str], steers: Sequence[str] = ("front",)) -> tuple[Pose, ...]:
    """A straight of a row a metre, in these travel modes and ways of steering one after the other."""
    rows = max(len(modes), len(steers))
    return tuple(
        Pose(float(n), 0.0, 90.0, 1, modes[min(n, len(modes) - 1)], steers[min(n, len(steers) - 1)], "stowed", 0.5, n)
        for n in range(rows)
    )


def driven(move_id: str, *modes: str, on: str | None = "2026-12-01", machine: str = "SC12") -> Move:
    return dataclasses.replace(moves()[0], id=move_id, machine=machine, on=on, poses=way(modes or (RIDDEN,)))


def test_facing_and_orientation_are_words_of_their_own() -> None:
    stands = (
        Stand(0.0, 4.0, "basket end", "level", "leading"), Stand(4.0, 9.0, "basket end", "downhill", "trailing"),
        Stand(9.0, 12.5, "basket end", "level", "trailing"),
    )  # fmt: skip
    move = dataclasses.replace(driven("D1"), stands=stands)
    assert facing_text(move) == "basket end leading to 4.0 m, then trailing to 12.5 m"
    assert orientation_text(move) == "basket end downhill from 4.0 to 9.0 m"
    flat = dataclasses.replace(move, stands=stands[:1])
    assert (facing_text(flat), orientation_text(flat)) == ("basket end leading", "basket end level")
    nowhere = dataclasses.replace(move, stands=())
    assert (facing_text(nowhere), orientation_text(nowhere)) == ("", "")


def together(*planned: Move) -> Plan:
    return plan(planned=planned)


def test_every_way_of_driving_is_said_once_in_the_order_in_which_they_begin() -> None:
    rows = way((RIDDEN, RIDDEN, FOLDED, BESIDE, RIDDEN))
    assert modes_text(rows) == "ridden, then from beside with the rails folded, then from beside with the rails up"
    assert short_text(rows, steered=False) == "ridden, then beside, rails folded, then beside, rails up"
    assert short_text(way((RIDDEN,), ("crab", "front")), steered=True) == "ridden; crab, then front wheels only"


@pytest.mark.parametrize(
    ("machine_class", "steers", "words"),
    [
        ("slab-scissor-6m", ("front",), ""),
        ("push-around-mast-4m", ("front", "pivot"), "front wheels only, then turning on the spot"),
        (
            "telescopic-boom-26m",
            ("front",),
            "front wheels only; select it before driving off, the move is checked in no other",
        ),
        (
            "tracked-spider-20m",
            ("skid", "pivot"),
            "skid, one track faster than the other, nothing to select, then turning on the spot",
        ),
    ],
)
def test_a_driver_is_told_what_to_select_where_the_machine_can_be_set(
    machine_class: str, steers: tuple[str, ...], words: str
) -> None:
    machine = build_machine("M", {"class": machine_class}, where="test")
    assert steering_text(dataclasses.replace(moves()[0], poses=way((RIDDEN,), steers)), machine) == words


def test_where_the_steering_is_set_on_the_way_the_stops_say_where() -> None:
    machine = build_machine("M", {"class": "telescopic-boom-40m"}, where="test")
    setting = Control("steering", 1.0, "Stop, set steering to crab: front and rear wheels alike.")
    move = dataclasses.replace(moves()[0], poses=way((RIDDEN,), ("front", "crab")), controls=(setting,))
    assert steering_text(move, machine) == (
        "front wheels only, then crab, front and rear wheels alike; each setting is a stop below"
    )


def test_rails_left_folded_are_put_up_before_the_next_move_that_starts_with_rails_up() -> None:
    first, second = driven("M1", RIDDEN, FOLDED), driven("M2", RIDDEN)
    both = together(first, second)
    assert before_text(second, both) == (
        "move M1, the same day, leaves it with the rails folded, to be driven from beside; this move starts with the "
        "rails up, to be driven from the platform: put the rails up and lock them before it drives off"
    )
    assert after_text(first, both) == (
        "it is left with the rails folded, to be driven from beside; move M2, the same day, starts with the rails up, "
        "to be driven from the platform: put the rails up and lock them before it drives off"
    )
    assert before_text(first, both) == after_text(second, both) == ""


def test_rails_left_up_are_folded_and_a_driver_beside_gets_on() -> None:
    up, folded, beside = driven("M1", RIDDEN), driven("M2", FOLDED, BESIDE), driven("M3", RIDDEN)
    three = together(up, folded, beside)
    assert before_text(folded, three).endswith("fold the rails before it drives off")
    assert before_text(beside, three).endswith(": get on")


def test_the_move_before_is_the_machine_s_own_and_the_last_by_day_that_has_a_way() -> None:
    late = driven("M1", RIDDEN, on="2026-12-09")
    early = driven("M2", FOLDED, on="2026-12-01")
    nowhere = dataclasses.replace(driven("M3", on="2026-12-05"), poses=())
    other = driven("M4", BESIDE, on="2026-12-06", machine="TB26")
    four = together(late, early, nowhere, other)
    assert before_text(late, four).startswith("move M2, on 2026-12-01, leaves it with the rails folded")
    assert before_text(nowhere, four) == after_text(nowhere, four) == before_text(other, four) == ""
    assert after_text(other, four) == "it is left with the rails up, to be driven from beside"


def test_a_move_that_starts_as_it_was_left_says_so_and_one_ridden_on_says_nothing() -> None:
    first, second = driven("M1", FOLDED, on=None), driven("M2", FOLDED, on=None)
    assert before_text(second, together(first, second)) == (
        "move M1 leaves it with the rails folded, to be driven from beside, as this move starts"
    )
    assert after_text(first, together(first, second)).endswith("as move M2 starts")
    ridden = driven("M1"), driven("M2")
    assert before_text(ridden[1], together(*ridden)) == after_text(ridden[0], together(*ridden)) == ""


def test_a_driver_is_told_in_plain_words_where_to_go_slower() -> None:
    rows = [pose._replace(v_max_mps=0.409 if 12 <= n < 19 else 1.6) for n, pose in enumerate(way((RIDDEN,) * 30))]
    assert speed_text(rows) == "no faster than 0.40 m/s between 12 m and 18 m; elsewhere no faster than 1.60 m/s"
    assert speed_text(way((RIDDEN,) * 3)) == "" and speed_text(()) == ""
    assert speed_text([pose._replace(v_max_mps=math.nan) for pose in rows]) == ""
