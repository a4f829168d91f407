"""A machine that cannot stand at a place gets an answer that every output can print."""

from __future__ import annotations

from pathlib import Path

from shapely.geometry import box

from routeplan.plan.whole import plan_site
from routeplan.report.exports import write_geopackage
from routeplan.report.page import write_map
from routeplan.site.model import Obstacle
from tests import worlds


def test_a_place_where_nothing_can_stand_is_named_on_the_map(tmp_path: Path) -> None:
    """A wall beside the place leaves no heading at which the body keeps its distance."""
    walls = tuple(Obstacle(f"w{n}", box(x, 9.0, x + 0.2, 11.0), "wall", None) for n, x in enumerate((22.0, 24.0)))
    site = worlds.flat_site(
        30.0, 20.0, machines=(worlds.scissor(),), moves=(worlds.wanted("SC", "w", "e"),), obstacles=walls,
        places=(worlds.place("w", 5.0, 10.0), worlds.place("e", 23.0, 10.0)),
    )  # fmt: skip
    plan = plan_site(site, issued="2026-11-24T12:00:00+00:00")
    (move,) = plan.moves
    assert move.verdict == "no route" and "cannot stand at e" in move.reason
    write_map(plan, site, tmp_path / "map.html")
    write_geopackage(plan, tmp_path / "routes.gpkg")
    assert "cannot stand at e" in (tmp_path / "map.html").read_text()
