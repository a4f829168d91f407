"""How a machine stands and goes along its way, in words: which end is uphill, which leads, and where it is turned.

Orientation and facing are two things: orientation is which way up the slope the basket's end lies, and decides its
rating; facing is whether that end leads or trails, and changes with the gear. A machine that climbs one way round only
is turned end for end where there is room; the lattice finds such ways by itself, for the heading is part of its states.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np

from routeplan.hazards import arrays
from routeplan.hazards.attitude import stand
from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.prepare import Hazards
from routeplan.machine.model import Configuration
from routeplan.plan.profile import NEAR_M, Profile
from routeplan.route.model import Control, End, Facing, Hold, Orientation, Pose, Stand
from routeplan.search.anchors import check_motions
from routeplan.site.model import Site

#: Slopes along the machine below this are level to whoever drives it (common practice, no source).
LEVEL = 0.02
#: An orientation that lasts no longer than this is part of the one before it, m.
SHORTEST_M = 1.0
#: A machine has been turned end for end when it goes on in the other gear, this much turned, degrees, within so many of
#: its lengths before and after; what it drives in a gear counts from this share of its length.
TURNED_DEG, WITHIN, COUNTS = 120.0, 3.0, 0.5
#: Kind of the places where a site lets machines be turned.
TURNING = "turning"
#: What is looked at the other way round, what is told first: where a machine leans, and what its body meets; gaps to
#: the side last, for where it turns its body stands otherwise than about its middle.
_LOOKED = (
    arrays.GRADE, arrays.SIDE_SLOPE, arrays.COMBINED, arrays.STRIKE, arrays.HEAD, arrays.OVERHEAD, arrays.BOUNCE,
    arrays.CLEARANCE,
)  # fmt: skip
#: Long enough to be a motion, and no way to go, m.
_STILL_M = 1e-3


#: From, to, orientation and facing.
_Row = tuple[float, float, Orientation, Facing]


class Turned(NamedTuple):
    """Where a machine is turned end for end: chainage, place, the site's place for it if any, and until where it goes
    on that way round.
    """

    chainage_m: float
    place: tuple[float, float]
    name: str
    until_m: float


def end_of(configuration: Configuration) -> End:
    """The end that orientation and facing speak of: a platform over the whole chassis has none but the arrow's."""
    return "basket end" if configuration.basket.end else "arrow end"


def stands_of(found: Profile, configuration: Configuration, hazards: Hazards) -> tuple[Stand, ...]:
    """Orientation and facing along a way, stretch by stretch, from its start to its end."""
    ahead, end = configuration.basket.end != "rear", end_of(configuration)
    chainage = np.array([pose.chainage_m for pose in found.poses])
    rows: list[_Row] = []
    for n, (x, y, heading) in enumerate(found.starts.tolist()):
        from_m, to_m = float(found.along_m[n]), float(found.along_m[n + 1])
        if to_m - from_m <= NEAR_M:
            continue
        middle = min(int(np.searchsorted(chainage, (from_m + to_m) / 2.0)), len(chainage) - 1)
        pitch = stand(hazards.world, hazards.body, x, y, heading, 0.0, 0.0).pitch
        uphill = (pitch >= 0.0) == ahead
        orientation: Orientation = "level" if abs(pitch) < LEVEL else "uphill" if uphill else "downhill"
        facing: Facing = "leading" if (found.poses[middle].gear > 0) == ahead else "trailing"
        rows.append((from_m, to_m, orientation, facing))
    return tuple(
        Stand(part[0][0], part[-1][1], end, orientation, facing)
        for (orientation, facing), part in (
            (how, list(run)) for how, run in groupby(_steadied(rows), key=lambda row: (row[2], row[3]))
        )
    )


def _steadied(rows: Sequence[_Row]) -> list[_Row]:
    """Rows in which an orientation that hardly lasts is that of the one before it, in the same gear."""
    steady: list[_Row] = []
    for (_, facing), run in groupby(rows, key=lambda row: (row[2], row[3])):
        part = list(run)
        short = part[-1][1] - part[0][0] < SHORTEST_M and bool(steady) and steady[-1][3] == facing
        orientation = steady[-1][2] if short else part[0][2]
        steady += [(from_m, to_m, orientation, facing) for from_m, to_m, _, _ in part]
    return steady


def turns_of(poses: Sequence[Pose], configuration: Configuration, site: Site) -> tuple[Turned, ...]:
    """Where a machine is turned end for end on its way, and goes on with its other end leading."""
    xi = [corner[0] for corner in configuration.footprint]
    long_m = max(xi) - min(xi)
    runs = [list(run) for _, run in groupby((pose for pose in poses if pose.gear), key=lambda pose: pose.gear)]
    driven = [run for run in runs if run[-1].chainage_m - run[0].chainage_m >= COUNTS * long_m]
    found: list[tuple[float, Pose]] = []
    for before, after in pairwise(driven):
        first = next(p for p in before if p.chainage_m >= before[-1].chainage_m - WITHIN * long_m)
        last = [p for p in after if p.chainage_m <= after[0].chainage_m + WITHIN * long_m][-1]
        turned = abs((last.bearing_deg - first.bearing_deg + 180.0) % 360.0 - 180.0)
        if before[0].gear != after[0].gear and turned >= TURNED_DEG:
            found.append((before[-1].chainage_m, before[-1]))
    ends = [*(at for at, _ in found), math.inf][1:]
    return tuple(
        Turned(at, (pose.x, pose.y), _place_for(site, pose, long_m), until)
        for (at, pose), until in zip(found, ends, strict=True)
    )


def _place_for(site: Site, pose: Pose, long_m: float) -> str:
    """The turning place of the site that a machine is turned at: it stands within two of its lengths of it."""
    near = sorted(
        (math.hypot(place.point.x - pose.x, place.point.y - pose.y), place.id)
        for place in site.places.values()
        if place.kind == TURNING
    )
    return near[0][1] if near and near[0][0] <= 2.0 * long_m else ""


def told_of(
    turns: Sequence[Turned], found: Profile, configuration: Configuration, hazards: Hazards
) -> Iterator[tuple[Hold, Control]]:
    """What people do at each turn, and why the machine is turned there."""
    for turn in turns:
        where = f"at turning place {turn.name}" if turn.name else "here, where the site names no turning place"
        row = min(int(np.searchsorted(found.along_m, turn.chainage_m + NEAR_M)), len(found.starts) - 1)
        after = next((p.gear for p in found.poses if p.gear and p.chainage_m > turn.chainage_m + NEAR_M), 1)
        facing = "leading" if (after > 0) == (configuration.basket.end != "rear") else "trailing"
        why = _other_way_round(found, row, turn.until_m, configuration, hazards)
        text = (
            f"Stop. The line turns the machine end for end {where}: follow it, and go on with the "
            f"{end_of(configuration)} {facing}. {why}"
        )
        yield Hold(turn.chainage_m, turn.place, text), Control("turning", turn.chainage_m, text)


def _other_way_round(
    found: Profile, first: int, until_m: float, configuration: Configuration, hazards: Hazards
) -> str:
    """Which check would lack what, and where, if it went on as it came: turned about the middle of its body."""
    rows = np.flatnonzero((np.arange(len(found.starts)) >= first) & (found.along_m[:-1] <= until_m))
    xi = [corner[0] for corner in configuration.footprint]
    middle = max(xi) + min(xi)
    x, y, heading = found.starts[rows].T
    turned = np.stack([x + middle * np.cos(heading), y + middle * np.sin(heading), heading + math.pi], axis=1)
    still = np.tile(np.array([_STILL_M, 0.0, 0.0, 0.0]), (len(rows), 1, 1))
    margins, _ = check_motions(hazards, turned, still)
    for index in _LOOKED:
        worst = int(np.argmin(margins[:, index]))
        lacks, here = -float(margins[worst, index]), float(found.margins[rows[worst], index])
        if lacks > 0.0 and here >= 0.0:
            line = next(line for line in CATALOGUE if line.index == index)
            much = f"{math.ceil(lacks * 1000.0) / 1000.0:g} {line.unit}"
            if line.unit == "1":
                much = f"{math.ceil(lacks * 100.0)} % of what is allowed"
            at_m = found.chainage_m(int(rows[worst]))
            return f"The other way round {line.kind} would lack up to {much} at {at_m:.1f} m."
    return "The other way round no check of slopes, heights or gaps would lack anything."
