"""What has changed since a site folder was written: hazards added, machines, areas closed or opened, rain."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from routeplan.site.faults import Faults
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    Excavation,
    LineCorridor,
    MoveWanted,
    Obstacle,
    Site,
    Soffit,
    Walkway,
)

#: Layers that only take room away or ask for more care; what gives room is told by the site folder.
HAZARD_LAYERS = ("defects", "excavations", "obstacles", "overhead_lines", "soffits", "walkways")
#: A closure whose end nobody knows.
ALWAYS = ((dt.date.min, dt.date.max),)


@dataclass(frozen=True)
class Change:
    """What a site folder does not have yet.

    Parameters
    ----------
    added
        Files of hazards, each by the layer that it adds to.
    machines
        For the id of a machine that was ordered, the one delivered: the id of another machine of the site, or a file of
        figures as they stand under ``[machines.ID]``.
    """

    added: tuple[tuple[str, Path], ...] = ()
    machines: Mapping[str, str | Path] = field(default_factory=dict)

    @classmethod
    def of(cls, files: Mapping[str, Path], added: Sequence[str], machines: Mapping[str, str]) -> Change:
        """What a plan's conditions name, by the files behind these names.

        Raises
        ------
        BadInput
            A file whose name is not that of a layer of hazards: all of them.
        """
        faults = Faults()
        for name in (name for name in added if layer_of(name) not in HAZARD_LAYERS):
            mend = f"name it as the layer that it adds to: {', '.join(HAZARD_LAYERS)}"
            faults.add("added-layer", name, f'no layer of hazards is called "{layer_of(name)}"', mend)
        faults.raise_if_any()
        delivered = {old: files.get(new, new) for old, new in machines.items()}
        return cls(tuple((layer_of(name), files[name]) for name in added), delivered)


NO_CHANGE = Change()


def layer_of(name: str) -> str:
    """The layer that a file of hazards adds to.

    >>> layer_of("defects.csv"), layer_of("added-2-overhead_lines.geojson")
    ('defects', 'overhead_lines')
    """
    return Path(name).stem.rpartition("-")[2]


def added_since(site: Site, before: Site) -> BaseGeometry | None:
    """Where a site has what the same site before it did not; ``None`` where some of it gives room, as a proven plate
    over a trench does.
    """
    there = {(type(thing), thing.id) for thing in _hazards(before)}
    new = [one for one in _hazards(site) if (type(one), one.id) not in there]
    if any(isinstance(one, Defect) and one.proof is not None for one in new):
        return None
    return shapely.union_all([one.geometry for one in new])


def _hazards(site: Site) -> Iterator[Obstacle | Soffit | Defect | Walkway | LineCorridor | Excavation]:
    yield from site.obstacles
    yield from site.soffits
    yield from site.defects
    yield from site.walkways
    yield from site.line_corridors
    yield from site.excavations


def changed(site: Site, *, closed: Collection[str], opened: Collection[str], wet: bool) -> Site:
    """A site with areas closed, or open, on every day, whatever their own dates; and rain on every day, or not.

    Raises
    ------
    BadInput
        Areas that it does not have, or that are to be both: all of them.
    """
    faults, known = Faults(), sorted(area.id for area in site.areas)
    for name in (name for name in dict.fromkeys((*closed, *opened)) if name not in known):
        there = ", ".join(known) or "none"
        faults.add("area-unknown", "areas", f'there is no area "{name}"', f"name one of the site's areas: {there}")
    for name in sorted(set(closed) & set(opened)):
        faults.add("area-both", "areas", f'area "{name}" is to be closed and opened', "say one of the two")
    faults.raise_if_any()

    def area_now(area: Area) -> Area:
        if area.id in closed:
            return replace(area, closures=ALWAYS)
        return replace(area, closures=(), reopened=bool(area.closures)) if area.id in opened else area

    moves = tuple(replace(move, wet=move.wet or wet) for move in site.moves)
    return replace(site, areas=tuple(map(area_now, site.areas)), moves=moves)


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
