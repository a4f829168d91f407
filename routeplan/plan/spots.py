"""The smallest set of spot levels that would settle a margin: where to read, with an instrument as good as is said.

Readings that find the levels where they are held to be leave every margin as it is and make it surer. So whether a set
of places settles a margin can be told before anybody goes there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from routeplan.plan.surer import QUICK, Doubt, Spread, Surer
from routeplan.site.readings import ONE_PLACE_M

Floats = NDArray[np.float64]

#: Sets that are tried one by one; where there are more, few places are told and not the fewest.
MOST_TRIED = 20_000
#: Places that are thought of at most; they are told to the centimetre.
MOST_PLACES, DIGITS = 160, 2
#: Stretches that a quick look looks at, at most, and spot levels that anybody is sent to read before the ground is
#: better surveyed again (common practice, no source).
_LOOKED_AT, MOST_READ = 60, 24
#: By how much surer than needed a quick look is asked to be, in turn, until the full look agrees.
_MORE = (1.0, 1.05, 1.1, 1.2, 1.35, 1.5, 2.0)


class Spots(NamedTuple):
    """Places ``(n, 2)`` that settle it together, and whether no smaller set of those thought of does."""

    places: Floats
    fewest: bool


#: Stretches that are few.
_CLOSE = 3


class _Quick(NamedTuple):
    """Forms in some poses of the tube, ``(poses, forms)`` variances and ``(poses, forms, places)`` covariances with
    what is read at places; ``used`` are the forms that count.
    """

    forms: Floats
    told: Floats
    used: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Question:
    """What readings of one instrument at some places would make of doubts.

    Parameters
    ----------
    surer, doubts, some, k
        The machine on its way after the readings that there are, what is open, those stretches of it that a quick look
        looks at, and the sigmas wanted.
    places, sigma_m
        ``(p, 2)`` that may be read, and how well.
    """

    surer: Surer
    doubts: tuple[Doubt, ...]
    some: tuple[Doubt, ...]
    k: float
    places: Floats
    sigma_m: float
    read: Floats
    quick: tuple[_Quick, ...]

    @classmethod
    def of(cls, surer: Surer, doubts: Sequence[Doubt], k: float, sigma_m: float) -> Question:
        """With the places under the wheels in the middle of the open stretches."""
        places = _under_wheels(surer, doubts)
        read = surer.posterior.between(*places.T) + sigma_m**2 * np.eye(len(places))
        quick = []
        some = tuple(doubt.where(np.arange(0, n, -(-n // _LOOKED_AT))) for doubt in doubts if (n := len(doubt.margin)))
        for doubt in some:
            hub_x, hub_y, _ = surer.poses(doubt.starts, doubt.ends, QUICK)
            used = surer.used(doubt.kind)
            forms = np.concatenate(surer.forms)[used]
            sigma, _ = surer.posterior.widest(hub_x, hub_y, 0.0, forms)
            told = surer.posterior.told(hub_x, hub_y, forms, *places.T)
            quick.append(_Quick(sigma**2, told, used))
        return cls(surer, tuple(doubts), some, k, places, sigma_m, read, tuple(quick))

    def short(self, chosen: Sequence[int], more: float = 1.0) -> float:
        """How much is lacking, all stretches together, at a quick look; nothing where some set might settle it."""
        lacks, at = 0.0, list(chosen)
        for doubt, quick in zip(self.some, self.quick, strict=True):
            left = quick.forms
            if at:
                told = quick.told[..., at]
                left = left - np.sum(told * (told @ np.linalg.inv(self.read[np.ix_(at, at)])), axis=-1)
            worst = self.surer.worst(np.sqrt(np.maximum(left, 0.0)), quick.used, len(doubt.margin))
            found = self.surer.sigma(doubt, Spread(worst, 0.0 * worst), self.k)
            lacks += float(np.maximum(more * self.k * np.hypot(found, doubt.other) - doubt.margin, 0.0).sum())
        return lacks

    def settled(self, chosen: Sequence[int]) -> bool:
        """Whether the full look finds every stretch as sure as wanted."""
        x, y = self.places[list(chosen)].T
        after = replace(self.surer, posterior=self.surer.posterior.and_then(x, y, self.sigma_m))
        return all(
            bool((doubt.margin >= self.k * np.hypot(after.along(doubt, self.k), doubt.other)).all())
            for doubt in self.doubts
        )

    def smallest(self) -> Spots | None:
        """The smallest set of places that settles it, or a small one where there are too many to try; None where all
        places together do not, or more would have to be read than anybody reads.
        """
        everywhere = range(len(self.places))
        if not len(self.places) or self.short(everywhere) > 0.0 or not self.settled(everywhere):
            return None
        few, tried = self._few(), 0
        if len(few) > MOST_READ:
            return None
        for size in range(1, len(few)):
            tried += math.comb(len(self.places), size)
            if tried > MOST_TRIED:
                return Spots(self.places[few], fewest=False)
            for chosen in combinations(everywhere, size):
                if self.short(chosen) <= 0.0 and self.settled(chosen):
                    return Spots(self.places[list(chosen)], fewest=True)
        return Spots(self.places[few], fewest=True)

    def _few(self) -> list[int]:
        """A set that settles it, of which none may be left out: the place that helps most is added, one by one."""
        chosen = list[int]()
        for more in _MORE:
            while self.short(chosen, more) > 0.0 and len(chosen) < min(len(self.places), 2 * MOST_READ):
                rest = [one for one in range(len(self.places)) if one not in chosen]
                chosen.append(min(rest, key=lambda one: self.short([*chosen, one], more)))
            if self.settled(chosen):
                break
        else:
            chosen = list(range(len(self.places)))
        for one in list(chosen):
            fewer = [other for other in chosen if other != one]
            if self.short(fewer) <= 0.0 and self.settled(fewer):
                chosen = fewer
        return chosen


def _under_wheels(surer: Surer, doubts: Sequence[Doubt]) -> Floats:
    """Places under the wheels in the middles of stretches, and where these are few to both sides, once each."""
    found = dict[tuple[float, float], None]()
    for doubt in doubts:
        across = 3 if len(doubt.margin) <= _CLOSE else 1
        hub_x, hub_y, _ = surer.poses(doubt.starts, doubt.ends, (1, across, 1))
        rounded = np.stack([hub_x, hub_y], axis=-1).reshape(-1, 2).round(DIGITS)
        found |= {(float(x), float(y)): None for x, y in rounded}
    places = np.array(list(found)).reshape(-1, 2)
    known = surer.posterior
    # Where a reading was taken already another says nothing new, and the door takes none.
    read = np.hypot(places[:, :1] - known.x, places[:, 1:] - known.y) <= 2.0 * ONE_PLACE_M
    places = places[~read.any(axis=1)]
    return places[:: math.ceil(len(places) / MOST_PLACES)] if len(places) else places
