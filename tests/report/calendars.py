"""A calendar made by hand with every letter in it, for the words and the page. All invented."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from routeplan.route.days import Calendar, Cause, MachineCalendar, MachineDay, Slip, Window, Without
from routeplan.route.model import CAUTIONS, MoveVerdict
from routeplan.site.model import Site
from tests import worlds

FIRST = dt.date(2026, 11, 30)
HOSTILE = '<img src=x onerror="window.bad=1">'
SLEW = Cause("area", "crane-slew", "Crane slew")
LETTERS: dict[str, MoveVerdict | None] = {
    "Y": "pass", "C": "pass with controls", "?": "not proven", "R": "fail", "L": "search limit", "N": "no route",
    ".": None,
}  # fmt: skip


def site() -> Site:
    """A yard with three places; one has a name that is no name."""
    places = (worlds.place("rack-1", 5.0, 5.0), worlds.place("bay", 9.0, 5.0), worlds.place(HOSTILE, 12.0, 5.0))
    return worlds.flat_site(20.0, 10.0, machines=(worlds.scissor(),), places=places)


def iso(n: int) -> str:
    return (FIRST + dt.timedelta(days=n)).isoformat()


def rows(outs: str, reach: str, place: str, *, moves: dict[int, str], stays_from: int) -> tuple[MachineDay, ...]:
    """Days by letters; ``stays_from`` is the first on which it is as if it were still there."""
    return tuple(
        MachineDay(
            iso(n), None if out == "." else place, n < stays_from, (moves[n],) if n in moves else (),
            None if way == "." else moves.get(n, "C1"), LETTERS[way], LETTERS[out],
        )
        for n, (out, way) in enumerate(zip(outs, reach, strict=True))
    )  # fmt: skip


def without(first: int, last: int | None, verdict: MoveVerdict, *causes: Cause, place: str, planned: bool) -> Without:
    end = None if last is None else iso(last)
    why = {"no route": "every way is blocked", "not proven": "open: grip"}.get(verdict, "the route is refused")
    stranded = planned and verdict != "not proven"
    return Without(iso(first), end, place, planned, verdict, why, causes, True, stranded)


def machines() -> tuple[MachineCalendar, ...]:
    """One stranded for two days and again for good, one not proven, one that stays for ever, one nobody knows where."""
    late = MachineCalendar(
        "SC12", "12 m rough-terrain scissor", None, 2, 1,
        rows("..YYNNYYYYYYNNYYYYCCCCCCYYYYYYYYYYYYNNNN", "YYYYNNYYYYYYNNYY........................", "rack-1",
             moves={2: "D1", 15: "C1"}, stays_from=16),
        (
            without(4, 5, "no route", SLEW, place="rack-1", planned=True),
            without(12, 13, "no route", Cause("surface", "boards", "trackway boards"), place="rack-1", planned=True),
            without(36, None, "no route", SLEW, Cause("area", "n", "North bay"), place="rack-1", planned=False),
        ),
        iso(4), iso(3), iso(0), (Window(iso(6), iso(11)), Window(iso(14), iso(35))), "C1", iso(15), 0, -15,
        Slip(14, ""), None,
    )  # fmt: skip
    doubt = MachineCalendar(
        "AB16", "16 m articulating boom", None, 2, 1,
        rows("..YYYYYYYYYYYYYYYY??????RRLLNNNNNNNNNNNN", "YYYYYYYYYY??????????????????????????????", "bay",
             moves={2: "D2"}, stays_from=99),
        (
            without(18, 23, "not proven", place="bay", planned=True),
            without(24, 25, "fail", Cause("plate", "p", "plate p"), place="bay", planned=True),
            without(26, 27, "search limit", SLEW, place="bay", planned=True),
            without(28, None, "no route", Cause("area", "wall", f"Wall {HOSTILE}"), place="bay", planned=True),
        ),
        iso(18), iso(17), iso(14), (), None, None, 14, None, None,
        Slip(2, f"from {iso(18)} no way out from bay for good"),
    )  # fmt: skip
    ever = MachineCalendar(
        "TB26", HOSTILE, None, None, None,
        rows("....YYYYYYYYYYYYYYYYYYYYYYYYYYYYYYYYYYYY", "YYYYY...................................", HOSTILE,
             moves={4: "D3"}, stays_from=99),
        slip_work=Slip(14, ""),
    )  # fmt: skip
    return late, doubt, ever, MachineCalendar("SC8", "8 m slab scissor", "move R7 has no day", None, None)


def calendar(of: Sequence[MachineCalendar] | None = None) -> Calendar:
    return Calendar(
        "routeplan 0", "2026-11-30T07:30:00+00:00", "draft", f"Kestrel {HOSTILE}", "P03", True, (), iso(0), iso(39),
        tuple(machines() if of is None else of), ("stability",), CAUTIONS,
    )  # fmt: skip


def lanes(count: int) -> Calendar:
    """So many machines that it fills a sheet."""
    late = machines()[0]
    return calendar([replace(late, machine=f"SC{n}") for n in range(count)])


