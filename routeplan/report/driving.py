"""How a machine is driven along a move, and how it is left for its next: who drives from where, in which steering."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby

from routeplan.machine.model import Machine
from routeplan.machine.modelled import steering
from routeplan.route.model import Move, Plan, Pose

#: How a machine is driven, in words.
TRAVEL_MODES = {
    "ridden": "ridden",
    "beside_rails_up": "from beside with the rails up",
    "beside_rails_folded": "from beside with the rails folded",
}
_SHORT = {"beside_rails_up": "beside, rails up", "beside_rails_folded": "beside, rails folded"}
#: Which wheels steer, in words; the words before the comma are enough where the others stand elsewhere.
STEERING = {
    "front": "front wheels only",
    "coordinated": "coordinated, front and rear wheels against each other",
    "crab": "crab, front and rear wheels alike",
    "pivot": "turning on the spot",
    "skid": "skid, one track faster than the other, nothing to select",
}
#: How a machine stands that is driven so.
_STANDS = {
    "ridden": "with the rails up, to be driven from the platform",
    "beside_rails_up": "with the rails up, to be driven from beside",
    "beside_rails_folded": "with the rails folded, to be driven from beside",
}
#: How the rails then stand, and what people do to have them so.
_RAILS = {"ridden": "up", "beside_rails_up": "up", "beside_rails_folded": "folded"}
_CHANGES = {"up": "put the rails up and lock them", "folded": "fold the rails"}


def modes_text(poses: Sequence[Pose]) -> str:
    """Return how the machine is driven, each way of driving once, in the order in which they begin."""
    modes = dict.fromkeys(pose.travel_mode for pose in poses)
    return ", then ".join(TRAVEL_MODES.get(mode, mode) for mode in modes)


def short_text(poses: Sequence[Pose], *, steered: bool) -> str:
    """Return how the machine is driven in few words, and, where asked for, how it is ``steered``."""
    modes = dict.fromkeys(pose.travel_mode for pose in poses)
    driven = ", then ".join(_SHORT.get(mode, mode) for mode in modes)
    steers = ", then ".join(STEERING.get(steer, steer).split(",")[0] for steer in _steers(poses))
    return f"{driven}; {steers}" if steered else driven


def steering_text(move: Move, machine: Machine) -> str:
    """Return how a move is steered, and whether the driver has to select it; nothing where there is but one way.

    A machine that can be set to several ways of steering is checked in those that its move names, and in no other.
    """
    used = _steers(move.poses)
    if {*used, *steering(machine)} <= {"front"}:
        return ""
    words = ", then ".join(STEERING.get(steer, steer) for steer in used)
    settable = [steer for steer in steering(machine) if steer not in ("pivot", "skid")]
    if any(control.kind == "steering" for control in move.controls):
        return f"{words}; each setting is a stop below"
    return f"{words}; select it before driving off, the move is checked in no other" if len(settable) > 1 else words


def speed_text(poses: Sequence[Pose]) -> str:
    """Return where a move is driven slower than elsewhere; nothing where one limit, or none, holds all along."""
    fastest = max((pose.v_max_mps for pose in poses), default=math.nan)
    parts = []
    for limit, run in groupby(poses, key=lambda pose: pose.v_max_mps):
        rows = list(run)
        if limit < fastest:
            low, high = math.floor(rows[0].chainage_m), math.ceil(rows[-1].chainage_m)
            parts.append(f"no faster than {_speed(limit)} between {low} m and {high} m")
    return f"{', '.join(parts)}; elsewhere no faster than {_speed(fastest)}" if parts else ""


def facing_text(move: Move) -> str:
    """Return which end leads along a move, whatever the slope; nothing of a move that is not driven."""
    parts = [
        f"{facing} to {rows[-1].chainage_to_m:.1f} m"
        for facing, rows in ((facing, list(run)) for facing, run in groupby(move.stands, key=lambda one: one.facing))
    ]
    if len(parts) == 1:
        parts = [move.stands[0].facing]
    return f"{move.stands[0].end} {', then '.join(parts)}" if parts else ""


def orientation_text(move: Move) -> str:
    """Return which way up the slope that end lies, whichever way it drives; nothing of a move that is not driven."""
    parts = [
        f"{orientation} from {rows[0].chainage_from_m:.1f} to {rows[-1].chainage_to_m:.1f} m"
        for orientation, rows in ((up, list(run)) for up, run in groupby(move.stands, key=lambda one: one.orientation))
        if orientation != "level"
    ]
    return f"{move.stands[0].end} {', '.join(parts) or 'level'}" if move.stands else ""


def _speed(limit_mps: float) -> str:
    return f"{math.floor(round(100.0 * limit_mps, 6)) / 100.0:.2f} m/s"


def before_text(move: Move, plan: Plan) -> str:
    """Return how the machine's move before leaves it, where that asks for something; nothing where it is ridden on.

    Each move starts as its own first way of driving asks; where it may be left otherwise the plan has a hold point.
    """
    earlier = _neighbour(move, plan, later=False)
    if earlier is None or not move.poses:
        return ""
    left, wanted = earlier.poses[-1].travel_mode, move.poses[0].travel_mode
    if left == wanted == "ridden":
        return ""
    stands = f"{_called(earlier, move)} leaves it {_stands(left)}"
    if left == wanted:
        return f"{stands}, as this move starts"
    return f"{stands}; this move starts {_stands(wanted)}: {_asked(left, wanted)}"


def after_text(move: Move, plan: Plan) -> str:
    """Return how the machine is left and what its next move then asks for; nothing where it is ridden to the end."""
    if not move.poses:
        return ""
    later = _neighbour(move, plan, later=True)
    left = move.poses[-1].travel_mode
    wanted = left if later is None else later.poses[0].travel_mode
    if left == wanted == "ridden":
        return ""
    stands = f"it is left {_stands(left)}"
    if later is None:
        return stands
    if left == wanted:
        return f"{stands}, as {_called(later, move)} starts"
    return f"{stands}; {_called(later, move)} starts {_stands(wanted)}: {_asked(left, wanted)}"


def _steers(poses: Sequence[Pose]) -> list[str]:
    return list(dict.fromkeys(pose.steer for pose in poses))


def _neighbour(move: Move, plan: Plan, *, later: bool) -> Move | None:
    """Return the nearest move of the same machine that has a way, by day and then by place in the plan."""
    days = {other.id: (other.on or "", index) for index, other in enumerate(plan.moves)}
    others = [
        other
        for other in plan.moves
        if other.machine == move.machine and other.poses and (days[other.id] > days[move.id]) == later
    ]
    others = [other for other in others if other.id != move.id]
    return (min if later else max)(others, key=lambda other: days[other.id], default=None)


def _called(other: Move, move: Move) -> str:
    if other.on is None:
        return f"move {other.id}"
    return f"move {other.id}, the same day," if other.on == move.on else f"move {other.id}, on {other.on},"


def _stands(mode: str) -> str:
    return _STANDS.get(mode, mode)


def _asked(left: str, wanted: str) -> str:
    rails = _RAILS.get(wanted, wanted)
    if _RAILS.get(left, left) == rails:
        return "get on" if wanted == "ridden" else "get down"
    return f"{_CHANGES.get(rails, rails)} before it drives off"
