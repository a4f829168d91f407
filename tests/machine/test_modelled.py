"""What is not modelled says so in words, and nothing that is modelled does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_modelled, not_ridden, steering
from routeplan.machine.read import build_machine, read_classes
from tests import worlds

#: Every way of steering of each class; from memory, as far as the trade's table does not say it.
STEERING = {
    "push-around-mast-4m": ("front", "pivot"),
    "mast-boom-8m": ("front",),
    "slab-scissor-6m": ("front",),
    "slab-scissor-8m": ("front",),
    "slab-scissor-10m": ("front",),
    "rough-terrain-scissor-12m": ("front",),
    "rough-terrain-scissor-18m": ("front",),
    "electric-articulating-boom-15m": ("front",),
    "articulating-boom-16m": ("front", "coordinated"),
    "rough-terrain-boom-20m": ("front", "coordinated"),
    "telescopic-boom-26m": ("front", "coordinated"),
    "telescopic-boom-40m": ("front", "coordinated", "crab"),
    "telescopic-boom-40m-axles-out": ("front", "coordinated", "crab"),
    "tracked-spider-20m": ("skid", "pivot"),
    "tracked-spider-20m-tracks-out": ("skid", "pivot"),
    "trailer-boom-17m": ("towed",),
    "vehicle-boom-20m": ("road",),
}
REASONS = {
    "trailer-boom-17m": "steering not modelled: towed",
    "vehicle-boom-20m": "steering not modelled: road",
}


def machine(class_id: str) -> Machine:
    return build_machine("X", {"class": class_id}, where="test")


@pytest.mark.parametrize("class_id", sorted(read_classes()))
def test_a_class_steers_as_the_trade_says_and_pivots_only_where_it_can(class_id: str) -> None:
    one = machine(class_id)
    assert steering(one) == STEERING[class_id]
    assert ("pivots" in one.figures and one.value("pivots") == 1) == ("pivot" in STEERING[class_id])


@pytest.mark.parametrize("class_id", sorted(read_classes()))
def test_what_is_not_modelled_says_why(class_id: str) -> None:
    assert not_modelled(machine(class_id)) == REASONS.get(class_id)


def test_no_sheet_talks_a_machine_into_being_modelled() -> None:
    for class_id, reason in REASONS.items():
        sheet = {name: figure.value for name, figure in machine(class_id).figures.items()}
        whole = build_machine("X", {"class": class_id, "sheet_source": "s", "sheet": sheet}, where="test")
        assert all(figure.trusted for figure in whole.figures.values())
        assert not_modelled(whole) == reason


def test_a_machine_of_no_class_of_ours_goes_by_what_it_stands_on() -> None:
    assert not_modelled(worlds.scissor()) is None and steering(worlds.scissor()) == ()
    spider = replace(machine("tracked-spider-20m"), class_id="test")
    assert not_modelled(spider) is None and spider.ordinary_steer == "skid"
    assert worlds.scissor().ordinary_steer == "front"


def test_nobody_rides_with_rails_folded_nor_on_what_is_moved_from_beside() -> None:
    assert not_ridden(machine("slab-scissor-8m"), "stowed") is None
    assert not_ridden(machine("telescopic-boom-26m"), "stowed_turned") is None
    assert "rails folded" in str(not_ridden(machine("slab-scissor-8m"), "stowed_rails_folded"))
    for class_id in ("push-around-mast-4m", "tracked-spider-20m", *REASONS):
        assert "nobody rides" in str(not_ridden(machine(class_id), "stowed"))
