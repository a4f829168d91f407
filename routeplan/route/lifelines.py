"""Values of what keeps machines and people in reach: what cuts a move off, and how help comes to where one works."""

from __future__ import annotations

import math
from dataclasses import dataclass

from routeplan.route.model import MoveVerdict


@dataclass(frozen=True)
class Cuts:
    """What cuts a move off.

    Parameters
    ----------
    move
        Id of the move.
    areas
        Ids of the named areas that were open and might be closed.
    smallest
        All smallest sets of them that leave no way, each in the order of the site; none where no closure does.
    unsettled
        Sets as small of which it is not known whether they leave one.
    why
        Why something is not known; empty where all is.
    """

    move: str
    areas: tuple[str, ...]
    smallest: tuple[tuple[str, ...], ...]
    unsettled: tuple[tuple[str, ...], ...] = ()
    why: str = ""

    @property
    def every_way(self) -> tuple[str, ...]:
        """Areas that every way passes."""
        return tuple(name for cut in self.smallest if len(cut) == 1 for name in cut)

    def words(self) -> str:
        """The same for people."""
        told = []
        if self.every_way:
            it = "it" if len(self.every_way) == 1 else "one of them"
            told.append(f"every way passes {', '.join(self.every_way)}: closing {it} cuts {self.move} off")
        elif self.smallest:
            sets = "; ".join(" and ".join(cut) for cut in self.smallest)
            told.append(f"no area alone cuts {self.move} off; the smallest closures that do: {sets}")
        elif not self.why:
            told.append(f"no closure of named areas cuts {self.move} off")
        if self.unsettled:
            told.append(f"not known of {'; '.join(' and '.join(cut) for cut in self.unsettled)}: {self.why}")
        elif self.why:
            told.append(f"not known what cuts {self.move} off: {self.why}")
        return ". ".join(told)


@dataclass(frozen=True)
class OnFoot:
    """A way on foot: from which place, how long, and where it is narrowest."""

    start: str
    length_m: float
    narrowest_m: float
    narrowest_at: tuple[float, float]


@dataclass(frozen=True)
class Reached:
    """How people come on foot to where a move leaves a machine at work: the way, or what is in it."""

    move: str
    on_foot: OnFoot | None
    no_way: str


@dataclass(frozen=True)
class Second:
    """What a second machine can do: from where, how far it drives and how the way is judged; ``why`` there is none."""

    machine: str
    start: str
    slews: bool
    verdict: MoveVerdict
    length_m: float
    ends: tuple[float, float, float] | None
    why: str

    def words(self) -> str:
        """The same for people."""
        what = "slews" if self.slews else "does not slew"
        unknown = "how far it reaches and how high it lifts is not known"
        if self.ends is None:
            return f"{self.machine} ({what}) from {self.start}: no way to stand beside it: {self.why}"
        return (
            f"{self.machine} ({what}) from {self.start}: {math.ceil(self.length_m)} m to stand beside it "
            f"({self.verdict}); {unknown}"
        )


@dataclass(frozen=True)
class Rescue:
    """How people come to help where a machine works, after a move has left it there."""

    move: str
    machine: str
    workface: str
    on_foot: OnFoot | None
    no_way_on_foot: str
    seconds: tuple[Second, ...]

    def words(self) -> tuple[str, ...]:
        """The same for people, line by line."""
        told = self.no_way_on_foot
        if self.on_foot is not None:
            way = self.on_foot
            at = f"E {way.narrowest_at[0]:.1f} N {way.narrowest_at[1]:.1f}"
            told = (
                f"on foot from {way.start}: {math.ceil(way.length_m)} m to the ground controls of {self.machine}, "
                f"{math.floor(100.0 * way.narrowest_m) / 100.0:.2f} m wide at {at}; steps and slopes are not looked at"
            )
        none = () if self.seconds else ("no second machine: no other on this site slews or is of the same class",)
        return (told, *(second.words() for second in self.seconds), *none)


@dataclass(frozen=True)
class Lifelines:
    """What cuts off each move of a plan, and how people come to help where one leaves a machine at work."""

    cuts: tuple[Cuts, ...]
    rescues: tuple[Rescue, ...]
