"""Standing to work at a workface: the lean of the chassis against its tilt cut-out, and the circle that a slewing tail
sweeps (docs/method.md 13).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import Point

from routeplan.hazards.arrays import Body, World
from routeplan.hazards.attitude import Stance, Tube, displaced, plane_at, uncertain_below
from routeplan.hazards.tubes import stand_closer
from routeplan.machine.model import Machine
from routeplan.site.model import Site

#: The tube about a pose is looked at in so many parts across, each in so many headings: few bounds are then told twice.
PARTS = 5
SIDE, LONG, ANY, SENSOR = "tilt_side_deg", "tilt_long_deg", "tilt_any_deg", "tilt_sensor_tolerance_deg"


class Lean(NamedTuple):
    """How far a chassis leans one way, the most that it may lean so, the doubt of it, degrees, and by which limit."""

    value: float
    limit: float
    sigma: float
    name: str

    @property
    def margin(self) -> float:
        """What is left."""
        return self.limit - self.value


class Stood(NamedTuple):
    """A pose in the tube and how the machine stands there and about it: x, y in metres, heading in radians."""

    x: float
    y: float
    heading: float
    stance: Stance


class Circle(NamedTuple):
    """What a tail may sweep: the middle in plan, how far from it, and the lowest that its underside gets, metres."""

    middle: Point
    reach_m: float
    under_m: float


def tilt_limits(machine: Machine) -> tuple[str, ...]:
    """The figures of the tilt limits that a machine is held to, the sensor's tolerance last.

    Two axes, or any direction where that is given: then of the two axes only what the machine's own sheet says.
    """
    if ANY not in machine.figures:
        return SIDE, LONG, SENSOR
    own = (name for name in (SIDE, LONG) if name in machine.figures and machine.figures[name].trusted)
    return (*own, ANY, SENSOR)


def stood_about(world: World, body: Body, x: float, y: float, heading: float) -> list[Stood]:
    """How a machine stands at a pose, part by part of its tube, each held against the levels themselves."""
    wide, skew, spans = body.lateral / PARTS, math.asin(body.sin_heading) / PARTS, np.empty((4, 6))
    found = []
    for across, round_ in product(range(1 - PARTS, PARTS, 2), repeat=2):
        aside, turned = across * wide, round_ * skew
        at = x - aside * math.sin(heading), y + aside * math.cos(heading), heading + turned
        tube = Tube(wide * (abs(turned) + skew) + 0.5 * body.reach * skew * skew, wide, skew, 1.0)
        found.append(Stood(*at, stand_closer(world, body, *at, tube, 0.0, spans)))
    return found


def leans(
    machine: Machine, stances: Sequence[Stance], sigma_pitch_deg: float, sigma_roll_deg: float
) -> Iterator[Lean]:
    """The worst lean against each limit that somebody gave, over both planes.

    Both slopes are tangents on the same plane, whose normal is ``(-tan pitch, -tan roll, 1)``: its angle from upright
    is the lean whichever way. A tolerance that nobody gave takes nothing off, for what fails without it fails with it.
    """
    tolerance = machine.value(SENSOR) if SENSOR in machine.figures else 0.0
    most = [(abs(one.pitch) + one.pitch_spread, abs(one.roll) + one.roll_spread) for one in stances]
    seen = {
        SIDE: (max(roll for _, roll in most), sigma_roll_deg),
        LONG: (max(pitch for pitch, _ in most), sigma_pitch_deg),
        ANY: (max(math.hypot(*both) for both in most), math.hypot(sigma_pitch_deg, sigma_roll_deg)),
    }
    for name in tilt_limits(machine)[:-1]:
        if name in machine.figures:
            slope, sigma = seen[name]
            yield Lean(math.degrees(math.atan(slope)), machine.value(name) - tolerance, sigma, name)


def swept_by_tail(machine: Machine, body: Body, stood: Stood) -> Circle:
    """The circle of a machine's tail as it stands, leaning either way."""
    xi, radius = machine.value("turntable_xi_m"), machine.value("tail_swing_radius_m")
    bottom, top = machine.value("chassis_top_m"), machine.value("height_m")
    stance, tube = stood.stance, stood.stance.tube
    slope = math.hypot(abs(stance.pitch) + stance.pitch_spread, abs(stance.roll) + stance.roll_spread)
    upright = 1.0 / math.hypot(1.0, slope)
    middle = Point(stood.x + xi * math.cos(stood.heading), stood.y + xi * math.sin(stood.heading))
    leaned = top * slope * upright + abs(xi) * (1.0 - upright)
    astray = math.hypot(tube.aside + abs(xi) * tube.turned, tube.ahead)
    sunk = uncertain_below(body, stance, xi, 0.0) + leaned * slope
    sunk += displaced(tube, abs(stance.pitch), abs(stance.roll), xi, 0.0)
    under = plane_at(body, stance, xi, 0.0) - sunk + (bottom - radius * slope) * upright
    return Circle(middle, radius + leaned + astray, under)


def clear_of_tail_m(site: Site, circle: Circle) -> float:
    """Distance in plan from a circle to the nearest of what a tail keeps off; negative by how far it reaches in."""
    over = circle.under_m - site.thresholds.ground_clearance_m
    things = [one.geometry for one in site.obstacles if one.top_m is None or one.top_m > over]
    things += [walkway.geometry for walkway in site.walkways]
    inside = site.boundary.covers(circle.middle)
    things.append(site.boundary.boundary if inside else circle.middle)
    return float(shapely.distance(circle.middle, things).min()) - circle.reach_m
