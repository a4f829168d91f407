"""A way as it was found: the motions on each lattice that it was searched on, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from routeplan.hazards.prepare import Hazards
from routeplan.search.lattice import CheckedLattice, Found
from routeplan.search.straighten import Motion, straightened


@dataclass(frozen=True, eq=False)
class Stretch:
    """Motions that follow one another, and the lattice whose hazards passed them."""

    motions: tuple[Motion, ...]
    lattice: CheckedLattice


@dataclass(frozen=True, eq=False)
class Way:
    """A whole way. Costs are metres of the best forward driving; see ``search.lattice.Found``."""

    stretches: tuple[Stretch, ...]
    cost_m: float
    lattice_cost_m: float
    bound_m: float

    @property
    def motions(self) -> tuple[Motion, ...]:
        """All motions, in the order driven."""
        return tuple(motion for stretch in self.stretches for motion in stretch.motions)

    @property
    def hazards(self) -> Hazards:
        """Of the first stretch, with the largest sigma that any stretch has."""
        all_of = [stretch.lattice.hazards for stretch in self.stretches]
        return replace(all_of[0], sigma=np.max([hazards.sigma for hazards in all_of], axis=0))

    def straighter(self) -> Way:
        """The same way with every stretch of it drawn straighter."""
        drawn, saved_m = [], 0.0
        for stretch in self.stretches:
            lattice = stretch.lattice
            motions, saved = straightened(stretch.motions, hazards=lattice.hazards, radius_m=lattice.radius_m)
            drawn.append(Stretch(motions, lattice))
            saved_m += saved
        return replace(self, stretches=tuple(drawn), cost_m=self.cost_m - saved_m)


def way_on(lattice: CheckedLattice, found: Found) -> Way:
    """A way found on one lattice."""
    return Way((Stretch(found.motions, lattice),), found.cost_m, found.cost_m, found.bound_m)
