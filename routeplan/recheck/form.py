"""Whether a move's rows are a drive at all: continuous, as the site asked for, from and to the right places."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_ridden
from routeplan.recheck.track import Rows, driven_in, envelope, largest_displacement
from routeplan.route.model import Move, Objection, Plan, Pose
from routeplan.site.model import MoveWanted, Place, Site, TravelMode

#: Coordinates are written to 1e-5 m and 1e-5 deg; each difference of two carries this much at most.
ROUNDING_M = 1.5e-5
ROUNDING_RAD = 2e-7
#: Largest displacement of the envelope and largest turn between two rows.
ROW_STEP_M = 0.10
ROW_TURN_DEG = 2.0
#: A step may end this far off the arc, and a chainage be this far off the path, metres.
FORM_TOLERANCE_M = 0.001
#: A machine may be turned by this much between the end of a move and where the next begins, degrees: rounding.
LEFT_DEG = 0.001


def objection(kind: str, pose: Pose, *, value: float, limit: float, unit: str, text: str) -> Objection:
    """An objection placed at a row."""
    return Objection(kind, pose.chainage_m, (pose.x, pose.y), value, limit, unit, text)


def form_objections(move: Move, rows: Rows, *, site: Site, machine: Machine) -> Iterator[Objection]:
    """Every fault of form of a move that has poses."""
    wanted = next((known for known in site.moves if known.id == move.id), None)
    yield from _as_wanted(move, wanted)
    yield from _states(move, wanted)
    yield from _riding(move, machine)
    yield from _steps(move, rows, machine)
    yield from _gears(move, rows)
    yield from _chainages(move, rows)
    yield from _at_stops(move, site)
    for name, pose in ((move.start, move.poses[0]), (move.goal, move.poses[-1])):
        yield from _at_place(name, pose, site)


def _at_stops(move: Move, site: Site) -> Iterator[Objection]:
    """The way stands at every stop of a round, one after the other, and each stop is a hold point."""
    held = [
        pose for pose in move.poses
        if any(abs(hold.chainage_m - pose.chainage_m) < FORM_TOLERANCE_M for hold in move.holds)
    ]  # fmt: skip
    for name in move.via:
        at = next((n for n, pose in enumerate(held) if not list(_at_place(name, pose, site))), None)
        if at is None:
            text = f"the route has no hold point at {name}, in the order of its stops"
            yield objection("form", move.poses[0], value=0, limit=0, unit="", text=text)
            return
        held = held[at:]


def left_objections(plan: Plan, site: Site) -> Iterator[tuple[str, Objection]]:
    """A machine drives off as a move before left it: where, which way round, and in another mode at a hold point only.

    With each objection the move that it is about. Of a place that a move leads to which gives nothing to drive nobody
    knows how a machine stands there.
    """
    planned = {move.id: move for move in plan.moves}
    left = dict[tuple[str, str], Pose]()
    for move in (planned[wanted.id] for wanted in site.moves if wanted.id in planned):
        before = left.get((move.machine, move.start))
        if before is not None and move.poses:
            for what in _otherwise(before, move):
                text = f"it does not drive off as it was left at {move.start}: {what}"
                yield move.id, objection("form", move.poses[0], value=0, limit=0, unit="", text=text)
        left.pop((move.machine, move.goal), None)
        if move.poses:
            left[move.machine, move.goal] = move.poses[-1]


def _otherwise(before: Pose, move: Move) -> Iterator[str]:
    """In what a move begins otherwise than a machine was left."""
    first = move.poses[0]
    if not math.hypot(first.x - before.x, first.y - before.y) <= FORM_TOLERANCE_M:
        yield "it stands elsewhere"
    if not abs((first.bearing_deg - before.bearing_deg + 180.0) % 360.0 - 180.0) <= LEFT_DEG:
        yield "its bearing is another"
    if first.travel_mode != before.travel_mode and not any(
        abs(hold.chainage_m - first.chainage_m) < FORM_TOLERANCE_M for hold in move.holds
    ):
        yield "its travel mode is another, and there is no hold point"


def _as_wanted(move: Move, wanted: MoveWanted | None) -> Iterator[Objection]:
    first = move.poses[0]
    if wanted is None:
        yield objection("form", first, value=0, limit=0, unit="", text=f"the site asks for no move {move.id}")
        return
    day = None if wanted.on is None else wanted.on.isoformat()
    height_m = None if wanted.platform_height_m is None else round(wanted.platform_height_m, 5)
    told = (*_ends_and_means(move), move.on, move.platform_height_m)
    asked = (*_ends_and_means(wanted), day, height_m)
    names = ("purpose", "machine", "configuration", "from", "via", "to", "on", "platform height")
    for name, says, asks in zip(names, told, asked, strict=True):
        if says != asks:
            text = f"{name} is {says!r}, the site asks for {asks!r}"
            yield objection("form", first, value=0, limit=0, unit="", text=text)


def _ends_and_means(move: Move | MoveWanted) -> tuple[object, ...]:
    """What a move and what the site asks for are told alike by."""
    return move.purpose, move.machine, move.configuration, move.start, move.via, move.goal


def _mode_changes(move: Move, wanted: MoveWanted | None) -> Iterator[Objection]:
    """A change of travel mode stands still, at a hold point, and only where the site leaves the mode to the planner."""
    for before, after in pairwise(move.poses):
        if before.travel_mode == after.travel_mode:
            continue
        if wanted is None or wanted.travel_mode != "any":
            text = f"the travel mode changes to {after.travel_mode}, which the site does not ask for"
            yield objection("form", after, value=0, limit=0, unit="", text=text)
        elif (before.x, before.y, before.bearing_deg) != (after.x, after.y, after.bearing_deg):
            text = "the travel mode changes while the machine moves"
            yield objection("form", after, value=0, limit=0, unit="", text=text)
        elif not any(abs(hold.chainage_m - after.chainage_m) < FORM_TOLERANCE_M for hold in move.holds):
            text = "the travel mode changes where there is no hold point"
            yield objection("form", after, value=0, limit=0, unit="", text=text)


def _riding(move: Move, machine: Machine) -> Iterator[Objection]:
    """Nobody rides where a configuration has no room for anybody."""
    why = not_ridden(machine, machine.configuration_in(move.configuration, "ridden"))
    ridden = next((pose for pose in move.poses if pose.travel_mode == "ridden"), None)
    if why is not None and ridden is not None:
        yield objection("form", ridden, value=0, limit=0, unit="", text=why)


def _states(move: Move, wanted: MoveWanted | None) -> Iterator[Objection]:
    yield from _mode_changes(move, wanted)
    for pose in move.poses:
        left = wanted is None or wanted.travel_mode == "any"
        mode = pose.travel_mode if left or wanted is None else wanted.travel_mode
        if mode not in get_args(TravelMode):
            yield objection("form", pose, value=0, limit=0, unit="", text=f"{mode!r} is no travel mode")
            return
        found, asked = (pose.travel_mode, pose.regime), (mode, "stowed" if wanted is None else wanted.regime)
        if found != asked:
            text = f"travel mode and regime are {found}, not {asked}"
            yield objection("form", pose, value=0, limit=0, unit="", text=text)
            return


def _steps(move: Move, rows: Rows, machine: Machine) -> Iterator[Objection]:
    corners = np.concatenate([envelope(machine, shape) for shape in driven_in(move, machine).values()])
    moved = largest_displacement(rows, corners)
    turned = np.degrees(np.abs(rows.turn))
    for value, limit, rounding, unit, what in (
        (moved, ROW_STEP_M, ROUNDING_M, "m", "a point of the envelope jumps between two rows"),
        (turned, ROW_TURN_DEG, 2e-5, "deg", "the bearing jumps between two rows"),
    ):
        yield from worst(move, value, limit, rounding, unit, what)


def worst(
    move: Move, value: NDArray[np.float64], limit: float, rounding: float, unit: str, text: str
) -> Iterator[Objection]:
    """One objection at the row with the largest value, if it is over a limit or not a number."""
    if value.size and not value.max() <= limit + rounding:
        at = int(np.argmax(np.where(np.isnan(value), np.inf, value)))
        yield objection("form", move.poses[at], value=float(value[at]), limit=limit, unit=unit, text=text)


def _gears(move: Move, rows: Rows) -> Iterator[Objection]:
    gear = np.array([pose.gear for pose in move.poses])
    drives = np.abs(rows.travel_m) > ROUNDING_M
    pivots = ~drives & (np.abs(rows.turn) > 2 * ROUNDING_RAD)
    motion = np.where(drives, np.sign(rows.travel_m), 0)
    wrong = (drives | pivots) & ((gear[:-1] != motion) | (gear[1:] != motion))
    for at in np.flatnonzero(wrong)[:1]:
        text = "the gear does not agree with the motion"
        yield objection("form", move.poses[at], value=float(gear[at]), limit=float(motion[at]), unit="1", text=text)
    ways = motion[drives]
    reversals = int(np.count_nonzero(np.diff(ways)))
    if reversals != move.reversals:
        text = "reversals are counted wrongly"
        yield objection("form", move.poses[0], value=move.reversals, limit=reversals, unit="1", text=text)


def _chainages(move: Move, rows: Rows) -> Iterator[Objection]:
    path = np.concatenate([[0.0], np.cumsum(np.abs(rows.travel_m))])
    # Rounding adds up along the rows, but only as a random walk.
    rounding = ROUNDING_M * math.sqrt(len(path))
    off = np.abs(rows.chainage_m - path)
    yield from worst(move, off, FORM_TOLERANCE_M, rounding, "m", "the chainage is not the length of the path")
    falls = np.maximum(0.0, -np.diff(rows.chainage_m))
    yield from worst(move, falls, 0.0, 0.0, "m", "the chainage falls")
    if not abs(move.length_m - path[-1]) <= FORM_TOLERANCE_M + rounding:
        text = "the length of the move is not the length of its path"
        yield objection("form", move.poses[-1], value=move.length_m, limit=float(path[-1]), unit="m", text=text)


def _at_place(name: str, pose: Pose, site: Site) -> Iterator[Objection]:
    place: Place | None = site.places.get(name)
    if place is None:
        yield objection("form", pose, value=0, limit=0, unit="", text=f"the site has no place {name}")
        return
    off = math.hypot(pose.x - place.point.x, pose.y - place.point.y)
    if not off <= place.tolerance_m + ROUNDING_M:
        text = f"the route does not stand at {name}"
        yield objection("form", pose, value=off, limit=place.tolerance_m, unit="m", text=text)
    if place.bearing_deg is None:
        return
    wrong = abs((pose.bearing_deg - place.bearing_deg + 180.0) % 360.0 - 180.0)
    limit = site.thresholds.heading_tolerance_deg
    if not wrong <= limit + 1e-5:
        text = f"the bearing at {name} is not the place's"
        yield objection("form", pose, value=wrong, limit=limit, unit="deg", text=text)
