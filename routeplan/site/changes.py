"""What has changed since a site folder was written: areas closed or opened, hazards added, machines, rain."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from routeplan.site.faults import Faults
from routeplan.site.model import Acceptance, Area, MoveWanted, Site

#: Layers that only take room away or ask for more care; what gives room is told by the site folder.
HAZARD_LAYERS = ("defects", "excavations", "obstacles", "overhead_lines", "soffits", "walkways")
#: A closure whose end nobody knows.
ALWAYS = ((dt.date.min, dt.date.max),)


@dataclass(frozen=True)
class Change:
    """A change to a site folder.

    Parameters
    ----------
    closed, opened
        Ids of areas that are closed, or open, on every day, whatever their own dates say.
    added
        Files of hazards, each by the layer that it adds to.
    machines
        For the id of a machine that was ordered, the one delivered: the id of another machine of the site, or a file of
        figures as they stand under ``[machines.ID]``.
    wet
        Whether every day may be wet.
    """

    closed: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()
    added: tuple[tuple[str, Path], ...] = ()
    machines: Mapping[str, str | Path] = field(default_factory=dict)
    wet: bool = False


NO_CHANGE = Change()


def changed(site: Site, change: Change, faults: Faults) -> Site:
    """A site as a change leaves its areas and its days; an area that it does not have is a fault."""
    known = sorted(area.id for area in site.areas)
    for name in (name for name in dict.fromkeys((*change.closed, *change.opened)) if name not in known):
        there = ", ".join(known) or "none"
        faults.add("area-unknown", "areas", f'there is no area "{name}"', f"name one of the site's areas: {there}")
    for name in sorted(set(change.closed) & set(change.opened)):
        faults.add("area-both", "areas", f'area "{name}" is to be closed and opened', "say one of the two")
    moves = tuple(replace(move, wet=move.wet or change.wet) for move in site.moves)
    return replace(site, areas=tuple(_areas(site, change)), moves=moves)


def _areas(site: Site, change: Change) -> Iterator[Area]:
    for area in site.areas:
        if area.id in change.closed:
            yield replace(area, closures=ALWAYS)
        elif area.id in change.opened:
            yield replace(area, closures=(), reopened=bool(area.closures))
        else:
            yield area


def with_delivered(
    moves: tuple[MoveWanted, ...], change: Change, known: Collection[str], faults: Faults
) -> tuple[MoveWanted, ...]:
    """Moves made by the machines that were delivered; one that nobody ordered is a fault."""
    for name in (name for name in change.machines if name not in known):
        there = ", ".join(sorted(known)) or "none"
        faults.add("machine-unknown", "machines", f'there is no machine "{name}"', f"name one of the site's: {there}")
    names = {old: new.stem if isinstance(new, Path) else new for old, new in change.machines.items()}
    return tuple(replace(move, machine=names.get(move.machine, move.machine)) for move in moves)


def given_by(site: Site, day: dt.date) -> Site:
    """A site with what had been accepted or proven by a day."""

    def word(given: Acceptance | None) -> Acceptance | None:
        return None if given is None or given.date > day else given

    return replace(
        site,
        surfaces=tuple(replace(one, acceptance=word(one.acceptance)) for one in site.surfaces),
        defects=tuple(
            one if one.proof is None or one.proof.date <= day else replace(one, proof=None) for one in site.defects
        ),
    )
