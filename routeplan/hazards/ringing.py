"""How what a path does to a sprung basket rings on along it, step by step (docs/method.md 6)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from routeplan.kernel import kernel

Floats = NDArray[np.float64]


@kernel
def kink(before: float, after: float, behind: float, ahead: float, halts: bool) -> float:
    """Largest change of a height's rate where two steps meet, by their slopes and the limits of speed on them, m/s."""
    if halts:
        return behind * abs(before) + ahead * abs(after)
    faster = max(behind, ahead)
    other = faster * max(abs(before), abs(after)) if behind != ahead else 0.0
    return faster * abs(after - before) + other


@kernel
def ring_on(
    bases: Floats, middle: Floats, apart: Floats, steps: Floats, limits: Floats, left: Floats, halts: NDArray[np.bool_],
    jumps: float, kinks: float, most: Floats,
) -> None:  # fmt: skip
    """Fill ``most`` (points, steps) with the least over the bases of what each point may swing in each step, m.

    Parameters
    ----------
    bases
        ``(bases, points, steps + 1)``, told by their slopes; what each leaves of ``middle`` is told by its changes.
    middle, apart
        ``(points, steps + 1)``, see ``rebound.Ride``.
    steps, limits, left
        ``(steps,)``: their lengths, m, their limits, m/s, and what is left of a swing over each.
    halts
        ``(steps + 1,)``; the ends always count.
    jumps, kinks
        What a jump of one metre, and of one metre a second, may swing to.

    Notes
    -----
    In a step nothing has faded yet of what came up to its end, what it does itself and the kink there included. What is
    not known is not known from there on: the first base must leave all to be told by its changes.
    """
    last = len(steps)
    for p in range(len(middle)):
        for b in range(len(bases)):
            changed, sloped, stop, base = 0.0, 0.0, 0.0, bases[b, p]
            after = (base[1] - base[0]) / steps[0]
            start = kink(0.0, after, 0.0, limits[0], True)
            for n in range(last):
                before, behind = after, limits[n]
                after = (base[n + 2] - base[n + 1]) / steps[n + 1] if n + 1 < last else 0.0
                ahead = limits[n + 1] if n + 1 < last else 0.0
                end = kink(before, after, behind, ahead, halts[n + 1] or n + 1 == last)
                change = abs((middle[p, n + 1] - base[n + 1]) - (middle[p, n] - base[n]))
                change += 0.5 * abs(apart[p, n + 1] - apart[p, n])
                pace = behind * abs(before)
                told = jumps * (changed + change) + kinks * (sloped + start + end + 2.0 * max(stop, pace))
                if b == 0 or told < most[p, n]:
                    most[p, n] = told
                changed, sloped = changed * left[n] + change, sloped * left[n] + start
                stop, start = max(stop * left[n], pace), end
        snapped = 0.0
        for n in range(last):
            snap = max(abs(apart[p, n]), abs(apart[p, n + 1]))
            most[p, n] += jumps * max(snapped, snap)
            snapped = max(snapped * left[n], snap)
