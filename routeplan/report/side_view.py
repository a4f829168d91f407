"""A machine from its side at each row of a long section: the ground under it, what hangs over it, holes, what is left.

Heights are metres over the ground at the middle of the wheels; along the machine, metres ahead of its origin. What the
picture shows is the survey and the recorded things as they are; the figure to spare is the row's own.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Configuration, Machine
from routeplan.machine.raised import raised_body
from routeplan.report.margins import WORST_FIRST, said
from routeplan.report.side_things import Below, Overhead, Things
from routeplan.report.wording import amount_text
from routeplan.route.model import Move, Pose, SectionRow, heading_rad
from routeplan.site.ground import levels_at
from routeplan.site.model import Site, Thresholds

Floats = NDArray[np.float64]

#: Levels are drawn so far apart along the machine, m.
STEP_M = 0.25
#: Ground ahead of and behind the machine that is shown, m.
AROUND_M = 1.5
#: What hangs higher than this over the machine's highest point lies beyond the picture, and so does what is lower than
#: this under its wheels, m.
_ABOVE_M, _BELOW_M = 3.0, 2.5
#: The checks whose least is a row's figure overhead.
_OVERHEAD = ("head gap", "overhead clearance", "line clearance")


class Top(NamedTuple):
    """A level top of the machine, how much is to be kept free over it, and how far beside it a thing still counts."""

    from_m: float
    to_m: float
    half_m: float
    height_m: float
    kept_m: float
    beside_m: float


class Spare(NamedTuple):
    """Where least is left over the drawn machine: from the gap that must be kept up to what hangs there."""

    at_m: float
    from_m: float
    to_m: float


@dataclass(frozen=True)
class Rig:
    """A machine as it is driven over some rows: its body, whether somebody rides, and its tops."""

    body: Configuration
    ridden: bool
    tops: tuple[Top, ...]


@dataclass(frozen=True)
class SideRow:
    """What is drawn, and said, of one row; ``rig`` counts through the view's. ``spare`` is None where the drawn machine
    stands under nothing, ``ground_m`` NaN where a level is not known. ``figure`` is what is to spare overhead.
    """

    row: SectionRow
    pose: Pose
    rig: int
    ground_m: Floats
    over: tuple[Overhead, ...]
    below: tuple[Below, ...]
    spare: Spare | None
    figure: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class SideView:
    """All rows of a move in one frame: from ``from_m`` to ``to_m`` along, from ``low_m`` to ``high_m`` up."""

    machine: Machine
    head_m: float
    middle_m: float
    from_m: float
    to_m: float
    low_m: float
    high_m: float
    rigs: tuple[Rig, ...]
    rows: tuple[SideRow, ...]


def stands(move: Move) -> list[Pose]:
    """Return where the machine stands at each row of the section: the same on the map and in the side view."""
    chainages = [pose.chainage_m for pose in move.poses]
    return [move.poses[max(bisect.bisect_right(chainages, row.chainage_m + 1e-6) - 1, 0)] for row in move.section]


def side_view(move: Move, machine: Machine, site: Site) -> SideView | None:
    """Return a move's machine from its side, row by row; None without a section, or a way to drive."""
    if not move.section or not move.poses:
        return None
    poses = stands(move)
    ways = list(dict.fromkeys(pose.travel_mode for pose in poses))
    rigs = tuple(_rig(move, machine, mode, site.thresholds) for mode in ways)
    xi = [point[0] for rig in rigs for box in rig.body.boxes for point in box.ring]
    xi += [wheel.xi_m + side * wheel.radius_m for wheel in machine.wheels for side in (-1, 1)]
    from_m = STEP_M * math.floor((min(xi) - AROUND_M) / STEP_M)
    to_m = STEP_M * math.ceil((max(xi) + AROUND_M) / STEP_M)
    middle_m = (machine.wheels[0].xi_m + machine.wheels[2].xi_m) / 2
    levels, datums = _levels(poses, machine, site, np.arange(from_m, to_m + STEP_M / 2, STEP_M))
    datums = np.where(np.isnan(datums), [row.level_m for row in move.section], datums)
    things = Things(site, machine, (from_m, to_m), STEP_M)
    lead = _lead(move)
    rows = tuple(
        _row(row, pose, ways.index(pose.travel_mode), rigs, levels[n], float(datums[n]), things, middle_m, lead)
        for n, (row, pose) in enumerate(zip(move.section, poses, strict=True))
    )
    highest = max(top.height_m for rig in rigs for top in rig.tops)
    low_m, high_m = _extent(rows, rigs, highest, from_m, to_m, middle_m)
    return SideView(
        machine, site.thresholds.head_height_m, middle_m, from_m, to_m, low_m, high_m, rigs, rows
    )  # fmt: skip


def _rig(move: Move, machine: Machine, mode: str, limits: Thresholds) -> Rig:
    body = machine.configurations[machine.configuration_in(move.configuration, mode)]
    if move.platform_height_m is not None:
        given = machine.figures.get("elevated_clearance_m")
        low_m = given.value if given is not None else min(box.bottom_m for box in body.boxes)
        body = raised_body(body, floor_m=move.platform_height_m, clearance_m=low_m, ahead_m=0.0, aside_m=0.0)
    ridden = mode == "ridden"
    tops = []
    for box in body.boxes:
        kept_m = limits.body_gap_m if box.occupied and ridden else limits.structure_clearance_m
        tops.append(_top(box.ring, box.top_m, kept_m, limits.structure_clearance_m))
    if ridden:
        head_m = body.basket.floor_height_m + limits.head_height_m
        tops.append(_top(body.basket.ring, head_m, limits.head_gap_m, limits.head_gap_m))
    return Rig(body, ridden, tuple(tops))


def _top(ring: Sequence[tuple[float, float]], height_m: float, kept_m: float, beside_m: float) -> Top:
    xi, eta = zip(*ring, strict=True)
    return Top(min(xi), max(xi), max(map(abs, eta)), height_m, kept_m, beside_m)


def _levels(poses: Sequence[Pose], machine: Machine, site: Site, along_m: Floats) -> tuple[Floats, Floats]:
    """Levels along the machine's own axis, one row a pose, and the mean of those under its wheels; NaN if unknown."""
    x, y = (np.array([getattr(pose, axis) for pose in poses])[:, None] for axis in "xy")
    heading = np.array([heading_rad(pose.bearing_deg) for pose in poses])[:, None]

    def at(xi: Floats, eta: Floats) -> Floats:
        places = x + xi * np.cos(heading) - eta * np.sin(heading), y + xi * np.sin(heading) + eta * np.cos(heading)
        levels = levels_at(site.ground, np.stack([one.ravel() for one in places], axis=1))
        return levels.reshape(len(poses), -1)

    xi, eta = np.array([(wheel.xi_m, wheel.eta_m) for wheel in machine.wheels]).T
    return at(along_m, np.zeros_like(along_m)), at(xi, eta).mean(axis=1)


def _row(
    row: SectionRow, pose: Pose, rig: int, rigs: Sequence[Rig], levels: Floats, datum_m: float, things: Things,
    middle_m: float, lead: str,
) -> SideRow:  # fmt: skip
    ground_m = levels - datum_m
    wide_m = max(top.half_m + top.beside_m for top in rigs[rig].tops)
    over = things.overhead(pose, wide_m, ground_m, datum_m)
    below = things.below(pose, max(top.half_m for top in rigs[rig].tops), ground_m)
    pitch = math.radians(row.pitch_deg) if math.isfinite(row.pitch_deg) else 0.0
    spare = _spare(over, rigs[rig], pose, things, (pitch, middle_m)) if math.isfinite(row.head_m) else None
    words = (
        _spare_words(row, over, lead), *(one.words for one in over), *(one.words for one in below),
        *_ground_words(ground_m, things, rigs[rig]), _lean_words(row, pose),
        *(() if rigs[rig].ridden else ("Nobody rides: it is driven from beside.",)),
    )  # fmt: skip
    return SideRow(row, pose, rig, ground_m, over, below, spare, spare_text(row, lead), words)


def _spare(over: Sequence[Overhead], rig: Rig, pose: Pose, things: Things, lean: tuple[float, float]) -> Spare | None:
    """The least over the drawn machine as it leans; how it bounces and strays is in the row's figure only."""
    pitch, middle_m = lean
    found = []
    for top in rig.tops:
        for one in over:
            for from_m, to_m in things.under(one, pose, top.from_m, top.to_m, top.half_m + top.beside_m):
                for at_m in (from_m, to_m):
                    raised_m = (at_m - middle_m) * math.sin(pitch) + top.height_m * math.cos(pitch)
                    kept_m = 0.0 if one.kind == "line" else top.kept_m
                    found.append(Spare(at_m, raised_m + kept_m, one.height_at(at_m)))
    known = [one for one in found if math.isfinite(one.to_m)]
    return min(known, key=lambda one: one.to_m - one.from_m) if known else None


def _lead(move: Move) -> str:
    """What stands before each figure overhead where a check of the move that it belongs to is open or fails."""
    found = [check for check in move.checks if check.kind in _OVERHEAD]
    return said(min(found, key=lambda check: WORST_FIRST.index(check.verdict))) if found else ""


def spare_text(row: SectionRow, lead: str) -> str:
    """Return what a row leaves overhead, rounded down; nothing where nothing is near.

    >>> row = SectionRow(*[math.nan] * 6, 0.9169, *[math.nan] * 5)
    >>> spare_text(row, ""), spare_text(row._replace(head_m=-0.0301), "Fails: "), spare_text(
    ...     row._replace(head_m=math.nan), "Not proven: ")
    ('916 mm', 'Fails: short by 31 mm', '')
    """
    if not math.isfinite(row.head_m):
        return ""
    text = amount_text(abs(row.head_m), "m", upwards=row.head_m < 0.0)
    return f"{lead}short by {text}" if row.head_m < 0.0 else f"{lead}{text}"


def _spare_words(row: SectionRow, over: Sequence[Overhead], lead: str) -> str:
    if math.isfinite(row.head_m):
        left = f"{spare_text(row, lead)}{' to spare' if row.head_m >= 0.0 else ''} overhead"
        return f"{left} beyond the gap to be kept, the least over this half metre, bouncing and straying included."
    if any(not math.isfinite(one.low_m) for one in over if one.kind != "kept out"):
        return "How much is to spare overhead is not known."
    return "Nothing over the machine in this half metre." if over else "Nothing overhead near."


def _ground_words(ground_m: Floats, things: Things, rig: Rig) -> list[str]:
    unknown = things.along_m[np.isnan(ground_m)]
    if not unknown.size:
        return []
    ahead = max(top.to_m for top in rig.tops)
    behind = min(top.from_m for top in rig.tops)
    under = ((unknown >= behind - STEP_M) & (unknown <= ahead + STEP_M)).any()
    where = "under the machine" if under else "ahead of it" if unknown.min() > ahead else "behind it"
    return [f"Ground {where} is not known in part, and drawn so."]


def _lean_words(row: SectionRow, pose: Pose) -> str:
    driven = {1: "driven forwards", -1: "driven backwards"}.get(pose.gear, "turning on the spot")
    if not math.isfinite(row.pitch_deg):
        return f"How it leans is not known, it is drawn level; {driven}."
    ends = f"front {'up' if row.pitch_deg >= 0.0 else 'down'} {abs(row.pitch_deg):.1f} degrees"
    sides = f"left side {'up' if row.roll_deg >= 0.0 else 'down'} {abs(row.roll_deg):.1f} degrees"
    return f"{ends.capitalize()}, {sides} where it leans most; {driven}."


def _extent(
    rows: Sequence[SideRow], rigs: Sequence[Rig], highest: float, from_m: float, to_m: float, middle_m: float
) -> tuple[float, float]:
    """Lowest and highest that the frame of all rows shows."""
    lows, highs = [-0.6], [highest + 0.8]
    steepest = max((abs(one.row.pitch_deg) for one in rows if math.isfinite(one.row.pitch_deg)), default=0.0)
    farthest = max(to_m - middle_m, middle_m - from_m) - AROUND_M
    kept = max(top.height_m + top.kept_m for rig in rigs for top in rig.tops)
    tilted_m = farthest * math.sin(math.radians(steepest)) + 0.2
    lows.append(-tilted_m)
    highs.append(kept + tilted_m)
    for one in rows:
        known = one.ground_m[~np.isnan(one.ground_m)]
        if known.size:
            lows.append(float(known.min()) - 0.3)
            highs.append(float(known.max()) + 0.3)
        lows += [dip.bottom_m - 0.8 for dip in one.below if math.isfinite(dip.bottom_m)]
        highs += [high + 0.9 for piece in one.over if (high := piece.low_m) < highest + _ABOVE_M]
    return max(min(lows), -_BELOW_M), min(max(highs), highest + _ABOVE_M + 0.9)
