"""Rescue from where a machine works: ways on foot to its ground controls, and for a second machine to stand beside it.

Nobody's figures tell how far a machine reaches or how high it lifts. So a second machine is led to where it stands
beside the first, and that it reaches the basket from there is told as not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon

from routeplan.hazards.terrain import Terrain, build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.covered import outlines
from routeplan.plan.move import MovePlanner
from routeplan.plan.on_foot import to_ground_controls
from routeplan.plan.set_up import WORKFACE
from routeplan.plan.whole import Issue, planned
from routeplan.route.lifelines import Reached, Rescue, Second
from routeplan.route.model import Move, Pose, heading_rad
from routeplan.search.anchors import Anchor
from routeplan.site.model import MoveWanted, Obstacle, Place, Site

#: Kinds of places that people come from to help.
HELP_COMES_FROM = ("gate", "refuge")
#: A second machine stands beside the first when their outlines are this near, m (common practice, no source).
BESIDE_M = 2.0
#: Most poses beside it that are looked at.
MOST = 400
#: Ids of the places that a second machine is led from and to.
FROM, BESIDE = "second machine", "a place beside the first machine"


def rescues(site: Site, moves: Sequence[Move], issue: Issue, aids: Aids = UNAIDED) -> Iterator[Rescue]:
    """How people come to help at every workface where a planned move leaves a machine.

    Parameters
    ----------
    moves
        As the second opinion left them, in the order of the site.
    """
    terrain = build_terrain(site.ground, site.grid)
    wanted = {one.id: one for one in site.moves}
    left = {move.id: move for move in moves}
    for reached in on_foot(site, moves):
        move = left[reached.move]
        asked, machine = wanted[move.id], site.machines[move.machine]
        standing = _outline(move.poses[-1], machine, move.configuration)
        around = replace(site, obstacles=(*site.obstacles, Obstacle(machine.id, standing, "machine", None)))
        seconds = tuple(
            _second(around, terrain, other, asked, (standing, moves), issue, aids)
            for other in site.machines.values()
            if other.id != machine.id and _may_help(other, machine)
        )
        yield Rescue(move.id, machine.id, move.goal, reached.on_foot, reached.no_way, seconds)


def on_foot(site: Site, moves: Sequence[Move]) -> Iterator[Reached]:
    """How people come on foot to the ground controls at every workface where a planned move leaves a machine.

    Parameters
    ----------
    moves
        As the second opinion left them, in the order of the site.
    """
    days = {one.id: one.on for one in site.moves}
    for move in moves:
        if move.poses and site.places[move.goal].kind == WORKFACE:
            machine = site.machines[move.machine]
            way, why = to_ground_controls(
                site, days[move.id], standing=_outline(move.poses[-1], machine, move.configuration),
                chassis=_chassis(move, machine), name=machine.id, starts=_help(site, moves, move),
            )  # fmt: skip
            yield Reached(move.id, way, why)


def _may_help(other: Machine, machine: Machine) -> bool:
    """Whether a machine slews, or is of the same class and so lifts as high."""
    return other.slews or other.class_id == machine.class_id


def _help(site: Site, moves: Sequence[Move], move: Move) -> list[tuple[str, Point]]:
    """Where people come from: gates and refuges, else where the machine was delivered."""
    named = [(place.id, place.point) for place in site.places.values() if place.kind in HELP_COMES_FROM]
    first = next(one for one in moves if one.machine == move.machine)
    return named or [(first.start, site.places[first.start].point)]


def _outline(pose: Pose, machine: Machine, configuration: str) -> Polygon:
    """The outline of a machine where it stands."""
    found: Polygon = outlines([pose], machine, configuration)[0]
    return found


def _chassis(move: Move, machine: Machine) -> Polygon:
    """The outline of its chassis, or of all of it where no box is named so, where a move leaves it."""
    pose, shape = move.poses[-1], machine.configurations[move.configuration]
    ring = next((box.ring for box in shape.boxes if box.name == "chassis"), shape.footprint)
    turned = affinity.rotate(Polygon(ring), heading_rad(pose.bearing_deg), origin=(0.0, 0.0), use_radians=True)
    return affinity.translate(turned, pose.x, pose.y)


def _second(
    site: Site, terrain: Terrain, other: Machine, asked: MoveWanted, known: tuple[Polygon, Sequence[Move]],
    issue: Issue, aids: Aids,
) -> Second:
    """What a second machine can do where the first one is an obstacle of the site."""
    standing, moves = known
    own = [one for one in site.moves if one.machine == other.id]
    if not own:
        return Second(other.id, "nowhere", other.slews, "not proven", math.nan, None, "nobody says where it stands")
    left = _left(other, asked, site, moves)
    start = site.places[own[0].start] if left is None else _place(FROM, left)
    beside = _beside(site, terrain, other, own[0].configuration, standing)
    at = standing.centroid
    places = {**site.places, FROM: replace(start, id=FROM), BESIDE: Place(BESIDE, "parking", BESIDE, at, None, 0.1)}
    move = replace(
        own[0], id=f"{asked.id} second {other.id}", purpose="relocation", start=FROM, goal=BESIDE, on=asked.on, via=(),
        wet=asked.wet, regime="stowed", platform_height_m=None,
    )  # fmt: skip
    yard = replace(site, places=places, moves=(move,))
    found = planned(move, _Leading(yard, terrain, (), aids, {BESIDE: beside}), issue).moves[0]
    where = f"{start.id}, where it comes" if left is None else "where it stands"
    if not found.poses:
        return Second(other.id, where, other.slews, found.verdict, math.nan, None, found.reason)
    last = found.poses[-1]
    return Second(other.id, where, other.slews, found.verdict, found.length_m, (last.x, last.y, last.bearing_deg), "")


class _Leading(MovePlanner):
    """Leads a machine to any of the poses beside another; the place is then where it came to stand."""

    def plan(self, wanted: MoveWanted) -> Move:
        move = super().plan(wanted)
        if move.poses:
            self.site = replace(self.site, places={**self.site.places, BESIDE: _place(BESIDE, move.poses[-1])})
        return move


def _place(name: str, pose: Pose) -> Place:
    return Place(name, "parking", name, Point(pose.x, pose.y), pose.bearing_deg, 0.1)


def _left(other: Machine, asked: MoveWanted, site: Site, moves: Sequence[Move]) -> Pose | None:
    """Where the last move made before one left a machine, dates first, then the order of the site; None where none."""
    order = {one.id: (one.on.isoformat() if one.on else "", n) for n, one in enumerate(site.moves)}
    before = [one for one in moves if one.machine == other.id and one.poses and order[one.id] < order[asked.id]]
    return max(before, key=lambda one: order[one.id]).poses[-1] if before else None


def _beside(site: Site, terrain: Terrain, other: Machine, configuration: str, standing: Polygon) -> list[Anchor]:
    """Poses on the lattice's nodes in which the outline of a machine is beside another's."""
    ring, cell_m = np.array(other.configurations[configuration].footprint), terrain.cell_m * terrain.stride
    reach_m = float(np.hypot(*ring.T).max()) + BESIDE_M
    west, south, east, north = standing.bounds
    x, y = np.meshgrid(
        _nodes(west - reach_m, east + reach_m, terrain.x0, cell_m),
        _nodes(south - reach_m, north + reach_m, terrain.y0, cell_m),
    )
    found = []
    for heading in 2.0 * math.pi * np.arange(8) / 8:
        c, s = math.cos(heading), math.sin(heading)
        at = ring @ np.array([[c, s], [-s, c]])
        drawn = shapely.polygons(at + np.stack([x.ravel(), y.ravel()], axis=-1)[:, None])
        gap = shapely.distance(drawn, standing)
        found += [Anchor(float(px), float(py), heading) for px, py in zip(
            x.ravel()[(gap > 0.0) & (gap <= BESIDE_M)], y.ravel()[(gap > 0.0) & (gap <= BESIDE_M)], strict=True
        )]  # fmt: skip
    return found[:: max(1, len(found) // MOST)]


def _nodes(low: float, high: float, first: float, cell_m: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return first + np.arange(math.ceil((low - first) / cell_m), math.floor((high - first) / cell_m) + 1.0) * cell_m
