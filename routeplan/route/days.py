"""Values that a calendar of machines and days is made of: who can get in and out when, until when, and what ends it.

Days are ISO 8601 texts. A way counts as one only where its verdict is a pass: what is not proven is no way out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from routeplan.route.model import FileRecord, MoveVerdict

#: Verdicts with which a machine has a way.
SAFE: tuple[MoveVerdict, ...] = ("pass", "pass with controls")
#: Verdict with which it may have one: nobody knows yet.
OPEN: MoveVerdict = "not proven"


@dataclass(frozen=True)
class Cause:
    """Something dated that takes a way away: an area that is closed, ground no longer or not yet accepted, a cover or
    plate no longer or not yet proven.
    """

    kind: Literal["area", "surface", "plate"]
    id: str
    title: str


@dataclass(frozen=True)
class MachineDay:
    """A machine on one day.

    Parameters
    ----------
    place
        Where it stands in the evening, or stood before it was collected that day; ``None`` while it is not on site.
    planned
        Whether it stands there by its moves; false after its collection: as if it were still there.
    moves
        Moves that it makes that day.
    next_move, reach
        The move that it makes next, that day or later, and what it would be that day.
    out
        What its way out would be that day, from ``place``.
    """

    day: str
    place: str | None
    planned: bool
    moves: tuple[str, ...]
    next_move: str | None
    reach: MoveVerdict | None
    out: MoveVerdict | None


@dataclass(frozen=True)
class Without:
    """Days one after the other without a way out, of one verdict, from one place.

    Parameters
    ----------
    last
        ``None`` where no end of it is known.
    ended_by, alone
        What takes the way out away; whether each of them alone does, so that to open any one brings it back.
    stranded
        Whether the machine then stands there, by its moves, with no way out at all.
    """

    first: str
    last: str | None
    place: str
    planned: bool
    verdict: MoveVerdict
    reason: str
    ended_by: tuple[Cause, ...]
    alone: bool
    stranded: bool


@dataclass(frozen=True)
class Window:
    """Days one after the other with a way out; ``last`` is ``None`` where no end of them is known."""

    first: str
    last: str | None


@dataclass(frozen=True)
class Slip:
    """How many days later something may happen with a way all the while, and what a day more does.

    ``beyond`` is empty where as many days as were looked at are good.
    """

    good_days: int
    beyond: str


@dataclass(frozen=True)
class MachineCalendar:
    """The days of one machine.

    Parameters
    ----------
    unplaced
        Why nobody knows where it stands; there are no days then.
    notice_days, buffer_days
        As the site has them; ``None`` where nobody said.
    first_without, last_way_out
        The first day without a way out, and the day before it on which it still has one.
    last_safe
        Last safe collection date: ``last_way_out`` less notice and buffer.
    later
        Days with a way out after the first day without.
    collection, collected
        The move that collects it, and the day.
    in_hand_days, spare_days
        From the day of issue, and from the planned collection, to the last safe date; below zero where it is too late.
    slip_collection, slip_work
        How much later its collection, and all its moves, may be; ``None`` where they are not safe as they are.
    """

    machine: str
    title: str
    unplaced: str | None
    notice_days: int | None
    buffer_days: int | None
    days: tuple[MachineDay, ...] = ()
    without: tuple[Without, ...] = ()
    first_without: str | None = None
    last_way_out: str | None = None
    last_safe: str | None = None
    later: tuple[Window, ...] = ()
    collection: str | None = None
    collected: str | None = None
    in_hand_days: int | None = None
    spare_days: int | None = None
    slip_collection: Slip | None = None
    slip_work: Slip | None = None


@dataclass(frozen=True)
class Calendar:
    """All machines of a site that have moves, day by day, from ``first`` to ``last``; as on ``last`` for good."""

    software: str
    issued: str
    status: Literal["draft"]
    site_name: str
    site_revision: str
    invented: bool
    inputs: tuple[FileRecord, ...]
    first: str | None
    last: str | None
    machines: tuple[MachineCalendar, ...]
    not_checked: tuple[str, ...]
    cautions: tuple[str, ...]
