"""A site and a machine made into the kernels' arrays: once a machine, configuration and travel mode, and once a day."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from routeplan.hazards import arrays
from routeplan.hazards.arrays import (
    KINDS,
    Body,
    Bytes,
    Floats,
    Records,
    Scratch,
    World,
    records_of,
)
from routeplan.hazards.blocks import build_blocks
from routeplan.hazards.body import build_body, proven_from, underside_spacing
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.edges import BUCKET_M, ClosedBesides, EdgeIndex, EdgeSoup, build_edges, index_edges, layers_of
from routeplan.hazards.fields import GroundFields, OverheadFields, ground_fields, outlines_of, overhead_fields
from routeplan.hazards.ground import OUT
from routeplan.hazards.terrain import Terrain
from routeplan.hazards.uncertainty import sigma_pitch, sigma_point, sigma_roll
from routeplan.machine.model import Configuration, Machine
from routeplan.site.model import Site

#: Tops lean no farther than on this many times the steepest slope allowed; beyond it clearances are not looked at.
LEAN_FACTOR = 1.5


@dataclass(frozen=True, eq=False)
class Hazards:
    """All that can be asked about one machine on one site on one day.

    ``sigma`` (KINDS,) is the standard deviation of each margin in its unit, at the worst point of the machine;
    ``blocking`` (KINDS,) is what an open margin means to the search (see ``tile.verdict_byte``);
    ``k`` the sigmas from which the search takes a margin as proven.
    """

    world: World
    body: Body
    sigma: Floats
    blocking: Bytes
    terrain: Terrain
    k: float
    wheel_radius_m: float
    configuration: Configuration
    travel_mode: str

    def closer(self) -> Hazards:
        """The same where what the bounds at a stance do not pass is looked at closer."""
        return replace(self, world=self.world._replace(closer=True))

    def apart(self) -> Hazards:
        """The same with nodes of its own."""
        return replace(self, world=self.world._replace(nodes=self.world.nodes.copy()))

    def with_closed(
        self, besides: ClosedBesides, site: Site, machine: Machine, day: dt.date | None, *, wet: bool = True
    ) -> Hazards:
        """What ``Encounter.on`` makes of a site, from what it made with fewer areas closed, as much ground accepted.

        The nodes are taken over. Farther from the areas than is told, the distance of a node to the nearest edge stays
        what it was: no motion asks for more.
        """
        layers = layers_of(site, machine, self.configuration, day=day, wet=wet)
        index = index_edges(self.terrain, layers, _reach_m(self.body)[0] + self.world.piece_m / 2.0)
        nodes = self.world.nodes
        nodes["inside"][besides.inside] |= 1 << arrays.E_CLOSED
        for about in besides.windows:
            nodes["body_far"][about] = np.minimum(nodes["body_far"][about], besides.far[about])
        return replace(self, world=self.world._replace(nodes=nodes, **_indexed(index)))


def margin_sigmas(site: Site, machine: Machine, configuration: Configuration) -> Floats:
    """Standard deviation of each kind of margin at the machine's worst point; degrees, ratios and metres as in the
    catalogue.
    """
    accuracy, base, track = site.ground.accuracy, machine.wheelbase_m, machine.track_m
    pitch, roll = sigma_pitch(accuracy, base), sigma_roll(accuracy, track)
    ratings = (machine.value("gradeability_basket_uphill_pct"), machine.value("gradeability_basket_downhill_pct"))
    corners = [corner for box in configuration.boxes for corner in box.ring]

    def least_sure(points: Iterable[tuple[float, float]]) -> float:
        shares = (((xi - machine.wheels[2].xi_m) / base, eta) for xi, eta in points)
        return max(sigma_point(accuracy, base, track, q, eta) for q, eta in shares)

    point, basket = least_sure(corners), least_sure(configuration.basket.ring)
    sigma = np.zeros(KINDS)
    sigma[arrays.GRADE] = math.degrees(pitch)
    sigma[arrays.SIDE_SLOPE] = math.degrees(roll)
    angles = [math.atan(value / 100.0) for value in (*ratings, machine.value("side_slope_pct"))]
    sigma[arrays.COMBINED] = math.hypot(pitch / min(angles[:2]), roll / angles[2])
    sigma[arrays.STRIKE] = math.hypot(point, accuracy.short_range_m)
    sigma[arrays.BOUNCE] = basket
    sigma[arrays.KERB_SIDE] = math.degrees(roll)
    sigma[arrays.HEAD] = sigma[arrays.OVERHEAD] = sigma[arrays.UNDER_LINE] = point
    return sigma


@dataclass(frozen=True, eq=False)
class Encounter:
    """What a machine in one configuration and travel mode meets on a site whatever the day: made once, for all days.

    ``fields`` of the ground under wheels and body, ``overhead`` what hangs over them.
    """

    site: Site
    machine: Machine
    configuration: Configuration
    travel_mode: str
    terrain: Terrain
    k: float
    body: Body
    sigma: Floats
    fields: GroundFields
    overhead: OverheadFields

    def on(self, day: dt.date | None, *, travel_m: float, wet: bool = True) -> Hazards:
        """Make everything the kernels need to judge a motion of this machine on a day.

        Parameters
        ----------
        travel_m
            How far the origin may get from where a motion of the lattice starts.
        wet
            Whether the day may be wet, so that ground bears what it does wet.
        """
        body, terrain, (reach_m, lean_m) = self.body, self.terrain, _reach_m(self.body)
        layers = layers_of(self.site, self.machine, self.configuration, day=day, wet=wet)
        soup = build_edges(terrain, layers, reach_m + travel_m / 2.0)
        radius_m = max(wheel.radius_m for wheel in self.machine.wheels)
        features, soffits, outlines = outlines_of(self.site, radius_m)
        blocking = _blocking(body, self.k * self.sigma)
        steering = proven_from(body, np.where(blocking == 2, self.k * self.sigma, 0.0))
        blocks = build_blocks(terrain, steering, self.fields, self.overhead.lowest_proven, soup.low, travel_m)
        world = World(
            x0=terrain.x0, y0=terrain.y0, cell=terrain.cell_m,
            nodes=_nodes(terrain, self.fields, self.overhead, soup),
            spans=self.fields.spans, block=blocks.size, blocks=blocks.records,
            levels=terrain.levels, features=features, soffits=soffits, outlines=outlines,
            closer=None, open_m=reach_m - lean_m + travel_m + terrain.cell_m, **_indexed(soup.index),
            bucket_m=BUCKET_M, piece_m=travel_m, lean_m=lean_m,
        )  # fmt: skip
        return Hazards(
            world, body, self.sigma, blocking, terrain, self.k, radius_m, self.configuration, self.travel_mode
        )


def encounter(
    site: Site, machine: Machine, *, configuration: str, travel_mode: str, k: float, terrain: Terrain
) -> Encounter:
    """Lay a machine's body and wheels over a site's ground and under its soffits and lines.

    Parameters
    ----------
    k
        Sigmas from which a margin counts as proven.
    """
    chosen = machine.configurations[configuration]
    sigma = margin_sigmas(site, machine, chosen)
    body = proven_from(build_body(site, machine, chosen, ridden=travel_mode == "ridden"), k * sigma)
    fields = ground_fields(site, machine, body, terrain, underside_spacing(chosen))
    overhead = overhead_fields(site, body, terrain, k)
    return Encounter(site, machine, chosen, travel_mode, terrain, k, body, sigma, fields, overhead)


def _reach_m(body: Body) -> tuple[float, float]:
    """How far from the origin an edge may concern the machine standing, tops that lean included; how far they do."""
    lean_m = body.tallest * LEAN_FACTOR * max(body.limit_up, body.limit_down, body.limit_side)
    return body.reach * (1.0 + body.sin_heading) + body.lateral + body.body_gap + COMFORT_M + lean_m, lean_m


def _indexed(index: EdgeIndex) -> dict[str, Any]:
    """An index of edges by the names of ``World``'s fields."""
    return {
        "edges": index.edges, "edge_kind": index.kinds, "bucket_start": index.bucket_start,
        "bucket_edges": index.bucket_edges, "bucket_cols": index.bucket_cols, "bucket_rows": index.bucket_rows,
    }  # fmt: skip


def _nodes(terrain: Terrain, fields: GroundFields, overhead: OverheadFields, soup: EdgeSoup) -> Records:
    return records_of(
        arrays.NODE, level=terrain.level, gx=terrain.gx, gy=terrain.gy, under=fields.under, defect=fields.defect,
        deviation=fields.deviation, raised=fields.raised, kerb=fields.kerb,
        soffit=overhead.soffit, soffit_proven=overhead.soffit_proven,
        line=overhead.line, line_proven=overhead.line_proven,
        soffit_far=overhead.far, body_far=soup.body_far, wheel_far=soup.wheel_far, inside=soup.inside,
    )  # fmt: skip


def new_scratch(body: Body, look: int = arrays.ALL) -> Scratch:
    """Room for one thread to check motions in; ``look``: see ``Scratch``."""
    return Scratch(
        np.empty(OUT), np.empty((3, OUT)), np.empty((3, body.n_boxes)), np.empty((3, 4)), np.empty((2, OUT)),
        np.empty((4, 6)), np.empty((40, 6)),
        np.empty((40, 2)), np.empty(4096, np.int64), look,
    )  # fmt: skip


def _blocking(body: Body, wanted: Floats) -> Bytes:
    """Open margins steer the search only where some pose could be proven on this survey (level ground, no defect)."""
    blocking = np.full(KINDS, 2, np.uint8)
    best = np.full(KINDS, np.inf)
    best[arrays.GRADE] = math.degrees(math.atan(min(body.limit_up, body.limit_down)))
    best[arrays.SIDE_SLOPE] = math.degrees(math.atan(body.limit_side))
    best[arrays.COMBINED] = 1.0
    best[arrays.STRIKE] = float(body.rows("boxes")[:, 4].min()) - body.underside_gap
    best[arrays.BOUNCE] = body.bounce_limit
    best[arrays.KERB_SIDE] = body.kerb_side
    blocking[best < wanted] = 1
    blocking[arrays.WALKWAY] = 0
    blocking[arrays.LEVELS] = 2
    return blocking
