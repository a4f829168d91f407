"""How far the basket may swing past its rigid height when rows are driven at their limits, against every gap.

An own bound, on the second opinion's own samples and planes. Over the rigid height u of a point the swing r of a boom
obeys ``r'' + 2 z w r' + w^2 r = -u''``. Two answers to u bound it: to each change of level as large as the change over
``sqrt(1 - z^2)``, to each change of the rate as large as the change over ``w sqrt(1 - z^2)``, both ringing down by
``exp(-z w t)``. What u is split into, a level that changes and a rate that does, is free; the least is taken.
"""

from __future__ import annotations

import math
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan.recheck.bounce import floor_corners, highest_rise, rigid_rise
from routeplan.recheck.case import Case
from routeplan.recheck.form import ROUNDING_M
from routeplan.recheck.ledger import BOUNCE_FIGURES, SPEED_FIGURES, Ledger
from routeplan.recheck.overhead import (
    Top,
    corners_under,
    gap_sigma_m,
    lowest_room,
    overhead,
    soffit_level,
    sure_gap_m,
    tops_of,
    under,
)
from routeplan.recheck.stance import Plane, Stance
from routeplan.recheck.track import Floats, Ints, Rows, Track
from routeplan.route.model import Move
from routeplan.site.model import Soffit

KIND = "basket swing"
#: Lengths that rates are told from, metres: levels averaged over each, and what that leaves over as changes of level.
SMOOTHED_M = (0.0, 0.15, 0.3, 0.6, 1.0, 2.0, 3.0)
#: Terms of a plane.
PLANE = ("level", "pitch", "roll")
#: A step shorter than this is none, metres.
NO_STEP_M = 1e-7


@dataclass(frozen=True, eq=False)
class Drive:
    """The path of a move as its wheels go, sample by sample, and the fastest that rows let it be driven.

    Parameters
    ----------
    path_m
        ``(n,)`` of the origin, and on the spot of the wheel that goes farthest.
    fastest_mps
        ``(n - 1,)`` of each step.
    stands
        ``(n,)`` where it stands and drives off again.
    keep
        ``(n,)`` whether a sample is another place than the one before.
    """

    path_m: Floats
    fastest_mps: Floats
    stands: NDArray[np.bool_]
    keep: NDArray[np.bool_]

    @classmethod
    def of(cls, move: Move, rows: Rows, case: Case) -> Drive:
        """Of a move's rows; on the way from a row to the next the faster limit of both counts."""
        track = case.track
        arm = max(math.hypot(wheel.xi_m, wheel.eta_m) for wheel in case.machine.wheels)
        turned = (np.diff(track.heading) + math.pi) % (2.0 * math.pi) - math.pi  # due north is told as 0 or as 360 deg
        steps, turns = np.diff(track.chainage_m), np.abs(turned) * arm
        steps = np.where(np.abs(rows.travel_m[track.row[1:] - 1]) > ROUNDING_M, steps, turns)
        limit = np.array([pose.v_max_mps for pose in move.poses])
        fastest = np.maximum(limit[:-1], limit[1:])[track.row[1:] - 1]
        still = np.append(False, (np.abs(rows.travel_m) <= NO_STEP_M) & (np.abs(rows.turn) <= NO_STEP_M))
        held = [int(np.argmin(np.abs(rows.chainage_m - hold.chainage_m))) for hold in move.holds]
        still[[0, len(still) - 1, *held]] = True
        last = np.append(np.diff(track.row) > 0, True)
        return cls(
            np.append(0.0, np.cumsum(steps)), fastest, still[track.row] & last, np.append(True, steps > NO_STEP_M)
        )

    @property
    def moves(self) -> bool:
        """Whether there is a path at all, and a limit on all of it: without one a plan is refused anyway."""
        return bool(self.keep.sum() > 1 and np.all(self.fastest_mps > 0.0))

    def swings(self, first: Floats, second: Floats, case: Case, fastest_mps: Floats) -> Floats:
        """Most that points swing over the higher of both their heights, alike in shape, the samples first."""
        at, step = np.flatnonzero(self.keep), self.keep[1:]
        where = np.cumsum(self.keep) - 1
        stands = np.zeros(len(at), dtype=bool)
        np.logical_or.at(stands, where, self.stands)
        path, fastest = self.path_m[at], fastest_mps[step]
        return np.asarray(_rung(path, fastest, stands, first[at], second[at], case)[where])


def _rung(
    path: Floats, fastest: Floats, stands: NDArray[np.bool_], first: Floats, second: Floats, case: Case
) -> Floats:
    damping, omega = case.figure("bounce_damping_pct") / 100.0, 2.0 * math.pi / case.figure("bounce_period_s")
    ringing = math.sqrt(1.0 - damping**2)
    fade = np.append(1.0, np.exp(-damping * omega * np.diff(path) / fastest))
    bases = _smoothed(path, 0.5 * (first + second))
    jumps = np.zeros_like(bases)
    jumps[:, 1:] = np.maximum(*(np.abs(np.diff(heights - bases, axis=1)) for heights in (first, second)))
    # Base by base, for all at once are more than the processor keeps near.
    kinks, paces = map(np.stack, zip(*(_rates(path, fastest, stands, base) for base in bases), strict=True))
    snaps = np.abs(first - second)
    # Level, rate, the stop that does most, the snap that does most: what is left of them at a sample.
    levels, rates, stop = (np.zeros_like(bases[:, 0]) for _ in range(3))
    snap, swing = np.zeros_like(first[0]), np.empty_like(first)
    for n, left in enumerate(fade):
        levels = levels * left + jumps[:, n] * math.sqrt(left)  # a step's own change, from its middle
        rates = rates * left + kinks[:, n]
        stop = np.maximum(stop * left, paces[:, n])
        snap = np.maximum(snap * left, snaps[n])
        swing[n] = (levels + (rates + 2.0 * stop) / omega).min(axis=0) + snap
    return np.asarray(case.site.thresholds.tip_participation / ringing * swing)


def _smoothed(path: Floats, heights: Floats) -> Floats:
    """Heights averaged over each length, and the level 0; one axis more, in front."""
    area = np.zeros_like(heights)
    steps = np.diff(path).reshape(-1, *(1,) * (heights.ndim - 1))
    area[1:] = np.cumsum(0.5 * (heights[1:] + heights[:-1]) * steps, axis=0)
    found = [np.zeros_like(heights), heights]
    for length in SMOOTHED_M[1:]:
        low, high = np.maximum(path - length / 2, path[0]), np.minimum(path + length / 2, path[-1])
        over = (high - low).reshape(-1, *(1,) * (heights.ndim - 1))
        found.append((_between(path, area, high) - _between(path, area, low)) / np.maximum(over, NO_STEP_M))
    return np.stack(found)


def _between(path: Floats, values: Floats, at: Floats) -> Floats:
    """Values at places on the path, straight between samples."""
    after = np.clip(np.searchsorted(path, at), 1, len(path) - 1)
    share = ((at - path[after - 1]) / (path[after] - path[after - 1])).reshape(-1, *(1,) * (values.ndim - 1))
    return np.asarray(values[after - 1] * (1.0 - share) + values[after] * share)


def _rates(path: Floats, fastest: Floats, stands: NDArray[np.bool_], base: Floats) -> tuple[Floats, Floats]:
    """Largest change of rate in each sample, and largest rate of the steps that meet in it, m/s.

    Where a limit changes both speeds may be anything up to theirs; elsewhere one speed is held.
    """
    wide = (-1, *(1,) * (base.ndim - 1))
    slope = np.diff(base, axis=0) / np.diff(path).reshape(wide)
    none, still = np.zeros_like(base[:1]), np.zeros(1)
    before, after = np.concatenate([none, slope]), np.concatenate([slope, none])
    slow, fast = (
        np.append(still, fastest).reshape(wide),
        np.append(fastest, still).reshape(wide),
    )
    behind, ahead = slow * np.abs(before), fast * np.abs(after)
    both = np.where(before * after < 0.0, behind + ahead, np.maximum(behind, ahead))
    kink = np.where(slow == fast, slow * np.abs(after - before), both)
    return np.where(stands.reshape(wide), behind + ahead, kink), np.maximum(behind, ahead)


class Ridden:
    """A whole drive as it was stood on: its planes, and how much of each gap they leave for certain."""

    def __init__(self, track: Track, drive: Drive) -> None:
        shape = (len(track.x), 9, 2)
        self.drive = drive
        self.planes = Plane(*(np.full(shape, np.nan) for _ in range(3)))
        self._room_m: dict[tuple[bool, str, bytes], Floats] = {}
        self._swings: dict[bytes, tuple[Floats, Floats]] = {}

    def copy(self) -> Ridden:
        """The same drive, to be stood on once more in places."""
        other = copy(self)
        other.planes = Plane(*(getattr(self.planes, term).copy() for term in PLANE))
        other._room_m = {key: room.copy() for key, room in self._room_m.items()}
        other._swings = dict(self._swings)
        return other

    def take(self, case: Case, stance: Stance, k: float) -> None:
        """Gather some samples of a part of the drive."""
        for term in PLANE:
            before, now = getattr(self.planes, term), getattr(stance.planes, term)
            if not np.array_equal(before[stance.rows], now, equal_nan=True):
                before[stance.rows] = now
                self._swings.clear()
        for ring in rings(case):
            self.room(case, ring)[stance.rows] = np.inf
        floor, sigma = np.array(case.configuration.basket.ring), case.sigmas.point(*floor_corners(case)[:2]).max()
        rise = highest_rise(case, stance).max(axis=(1, 2))
        self._narrow(case, floor, stance.rows, case.site.thresholds.bounce_limit_m - rise - k * sigma)
        for soffit, top in overhead(case, stance.rows):
            at = under(case, stance, soffit, top)
            if at.size:
                sigma = gap_sigma_m(case, soffit, *top.ring.T).max()
                least = lowest_room(case, stance.pick(at), soffit, top) - k * sigma
                self._narrow(case, top.ring, stance.rows[at], least)

    def _narrow(self, case: Case, ring: Floats, samples: Ints, room_m: Floats) -> None:
        room = self.room(case, ring)
        room[samples] = np.minimum(room[samples], room_m)

    def room(self, case: Case, ring: Floats) -> Floats:
        """Never more than is proven of any gap over a ring of body points in each sample; infinite under the sky."""
        key = case.ridden, case.configuration.id, ring.tobytes()
        return self._room_m.setdefault(key, np.full(len(case.track.x), np.inf))

    def swings(self, case: Case, ring: Floats) -> tuple[Floats, Floats]:
        """Swing of points at the limits of the rows, ``(n, 9, points)``; then what is not held against a machine.

        That is, of one whose figures are assumed, what it swings at creep speed too: nobody can drive it slower, and it
        is not proven anyway.
        """
        every = {one.tobytes(): one for one in (ring, *rings(case))}
        missing = {key: one for key, one in every.items() if key not in self._swings}
        if ring.tobytes() in missing:
            xi, eta = np.concatenate(list(missing.values())).T
            level = self.planes.heights(xi, eta, np.zeros(len(xi)))  # a top's lean changes nothing
            heights, limits = (level[:, :, 0], level[:, :, 1]), self.drive.fastest_mps
            swing, least = self.drive.swings(*heights, case, limits), np.zeros(1)
            if not all(case.machine.figures[name].trusted for name in (*BOUNCE_FIGURES, *SPEED_FIGURES)):
                least = self.drive.swings(*heights, case, np.minimum(limits, case.figure("creep_speed_mps")))
            ends = np.cumsum([len(one) for one in missing.values()])[:-1]
            parts = (np.split(of, ends, axis=-1) for of in (swing, np.broadcast_to(least, swing.shape)))
            self._swings.update(zip(missing, zip(*parts, strict=True), strict=True))
        return self._swings[ring.tobytes()]


def rings(case: Case) -> list[Floats]:
    """Outlines of the basket's floor and of every top, each once."""
    every = (np.array(case.configuration.basket.ring), *(top.ring for top in tops_of(case)))
    return list({ring.tobytes(): ring for ring in every}.values())


def suspects(case: Case, ridden: Ridden, samples: Ints, ledger: Ledger) -> Ints:
    """Samples of a part of the drive in which some gap may not hold."""
    found = np.zeros(len(samples), dtype=bool)
    for ring in rings(case):
        most = ridden.swings(case, ring)[0][samples].max(axis=(1, 2))
        if np.isnan(most).any():
            ledger.leave_open(KIND, "levels under a wheel are not known")
        found |= ~(ridden.room(case, ring)[samples] > most)
    return samples[found]


def offer_swing(case: Case, stance: Stance, ridden: Ridden, ledger: Ledger) -> None:
    """Offer what the swing leaves of the bounce limit and of every gap overhead."""
    floor = np.array(case.configuration.basket.ring)
    room = case.site.thresholds.bounce_limit_m - rigid_rise(case, stance)
    swing, least = (values[stance.rows] for values in ridden.swings(case, floor))
    sure = case.sure(stance.hub_x, stance.hub_y, ledger.k).point(*floor.T)
    _offer(ledger, stance.rows, room, swing, least, sure)
    for soffit, top in overhead(case, stance.rows):
        _offer_under(case, stance, ridden, ledger, soffit, top)


def _offer_under(case: Case, stance: Stance, ridden: Ridden, ledger: Ledger, soffit: Soffit, top: Top) -> None:
    at = under(case, stance, soffit, top)
    if not at.size:
        return
    close = stance.pick(at)
    most = ridden.swings(case, top.ring)[0][close.rows].max(axis=(1, 2))
    sigma = gap_sigma_m(case, soffit, *top.ring.T).max()
    close = close.pick(np.flatnonzero(~(lowest_room(case, close, soffit, top) - most > ledger.k * sigma)))
    corners = corners_under(case, close, soffit, top) if close.rows.size else None
    if corners is None:
        return
    room = soffit_level(case, soffit, corners) - corners.z - top.required_m
    # A swing is linear over a top, so that none of its places swings farther than all of its corners.
    swing, least = (values[corners.rows, corners.variant].max(axis=-1) for values in ridden.swings(case, top.ring))
    _offer(ledger, corners.rows, room, swing, least, sure_gap_m(case, close, soffit, corners, ledger.k))


def _offer(ledger: Ledger, rows: Ints, room: Floats, swing: Floats, least: Floats, sigma: Floats) -> None:
    margin = np.where((least > 0.0) & (room < least), np.nan, room - swing)
    ledger.offer(KIND, rows, margin, value=swing, limit=room, sigma=sigma)
