"""Hand-made drives on hand-made sites: a move on straights, arcs and pivots with every row claimed as asked."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from routeplan.machine.model import Machine
from routeplan.recheck.facing import slopes_along
from routeplan.recheck.ledger import CATALOGUE
from routeplan.recheck.opinion import second_opinion
from routeplan.recheck.uncertainty import confidence_k
from routeplan.route.model import Check, Conditions, Control, Hold, Move, Objection, Pose, Stand, bearing_deg
from routeplan.site.model import Site
from tests import worlds

#: A stretch of a drive: signed length in metres and signed turn in radians (left positive).
Stretch = tuple[float, float]
#: The same with the angle from the arrow to where the origin travels.
Aslant = tuple[float, float, float]


def drive(
    x: float, y: float, heading: float, stretches: Sequence[Stretch | Aslant], *, step_m: float = 0.02,
    turn_deg: float = 0.4,
) -> tuple[Pose, ...]:
    """Rows of a drive on arcs of constant curvature; a reversal, and a change of steering, repeat the pose.

    ``step_m`` and ``turn_deg`` bound one row's travel and turn, small enough for any machine of the worlds.
    """
    rows: list[Pose] = []
    chainage = 0.0
    for length, turn, *angle in stretches:
        drift = sum(angle)
        steer = "front" if not drift else "coordinated" if turn else "crab"
        gear = 0 if length == 0 else round(math.copysign(1, length))
        count = max(math.ceil(abs(length) / step_m), math.ceil(abs(math.degrees(turn)) / turn_deg))
        for n in range(count + 1):
            share = n / count
            half = turn * share / 2
            chord = length * share * (math.sin(half) / half if half else 1.0)
            direction = heading + drift + half
            rows.append(
                Pose(
                    x + chord * math.cos(direction),
                    y + chord * math.sin(direction),
                    bearing_deg(heading + turn * share),
                    gear,
                    "ridden",
                    steer,
                    "stowed",
                    0.5,
                    chainage + abs(length) * share,
                )
            )
        x, y, heading, chainage = rows[-1].x, rows[-1].y, heading + turn, rows[-1].chainage_m
    # Joins of two stretches in the same gear need no repeated pose.
    return tuple(row for n, row in enumerate(rows) if n == 0 or row != rows[n - 1])


def move_of(
    poses: Sequence[Pose], machine: Machine, *, verdict: Any = "pass", rows: Any = None, holds: tuple[Hold, ...] = ()
) -> Move:
    """A move from "A" to "B" with one row for every check of the catalogue, all claimed alike unless ``rows`` says."""
    claimed = dict.fromkeys(CATALOGUE, verdict) | (rows or {})
    checks = tuple(
        Check(kind, claim, 0.0, 0.0, 0.0, CATALOGUE[kind].unit, 0.0, 10.0, 0.0, (0.0, 0.0), "a test")
        for kind, claim in claimed.items()
    )
    length = poses[-1].chainage_m
    reversals = tuple(reversals_of(poses))
    marshals = tuple(Control("walkway", hold.chainage_m, "The marshal holds people back.") for hold in holds)
    move = Move(
        id="M1", purpose="delivery", machine=machine.id, configuration="stowed", start="A", goal="B", on=None,
        verdict=verdict, reason="", length_m=length, cost_m=length, lattice_cost_m=length, best_possible_m=length,
        bound=1.0, poses=tuple(poses), checks=checks, controls=(), holds=holds, zones=(),
        reversals=len(reversals), refused=None, legs=(), nearest_misses=(),
    )  # fmt: skip
    return with_controls(move, (*reversals, *marshals))


def reversals_of(poses: Sequence[Pose]) -> Iterator[Control]:
    """What people are told where the gear changes."""
    driven = [pose for pose in poses if pose.gear]
    for before, after in pairwise(driven):
        if before.gear != after.gear:
            way = "along" if after.gear > 0 else "against"
            yield Control("reversal", after.chainage_m, f"Stop and drive on {way} the chassis arrow.")


def with_controls(move: Move, controls: Sequence[Control]) -> Move:
    """The move with what people do on the way: no plain pass, if there is anything."""
    verdict = "pass with controls" if controls and move.verdict == "pass" else move.verdict
    return dataclasses.replace(move, controls=tuple(controls), verdict=verdict)


def with_stands(move: Move, site: Site) -> Move:
    """The move with how it stands and goes: a new stretch wherever slope or gear call for other words."""
    machine, poses = site.machines[move.machine], move.poses
    if move.stands or not poses or move.configuration not in machine.configurations:
        return move
    basket = machine.configurations[move.configuration].basket.end
    sign, end = (-1 if basket == "rear" else 1), "arrow end" if basket is None else "basket end"
    slopes = np.nan_to_num(sign * slopes_along(poses, site=site, machine=machine))
    gears = [pose.gear or next((one.gear for one in poses[n:] if one.gear), 1) for n, pose in enumerate(poses)]
    ways = ["level" if abs(slope) < 0.02 else "uphill" if slope > 0 else "downhill" for slope in slopes.tolist()]
    words = [(way, "leading" if gear == sign else "trailing") for way, gear in zip(ways, gears, strict=True)]
    cuts = [n for n in range(1, len(words)) if words[n] != words[n - 1]]
    at_m = [0.0, *(poses[n].chainage_m for n in cuts), poses[-1].chainage_m]
    told = zip(pairwise(at_m), (words[n] for n in [0, *cuts]), strict=True)
    stands = tuple(Stand(a, b, end, *said) for (a, b), said in told)  # type: ignore[arg-type]
    return dataclasses.replace(move, stands=stands)


def slowly(at_m: float, limit_mps: float) -> Control:
    """What people are told of a slower stretch."""
    return Control("speed", at_m, f"No faster than {limit_mps:.6f} m/s.")


def yard_for(poses: Sequence[Pose], machine: Machine, **layers: Any) -> Site:
    """A flat yard that asks for the drive from its first row to its last."""
    places = (
        worlds.place("A", poses[0].x, poses[0].y, poses[0].bearing_deg),
        worlds.place("B", poses[-1].x, poses[-1].y, poses[-1].bearing_deg),
    )
    moves = (worlds.wanted(machine.id, "A", "B"),)
    return worlds.flat_site(machines=(machine,), places=places, moves=moves, **layers)


def opinion(move: Move, site: Site, *, conditions: Conditions | None = None) -> tuple[Objection, ...]:
    """The second opinion on a move, with the k the site asks for; how it stands is added if the move does not say."""
    if np.isfinite([pose[:3] for pose in move.poses]).all():
        move = with_stands(move, site)
    k = confidence_k(
        move.length_m,
        route_confidence=site.thresholds.route_confidence,
        correlation_m=site.ground.accuracy.correlation_m,
    )
    machine = site.machines[move.machine]
    return second_opinion(move, k, site=site, machine=machine, conditions=conditions or Conditions())


def kinds(objections: Sequence[Objection]) -> set[str]:
    """What the objections are about."""
    return {found.kind for found in objections}


def certain(site: Site) -> Site:
    """The site with levels that are as good as exact, so that margins and not sigmas decide."""
    accuracy = dataclasses.replace(site.ground.accuracy, short_range_m=1e-9, datum_m=1e-9)
    return dataclasses.replace(site, ground=dataclasses.replace(site.ground, accuracy=accuracy))
