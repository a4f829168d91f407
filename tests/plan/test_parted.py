"""Where nothing as wide as the body comes through: proven by plain geometry, and never where a way was found."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from shapely.geometry import Polygon, box

from routeplan.hazards.terrain import build_terrain
from routeplan.plan.aids import UNAIDED
from routeplan.plan.lattices import Lattices
from routeplan.plan.parted import disc_of, parted_m
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.site.changes import ALWAYS
from routeplan.site.model import Area, GridSpec, Obstacle, Site, TravelMode
from tests import worlds
from tests.random_sites import draw

MACHINE = worlds.scissor(pivots=1.0)
WEST, EAST = Anchor(3.0, 5.0, 0.0), Anchor(17.0, 5.0, 0.0)
WANTED = worlds.wanted(MACHINE.id, "w", "e")


def yard(*walls: Polygon, areas: tuple[Area, ...] = (), top_m: float | None = None) -> Site:
    return worlds.flat_site(
        20.0, 10.0, obstacles=tuple(Obstacle(f"o{n}", wall, "wall", top_m) for n, wall in enumerate(walls)),
        areas=areas, grid=GridSpec(cell_m=0.5), machines=(MACHINE,),
    )  # fmt: skip


def lattice_of(site: Site) -> CheckedLattice:
    return Lattices(site, build_terrain(site.ground, site.grid), UNAIDED).of(WANTED, MACHINE)


def wall_with(gap_m: float) -> tuple[Polygon, Polygon]:
    """A wall across the yard with a gap in it, half of it on either side of the middle."""
    return box(9.9, -1.0, 10.1, 5.0 - gap_m / 2), box(9.9, 5.0 + gap_m / 2, 10.1, 11.0)


def parted(site: Site) -> float | None:
    return parted_m(site, WANTED, [lattice_of(site)], [WEST], [EAST])


def least_gap_m() -> float:
    """Gap that the disc comes through with its gaps, to the roundings and the lean that it leaves."""
    body = lattice_of(yard()).hazards.body
    steepest = max(body.limit_up, body.limit_down, body.limit_side)
    return 2.0 * (disc_of(body)[2] / math.hypot(1.0, steepest) + body.structure_gap)


def test_a_gap_parts_by_millimetres() -> None:
    least = least_gap_m()
    assert parted(yard(*wall_with(least + 0.002))) is None
    width = parted(yard(*wall_with(least - 0.012)))
    assert width == pytest.approx(2.0 * disc_of(lattice_of(yard()).hazards.body)[2], abs=0.03)


def test_outlines_are_grown_by_no_more_than_the_disc() -> None:
    """What grows them straightens a lip of millimetres first, which brings the wall behind it nearer."""
    lip_m, half_m = 0.004, least_gap_m() / 2.0
    south, north = 5.0 - half_m, 5.0 + half_m
    above = Polygon([(6.0, 11.0), (6.0, north - lip_m), (6.0005, north), (14.0, north), (14.0, 11.0)])
    assert parted(yard(box(6.9, -1.0, 14.0, south), above)) is None


def test_nothing_is_said_of_a_body_that_is_another_in_another_travel_mode() -> None:
    """With its rails folded it may come through."""
    stowed = MACHINE.configurations["stowed"]
    slim = tuple(replace(box, ring=worlds.ring(-0.27, -0.2, 2.13, 0.2)) for box in stowed.boxes)
    folded = replace(stowed, id="stowed_rails_folded", boxes=slim)
    machine = replace(MACHINE, configurations={"stowed": stowed, folded.id: folded})
    site = replace(yard(*wall_with(least_gap_m() - 0.1)), machines={machine.id: machine})
    of = Lattices(site, build_terrain(site.ground, site.grid), UNAIDED).of
    modes: tuple[TravelMode, ...] = ("ridden", "beside_rails_up", "beside_rails_folded")
    ridden, beside, folds = (of(replace(WANTED, travel_mode=mode), machine) for mode in modes)
    assert parted_m(site, WANTED, [ridden, beside], [WEST], [EAST]) is not None
    assert parted_m(site, WANTED, [folds], [WEST], [EAST]) is None
    assert parted_m(site, WANTED, [ridden, beside, folds], [WEST], [EAST]) is None


def test_a_closed_area_parts_and_an_open_one_does_not() -> None:
    across = box(9.0, -1.0, 11.0, 11.0)
    assert parted(yard(areas=(Area("a", "A", across, ALWAYS),))) is not None
    assert parted(yard(areas=(Area("a", "A", across, ()),))) is None
    assert parted(yard(areas=(Area("a", "A", box(9.0, -1.0, 11.0, 7.0), ALWAYS),))) is None


def test_what_a_body_might_pass_over_parts_nothing() -> None:
    assert parted(yard(*wall_with(0.2), top_m=100.1)) is None


def test_nothing_is_parted_where_a_way_was_found() -> None:
    """On drawn sites; those on which a search takes long show nothing here."""
    shown = 0
    for seed in range(8):
        drawn = draw(seed)
        ends = [Anchor(x, y, 0.0) for x, y in ((6.0, 6.0), (14.0, 10.0))]
        start, goal = map(drawn.lattice.add_anchor, ends)
        if isinstance(drawn.lattice.find([start], [goal], limit=100_000), Found):
            shown += 1
            assert parted_m(drawn.site, WANTED, [drawn.lattice], ends[:1], ends[1:]) is None
    assert shown >= 3
