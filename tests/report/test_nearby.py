"""A move's plan names what the move comes near, and leaves the rest of the site unnamed."""

from __future__ import annotations

import dataclasses

from routeplan.report.drawing import draw_site
from routeplan.report.nearby import named_near, unnamed
from routeplan.report.route_drawing import draw_move
from routeplan.report.shapes import Layer
from tests.report.world import at, drive, moves, plan, site

SITE = site()
BASE = draw_site(SITE)
SHAPES = [shape for layer in BASE for shape in layer.shapes]


def names(layers: tuple[Layer, ...]) -> set[str]:
    return {shape.label for layer in layers for shape in layer.shapes if shape.label}


def test_what_a_way_passes_is_named_and_what_lies_far_off_is_not() -> None:
    move = dataclasses.replace(moves()[0], poses=drive((60, 41), (120, 41)), checks=())
    drawing = draw_move(dataclasses.replace(move, start="none", goal="none"), plan=plan(), site=SITE)
    left = names(named_near(BASE, drawing))
    assert "H1" in left and not {"H2", "H5", "K1", "TR2"} & left
    assert any("rack low bay" in label for label in left) and not any("canopy" in label for label in left)
    assert {SHAPES[number].label for number in unnamed(BASE, drawing)} == names(BASE) - left


def test_places_areas_and_ground_keep_their_names_wherever_they_are() -> None:
    drawing = draw_move(moves()[0], plan=plan(), site=SITE)
    left = names(named_near(BASE, drawing))
    assert {"Plant park", "North wall", "North bay pour", "excavation EX1", "soft corner: not accepted"} <= left


def test_three_metres_is_near_and_a_little_more_is_not() -> None:
    move = dataclasses.replace(moves()[0], start="none", goal="none", checks=(), poses=())
    for away_m, near in ((2.9, True), (3.1, False)):
        hold = dataclasses.replace(moves()[1].holds[0], place=at(62.0, 41.0 + away_m))
        drawing = draw_move(dataclasses.replace(move, holds=(hold,)), plan=plan(), site=SITE)
        assert ("H1" in names(named_near(BASE, drawing))) is near


def test_a_move_of_which_nothing_is_drawn_leaves_all_names() -> None:
    move = dataclasses.replace(moves()[0], start="none", goal="none", checks=(), poses=())
    drawing = draw_move(move, plan=plan(), site=SITE)
    assert unnamed(BASE, drawing) == () and names(named_near(BASE, drawing)) == names(BASE)
