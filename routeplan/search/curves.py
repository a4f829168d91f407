"""Shortest curves of bounded curvature between two poses: turn, straight, turn (Dubins 1957, the CSC words)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from routeplan.kernel import kernel

Floats = NDArray[np.float64]
TWO_PI = 2.0 * math.pi


@kernel
def wrapped(angle: float) -> float:
    """Angle in [0, 2 pi); what is within rounding of a whole turn counts as none."""
    a = angle % TWO_PI
    return 0.0 if TWO_PI - a < 1e-9 else a


@kernel
def curve(x0: float, y0: float, t0: float, x1: float, y1: float, t1: float, radius: float, pieces: Floats) -> float:
    """Fill ``pieces`` (3, 4: length, curvature, 0, 0) with the shortest turn-straight-turn curve; its length, m.

    >>> p = np.zeros((3, 4))
    >>> round(curve(0.0, 0.0, 0.0, 4.0, 0.0, 0.0, 1.0, p), 6)
    4.0
    >>> round(curve(0.0, 0.0, 0.0, 4.0, 4.0, math.pi / 2, 1.0, p), 6)  # pi / 2 + 3 sqrt(2)
    5.813437
    """
    dx, dy = (x1 - x0) / radius, (y1 - y0) / radius
    d, theta = math.hypot(dx, dy), math.atan2(dy, dx)
    a, b = t0 - theta, t1 - theta
    sa, sb, ca, cb, cab = math.sin(a), math.sin(b), math.cos(a), math.cos(b), math.cos(a - b)
    best = math.inf
    for word in range(4):
        first, last = (1.0 if word < 2 else -1.0), (1.0 if word % 2 == 0 else -1.0)
        if first == last:
            square = 2.0 + d * d - 2.0 * cab + 2.0 * first * d * (sa - sb)
            turn = math.atan2(first * (cb - ca), d + first * (sa - sb))
            p = math.sqrt(max(square, 0.0))
        else:
            square = -2.0 + d * d + 2.0 * cab + 2.0 * first * d * (sa + sb)
            if square < 0.0:
                continue
            p = math.sqrt(square)
            turn = math.atan2(-first * (ca + cb), d + first * (sa + sb)) + first * math.atan2(2.0, p)
        t, q = wrapped(first * (turn - a)), wrapped(last * (b - turn))
        total = (t + p + q) * radius
        if total < best:
            best = total
            pieces[0, 0], pieces[0, 1], pieces[0, 2] = t * radius, first / radius, 0.0
            pieces[1, 0], pieces[1, 1], pieces[1, 2] = p * radius, 0.0, 0.0
            pieces[2, 0], pieces[2, 1], pieces[2, 2] = q * radius, last / radius, 0.0
    pieces[:, 3] = 0.0
    return best


@kernel
def as_the_origin_goes(pieces: Floats, ahead: float) -> None:
    """Make pieces driven by the point ``ahead`` metres before the origin into what the origin drives meanwhile.

    >>> p = np.array([[math.pi / 2, 1.0, 0.0, 0.0]])
    >>> as_the_origin_goes(p, 1.0)
    >>> p.round(6).tolist()[0]
    [2.221441, 0.707107, 0.0, -0.707107]
    """
    for piece in pieces:
        if piece[1] != 0.0:
            radius = math.hypot(1.0 / piece[1], ahead)
            piece[0], piece[1] = piece[0] * abs(piece[1]) * radius, math.copysign(1.0 / radius, piece[1])
            piece[3] = -ahead * piece[1]


@kernel
def curves_to(
    x: float,
    y: float,
    heading: float,
    outward: bool,
    xs: Floats,
    ys: Floats,
    headings: Floats,
    radius: float,
    ahead: float,
    lengths: Floats,
    pieces: Floats,
) -> None:
    """Curves between one pose and n others: outward from it, or from them to it. ``pieces`` is (n, 3, 4).

    The point ``ahead`` metres before the origin drives them with this radius; ``lengths`` are of its way.
    """
    x, y = x + ahead * math.cos(heading), y + ahead * math.sin(heading)
    for i in range(xs.shape[0]):
        xi, yi = xs[i] + ahead * math.cos(headings[i]), ys[i] + ahead * math.sin(headings[i])
        if outward:
            lengths[i] = curve(x, y, heading, xi, yi, headings[i], radius, pieces[i])
        else:
            lengths[i] = curve(xi, yi, headings[i], x, y, heading, radius, pieces[i])
        if ahead > 0.0:
            as_the_origin_goes(pieces[i], ahead)
