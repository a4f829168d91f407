"""Where a machine on its way comes nearest to things, and what to look at in those that have no number."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple, Protocol

import shapely
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Machine
from routeplan.report.inspection_line import ASK, Line
from routeplan.report.nearby import NEAR_M
from routeplan.report.sweep import placements
from routeplan.report.wording import down
from routeplan.route.model import Move
from routeplan.site.model import Site, Surface
from routeplan.site.spans import span_words

#: A door or gate this close to the machine is one that it drives through, metres.
_THROUGH_M = 1.0
_OPENINGS = ("door", "gate", "ramp end")
#: What to look for at a place, by its kind.
_AT = {
    "door": "Open, held open and locked so; nothing stands in it; frame, threshold and lintel as recorded.",
    "gate": "Open, held open and manned if the site asks for it; nothing stands in it.",
    "ramp end": "No step, rut or loose stone where the ramp begins or ends; edges marked.",
}
_OVER = "The machine passes over it."
_ANY_PLACE = "Free, as the plan takes it; nothing stored or parked there."
_KEEP_OFF = "No wheel on it, whatever its state. Look: in its place, whole, lies flat, marked, and no edge breaks away."
#: Of a cover or plate that is proven.
_PROVEN = (
    "{} proved it on {} for {:g} kN a wheel: wheels go straight over it, wholly on it or wholly off it. Look: as it "
    "was proven, in its place, fixed, whole, does not rock, and no edge breaks away."
)


class _Thing(Protocol):
    @property
    def id(self) -> str: ...

    @property
    def geometry(self) -> Polygon: ...


class Meeting(NamedTuple):
    """Where a machine is nearest to a thing: how far along, the thing's nearest point to its origin, and how near."""

    chainage_m: float
    place: tuple[float, float]
    far_m: float

    def words(self, over: str) -> str:
        """Return how near the machine's outline comes, rounded down, or the words for one that it is over or under."""
        return over if self.far_m <= 0.0 else f"{down(self.far_m, 1)} m beside the machine."


class Way:
    """A machine's outlines along a move, pose by pose.

    Parameters
    ----------
    move
        With a way to drive.
    machine
        As the plan has it.
    """

    def __init__(self, move: Move, machine: Machine) -> None:
        modes = {pose.travel_mode for pose in move.poses}
        rings = {
            mode: machine.configurations[machine.configuration_in(move.configuration, mode)].footprint for mode in modes
        }
        self.poses = move.poses
        self._outlines = shapely.STRtree(
            [Polygon(placements([pose], rings[pose.travel_mode])[0]) for pose in move.poses]
        )

    def met(self, geometry: BaseGeometry) -> Meeting:
        """Return where the machine first is nearest to a geometry."""
        rows, far_m = self._outlines.query_nearest(geometry, return_distance=True)
        pose = self.poses[int(rows.min())]
        x, y = shapely.shortest_line(geometry, Point(pose.x, pose.y)).coords[0]
        return Meeting(pose.chainage_m, (x, y), float(far_m[0]))

    def lines(
        self, things: Iterable[_Thing], sort: str, look: str, *, within_m: float = NEAR_M, over: str = _OVER
    ) -> Iterator[Line]:
        """A line for each thing near the way: how near, or in words that the machine is over it; what to look for."""
        for thing in things:
            met = self.met(thing.geometry)
            if met.far_m <= within_m:
                yield Line(met.chainage_m, met.place, f"{sort} {thing.id}", f"{met.words(over)} {look}".strip())


def sights(way: Way, move: Move, site: Site) -> Iterator[Line]:
    """Every thing near a way that has no number, in no order."""
    kept_off = [one for one in site.defects if one.kind in ("cover", "plate", "trench")]
    for one in kept_off:
        state = f"recorded as {one.state}" if one.state else "nobody said in what state"
        look = f"{_KEEP_OFF} ({state})"
        if one.proof is not None:
            until = f" until {one.proof.valid_until}" if one.proof.valid_until else ""
            look = _PROVEN.format(one.proof.limit.role, f"{one.proof.date}{until}", one.proof.limit.wheel_kn)
        yield from way.lines([one], one.kind.capitalize(), look)
    yield from _openings(way, move, site)
    yield from _surfaces(way, site)
    yield from way.lines(
        site.walkways, "Walkway", "Barriers and signs stand where they belong.",
        over="The machine crosses it: the marshal is there, and nobody walks.",
    )  # fmt: skip
    for pit in site.excavations:
        look = f"Wheels keep {pit.set_back_m:.2f} m from its edge. Edge as drawn, no crack, slump or water."
        yield from way.lines([pit], "Excavation", f"{look} The barrier stands.", within_m=pit.set_back_m + NEAR_M)
    yield from way.lines(
        site.line_corridors, "Overhead line", "Nothing enters its corridor; its posts and signs stand."
    )
    for area in site.areas:
        if area.closures:
            days = ", ".join(map(span_words, area.closures))
            yield from way.lines([area], "Area", f"Closed {days}. Is it open today?", within_m=0.0, over="")


def _openings(way: Way, move: Move, site: Site) -> Iterator[Line]:
    """Places where the move stands, and doors, gates, ramp ends and gaps that it drives through."""
    stood = [(0.0, "Start", move.start), *((leg.chainage_to_m, "On the way", leg.goal) for leg in move.legs[:-1])]
    stood.append((way.poses[-1].chainage_m, "Finish", move.goal))
    for at_m, word, node in stood:
        place = site.places.get(node)
        row = next(pose for pose in way.poses if pose.chainage_m >= at_m - 1e-6)
        if place is not None:
            title = f"{word}: {place.title or place.id}"
            yield Line(at_m, (place.point.x, place.point.y), title, _AT.get(place.kind, _ANY_PLACE))
        elif not node.startswith("hold point"):
            yield Line(
                at_m, (row.x, row.y), f"{word}: {node}", "Nothing has been put there; as wide as on the drawing."
            )
    told = {node for _, _, node in stood}
    for place in site.places.values():
        met = way.met(place.point)
        if place.id not in told and place.kind in _OPENINGS and met.far_m <= _THROUGH_M:
            yield Line(
                met.chainage_m, met.place, f"{place.kind.capitalize()}: {place.title or place.id}", _AT[place.kind]
            )


def _surfaces(way: Way, site: Site) -> Iterator[Line]:
    for surface in site.surfaces:
        near_m = 0.0 if surface.acceptance is not None else NEAR_M
        yield from way.lines([surface], "Ground", _accepted(surface), within_m=near_m, over="")


def _accepted(surface: Surface) -> str:
    """What was accepted, so that a person sees whether it still is so."""
    given = surface.acceptance
    if given is None:
        return f"{surface.kind.capitalize()} that nobody accepted: no wheel on it; its edge is marked."
    until = "no last day stated" if given.valid_until is None else f"valid until {given.valid_until}"
    return (
        f"{surface.kind.capitalize()}, accepted by {given.role} on {given.date} for up to {given.mass_limit_kg:.0f} kg,"
        f" {until}. As it was then? Rut, soft place, standing water, fresh digging: {ASK}."
    )
