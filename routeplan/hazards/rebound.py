"""How far a basket swings past its rigid height while it is driven: a bound for any ground (docs/method.md 6)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from routeplan.hazards.ringing import ring_on

Floats = NDArray[np.float64]

#: Widths of the running means that heights are split by, m; 0 is the heights themselves. Each gives a bound, the least
#: of them is taken, so that more widths can only sharpen it.
MEANS_M = (0.0, 0.2, 0.6, 2.0)


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
    limits = np.array(np.broadcast_to(np.asarray(limit_mps, dtype=np.float64), ride.halts.size - 1))
    left = np.exp(-swing.damping * swing.omega * ride.steps_m / limits)
    middle, apart = (np.ascontiguousarray(of).reshape(-1, left.size + 1) for of in (ride.middle_m, ride.apart_m))
    within = np.empty((len(middle), left.size))
    ring_on(_bases(ride, middle), middle, apart, ride.steps_m, limits, left, ride.halts, *_constants(swing), within)
    ends = within[:, :1], within, within[:, -1:]
    most = np.maximum(np.concatenate(ends[:2], -1), np.concatenate(ends[1:], -1))
    return np.asarray(swing.participation * most.reshape(ride.middle_m.shape))


def _constants(swing: Swing) -> tuple[float, float]:
    """What a jump of one metre, and of one metre a second, may swing to, m: for every damping from the least to 1."""
    least = swing.damping
    return math.hypot(1.0, least / (1.0 - least)), 1.0 / (swing.omega * (1.0 - least))


def _bases(ride: Ride, middle: Floats) -> Floats:
    """What is told by its slopes, the rest being told by its changes: nothing, and running means of the heights."""
    means = [max(1, round(width / float(ride.steps_m.mean()))) for width in MEANS_M]
    smooth = [ndimage.uniform_filter1d(middle, size, axis=-1, mode="nearest") for size in means]
    return np.stack([np.zeros_like(middle), *smooth])
