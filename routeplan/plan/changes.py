"""A plan after a change: which moves stand as they are and why, which go another way, which are cut off."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.covered import outlines
from routeplan.plan.whole import SOFTWARE, Earlier, Issue, plan_moves
from routeplan.route.change import MoveChange
from routeplan.route.model import Move, Plan, Pose
from routeplan.site.model import MoveWanted, Site

#: What changes farther than this from a body changes nothing for it, m: defects tell within 3 m of a wheel, comfort
#: within 0.5 m of the body and its tube.
NEAR_M = 4.0
#: Rows that stand in the same place, m and degrees.
_APART = 1e-4


@dataclass(frozen=True, eq=False)
class Reroute(Earlier):
    """A plan that is made again after a change.

    Parameters
    ----------
    before
        The plan as it was.
    earlier
        Moves of plans before that one, the latest first.
    site
        As the change leaves it.
    issue
        Of the plan to come.
    added
        Where something was added to the site folder, by the name of the file that it was added by; ``None`` for what
        gives room.
    anew
        Why nothing of the plan can be kept, in words; empty where it can.
    kept
        Why each move that was kept stands as it is.
    forgotten
        Moves that cannot be kept, for somebody refuses them or one before them.
    """

    before: Plan
    earlier: Sequence[Move]
    site: Site
    issue: Issue
    added: Mapping[str, BaseGeometry | None]
    anew: str = ""
    kept: dict[str, str] = field(default_factory=dict)
    forgotten: set[str] = field(default_factory=set)

    def planned(self, aids: Aids = UNAIDED) -> tuple[Plan, tuple[MoveChange, ...]]:
        """The plan after the change, and what became of each move."""
        after = plan_moves(self.site, self.issue, self, aids)
        old, changes = {move.id: move for move in self.before.moves}, list[MoveChange]()
        for n, move in enumerate(after.moves):
            change = self._change(old.get(move.id), move, self.kept.get(move.id, ""))
            changes.append(replace(change, why=change.why + self._left_by(move, after.moves[:n])))
        return after, tuple(changes)

    def known(self, wanted: MoveWanted, done: Sequence[Move]) -> Move | None:
        """A way of the plan, or of one before it, that stands as it is."""
        for move in self._candidates(wanted) if wanted.id not in self.forgotten else ():
            why = self._stands(move, wanted, done)
            if why:
                self.kept[wanted.id] = why
                return move
        return None

    def _left_by(self, move: Move, done: Sequence[Move]) -> str:
        """The move that has no way to where this one drives off, in words: its machine is not there."""
        to_here = [one for one in done if (one.machine, one.goal) == (move.machine, move.start)]
        for one in to_here[-1:]:
            if move.poses and not one.poses and self.was(one).poses:
                return f"; from where {one.id}, which has no way now, left it before"
            if move.poses and not one.poses:
                return f"; {one.id}, which is to bring it there, has no way"
        return ""

    def forget(self, names: Collection[str]) -> None:
        """Have some moves searched for from now on."""
        self.forgotten.update(names)
        for name in names:
            self.kept.pop(name, None)

    def was(self, move: Move) -> Move:
        """The move as the plan had it, with the same machine: one that was delivered since stands nowhere yet."""
        same = self.before.machines.get(move.machine) == self.site.machines[move.machine]
        if move.poses or self.anew or not same:
            return move
        theirs = (old for old in self.before.moves if (old.id, old.machine) == (move.id, move.machine))
        return next(theirs, move)

    def _candidates(self, wanted: MoveWanted) -> Iterator[Move]:
        """Ways that are known for a move, that of the plan first."""
        machine = self.site.machines[wanted.machine]
        if self.anew or self.before.machines.get(wanted.machine) != machine:
            return
        asked = (wanted.id, wanted.machine, wanted.configuration, wanted.start, wanted.goal, wanted.via)
        day = None if wanted.on is None else wanted.on.isoformat()
        for move in (*self.before.moves, *self.earlier):
            same = (move.id, move.machine, move.configuration, move.start, move.goal, move.via) == asked
            if same and move.on == day and move.under.wet == wanted.wet:
                yield move

    def _stands(self, move: Move, wanted: MoveWanted, done: Sequence[Move]) -> str:
        """Why a move stands as it is after the change; empty where it has to be planned again."""
        closed = {area.id: area for area in self.site.areas if area.closed_on(wanted.on)}
        opened = set(move.under.closed) - closed.keys()
        gone = set(move.under.added) - set(self.issue.conditions.added)
        if opened or gone or self._given_since(move) or not self._begins(move, done):
            return ""
        new = {name: closed[name].geometry for name in sorted(closed.keys() - set(move.under.closed))}
        for name in (name for name in self.issue.conditions.added if name not in move.under.added):
            thing = self.added[name]
            if thing is None:
                return ""
            new[name] = thing
        if not move.poses:
            return "it had no way before, and nothing gives it one" if move.verdict == "no route" else ""
        if not new:
            return "nothing near it has changed" if move in self.before.moves else "its earlier way is open again"
        bodies = outlines(move.poses, self.site.machines[move.machine], move.configuration)
        clear_m = {name: float(np.min(shapely.distance(bodies, thing))) for name, thing in new.items()}
        if not all(clear >= NEAR_M for clear in clear_m.values()):  # where nothing tells how far, neither
            return ""
        told = ", ".join(f"{math.floor(clear)} m clear of {name}" for name, clear in clear_m.items())
        return f"{told}; bound {move.bound:.3f} still holds"

    def _given_since(self, move: Move) -> bool:
        """Whether something was accepted or proven since the day that a move without one was planned for."""
        if move.under.on is None:
            return False
        words = [one.acceptance for one in self.site.surfaces] + [one.proof for one in self.site.defects]
        then = dt.date.fromisoformat(move.under.on)
        return any(word is not None and then < word.date <= self.issue.day for word in words)

    def _begins(self, move: Move, done: Sequence[Move]) -> bool:
        """Whether the machine stands where it stood when the move was planned."""
        now = _left([self.was(one) for one in done], move)
        then = _left([m for m in self.before.moves if m.machine == move.machine], move)
        if move not in self.before.moves:  # of an earlier plan only the rows are known
            return now is None or (bool(move.poses) and _alike(now, move.poses[0]))
        return now == then or (now is not None and then is not None and _alike(now, then))

    def _change(self, before: Move | None, after: Move, kept: str) -> MoveChange:
        if before is None:
            return MoveChange(after.id, "changed", "the plan before did not have it", None, after)
        if kept and _same(before, after):
            return MoveChange(after.id, "unchanged", kept, before, after)
        if before.poses and not after.poses:
            return MoveChange(after.id, "cut off", after.reason, before, after)
        if _same(replace(before, under=after.under), after):
            return MoveChange(after.id, "unchanged", f"{self._again()}: it comes out as it was", before, after)
        return MoveChange(after.id, "changed", "; ".join(self._why(before, after, kept)), before, after)

    def _again(self) -> str:
        return self.anew or "searched again"

    def _why(self, before: Move, after: Move, kept: str) -> Iterator[str]:
        """What of the change makes a move another one."""
        if before.machine != after.machine:
            yield f"{after.machine} was delivered instead of {before.machine}"
        if kept and any(_same(move, after) for move in self.earlier):
            yield kept
            return
        yield self._again()
        met = sorted({area for leg in before.legs for area in leg.areas} & set(after.under.closed))
        if met:
            yield f"its way led through {', '.join(met)}, closed now"
        now_open = sorted(set(before.under.closed) - set(after.under.closed))
        if now_open:
            yield f"{', '.join(now_open)} is open now"
        if after.under.wet and not before.under.wet:
            yield "it may be wet now"


def _left(moves: Sequence[Move], move: Move) -> Pose | None:
    """Where the moves before a move leave the machine at its start."""
    ids = [one.id for one in moves]
    before = moves[: ids.index(move.id)] if move.id in ids else moves
    ends = [one.poses[-1] for one in before if one.goal == move.start and one.poses]
    return ends[-1] if ends else None


def _same(one: Move, other: Move) -> bool:
    """Whether two moves say the same, where they know nothing too."""
    return repr(one) == repr(other)


def _alike(one: Pose, other: Pose) -> bool:
    turn = abs((one.bearing_deg - other.bearing_deg + 180.0) % 360.0 - 180.0)
    near = math.hypot(one.x - other.x, one.y - other.y) < _APART and turn < _APART
    return near and one.travel_mode == other.travel_mode


def anew(plan: Plan, site: Site) -> str:
    """Why nothing of a plan can be kept; empty where it can."""
    if plan.software != SOFTWARE:
        return f"the plan before was made by {plan.software}"
    then = {record.path: record.sha256 for record in plan.inputs}
    now = {record.path: record.sha256 for record in site.inputs}
    differ = sorted(path for path in then.keys() | now.keys() if then.get(path) != now.get(path))
    return f"the site folder has changed since the plan before ({', '.join(differ)})" if differ else ""
