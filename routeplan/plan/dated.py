"""What of a site is dated: on which days it changes, what holds on a day, and what a day takes away from another."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from routeplan.route.days import Cause
from routeplan.site.model import Area, Defect, Site, Surface
from routeplan.site.spans import NO_FIRST, NO_LAST

ONE = dt.timedelta(days=1)
#: What is dated and may take a way away.
Dated = Area | Surface | Defect


@dataclass(frozen=True)
class Held:
    """Ids of the areas that are closed on a day, and of the surfaces, covers and plates, and elevated zones of which
    somebody's word holds.
    """

    closed: frozenset[str]
    accepted: frozenset[str]
    proven: frozenset[str]
    raised: frozenset[str]


def _holds(first: dt.date, last: dt.date | None, day: dt.date) -> bool:
    return first <= day and (last is None or day <= last)


def held_on(site: Site, day: dt.date) -> Held:
    """What holds on a day; of two days on which the same holds no check tells one from the other."""
    words = [(one.id, one.acceptance) for one in site.surfaces]
    zones = [(one.id, one.acceptance) for one in site.elevated_zones]
    proofs = [(one.id, one.proof) for one in site.defects]
    return Held(
        frozenset(area.id for area in site.areas if area.closed_on(day)),
        frozenset(name for name, word in words if word and _holds(word.date, word.valid_until, day)),
        frozenset(name for name, proof in proofs if proof and _holds(proof.date, proof.valid_until, day)),
        frozenset(name for name, word in zones if word and _holds(word.date, word.valid_until, day)),
    )


def changes_of(site: Site) -> frozenset[dt.date]:
    """Days on which something dated is otherwise than on the day before."""
    return frozenset(_changes(site))


def _changes(site: Site) -> Iterator[dt.date]:
    spans = [span for area in site.areas for span in area.closures]
    words = [
        *(one.acceptance for one in site.surfaces), *(one.acceptance for one in site.elevated_zones),
        *(one.proof for one in site.defects),
    ]  # fmt: skip
    spans += [(word.date, word.valid_until or NO_LAST) for word in words if word is not None]
    for first, last in spans:
        if first != NO_FIRST:
            yield first
        if last != NO_LAST:
            yield last + ONE


def taken(site: Site, before: Held, now: Held) -> list[Dated]:
    """What is closed, or no longer accepted or proven, and was not before."""
    return [
        *(area for area in site.areas if area.id in now.closed - before.closed),
        *(one for one in site.surfaces if one.id in before.accepted - now.accepted),
        *(one for one in site.defects if one.id in before.proven - now.proven),
    ]


def against(site: Site, now: Held) -> list[Dated]:
    """All that is closed, and all that somebody's word opens on other days."""
    return [
        *(area for area in site.areas if area.id in now.closed),
        *(one for one in site.surfaces if one.acceptance is not None and one.id not in now.accepted),
        *(one for one in site.defects if one.proof is not None and one.id not in now.proven),
    ]


def undone(site: Site, thing: Dated) -> Site:
    """A site in which one dated thing takes nothing away on any day."""
    if isinstance(thing, Area):
        return replace(site, areas=tuple(replace(one, closures=()) if one is thing else one for one in site.areas))
    if isinstance(thing, Surface):
        return replace(site, surfaces=tuple(_always(one) if one is thing else one for one in site.surfaces))
    return replace(site, defects=tuple(_proven(one) if one is thing else one for one in site.defects))


def _always(surface: Surface) -> Surface:
    word = surface.acceptance
    return replace(surface, acceptance=word and replace(word, date=NO_FIRST, valid_until=None))


def _proven(defect: Defect) -> Defect:
    proof = defect.proof
    return replace(defect, proof=proof and replace(proof, date=NO_FIRST, valid_until=None))


def cause_of(thing: Dated) -> Cause:
    """A dated thing as people are told of it."""
    if isinstance(thing, Area):
        return Cause("area", thing.id, thing.title)
    if isinstance(thing, Surface):
        return Cause("surface", thing.id, f"{thing.kind} {thing.id}")
    return Cause("plate", thing.id, f"{thing.kind} {thing.id}")
