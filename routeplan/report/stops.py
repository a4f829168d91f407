"""Where a move stops, numbered in driving order: hold points, controls and reversals."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass

from routeplan.route import Move, Pose

#: What lies closer together along the way than this is one stop with several lines, metres.
_TOGETHER_M = 1.0


@dataclass(frozen=True)
class Stop:
    """A numbered stop. ``place`` is ``None`` for what holds along the whole way (a control without a chainage)."""

    number: int
    chainage_m: float
    place: tuple[float, float] | None
    lines: tuple[str, ...]


def reversals_of(poses: Sequence[Pose]) -> tuple[int, ...]:
    """Return the index of each pose at which the machine changes between forwards and backwards; a pivot is neither."""
    found, gear = [], 0
    for index, pose in enumerate(poses):
        if pose.gear and gear and pose.gear != gear:
            found.append(index)
        gear = pose.gear or gear
    return tuple(found)


def place_at(poses: Sequence[Pose], chainage_m: float) -> tuple[float, float] | None:
    """Return the origin's place at a chainage, between rows on the straight; ``None`` off the ends or without poses."""
    if not poses or not poses[0].chainage_m - 1e-6 <= chainage_m <= poses[-1].chainage_m + 1e-6:
        return None
    after = min(bisect.bisect_left([pose.chainage_m for pose in poses], chainage_m), len(poses) - 1)
    before = max(after - 1, 0)
    low, high = poses[before], poses[after]
    span_m = high.chainage_m - low.chainage_m
    share = min(1.0, max(0.0, (chainage_m - low.chainage_m) / span_m)) if span_m > 0.0 else 0.0
    return (low.x + share * (high.x - low.x), low.y + share * (high.y - low.y))


def stops_of(move: Move) -> tuple[Stop, ...]:
    """Return the stops of a move in driving order, numbered from 1; what holds for the whole way comes first."""
    entries = sorted(_entries(move), key=lambda entry: entry[0])
    groups: list[list[tuple[float, tuple[float, float] | None, str]]] = []
    for entry in entries:
        if groups and _together(groups[-1][0][0], entry[0]):
            groups[-1].append(entry)
        else:
            groups.append([entry])
    return tuple(
        Stop(
            number,
            group[0][0],
            next((place for _, place, _ in group if place is not None), None),
            tuple(text for _, _, text in group),
        )
        for number, group in enumerate(groups, 1)
    )


def _entries(move: Move) -> list[tuple[float, tuple[float, float] | None, str]]:
    """Return chainage, place and words of everything to stop for; no chainage counts as before the start."""
    holds = [(hold.chainage_m, hold.place, f"Hold: {hold.text}") for hold in move.holds]
    controls = [
        (control.chainage_m, place_at(move.poses, control.chainage_m), f"Control, {control.kind}: {control.text}")
        for control in move.controls
    ]
    turns = [
        (pose.chainage_m, (pose.x, pose.y), f"Reverse: now drive {'forwards' if pose.gear > 0 else 'backwards'}.")
        for pose in (move.poses[index] for index in reversals_of(move.poses))
    ]
    entries = [*holds, *controls, *turns]
    return [entry if math.isfinite(entry[0]) else (-math.inf, None, entry[2]) for entry in entries]


def _together(first_m: float, second_m: float) -> bool:
    return first_m == second_m or second_m - first_m < _TOGETHER_M
