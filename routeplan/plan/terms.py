"""The last safe collection date of a machine: its last day with a way out, less notice and buffer."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from routeplan.plan.dated import ONE
from routeplan.route.days import SAFE, MachineCalendar, MachineDay, Slip, Window, Without
from routeplan.site.model import MoveWanted


def with_terms(
    bare: MachineCalendar, rows: Sequence[MachineDay], without: tuple[Without, ...], *, today: dt.date,
    collection: MoveWanted | None, slips: tuple[Slip | None, Slip | None],
) -> MachineCalendar:  # fmt: skip
    """A machine's calendar with its last safe date and what follows from it."""
    on_site = [row for row in rows if row.out is not None]
    bad = next((n for n, row in enumerate(on_site) if row.out not in SAFE), None)
    last_way = on_site[bad - 1].day if bad else None
    safe = _less(last_way, bare)
    collected = None if collection is None else collection.on
    return replace(
        bare, days=tuple(rows), without=without, first_without=None if bad is None else on_site[bad].day,
        last_way_out=last_way, last_safe=None if safe is None else safe.isoformat(),
        later=() if bad is None else tuple(_windows(on_site[bad:])),
        collection=None if collection is None else collection.id,
        collected=None if collected is None else collected.isoformat(),
        in_hand_days=None if safe is None else (safe - today).days,
        spare_days=None if safe is None or collected is None else (safe - collected).days,
        slip_collection=slips[0], slip_work=slips[1],
    )  # fmt: skip


def _less(last_way: str | None, terms: MachineCalendar) -> dt.date | None:
    """A day less notice and buffer; none where there is no such day, or nobody said."""
    if last_way is None or terms.notice_days is None or terms.buffer_days is None:
        return None
    return dt.date.fromisoformat(last_way) - (terms.notice_days + terms.buffer_days) * ONE


def _windows(rows: Sequence[MachineDay]) -> Iterator[Window]:
    for safe, run in groupby(rows, key=lambda row: row.out in SAFE):
        here = list(run)
        if safe:
            yield Window(here[0].day, None if here[-1] is rows[-1] else here[-1].day)
