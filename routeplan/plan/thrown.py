"""Off a lattice while another way is sought: where a basket is thrown too far at any speed, and what rocks as much."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from routeplan.hazards.prepare import Hazards
from routeplan.hazards.sweep import along
from routeplan.hazards.tile import BLOCKED
from routeplan.search.lattice import CheckedLattice

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Shares of the most that the machine rocked where it was thrown, one after the other: a snap from plane to plane is
#: as high at creep as at any speed, and grows with what parts the planes.
ROCKS_LESS = (0.6, 0.3, 0.15, 0.05)
#: Rocking by less throws no basket, whatever else did, m.
LEAST_M = 0.005
#: Such places are kept off by so much, m; headings there that differ by less are alike, rad.
OFF_M, ALIKE_RAD = 0.5, math.radians(15.0)
#: Motions are looked at so many times a piece.
LOOKED_AT = 5


#: Which poses (x, y, heading of any shape) are kept off.
Bad = Callable[[Floats, Floats, Floats], Bools]


def kept_off(lattices: Sequence[CheckedLattice], thrown: Floats, share: float) -> AbstractContextManager[None]:
    """While it lasts no motion of the lattices, nor a link, comes near where a basket was thrown, or rocks much.

    A lattice that has no way then may have one: this serves to find another way, never to say that there is none.

    Parameters
    ----------
    thrown
        (n, 3) x, y and heading.
    share
        Of the most rocking there, that is left.
    """
    def off(hazards: Hazards) -> Bad:
        most_m = max(share * float(np.nanmax(rocking_m(hazards, *thrown.T))), LEAST_M)

        def bad(x: Floats, y: Floats, heading: Floats) -> Bools:
            return np.asarray(_near(x, y, heading, thrown) | (rocking_m(hazards, x, y, heading) > most_m))

        return bad

    return barred([(lattice, off(lattice.hazards)) for lattice in lattices])


@contextmanager
def barred(lattices: Sequence[tuple[CheckedLattice, Bad]]) -> Iterator[None]:
    """While it lasts no motion of the lattices, nor a link, comes to a pose that is bad there."""
    kept = [(lattice, *_barred(lattice, bad), list(lattice.links)) for lattice, bad in lattices]
    was = [lattice.table[motions] for lattice, motions, _, _ in kept]
    for lattice, motions, off, _ in kept:
        lattice.table[motions] = BLOCKED
        lattice.links = [link for n, link in enumerate(lattice.links) if n not in off]
    try:
        yield
    finally:
        for (lattice, motions, _, links), before in zip(kept, was, strict=True):
            lattice.table[motions] = before
            lattice.links = list(dict.fromkeys([*links, *lattice.links]))


def _barred(lattice: CheckedLattice, bad: Bad) -> tuple[Bools, set[int]]:
    """Which motions of the table are taken away, and which links, by their places in the list."""
    grid, motions = lattice.grid, lattice.motions
    x, y = (at + np.arange(n, dtype=np.float64) * grid.cell_m for at, n in ((grid.x0, grid.cols), (grid.y0, grid.rows)))
    north, east, headings = np.meshgrid(y, x, motions.headings, indexing="ij")
    poses, taken = bad(east, north, headings), np.zeros(lattice.table.shape, bool)
    for h, p in np.argwhere(motions.counts > 0):
        for dx, dy, heading in _places((0.0, 0.0, float(motions.headings[h])), motions.pieces[h, p]):
            turned = np.remainder(motions.headings - heading + math.pi, 2.0 * math.pi) - math.pi
            there = poses[..., int(np.abs(turned).argmin())]
            taken[..., h, p] |= _from(there, round(dy / grid.cell_m), round(dx / grid.cell_m))
    links = ((link.at.x, link.at.y, link.at.heading) for link in lattice.links)
    places = [_places(at, link.pieces) for at, link in zip(links, lattice.links, strict=True)]
    return taken, {n for n, along_it in enumerate(places) if bad(*np.array(along_it).T).any()}


def _places(at: tuple[float, float, float], pieces: Floats) -> list[tuple[float, float, float]]:
    """Some poses of a motion, its start first."""
    places = [at]
    for piece in pieces:
        at = places[-1]
        places += [along(*at, piece[0] * n / LOOKED_AT, *piece[1:]) for n in range(1, LOOKED_AT + 1) if piece[0]]
    return places


def _from(there: Bools, rows: int, cols: int) -> Bools:
    """Of every cell what is true so many rows and columns from it; false beyond the edges."""
    return np.asarray(ndimage.shift(there, (-rows, -cols), order=0, cval=False))


def rocking_m(hazards: Hazards, x: Floats, y: Floats, heading: Floats) -> Floats:
    """How far out of one plane the ground under the wheels is beyond what an axle gives, m; NaN where it is not known.

    Poses of any shape; by the levels at the hubs, without holes and raised features.
    """
    body, terrain = hazards.body, hazards.terrain
    c, s = np.cos(heading), np.sin(heading)
    levels = []
    for xi, eta in zip(body.wheel_xi, body.wheel_eta, strict=True):
        row, col = (y + xi * s + eta * c - terrain.y0), (x + xi * c - eta * s - terrain.x0)
        levels.append(
            ndimage.map_coordinates(terrain.level, np.stack([row, col]) / terrain.cell_m, order=1, mode="nearest")
        )
    given_m = 2.0 * body.track * body.stop_tan if body.oscillating > 0 else 0.0
    return np.asarray(np.maximum(np.abs(levels[0] + levels[3] - levels[1] - levels[2]) - given_m, 0.0))


def _near(x: Floats, y: Floats, heading: Floats, thrown: Floats) -> Bools:
    """Which poses are near any of those where a basket was thrown, and alike in heading."""
    found = np.zeros(np.shape(x), bool)
    for at_x, at_y, at_heading in thrown:
        turned = np.abs(np.remainder(heading - at_heading + math.pi, 2.0 * math.pi) - math.pi)
        found |= (np.hypot(x - at_x, y - at_y) <= OFF_M) & (turned <= ALIKE_RAD)
    return found
