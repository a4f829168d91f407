"""A way as it was found: the motions on each lattice that it was searched on, and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeplan.hazards.prepare import Hazards
from routeplan.search.anchors import Anchor
from routeplan.search.lattice import CheckedLattice
from routeplan.search.straighten import Motion, straightened

#: A metre driven from beside the machine counts as so many ridden.
BESIDE_FACTOR = 1.5


def metre_m(lattice: CheckedLattice) -> float:
    """What a metre costs in the travel mode of a lattice, as metres ridden."""
    return 1.0 if lattice.hazards.travel_mode == "ridden" else BESIDE_FACTOR


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
    def length_m(self) -> float:
        """Path length of the origin, m."""
        return float(sum(np.abs(m.pieces[m.pieces[:, 2] == 0.0, 0]).sum() for m in self.motions))

    @property
    def end(self) -> Anchor:
        """Where it ends; it has at least one motion."""
        return self.stretches[-1].motions[-1].end

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
            motions, saved = straightened(stretch.motions, hazards=lattice.hazards, turns=lattice.motions.turns)
            if motions:  # one that leads back to where it began is none when it is drawn straight
                drawn.append(Stretch(motions, lattice))
            saved_m += metre_m(lattice) * saved
        return replace(self, stretches=tuple(drawn), cost_m=self.cost_m - saved_m)


def joined(ways: Sequence[Way]) -> Way:
    """One way after another, each starting where the one before ended."""
    return Way(
        tuple(stretch for way in ways for stretch in way.stretches), sum(way.cost_m for way in ways),
        sum(way.lattice_cost_m for way in ways), sum(way.bound_m for way in ways),
    )  # fmt: skip
