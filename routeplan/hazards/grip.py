"""Whether tyres hold a machine on a slope and how soon it stops there (docs/method.md 12).

All that pulls along the ground, and all that may hold against it, is told as a share of what the machine weighs square
to the ground. Slopes are ratios, of the steepest way down: whichever way a machine travels, it is held as if downhill.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.wheel_loads import CARRIED_ABOVE_FLOOR_M, GRAVITY, weighed
from routeplan.machine.model import Configuration, Machine
from routeplan.site.friction import Friction

Floats = NDArray[np.float64]

#: Standard gravity (exact, by convention), m/s2.
G_MPS2 = 9.80665
#: Which axles, front and rear.
Axles = tuple[bool, bool]
BRAKED, DRIVEN = ("brakes_front", "brakes_rear"), ("drives_front", "drives_rear")
#: Figures that a share of the weight rests on where not every axle is braked or driven.
WEIGHT = ("mass_kg", "rated_load_kg", *GRAVITY)
#: Stands for a stop that comes too late however hard it brakes: more than any tyre holds.
_NEVER = 10.0


def axles(machine: Machine, names: tuple[str, str]) -> Axles | None:
    """Which axles are braked, or driven; ``None`` where nobody said."""
    if not set(names) <= set(machine.figures):
        return None
    front, rear = (machine.value(name) == 1.0 for name in names)
    return front, rear


def in_part(machine: Machine) -> bool:
    """Whether only one axle is braked, or only one is driven: then it matters where the weight acts."""
    return any(found is not None and found[0] != found[1] for found in (axles(machine, BRAKED), axles(machine, DRIVEN)))


def friction_on(said: Friction | None, *, wet: bool) -> float:
    """Least coefficient of friction that a surface has on a wet or on a dry day; NaN where nobody said.

    >>> from routeplan.site.friction import Loose
    >>> said = Friction("site tests", 0.6, 0.45, Loose("mud off the lorries", 0.5))
    >>> friction_on(said, wet=True), friction_on(said, wet=False)
    (0.45, 0.5)
    """
    if said is None:
        return math.nan
    bare = said.wet if wet or said.dry is None else said.dry
    if bare is None:
        return math.nan
    return bare if said.loose is None else min(bare, said.loose.friction)


def steepness(pitch: Floats, roll: Floats) -> Floats:
    """Slope of the steepest way down of a plane that is pitched, then rolled; the way that the body leans."""
    return np.asarray(np.sqrt((1.0 + pitch**2) * (1.0 + roll**2) - 1.0))


def least_share(
    machine: Machine, configuration: Configuration, held: Axles | None, pitch: Sequence[float], roll: Sequence[float]
) -> float:
    """Least share of the weight on some axles, standing, between the least and the largest pitch and roll.

    The rated load is carried at any corner of the basket's floor, or not at all. NaN where nobody said where the
    weight acts. However twisted the ground, an axle carries its own share: the weight's lever says which.
    """
    if held is None:
        return math.nan
    if held[0] == held[1]:
        return 1.0
    if not weighed(machine, configuration):
        return math.nan
    steep = math.sqrt(1.0 + max(abs(roll[0]), abs(roll[1])) ** 2)
    front = [
        (xi - machine.wheels[2].xi_m - height * slope * lean) / machine.wheelbase_m
        for xi, height in _centres(machine, configuration)
        for slope in (pitch[0], pitch[1])
        for lean in (1.0, steep)
    ]
    return min(max(min(front) if held[0] else 1.0 - max(front), 0.0), 1.0)


def lever(machine: Machine, configuration: Configuration, held: Axles | None) -> float:
    """Share of the weight that braking as hard as the machine weighs takes off some axles at most; 0 off all."""
    if held is None or (held[0] != held[1] and not weighed(machine, configuration)):
        return math.nan
    if held[0] == held[1]:
        return 0.0
    return max(height for _, height in _centres(machine, configuration)) / machine.wheelbase_m


def _centres(machine: Machine, configuration: Configuration) -> list[tuple[float, float]]:
    """Where along the machine and how high the weight acts, m: empty, and with the rated load at each corner."""
    xi, _, height = (machine.value(name) for name in GRAVITY)
    mass, load = configuration.mass_kg, machine.value("rated_load_kg")
    floor = configuration.basket.floor_height_m + CARRIED_ABOVE_FLOOR_M
    raised = (mass * height + load * floor) / (mass + load)
    corners = [((mass * xi + load * corner) / (mass + load), raised) for corner, _ in configuration.basket.ring]
    return [(xi, height), *corners]


@dataclass(frozen=True, eq=False)
class Footing:
    """What holds a machine at ``n`` places, least first; ``(n,)`` each but where said. NaN where nobody knows.

    Parameters
    ----------
    friction
        Between its tyres and the ground.
    slope
        Of the steepest way down.
    braked, driven
        Least share of its weight on braked and on driven wheels, as it stands.
    lever
        One figure: what braking takes off the braked share, see ``lever``.
    brake_mps2
        One figure: what the brakes give on the level.
    sigma
        Of what is left.
    """

    friction: Floats
    slope: Floats
    braked: Floats
    driven: Floats
    lever: float
    brake_mps2: float
    sigma: Floats

    @property
    def weight_mps2(self) -> Floats:
        """What a share of the weight square to the ground is as a deceleration."""
        return np.asarray(G_MPS2 / np.sqrt(1.0 + self.slope**2))

    def asked(self, speed_mps: Floats, stop_m: float, reaction_s: float) -> Floats:
        """What holds the machine and stops it from a speed within a distance, the time to react driven on."""
        left = stop_m - speed_mps * reaction_s
        slowing = speed_mps**2 / (2.0 * np.maximum(left, 1e-9)) / self.weight_mps2
        return np.asarray(self.slope + np.minimum(np.where(left > 0.0, slowing, _NEVER), _NEVER))

    def left(self, asked: Floats) -> Floats:
        """What is left of grip, brake and drive beyond what is asked of them, the least.

        NaN where one is not known, unless another lacks something anyway.
        """
        grip = self.friction * (self.braked - self.lever * (asked - self.slope)) - asked
        brake = self.brake_mps2 / self.weight_mps2 - asked
        each = np.stack([grip, brake, self.friction * self.driven - self.slope])
        known = np.fmin.reduce(each)
        return np.where(np.isnan(each).any(axis=0) & ~(known < 0.0), np.nan, known)

    def fastest(self, k: float, stop_m: float, reaction_s: float) -> Floats:
        """Fastest speed from which it stops for certain, m/s; 0 where from none, infinite where nobody knows."""
        grip = (self.friction * self.braked - self.slope - k * self.sigma) / (1.0 + self.friction * self.lever)
        brake = self.brake_mps2 / self.weight_mps2 - self.slope - k * self.sigma
        slowing = np.maximum(self.weight_mps2 * np.minimum(grip, brake), 0.0)
        by = slowing * reaction_s
        return np.where(np.isnan(slowing), np.inf, np.sqrt(by**2 + 2.0 * slowing * stop_m) - by)
