"""Travel with the platform raised: denied but inside a zone that a competent person accepts for it (docs/method.md 15).

A move that travels raised is planned like any other, with the machine as it is raised, on the site as it then is: all
ground that is not its zone, or is rougher than its zone may be, is closed to it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.catalogue import ZONE, by_kind
from routeplan.hazards.set_up import ANY, LONG, SENSOR, SIDE, tilt_limits
from routeplan.hazards.terrain import clean_ground
from routeplan.machine.model import Figure, Machine
from routeplan.machine.modelled import not_modelled
from routeplan.machine.raised import FOLLOWS, INSTEAD, not_raised, raised_body
from routeplan.route.model import Control, Leg, Move, Pose
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import Area, MoveWanted, Site

#: What is told first of every move that is not given to drive raised.
DENIED = "travel with the platform raised is denied"
#: What unlocks it.
LOWER = 'lower the platform and ask for regime = "stowed"'
#: A wall of the site is no ground to leave a zone by: what lies outside the zone is closed this far beyond it, m.
_BEYOND_M = 5.0
_ALWAYS = ((dt.date.min, dt.date.max),)
_CLOSED = by_kind("closed areas").kind


@dataclass(frozen=True, eq=False)
class Raised:
    """A move that may travel raised: the site as it then is, in which the machine is the raised one, and its zone."""

    site: Site
    zone: ElevatedZone
    height_m: float

    def told(self, move: Move) -> Move:
        """The move as people are told of it, once it is planned."""
        machine, closed = self.site.machines[move.machine], next((c for c in move.checks if c.kind == _CLOSED), None)
        line = by_kind(ZONE)
        rows = tuple(
            replace(closed, kind=ZONE, source=line.source) if closed is not None and row.kind == ZONE else row
            for row in move.checks
        )
        if move.verdict in ("no route", "search limit"):
            reason = f"raised, it stays within elevated zone {self.zone.id}: {move.reason}; {_LEAVING}"
            return replace(move, checks=rows, platform_height_m=self.height_m, reason=reason)
        refused = move.refused and replace(move.refused, poses=_elevated(move.refused.poses))
        controls = (Control("elevated", 0.0, self._words(machine)), *move.controls) if move.poses else ()
        legs = tuple(map(self._leg, move.legs))
        verdict = "pass with controls" if move.verdict == "pass" else move.verdict
        return replace(
            move, checks=rows, poses=_elevated(move.poses), refused=refused, controls=controls, legs=legs,
            verdict=verdict, platform_height_m=self.height_m,
        )  # fmt: skip

    def _leg(self, leg: Leg) -> Leg:
        """A leg of it: what is closed round the zone is no area that people know."""
        known = tuple(name for name in leg.areas if name != _outside(self.zone))
        return replace(leg, areas=known, verdict="pass with controls" if leg.verdict == "pass" else leg.verdict)

    def _words(self, machine: Machine) -> str:
        word = self.zone.acceptance
        assert word is not None  # no other zone is chosen
        return (
            f"Platform raised, floor {self.height_m:.2f} m up at most, within elevated zone {self.zone.id} only "
            f"(accepted by {word.role} until {word.valid_until}): guards down and free, deck in, at most "
            f"{machine.value('travel_speed_mps'):g} m/s, stop if the tilt alarm sounds; wind within the sheet's limit; "
            "lower the platform before leaving the zone."
        )


_LEAVING = f"lower the platform before leaving the zone: {LOWER}"


def _elevated(poses: tuple[Pose, ...]) -> tuple[Pose, ...]:
    return tuple(pose._replace(regime="elevated") for pose in poses)


def raised_for(wanted: MoveWanted, site: Site) -> Raised | str:
    """What a move needs to be planned raised, or why it is denied in words."""
    machine, height_m = site.machines[wanted.machine], wanted.platform_height_m
    why = not_modelled(machine) or not_raised(machine, wanted.configuration)
    why = why or _too_high(machine, wanted)
    if why is not None or height_m is None:
        return f"{DENIED}: {why}; {LOWER}"
    fits = [(zone, zone_refuses(zone, wanted, site, machine)) for zone in site.elevated_zones]
    zone = next((zone for zone, refuses in fits if not refuses), None)
    if zone is None or zone.acceptance is None:
        told = "; ".join(f"zone {zone.id} {refuses}" for zone, refuses in fits) or "the site has no elevated zone"
        return f"{DENIED}: {told}; {_LEAVING}"
    raised = raised_machine(machine, wanted.configuration, height_m, zone.acceptance.smooth_to_m, site)
    if isinstance(raised, str):
        return f"{DENIED}: {raised}; {LOWER}"
    room = _smooth(zone, site, _tyre_m(machine), wanted.on)
    outside = zone.geometry.union(site.boundary).buffer(_BEYOND_M, join_style="mitre").difference(room)
    shut = tuple(
        Area(_outside(zone), f"ground that is not elevated zone {zone.id}", part, _ALWAYS)
        for part in shapely.get_parts(outside)
        if isinstance(part, Polygon)
    )
    return Raised(
        replace(site, areas=(*site.areas, *shut), machines={**site.machines, machine.id: raised}), zone, height_m
    )


def _outside(zone: ElevatedZone) -> str:
    return f"outside elevated zone {zone.id}"


def _too_high(machine: Machine, wanted: MoveWanted) -> str | None:
    """Why a machine may not travel with its platform at a height, wherever it is."""
    height_m = wanted.platform_height_m
    if wanted.travel_mode != "ridden" or height_m is None:
        return "it is modelled ridden only, with platform_height_m given"
    if not height_m > machine.configurations[wanted.configuration].basket.floor_height_m:
        return f"platform_height_m = {height_m:g} is not above the floor of the lowered platform"
    most = machine.figures["elevated_height_max_m"]
    if not most.trusted:
        return f"elevated_height_max_m is a {most.tag} figure: read it from the machine's sheet"
    if not height_m <= most.value:
        return f"platform_height_m = {height_m:g} is above elevated_height_max_m = {most.value:g}"
    return None


def zone_refuses(zone: ElevatedZone, wanted: MoveWanted, site: Site, machine: Machine) -> str:
    """Why a zone does not take a move; empty where it does."""
    word, height_m = zone.acceptance, wanted.platform_height_m or math.nan
    if word is None:
        return "is accepted by nobody"
    if wanted.on is None or not word.date <= wanted.on <= word.valid_until:
        day = "a move without a day" if wanted.on is None else wanted.on.isoformat()
        return f"is accepted from {word.date} until {word.valid_until}, not on {day}"
    mass_kg = max(machine.value("mass_kg"), machine.configurations[wanted.configuration].mass_kg)
    if not mass_kg <= word.mass_limit_kg:
        return f"is accepted for {word.mass_limit_kg:g} kg, the machine's mass is {mass_kg:g} kg"
    if not height_m <= word.platform_height_m:
        return f"is accepted with the floor up to {word.platform_height_m:g} m, not {height_m:g} m"
    stops = (wanted.start, *wanted.via, wanted.goal)
    away = [name for name in stops if not zone.geometry.covers(site.places[name].point)]
    return f"does not hold {', '.join(away)}" if away else ""


def raised_machine(
    machine: Machine, configuration: str, height_m: float, smooth_to_m: float, site: Site
) -> Machine | str:
    """The machine as it travels raised, its limits those of that regime; or why there is none.

    Its slope ratings are its tilt cut-outs less what the sensor may be off, so that every check and every sigma of
    slopes holds for them. What the figures of the lowered machine say of its weight and its bounce no longer counts.
    """
    limits = _tilt(machine)
    if isinstance(limits, str):
        return limits
    lowered = machine.configurations[configuration]
    rails_m = max(box.top_m for box in lowered.boxes) - lowered.basket.floor_height_m
    # What is highest is thrown farthest: the rails, or the head of who stands on the floor.
    top_m = height_m + max(rails_m, site.thresholds.head_height_m)
    thrown_m = 2.0 * site.thresholds.tip_participation * top_m * smooth_to_m
    body = raised_body(
        lowered, floor_m=height_m, clearance_m=machine.value("elevated_clearance_m"),
        ahead_m=thrown_m / machine.wheelbase_m, aside_m=thrown_m / machine.track_m,
    )  # fmt: skip
    figures = {name: one for name, one in machine.figures.items() if name not in (*INSTEAD, "gravity_height_m")}
    figures |= {name: machine.figures[own] for name, own in INSTEAD.items() if own in machine.figures}
    speed = machine.figures["elevated_speed_mps"]
    if "creep_speed_mps" in figures and figures["creep_speed_mps"].value > speed.value:
        figures["creep_speed_mps"] = speed
    for name, value in (("platform_floor_m", height_m), ("height_m", height_m + rails_m)):
        figures[name] = replace(machine.figures[name], value=value)
    follows = machine.figures.get(FOLLOWS)
    free = follows is not None and follows.trusted and follows.value == 1.0
    fl, fr, rl, rr = (replace(wheel, oscillating=wheel.oscillating and free) for wheel in machine.wheels)
    return replace(
        machine, figures={**figures, **limits}, wheels=(fl, fr, rl, rr),
        configurations={**machine.configurations, configuration: body},
    )  # fmt: skip


def _tilt(machine: Machine) -> Mapping[str, Figure] | str:
    """Slope ratings that say what the tilt sensor lets a machine do for certain."""
    counts, off = tilt_limits(machine), machine.figures[SENSOR]

    def rating(name: str, *axes: str) -> Figure:
        held = [machine.figures[axis] for axis in axes if axis in counts]
        least = min(held, key=lambda figure: figure.value)
        doubted = next((figure for figure in (*held, off) if not figure.trusted), least)
        pct = 100.0 * math.tan(math.radians(max(least.value - off.value, 0.0)))
        return Figure(doubted.name, pct, doubted.tag, f"{least.name} less {SENSOR}")

    side = rating("side_slope_pct", SIDE, ANY)
    along = rating("gradeability", LONG, ANY)
    if not (side.value > 0.0 and along.value > 0.0):
        return f"{SENSOR} leaves nothing of its tilt cut-out"
    return {
        "side_slope_pct": side, "gradeability_basket_uphill_pct": along, "gradeability_basket_downhill_pct": along,
    }  # fmt: skip


def _tyre_m(machine: Machine) -> float:
    """How far from its hub a tyre meets what lies in its way, m."""
    return max(math.hypot(wheel.radius_m, wheel.width_m / 2) for wheel in machine.wheels)


def _smooth(zone: ElevatedZone, site: Site, radius_m: float, day: dt.date | None) -> BaseGeometry:
    """What of a zone a machine may travel on raised: not what is closed, nor what is rougher than the zone may be."""
    assert zone.acceptance is not None
    most_m = zone.acceptance.smooth_to_m
    off = [area.geometry for area in site.areas if area.closed_on(day)]
    off += [
        defect.geometry.buffer(radius_m) for defect in site.defects if max(defect.depth_m, defect.height_m) > most_m
    ]
    ground = site.ground
    rough = np.abs(ground.z - clean_ground(ground.z, ground.cell_m)) > most_m
    row, col = np.nonzero(rough)
    nodes = shapely.points(ground.x_min + col * ground.cell_m, ground.y_min + row * ground.cell_m)
    # Levels between a node and its neighbours are part of what it stands for, and a wheel meets it ahead of its hub.
    off += list(shapely.buffer(nodes, radius_m + math.sqrt(2.0) * ground.cell_m))
    return zone.geometry.difference(shapely.union_all(off)) if off else zone.geometry
