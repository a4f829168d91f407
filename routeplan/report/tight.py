"""Tight places along a way: where a driver goes dead slow, what is near, and how many millimetres are to spare."""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Protocol

from shapely import MultiPoint
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Configuration
from routeplan.report.margins import BETWEEN, capped, made, said, spare_text
from routeplan.report.stops import Entry, place_at
from routeplan.report.sweep import placements
from routeplan.report.wording import amount_text
from routeplan.route.model import Check, Move, NearMiss, Pose, Zone
from routeplan.site.model import Site

#: A margin below this is told to the driver, in the unit of its check: metres, or degrees.
_TIGHT = {
    "head gap": 1.0,
    "overhead clearance": 1.0,
    "side clearance": 0.5,
    "surface acceptance": 0.5,
    "covers, plates and trenches": 0.5,
    "excavation edge": 0.5,
    "overhead lines": 0.5,
    "line clearance": 1.0,
    "closed areas": 0.5,
    "elevated zone": 0.5,
    "ground strike": 0.1,
    "gradeability": 2.0,
    "side slope": 2.0,
}
#: Zones tell these already.
_TOLD_BY = {"head gap": "low gap", "overhead clearance": "low gap", "gradeability": "slope", "side slope": "slope"}
#: What stands further than this from the machine is not named, metres: where everything near is, or the nearest only.
_NEAR_M, _NEAREST_M = 1.0, 1.5
#: Of these everything near is named, as the nearest in plan need not be the one that bites.
_EVERY = ("head gap", "overhead clearance", "line clearance", "bounce rise", "ground strike")
_ZONE_LETTERS = {"bounce": "B", "slope": "S", "low gap": "L"}


class _Thing(Protocol):
    @property
    def id(self) -> str: ...

    @property
    def geometry(self) -> Polygon: ...


def tight_places(move: Move, configuration: Configuration, site: Site) -> tuple[Entry, ...]:
    """Return what to watch along the way: zones, and checks with little to spare that no zone tells.

    Parameters
    ----------
    configuration, site
        The machine as it is driven, and what stands on the site, to name what is near.
    """
    if not move.poses:
        return ()
    zones = [_zone_entry(index, zone, move, site) for index, zone in enumerate(move.zones, 1)]
    checks = [_check_entry(check, configuration, move, site) for check in move.checks if _told(check, move.zones)]
    return (*zones, *checks)


def names_near(check: Check, configuration: Configuration, poses: Sequence[Pose], site: Site) -> str:
    """Return the names of what a check was measured against at its place, as far as the site says; else nothing."""
    sort = _SORTS.get(check.kind)
    if sort is None or not poses or not math.isfinite(check.chainage_m):
        return ""
    after = min(bisect.bisect_left([pose.chainage_m for pose in poses], check.chainage_m), len(poses) - 1)
    outline = MultiPoint(placements([poses[after]], configuration.footprint)[0]).convex_hull
    return _names(sort(site), outline, every=check.kind in _EVERY)


def names_at(miss: NearMiss, site: Site) -> tuple[str, ...]:
    """Return the door or the like that a near miss lies in, by title and id, and the nearest thing of its sort."""
    at = Point(miss.place)
    if not all(math.isfinite(value) for value in miss.place):
        return ()
    places = [place for place in site.places.values() if place.point.distance(at) <= _NEAR_M]
    called = [f"{place.title} ({place.id})" if place.title else place.id for place in places]
    sort = _SORTS.get(miss.kind)
    near = _names(sort(site), at, every=False) if sort is not None else ""
    return (*called, near) if near else tuple(called)


def zone_tag(index: int, zone: Zone) -> str:
    """Return the letter and number by which a zone is called on map and sheet."""
    return f"{_ZONE_LETTERS[zone.kind]}{index}"


def _rough(site: Site) -> Sequence[_Thing]:
    return [item for item in site.defects if item.kind in ("pothole", "kerb", "sill")]


def zone_figures(zone: Zone) -> str:
    """Return a zone's figure beside its limit, rounded against the user; a low gap is what is left to spare."""
    value = amount_text(zone.value, zone.unit, upwards=zone.kind != "low gap")
    if zone.kind == "low gap":
        return f"{value.removeprefix('-')} short" if zone.value < 0.0 else f"{value} to spare"
    return f"{value}, at most {amount_text(zone.limit, zone.unit, upwards=False)}"


_SORTS: Mapping[str, Callable[[Site], Sequence[_Thing]]] = {
    "head gap": lambda site: site.soffits,
    "overhead clearance": lambda site: site.soffits,
    "side clearance": lambda site: site.obstacles,
    "covers, plates and trenches": lambda site: [
        item for item in site.defects if item.kind in ("cover", "plate", "trench")
    ],
    "step": lambda site: [item for item in site.defects if item.kind in ("kerb", "sill")],
    "bounce rise": _rough,
    "ground strike": _rough,
    "excavation edge": lambda site: site.excavations,
    "overhead lines": lambda site: site.line_corridors,
    "line clearance": lambda site: site.line_corridors,
    "surface acceptance": lambda site: [item for item in site.surfaces if item.acceptance is None],
}


def _told(check: Check, zones: Iterable[Zone]) -> bool:
    if not made(check) or capped(check) or not math.isfinite(check.chainage_m):
        return False
    if check.kind == "step":
        return check.value > 0.0
    covered = any(
        zone.kind == _TOLD_BY.get(check.kind) and zone.chainage_from_m <= check.chainage_m <= zone.chainage_to_m
        for zone in zones
    )
    return check.margin < _TIGHT.get(check.kind, -math.inf) and not covered


def _check_entry(check: Check, configuration: Configuration, move: Move, site: Site) -> Entry:
    near = names_near(check, configuration, move.poses, site)
    text = f"{said(check)}{spare_text(check)} {BETWEEN[check.kind]}"
    return Entry(check.chainage_m, place_at(move.poses, check.chainage_m), f"{near}: {text}" if near else text, False)


def _zone_entry(index: int, zone: Zone, move: Move, site: Site) -> Entry:
    things: Sequence[_Thing] = site.soffits if zone.kind == "low gap" else ()
    if zone.kind == "bounce":
        things = _rough(site)
    ring = zone.basket if zone.kind == "low gap" else zone.ground
    near = _names(things, Polygon(ring).buffer(0), every=True) if len(ring) > 2 else ""
    text = f"{zone.kind.capitalize()} {zone_tag(index, zone)} until {zone.chainage_to_m:.1f} m"
    text = f"{text}, {near}: {zone.text}" if near else f"{text}: {zone.text}"
    return Entry(zone.chainage_from_m, place_at(move.poses, zone.chainage_from_m), text, False)


def _names(things: Iterable[_Thing], outline: BaseGeometry, *, every: bool) -> str:
    """Return the nearest thing by name, or every one that is near; nothing when none is."""
    found = sorted((thing.geometry.distance(outline), thing.id) for thing in things)
    near = [name for distance, name in found if distance <= (_NEAR_M if every else _NEAREST_M)]
    return ", ".join(near if every else near[:1])
