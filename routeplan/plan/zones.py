"""Stretches of a way where a hazard bites, and how the machine then stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.hazards import arrays
from routeplan.hazards.attitude import stand
from routeplan.hazards.clearance import COMFORT_M
from routeplan.hazards.ground import OUT, slope_margins
from routeplan.hazards.prepare import Hazards
from routeplan.machine.model import Configuration, Machine
from routeplan.plan.profile import Profile
from routeplan.route.model import Pose, Zone, heading_rad

Floats = NDArray[np.float64]

ZoneKind = Literal["bounce", "slope", "low gap"]


def stands_text(
    found: Profile, row: int, configuration: Configuration, hazards: Hazards, *, sloping: bool
) -> str:
    """The orientation of a machine on a slope, which decides its rating, and its facing, which changes with the gear.

    A platform over the whole chassis has no end of its own: the chassis arrow stands for it.
    """
    x, y, heading = found.starts[row].tolist()
    ahead = configuration.basket.end != "rear"
    end = "basket end" if configuration.basket.end else "arrow end"
    stance = stand(hazards.world, hazards.body, x, y, heading, 0.0, 0.0)
    gear = next((pose.gear for pose in found.over(row, row) if pose.gear), 0)
    words = [f"{'uphill' if (stance.pitch >= 0.0) == ahead else 'downhill'}"] if sloping else []
    words += [f"{'leading' if (gear > 0) == ahead else 'trailing'}"] if gear else []
    return f"{end} {', '.join(words) or 'turning on the spot'}"


def one_way_text(found: Profile, first: int, last: int, hazards: Hazards) -> str:
    """Words for a slope that the machine may not take turned end for end; none where it may."""
    out = np.full(OUT, np.inf)
    for x, y, heading in found.starts[first : last + 1].tolist():
        stance = stand(hazards.world, hazards.body, x, y, heading, 0.0, 0.0)
        slope_margins(hazards.body, -stance.pitch, stance.pitch_spread, -stance.roll, stance.roll_spread, out)
    if min(out[arrays.GRADE], out[arrays.COMBINED]) >= 0.0:
        return ""
    return f"; only this way round: turned end for end they use {math.ceil(100 * (1.0 - out[arrays.COMBINED]))} %"


def _placed(ring: Sequence[tuple[float, float]], poses: Sequence[Pose]) -> tuple[tuple[float, float], ...]:
    """Convex outline of a ring of the machine at several poses, in site metres."""
    points = []
    for pose in poses:
        heading = heading_rad(pose.bearing_deg)
        c, s = math.cos(heading), math.sin(heading)
        points += [(pose.x + xi * c - eta * s, pose.y + xi * s + eta * c) for xi, eta in ring]
    hull = shapely.MultiPoint(points).convex_hull
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(hull)[:-1])


def zones_of(found: Profile, *, machine: Machine, configuration: Configuration, hazards: Hazards) -> tuple[Zone, ...]:
    """Stretches that use more than half of a limit, with where the basket then is."""
    body, margins = hazards.body, found.margins
    wheels = [(w.xi_m, w.eta_m) for w in machine.wheels]
    gap = np.minimum(margins[:, arrays.HEAD], margins[:, arrays.OVERHEAD])
    kinds: tuple[tuple[ZoneKind, Floats, float, float, str, bool], ...] = (
        (
            "bounce",
            body.bounce_limit - margins[:, arrays.BOUNCE],
            0.5 * body.bounce_limit,
            body.bounce_limit,
            "m",
            True,
        ),
        ("slope", 1.0 - margins[:, arrays.COMBINED], 0.5, 1.0, "1", True),
        ("low gap", gap, COMFORT_M, 0.0, "m", False),
    )
    zones = []
    for kind, values, threshold, limit, unit, upper in kinds:
        flags = values > threshold if upper else values < threshold
        for first, last in found.runs(flags, 1.0):
            row = first + int((values if upper else -values)[first : last + 1].argmax())
            worst, over = float(values[row]), found.over(first, last)
            stands = stands_text(found, row, configuration, hazards, sloping=kind == "slope")
            stands += one_way_text(found, first, last, hazards) if kind == "slope" else ""
            zones.append(Zone(
                kind, found.chainage_m(first), found.chainage_m(last + 1), worst, limit, unit, _placed(wheels, over),
                _placed(configuration.basket.ring, over), f"{_zone_text(kind, worst, limit)}; {stands}",
            ))  # fmt: skip
    return tuple(sorted(zones, key=lambda zone: (zone.chainage_from_m, zone.kind)))


def _zone_text(kind: ZoneKind, value: float, limit: float) -> str:
    if kind == "bounce":
        return f"the basket may rise {math.ceil(1000 * value)} mm of {math.floor(1000 * limit + 1e-6)} mm allowed"
    if kind == "slope":
        return f"slopes use {math.ceil(100 * value)} % of what the machine's ratings allow together"
    return f"{math.floor(1000 * value)} mm left beyond the gap wanted under what is overhead"
