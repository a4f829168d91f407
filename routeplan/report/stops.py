"""Where a move stops or needs watching, numbered in driving order: holds, controls, reversals and tight places."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from routeplan.route.model import Move, Pose

#: What lies closer together along the way than this is one stop with several lines; so are tight places that lie closer
#: together than the other, metres.
_TOGETHER_M, _WATCHED_TOGETHER_M = 1.0, 4.0


class Entry(NamedTuple):
    """One thing to stop for, or, with ``halts`` false, to watch; ``place`` is ``None`` for the whole way."""

    chainage_m: float
    place: tuple[float, float] | None
    text: str
    halts: bool


@dataclass(frozen=True)
class Stop:
    """A numbered stop, or a place to watch where nothing in it ``halts``.

    ``place`` is ``None`` for what holds along the whole way (a control without a chainage).
    """

    number: int
    chainage_m: float
    place: tuple[float, float] | None
    lines: tuple[str, ...]
    halts: bool = True
    until_m: float = math.nan

    @property
    def along(self) -> str:
        """Where it lies along the way: a place, or from its first line's to its last."""
        if self.until_m - self.chainage_m >= _TOGETHER_M:
            return f"from {self.chainage_m:.1f} to {self.until_m:.1f} m"
        return f"at {self.chainage_m:.1f} m"

    @property
    def words(self) -> str:
        """What kind of place it is, in a word."""
        return "Stop" if self.halts else "Watch"


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


def stops_of(move: Move, watched: Sequence[Entry] = ()) -> tuple[Stop, ...]:
    """Return the stops of a move in driving order, numbered from 1; what holds for the whole way comes first.

    Parameters
    ----------
    watched
        Tight places along the way, which are numbered with the stops.
    """
    groups: list[list[Entry]] = []
    for entry in sorted((*_entries(move), *watched), key=lambda entry: entry.chainage_m):
        if groups and _together(groups[-1], entry):
            groups[-1].append(entry)
        else:
            groups.append([entry])
    return tuple(
        Stop(
            number,
            group[0].chainage_m,
            next((entry.place for entry in group if entry.place is not None), None),
            tuple(entry.text for entry in group),
            any(entry.halts for entry in group),
            group[-1].chainage_m,
        )
        for number, group in enumerate(groups, 1)
    )


def _entries(move: Move) -> list[Entry]:
    """Return everything to stop for; no chainage counts as before the start."""
    holds = [
        Entry(hold.chainage_m, hold.place, hold.text if hold.text.startswith("Stop") else f"Hold: {hold.text}", True)
        for hold in move.holds
    ]
    told = {(hold.chainage_m, hold.text) for hold in move.holds}
    turns = {
        pose.chainage_m: Entry(
            pose.chainage_m, (pose.x, pose.y), f"From here drive {'forwards' if pose.gear > 0 else 'backwards'}.", True
        )
        for pose in (move.poses[index] for index in reversals_of(move.poses))
    }
    controls = []
    for control in move.controls:
        if (control.chainage_m, control.text) not in told:
            turn = turns.pop(control.chainage_m, None) if control.kind == "reversal" else None
            text = f"Control: {control.text}{f' {turn.text}' if turn is not None else ''}"
            place = place_at(move.poses, control.chainage_m)
            controls.append(Entry(control.chainage_m, place, text, control.kind != "speed"))
    entries = [*holds, *controls, *turns.values()]
    return [
        entry if math.isfinite(entry.chainage_m) else entry._replace(chainage_m=-math.inf, place=None)
        for entry in entries
    ]


def _together(group: Sequence[Entry], entry: Entry) -> bool:
    first_m, watched = group[0].chainage_m, not any(one.halts for one in (*group, entry))
    most_m = _WATCHED_TOGETHER_M if watched else _TOGETHER_M
    return first_m == entry.chainage_m or entry.chainage_m - first_m < most_m
