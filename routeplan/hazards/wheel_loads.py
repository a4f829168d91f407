"""What a wheel carries: no more than its axle's share, and no more than its side's (docs/method.md 11)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from routeplan.machine.model import Configuration, Machine
from routeplan.machine.shape import CONFIGURATIONS

Floats = NDArray[np.float64]

#: Standard gravity (exact, by convention), kN for each kg.
KN_PER_KG = 9.80665e-3
#: Middle of people and what they carry over the floor that they stand on, metres: value from memory.
CARRIED_ABOVE_FLOOR_M = 1.0
#: What a step or an edge makes of a load that is not at creep speed, and no route is: common practice, no source.
STEP_FACTOR = 2.0

#: Where the empty machine's weight acts.
GRAVITY = ("gravity_xi_m", "gravity_eta_m", "gravity_height_m")


def turned(configuration: str) -> bool:
    """Whether the turntable is turned round: the figures of gravity are those of the machine as it is stowed."""
    return "turntable_xi_m" in CONFIGURATIONS.get(configuration, ())


def weighed(machine: Machine, configuration: Configuration) -> bool:
    """Whether it is known where the machine's weight acts."""
    return not turned(configuration.id) and {*GRAVITY, "rated_load_kg"} <= set(machine.figures)


def statics_kn(machine: Machine, configuration: Configuration, pitch: Sequence[float], roll: Sequence[float]) -> Floats:
    """Most that statics let each wheel carry, kN (4,), front left, front right, rear left, rear right.

    Parameters
    ----------
    pitch, roll
        Least and largest slope along and across, ratios.

    Returns
    -------
    array
        NaN where nobody said where the weight acts. The rated load is carried anywhere on the basket's floor, or not.

    Notes
    -----
    However twisted the ground, the wheels of an axle together carry what acts over that axle, and none pulls: so one
    of them carries no more, and no more than what acts over its side. On three wheels of four it comes to just that.
    """
    if not weighed(machine, configuration):
        return np.full(4, math.nan)
    xi, eta, height = (machine.value(name) for name in GRAVITY)
    weight, carried = KN_PER_KG * configuration.mass_kg, KN_PER_KG * machine.value("rated_load_kg")
    corners = np.array(configuration.basket.ring)
    floor = configuration.basket.floor_height_m + CARRIED_ABOVE_FLOOR_M
    # Leaning both ways moves what acts above the ground a little further along than leaning one way.
    steep = math.sqrt(1.0 + max(abs(roll[0]), abs(roll[1])) ** 2)
    pitched = (min(pitch[0], pitch[0] * steep), max(pitch[1], pitch[1] * steep))
    rear, right = machine.wheels[2].xi_m, -machine.track_m / 2
    heights = (height, floor)
    axles = _shares((weight, carried), xi - rear, corners[:, 0] - rear, heights, pitched, machine.wheelbase_m)
    sides = _shares((weight, carried), eta - right, corners[:, 1] - right, heights, roll, machine.track_m)
    return np.minimum(np.repeat(axles, 2), np.tile(sides, 2))


def _shares(
    weights_kn: tuple[float, float],
    arm_m: float,
    arms_m: Floats,
    heights_m: tuple[float, float],
    slopes: Sequence[float],
    span_m: float,
) -> Floats:
    """Most that acts over the far and over the near end of a span, kN (2,).

    Of the machine's weight on ``arm_m`` and what it carries on any of ``arms_m``, measured from the near end.
    """
    (weight, carried), slope = weights_kn, np.array(slopes)
    own = weight * (arm_m - heights_m[0] * slope) / span_m
    load = carried * (arms_m[:, None] - heights_m[1] * slope) / span_m
    far = np.array([own, *(own + load)])
    near = np.array([weight - own, *(weight + carried - own - load)])
    return np.asarray(np.clip([far.max(), near.max()], 0.0, weight + carried))


def load_kn(machine: Machine, configuration: Configuration, pitch: Sequence[float], roll: Sequence[float]) -> Floats:
    """Most that each wheel may carry standing, kN (4,): the sheet's largest load where it is more; NaN for unknown."""
    sheet = machine.value("wheel_load_max_kn") if "wheel_load_max_kn" in machine.figures else math.nan
    return np.asarray(np.fmax(statics_kn(machine, configuration, pitch, roll), sheet))


def level_kn(machine: Machine, configuration: Configuration) -> float:
    """Most that one of its wheels may carry standing on level ground, kN; NaN for unknown."""
    return float(load_kn(machine, configuration, (0.0, 0.0), (0.0, 0.0)).max())


def sigma_kn(machine: Machine, configuration: Configuration, sigma_pitch: float, sigma_roll: float) -> float:
    """Standard deviation of a wheel's load through that of the slopes, kN; 0 where statics are not known."""
    if not weighed(machine, configuration):
        return 0.0
    height = machine.value("gravity_height_m")
    floor = configuration.basket.floor_height_m + CARRIED_ABOVE_FLOOR_M
    moment = KN_PER_KG * (configuration.mass_kg * height + machine.value("rated_load_kg") * floor)
    return moment * max(sigma_pitch / machine.wheelbase_m, sigma_roll / machine.track_m)
