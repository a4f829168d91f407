"""How far a basket swings past its rigid height while it is driven: a bound for any ground (docs/method.md 6)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]

#: Widths of the running means that heights are split by, m; 0 is the heights themselves. Each gives a bound, the least
#: of them is taken, so that more widths can only sharpen it.
MEANS_M = (0.0, 0.2, 0.6, 2.0)
#: Exponents summed in one go; keeps ``exp`` far from its end.
_MOST_FADING = 300.0


@dataclass(frozen=True)
class Swing:
    """How a basket swings on its boom: the longest period, s, the least damping ratio, and the tip's participation."""

    period_s: float
    damping: float
    participation: float

    @property
    def omega(self) -> float:
        """Slowest angular frequency, rad/s."""
        return 2.0 * math.pi / self.period_s


@dataclass(frozen=True, eq=False)
class Ride:
    """Rigid heights of body points along a path, m. What a height does and undoes within one step is not seen.

    Parameters
    ----------
    path_m
        ``(n,)`` of the samples, rising, in steps of about the same length.
    middle_m
        ``(..., n)`` half way between the two planes that the machine may rock to.
    apart_m
        ``(..., n)`` of the first plane over the second; it changes its sign through 0.
    halts
        ``(n,)`` where the machine comes to stand and starts again; both ends always count.
    """

    path_m: Floats
    middle_m: Floats
    apart_m: Floats
    halts: NDArray[np.bool_]

    @property
    def steps_m(self) -> Floats:
        """Path from each sample to the next, ``(n - 1,)``."""
        return np.diff(self.path_m)


def excess_bounds(ride: Ride, swing: Swing, limit_mps: Floats | float) -> Floats:
    """Most that each point is above its rigid height on the worse plane, at any speed up to a limit, ``(..., n)`` m.

    Parameters
    ----------
    limit_mps
        ``(n - 1,)`` on the way to each sample from the one before, or one for all.

    Notes
    -----
    For every period up to the longest and every damping ratio from the least to 1. Speed is held steady between
    halts and where the limit changes, but for one stop with its start wherever it does most. See docs/method.md 6.
    """
    limits = np.broadcast_to(np.asarray(limit_mps, dtype=np.float64), ride.halts.size - 1)
    fading = np.minimum(swing.damping * swing.omega * ride.steps_m / limits, _MOST_FADING)
    jumps, kinks = _constants(swing)
    within = np.minimum.reduce([
        jumps * _told(_changes(ride, base), fading) + kinks * _told_by_slopes(ride, base, limits, fading)
        for base in _bases(ride)
    ])  # fmt: skip
    snaps = np.abs(ride.apart_m)
    within += jumps * _most(np.maximum(snaps[..., :-1], snaps[..., 1:]), fading)
    ends = within[..., :1], within, within[..., -1:]
    return np.asarray(swing.participation * np.maximum(np.concatenate(ends[:2], -1), np.concatenate(ends[1:], -1)))


def _constants(swing: Swing) -> tuple[float, float]:
    """What a jump of one metre, and of one metre a second, may swing to, m: for every damping from the least to 1."""
    least = swing.damping
    return math.hypot(1.0, least / (1.0 - least)), 1.0 / (swing.omega * (1.0 - least))


def _bases(ride: Ride) -> list[Floats]:
    """What is told by its slopes, the rest being told by its changes: nothing, and running means of the heights."""
    means = [max(1, round(width / float(ride.steps_m.mean()))) for width in MEANS_M]
    smooth = [ndimage.uniform_filter1d(ride.middle_m, size, axis=-1, mode="nearest") for size in means]
    return [np.zeros_like(ride.middle_m), *smooth]


def _changes(ride: Ride, base: Floats) -> Floats:
    """How much what the base leaves over changes in each step, whichever plane is stood on."""
    return np.asarray(np.abs(np.diff(ride.middle_m - base)) + 0.5 * np.abs(np.diff(ride.apart_m)))


def _told_by_slopes(ride: Ride, base: Floats, limits: Floats, fading: Floats) -> Floats:
    """What changes of slope, halts, other limits and one stop anywhere leave, as speed, for each step, m/s."""
    slopes = np.diff(base) / ride.steps_m
    edge = np.zeros((*base.shape[:-1], 1))
    before, after = np.concatenate([edge, slopes], axis=-1), np.concatenate([slopes, edge], axis=-1)
    behind, ahead = np.append(0.0, limits), np.append(limits, 0.0)
    faster = np.maximum(behind, ahead)
    other = np.where(behind != ahead, faster * np.maximum(np.abs(before), np.abs(after)), 0.0)
    halted = behind * np.abs(before) + ahead * np.abs(after)
    kinks = np.where(ride.halts, halted, faster * np.abs(after - before) + other)
    kinks[..., 0], kinks[..., -1] = halted[..., 0], halted[..., -1]
    # In a step nothing has faded yet of what came up to its end, the kink there included.
    told = _told(kinks[..., :-1], fading) + kinks[..., 1:]
    return np.asarray(told + 2.0 * _most(limits * np.abs(slopes), fading))


def _told(values: Floats, fading: Floats) -> Floats:
    """Sum of a value of each step and those before it, each left by ``exp(-fading)`` of every step between."""
    total = np.empty_like(values)
    left = np.zeros(values.shape[:-1])
    size = max(1, int(_MOST_FADING / fading.max()))
    for first in range(0, values.shape[-1], size):
        part = slice(first, first + size)
        grown = np.cumsum(fading[part])
        summed = (left[..., None] + np.cumsum(values[..., part] * np.exp(grown), axis=-1)) * np.exp(-grown)
        total[..., part] = summed
        left = summed[..., -1]
    # ``total`` is told at the end of a step; at its start nothing of the steps before has faded on it.
    return np.concatenate([values[..., :1], total[..., :-1] + values[..., 1:]], axis=-1)


def _most(values: Floats, fading: Floats) -> Floats:
    """Largest value of each step and those before it, each left by ``exp(-fading)`` of every step between."""
    along = np.cumsum(fading)
    with np.errstate(divide="ignore"):
        most = np.exp(np.maximum.accumulate(np.log(values) + along, axis=-1) - along)
    return np.asarray(np.maximum(values, np.concatenate([values[..., :1], most[..., :-1]], axis=-1)))
