"""How the machine stands in the tube: wheel levels, both planes it may rock to, and where its body is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from routeplan.recheck.case import Case
from routeplan.recheck.disc import disc_level
from routeplan.recheck.track import Floats, Ints


@dataclass(frozen=True, eq=False)
class Plane:
    """Planes of the machine: level at its origin and slopes along xi and eta, arrays of one shape, NaN if unknown."""

    level: Floats
    pitch: Floats
    roll: Floats

    def pick(self, rows: Ints) -> Plane:
        """Only some samples."""
        return Plane(self.level[rows], self.pitch[rows], self.roll[rows])

    def rotation(self) -> tuple[tuple[Floats, Floats, Floats], ...]:
        """Rows of the rotation by pitch, then roll, without the heading; an unknown slope leans nowhere."""
        pitch, roll = np.nan_to_num(self.pitch), np.nan_to_num(self.roll)
        cp, cr = 1.0 / np.sqrt(1.0 + pitch**2), 1.0 / np.sqrt(1.0 + roll**2)
        sp, sr = pitch * cp, roll * cr
        return ((cp, -sp * sr, -sp * cr), (np.zeros_like(cr), cr, -sr), (sp, cp * sr, cp * cr))

    def heights(self, xi: Floats, eta: Floats, zeta: Floats) -> Floats:
        """Levels of body points: the planes' shape plus one axis for the points."""
        along, across, up = (term[..., None] for term in self.rotation()[2])
        return np.asarray(self.level[..., None] + along * xi + across * eta + up * zeta)


@dataclass(frozen=True, eq=False)
class Stance:
    """Samples ``rows`` of a track, each in nine variants of the tube.

    Parameters
    ----------
    rows
        ``(n,)`` indices of samples.
    x, y, heading
        ``(n, 9)`` of the machine's origin.
    hub_x, hub_y
        ``(n, 9, 4)`` of the wheels.
    disc_m
        ``(n, 9, 4)`` rolling-disc levels of the ground as surveyed.
    level_m
        ``(n, 9, 4)`` where the wheels stand, holes and raised features of the layer included.
    planes
        ``(n, 9, 2)`` both planes.
    """

    rows: Ints
    x: Floats
    y: Floats
    heading: Floats
    hub_x: Floats
    hub_y: Floats
    disc_m: Floats
    level_m: Floats
    planes: Plane

    def pick(self, at: Ints) -> Stance:
        """Only some of the samples, by position in ``rows``."""
        return Stance(
            rows=self.rows[at],
            x=self.x[at],
            y=self.y[at],
            heading=self.heading[at],
            hub_x=self.hub_x[at],
            hub_y=self.hub_y[at],
            disc_m=self.disc_m[at],
            level_m=self.level_m[at],
            planes=self.planes.pick(at),
        )

    def place(self, xi: Floats, eta: Floats, zeta: Floats) -> tuple[Floats, Floats, Floats]:
        """Site coordinates of body points in all variants and both planes, ``(n, 9, 2, points)`` each."""
        ahead, left, _up = self.planes.rotation()
        forward, aside = (a[..., None] * xi + b[..., None] * eta + c[..., None] * zeta for a, b, c in (ahead, left))
        cos, sin = np.cos(self.heading)[..., None, None], np.sin(self.heading)[..., None, None]
        x = self.x[..., None, None] + cos * forward - sin * aside
        y = self.y[..., None, None] + sin * forward + cos * aside
        return np.asarray(x), np.asarray(y), self.planes.heights(xi, eta, zeta)

    def locate(self, x: Floats, y: Floats, zeta_m: float) -> tuple[Floats, Floats, Floats]:
        """Body points at one height that lie over (or under) site points ``(n, points)``: xi, eta, and their level."""
        ahead, left, up = ([term[..., None] for term in row] for row in self.planes.rotation())
        dx, dy = x[:, None, :] - self.x[..., None], y[:, None, :] - self.y[..., None]
        cos, sin = np.cos(self.heading)[..., None], np.sin(self.heading)[..., None]
        eta = ((cos * dy - sin * dx)[:, :, None, :] - left[2] * zeta_m) / left[1]
        xi = ((cos * dx + sin * dy)[:, :, None, :] - ahead[2] * zeta_m - ahead[1] * eta) / ahead[0]
        z = self.planes.level[..., None] + up[0] * xi + up[1] * eta + up[2] * zeta_m
        return np.asarray(xi), np.asarray(eta), np.asarray(z)


def planes_of(
    level_m: Floats, *, wheelbase_m: float, track_m: float, xi_rear_m: float, follow: tuple[int, float]
) -> Plane:
    """Both planes between which a chassis on four contacts can rock.

    Parameters
    ----------
    level_m
        ``(..., 4)`` levels of front left, front right, rear left, rear right.
    wheelbase_m, track_m, xi_rear_m
        Of the machine.
    follow
        Which axle oscillates (+1 front, -1 rear, 0 none) and the relative slope at which it meets its stop.

    Returns
    -------
    Plane
        Arrays of shape ``(..., 2)``: the plane that also stands on a front wheel, and the one on a rear wheel.
    """
    fl, fr, rl, rr = (level_m[..., wheel] for wheel in range(4))
    axle, stop = follow
    given = np.clip(fl + rr - fr - rl, -track_m * stop, track_m * stop) / 2
    if axle > 0:
        fl, fr = fl - given, fr + given
    elif axle < 0:
        rl, rr = rl + given, rr - given
    twist = fl + rr - fr - rl
    left, right = (fl - rl) / wheelbase_m, (fr - rr) / wheelbase_m
    roll_front, roll_rear = (fl - fr) / track_m, (rl - rr) / track_m
    # On the diagonal FL-RR the front plane keeps RR, the rear one FL; on the other diagonal it is the other way round.
    on_left = twist > 0
    pitch = np.stack([np.where(on_left, right, left), np.where(on_left, left, right)], axis=-1)
    roll = np.stack([roll_front, roll_rear], axis=-1)
    front_level = np.where(on_left, rr + roll_front * track_m / 2, rl - roll_front * track_m / 2)
    level = np.stack([front_level, (rl + rr) / 2], axis=-1) - pitch * xi_rear_m
    return Plane(level, pitch, roll)


def mean_plane(level_m: Floats, *, wheelbase_m: float, track_m: float, xi_rear_m: float) -> Plane:
    """The two-axle fit through four contacts; arrays of shape ``(...)``."""
    fl, fr, rl, rr = (level_m[..., wheel] for wheel in range(4))
    pitch = (fl + fr - rl - rr) / (2 * wheelbase_m)
    roll = (fl + rl - fr - rr) / (2 * track_m)
    return Plane(level_m.mean(axis=-1) - pitch * (xi_rear_m + wheelbase_m / 2), pitch, roll)


def axle_play(case: Case) -> tuple[int, float]:
    """Which axle oscillates (+1 front, -1 rear, 0 none) and the slope at its stop; without a stop it is held rigid."""
    stop = case.figure("oscillation_stop_deg")
    if math.isnan(stop):
        return 0, 0.0
    front, rear = (case.machine.wheels[wheel].oscillating for wheel in (0, 2))
    return (1 if front else -1 if rear else 0), math.tan(math.radians(stop))


def variants(case: Case, rows: Ints) -> tuple[Floats, Floats, Floats]:
    """Origins and headings of the tube round samples: three headings times three lateral offsets, ``(n, 9)`` each."""
    turn = np.repeat([-case.heading_rad, 0.0, case.heading_rad], 3)
    aside = np.outer(case.lateral_at(case.track.aslant[rows]), np.tile([-1.0, 0.0, 1.0], 3))
    heading = case.track.heading[rows][:, None]
    x = case.track.x[rows][:, None] - np.sin(heading) * aside
    y = case.track.y[rows][:, None] + np.cos(heading) * aside
    return x, y, heading + turn


def hubs(case: Case, x: Floats, y: Floats, heading: Floats) -> tuple[Floats, Floats]:
    """Plan places of the four hubs, one axis more than the poses."""
    xi, eta = (np.array([getattr(wheel, name) for wheel in case.machine.wheels]) for name in ("xi_m", "eta_m"))
    cos, sin = np.cos(heading)[..., None], np.sin(heading)[..., None]
    return x[..., None] + cos * xi - sin * eta, y[..., None] + sin * xi + cos * eta


def disc_levels(case: Case, hub_x: Floats, hub_y: Floats, heading: Floats, *, clean: bool) -> Floats:
    """Rolling-disc levels of the four wheels, on the ground as surveyed or on clean ground."""
    raster = case.levels.clean if clean else case.levels.real
    levels = [
        disc_level(raster, hub_x[..., n], hub_y[..., n], heading, radius_m=wheel.radius_m, width_m=wheel.width_m)
        for n, wheel in enumerate(case.machine.wheels)
    ]
    return np.stack(levels, axis=-1)


def stand(case: Case, rows: Ints) -> Stance:
    """Stand the machine on the surveyed ground, features of the defects layer not yet counted."""
    x, y, heading = variants(case, rows)
    hub_x, hub_y = hubs(case, x, y, heading)
    disc = disc_levels(case, hub_x, hub_y, heading, clean=False)
    return Stance(rows, x, y, heading, hub_x, hub_y, disc, disc, rock(case, disc))


def rock(case: Case, level_m: Floats) -> Plane:
    """Both planes of this case's machine on given wheel levels."""
    machine = case.machine
    return planes_of(
        level_m,
        wheelbase_m=machine.wheelbase_m,
        track_m=machine.track_m,
        xi_rear_m=machine.wheels[2].xi_m,
        follow=axle_play(case),
    )


def settle(case: Case, level_m: Floats) -> Plane:
    """Mean plane of this case's machine on given wheel levels."""
    machine = case.machine
    return mean_plane(
        level_m, wheelbase_m=machine.wheelbase_m, track_m=machine.track_m, xi_rear_m=machine.wheels[2].xi_m
    )
