"""Off a lattice while another way is sought: slopes on which tyres or brakes would not hold the machine."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from routeplan.hazards.edges import accepted_on
from routeplan.hazards.grip import BRAKED, DRIVEN, Axles, Footing, axles, friction_on, least_share, lever, steepness
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.uncertainty import sigma_pitch, sigma_roll
from routeplan.machine.model import Machine
from routeplan.plan.grip import GRIP
from routeplan.plan.thrown import barred
from routeplan.route.model import Move
from routeplan.search.lattice import CheckedLattice
from routeplan.site.model import MoveWanted, Site

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Poses are kept off that have so much less to spare than is proven, one after the other, as a share of the weight: the
#: mean plane of the hubs is looked at, and what the tube and rocking take off it is not known beforehand.
SPARES = (0.0, 0.02, 0.05)
#: Pitches that the share of the weight on an axle is worked out for; between them it is linear.
_PITCHES = np.linspace(-1.0, 1.0, 401)


def slips(move: Move) -> bool:
    """Whether a way leads where the machine would not be held."""
    return any(check.kind == GRIP and check.verdict == "fail" for check in move.checks)


def on_what_holds(
    lattices: Sequence[CheckedLattice], machine: Machine, site: Site, wanted: MoveWanted, spare: float
) -> AbstractContextManager[None]:
    """While it lasts no motion of the lattices, nor a link, comes where it would slip at creep speed.

    Where nobody said how tyres grip, or what its brakes give, nothing is kept off.
    """
    def off(lattice: CheckedLattice) -> Callable[[Floats, Floats, Floats], Bools]:
        hazards = lattice.hazards
        friction = _friction(hazards, machine, site, wanted)

        def bad(x: Floats, y: Floats, heading: Floats) -> Bools:
            return np.asarray(left_at(hazards, machine, site, friction, x, y, heading) < spare)

        return bad

    return barred([(lattice, off(lattice)) for lattice in lattices])


def _friction(hazards: Hazards, machine: Machine, site: Site, wanted: MoveWanted) -> Floats:
    """Least friction that somebody said of what a tyre may meet whose hub is at a node; NaN where nobody did."""
    least, form = np.full(hazards.terrain.level.shape, math.inf), hazards.configuration
    for surface in site.surfaces:
        said = friction_on(surface.friction, wet=wanted.wet)
        if not math.isnan(said) and accepted_on(surface, machine, form, wanted.on, wet=wanted.wet):
            rows, cols, _ = hazards.terrain.nodes_within(surface.geometry, hazards.body.wheel_gap)
            least[rows, cols] = np.minimum(least[rows, cols], said)
    return np.where(np.isinf(least), math.nan, least)


def left_at(
    hazards: Hazards, machine: Machine, site: Site, friction: Floats, x: Floats, y: Floats, heading: Floats
) -> Floats:
    """What is left of grip, brakes and drive at creep speed less k sigma, at poses of any shape, by the hubs' levels.

    NaN where one is not known, unless another lacks something anyway.
    """
    body, terrain, form = hazards.body, hazards.terrain, hazards.configuration
    c, s = np.cos(heading), np.sin(heading)
    levels, grips = [], []
    for xi, eta in zip(body.wheel_xi, body.wheel_eta, strict=True):
        at = np.stack([y + xi * s + eta * c - terrain.y0, x + xi * c - eta * s - terrain.x0]) / terrain.cell_m
        levels.append(ndimage.map_coordinates(terrain.level, at, order=1, mode="nearest"))
        grips.append(ndimage.map_coordinates(friction, at, order=0, mode="nearest"))
    pitch = (levels[0] + levels[1] - levels[2] - levels[3]) / (2.0 * body.wheelbase)
    roll = (levels[0] + levels[2] - levels[1] - levels[3]) / (2.0 * body.track)
    braked, driven = axles(machine, BRAKED), axles(machine, DRIVEN)

    def share(held: Axles | None) -> Floats:
        known = [least_share(machine, form, held, (p, p), (0.0, 0.0)) for p in _PITCHES]
        return np.asarray(np.interp(pitch, _PITCHES, known))

    least = np.fmin.reduce(grips)
    accuracy, arms = site.ground.accuracy, np.array([lever(machine, form, held) for held in (braked, driven)])
    along, across = sigma_pitch(accuracy, machine.wheelbase_m), sigma_roll(accuracy, machine.track_m)
    sigma = math.hypot(along, across) + along * np.nan_to_num(arms.max() * least)
    brake = machine.value("brake_mps2") if "brake_mps2" in machine.figures else math.nan
    unknown = math.nan if machine.tracks else 1.0
    footing = Footing(
        least * unknown, steepness(pitch, roll), share(braked), share(driven), float(arms[0]), brake * unknown, sigma
    )  # fmt: skip
    creep = machine.value("creep_speed_mps") if "creep_speed_mps" in machine.figures else 0.0
    limits = site.thresholds
    asked = footing.asked(np.full(np.shape(pitch), creep), limits.stopping_distance_m, limits.reaction_s)
    return np.asarray(footing.left(asked) - hazards.k * sigma)
