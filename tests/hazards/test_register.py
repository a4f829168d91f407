"""What a pass may rest on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from routeplan.hazards.catalogue import CATALOGUE, by_kind
from routeplan.hazards.register import doubts
from routeplan.machine.model import Figure
from routeplan.recheck.ledger import CATALOGUE as SECOND
from tests.worlds import boom, flat_site

PARTS = (
    "front_overhang_m",
    "rear_overhang_m",
    "basket_overhang_m",
    "basket_length_m",
    "basket_width_m",
    "tail_overhang_m",
)


def test_both_opinions_hold_the_same_catalogue() -> None:
    assert {line.kind: set(line.figures) for line in CATALOGUE} == {k: set(b.figures) for k, b in SECOND.items()}


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("kind", ["side clearance", "ground strike", "head gap", "overhead clearance", "walkways"])
def test_a_body_shaped_by_a_class_figure_passes_no_check(name: str, kind: str) -> None:
    machine = boom()
    figure = Figure(name, machine.value(name), "class", "invented")
    shaped = replace(machine, figures={**machine.figures, name: figure})
    assert doubts(by_kind(kind), flat_site(), machine) == ()
    assert any(name in why for why in doubts(by_kind(kind), flat_site(), shaped))


def test_a_layer_nobody_spoke_of_leaves_its_check_open() -> None:
    site = flat_site(layers_given=frozenset({"obstacles"}))
    assert doubts(by_kind("side clearance"), site, boom()) == ()
    assert doubts(by_kind("head gap"), site, boom()) == ("layer soffits not given: nobody said what is there",)
