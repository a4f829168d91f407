"""A way over the lattice drawn straighter: stretches of it replaced by shorter curves that hold as well.

A lattice goes in its own headings only, so its ways wind. Between any two poses of a way the shortest curve of each of
the machine's ways of turning is tried; those that cost less than what they replace are kept, in rounds. Nothing is kept
that the hazards have not passed, and no way gets dearer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.prepare import Hazards
from routeplan.hazards.sweep import along
from routeplan.hazards.tile import BLOCKED
from routeplan.search.anchors import Anchor, check_motions
from routeplan.search.best_first import EIGHTHS, FORWARD_FACTOR, OPEN, OPEN_WEIGHT, REVERSE_FACTOR
from routeplan.search.curves import curves_to
from routeplan.search.motions import Turn, worth_m

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

#: Poses of a way lie at most this far apart in the first round and in later ones, m; a curve spans at most so many.
NEAR_M, FAR_M, SPAN = 1.0, 2.0, 32
ROUNDS = 4
#: What turning is worth, as metres of driving a radian: of two ways alike the calmer one is kept.
TURN_M = 0.5
#: A curve is worth a look when it saves this share of the cost.
WORTH = 1e-4


@dataclass(frozen=True, eq=False)
class Motion:
    """A driven motion: where it starts, its pieces (n, 4) in the order driven, and gear +1 or -1 (0 on the spot)."""

    at: Anchor
    pieces: Floats
    gear: int

    @property
    def end(self) -> Anchor:
        """Where the motion ends."""
        return _ends(self.at, self.pieces)

    def reversed(self) -> Motion:
        """The same motion driven the other way."""
        back = self.pieces[::-1].copy()
        back[:, 0] *= -1.0
        return Motion(self.end, back, -self.gear)


def _ends(at: Anchor, pieces: Floats) -> Anchor:
    x, y, heading = at.x, at.y, at.heading
    for piece in pieces:
        x, y, heading = along(x, y, heading, *piece)
    return Anchor(x, y, heading)


def _chopped(motion: Motion, step_m: float) -> Iterator[Motion]:
    """A motion along the arrow in parts of one piece each, none longer than a step."""
    at = motion.at
    for piece in motion.pieces:
        n = math.ceil(abs(piece[0]) / step_m - 1e-9)
        for _ in range(n):
            part = piece[None].copy()
            part[0, 0] /= n
            yield Motion(at, part, motion.gear)
            at = _ends(at, part)


def _lengths(pieces: Floats) -> Floats:
    """Lengths of n motions of some pieces each as the search counts them, m."""
    lengths: Floats = worth_m(pieces).sum(axis=-1)
    return lengths


def _turning(pieces: Floats) -> Floats:
    """What the turns of n motions are worth, as metres of driving."""
    turns: Floats = TURN_M * np.abs(pieces[..., 0] * pieces[..., 1]).sum(axis=-1)
    return turns


def _costs(pieces: Floats, verdicts: Bytes) -> Floats:
    """Metres of the best driving that motions are worth, turns included; infinite where blocked."""
    factors = (verdicts & EIGHTHS) / 8.0 + np.where(verdicts & OPEN, OPEN_WEIGHT, 0.0)
    costs: Floats = np.where(verdicts == BLOCKED, np.inf, _lengths(pieces) * factors + _turning(pieces))
    return costs


def _looked_at(motions: Sequence[Motion], hazards: Hazards) -> tuple[Floats, Bytes]:
    """Pieces of motions along the arrow, and their verdict bytes."""
    width = max(len(motion.pieces) for motion in motions)
    pieces = np.array([np.pad(m.pieces, ((0, width - len(m.pieces)), (0, 0))) for m in motions])
    starts = np.array([(m.at.x, m.at.y, m.at.heading) for m in motions])
    _, verdicts = check_motions(hazards, starts, pieces, brief=True)
    return pieces, verdicts


def _round(parts: list[Motion], *, hazards: Hazards, turns: Sequence[Turn]) -> list[Motion]:
    """The cheapest way through the poses of a chain of parts, each stretch a part of it or a curve past several."""
    costs = _costs(*_looked_at(parts, hazards))
    poses = np.array([(m.at.x, m.at.y, m.at.heading) for m in parts] + [_row(parts[-1].end)])
    so_far = np.concatenate([[0.0], np.cumsum(costs)])
    if not np.isfinite(so_far[-1]):
        return parts
    best, before = so_far.copy(), np.arange(-1, len(parts))
    curve_of: dict[tuple[int, int], Floats] = {}
    for i in range(len(parts)):
        if best[i] + costs[i] < best[i + 1]:
            best[i + 1], before[i + 1] = best[i] + costs[i], i
        ends = np.arange(i + 2, min(i + SPAN, len(parts)) + 1)
        pieces = _curves(poses[i], poses[ends], turns)
        ends = np.tile(ends, len(turns))
        least = best[i] + _lengths(pieces) + _turning(pieces)
        worth = np.flatnonzero(least < best[ends] - WORTH * (so_far[ends] - so_far[i]))
        if not len(worth):
            continue
        _, verdicts = check_motions(hazards, np.tile(poses[i], (len(worth), 1)), pieces[worth], brief=True)
        for n, cost in zip(worth, _costs(pieces[worth], verdicts), strict=True):
            j = int(ends[n])
            if best[i] + cost < best[j]:
                best[j], before[j], curve_of[i, j] = best[i] + cost, i, pieces[n]
    return _walked(parts, before, curve_of)


def _curves(start: Floats, ends: Floats, turns: Sequence[Turn]) -> Floats:
    """Curves (n, 3, 4) from a pose to some others, all of them in each way of turning after the other."""
    pieces = np.empty((len(turns), len(ends), 3, 4))
    (x, y, heading), (xs, ys, headings) = start, np.ascontiguousarray(ends.T)
    for way, mine in zip(turns, pieces, strict=True):
        curves_to(x, y, heading, True, xs, ys, headings, way.radius_m, way.ahead_m, np.empty(len(ends)), mine)
    return pieces.reshape(-1, 3, 4)


def _row(at: Anchor) -> tuple[float, float, float]:
    return at.x, at.y, at.heading


def _walked(parts: list[Motion], before: NDArray[np.int64], curve_of: dict[tuple[int, int], Floats]) -> list[Motion]:
    chain: list[Motion] = []
    j = len(parts)
    while j > 0:
        i = int(before[j])
        chain.append(Motion(parts[i].at, curve_of[i, j], 1) if (i, j) in curve_of else parts[i])
        j = i
    return chain[::-1]


def straightened(
    motions: Sequence[Motion], *, hazards: Hazards, turns: Sequence[Turn]
) -> tuple[tuple[Motion, ...], float]:
    """The same way from the same start to the same goal, in the same gears, straighter where the hazards allow it.

    Parameters
    ----------
    motions
        One after the other, each starting where the one before ended.
    turns
        The machine's ways of turning.

    Returns
    -------
    motions
        At least as proven as before.
    saved_m
        What the straighter way costs less, as metres of the best forward driving.
    """
    found: list[Motion] = []
    saved_m = 0.0
    driven = [motion for motion in motions if np.any(motion.pieces[:, 0])]
    for gear, run in groupby(driven, key=lambda motion: motion.gear):
        chain = list(run)
        if gear > 0:
            straighter = _straighter(chain, hazards, turns)
        elif gear < 0:
            turned = _straighter([motion.reversed() for motion in reversed(chain)], hazards, turns)
            straighter = [motion.reversed() for motion in reversed(turned)]
        else:
            straighter = chain
        factor = REVERSE_FACTOR / FORWARD_FACTOR if gear < 0 else 1.0
        saved_m += factor * (_driving_m(chain, hazards) - _driving_m(straighter, hazards)) if gear else 0.0
        found += straighter
    return tuple(found), saved_m


def _parts(chain: Sequence[Motion], step_m: float, hazards: Hazards) -> list[Motion]:
    """A chain in parts. A motion stays whole where one of its parts is blocked by itself.

    Bounds at stances hold for half a step about them. A part has its stances elsewhere than the whole that was passed.
    """
    chopped = [list(_chopped(motion, step_m)) for motion in chain]
    _, verdicts = _looked_at([part for parts in chopped for part in parts], hazards)
    found: list[Motion] = []
    first = 0
    for motion, parts in zip(chain, chopped, strict=True):
        whole = bool(np.any(verdicts[first : first + len(parts)] == BLOCKED))
        found += [motion] if whole else parts
        first += len(parts)
    return found


def _straighter(chain: list[Motion], hazards: Hazards, turns: Sequence[Turn]) -> list[Motion]:
    for number in range(ROUNDS):
        parts = _parts(chain, FAR_M if number else NEAR_M, hazards)
        shorter = _round(parts, hazards=hazards, turns=turns) if len(parts) > 1 else parts
        if number and len(shorter) == len(parts):
            break
        chain = shorter
    return chain


def _driving_m(chain: Sequence[Motion], hazards: Hazards) -> float:
    """What driving a chain of one gear costs, whether it is proven or open."""
    pieces, verdicts = _looked_at([motion if motion.gear > 0 else motion.reversed() for motion in chain], hazards)
    return float((_lengths(pieces) * (verdicts & EIGHTHS)).sum() / 8.0)
