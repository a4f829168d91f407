"""Whether tyres hold the machine and stop it in time, worked out a second time.

Slowing down tips a machine as a steeper slope would: what acts at its centre of gravity leans by the slope and by the
slowing down, and where that meets the ground says how the axles share its weight.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from routeplan.machine.shape import CONFIGURATIONS
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Plane, Stance
from routeplan.recheck.touch import gaps, local, near
from routeplan.recheck.track import Floats
from routeplan.recheck.wheels import accepts, swept_contacts, wheel_reach_m
from routeplan.route.model import Move, Objection
from routeplan.site.model import Surface

KIND = "grip"
#: Standard gravity, m/s2.
_G = 9.80665
#: People and what they carry have their middle this far over their floor, metres: value from memory.
_PEOPLE_M = 1.0
#: Slowing down that no tyre and no brake gives, in weights: where the time to react alone takes too long.
_TOO_LATE = 10.0
#: What a share of the weight on one axle rests on.
_WEIGHT = ("mass_kg", "rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m")


def _ends(case: Case, what: str) -> tuple[float, float]:
    """1 for an axle that is braked, or driven, 0 for one that is not, NaN where nobody knows: front, rear."""
    return case.figure(f"{what}_front"), case.figure(f"{what}_rear")


def _one_axle(case: Case) -> bool:
    return any(abs(front - rear) == 1.0 for front, rear in (_ends(case, "brakes"), _ends(case, "drives")))


def coefficient(surface: Surface, wet: bool) -> float:
    """Friction of a surface on a day at its least; NaN where the site does not say."""
    said = surface.friction
    if said is None:
        return math.nan
    values = [said.wet if wet else said.wet if said.dry is None else said.dry]
    values += [said.loose.friction] if said.loose is not None else []
    return math.nan if values[0] is None else min(value for value in values if value is not None)


def share_on(case: Case, planes: Plane, what: str, slowing: Floats | float) -> Floats:
    """Least share of the weight on the axles that are braked, or driven, in the planes.

    ``slowing`` is in weights square to the ground and tips the machine either way; its load is at any corner of the
    basket's floor or not there.
    """
    front, rear = _ends(case, what)
    none = np.zeros(planes.pitch.shape)
    if math.isnan(front + rear):
        return none + math.nan
    if front == rear:
        return none + 1.0
    if "turntable_xi_m" in CONFIGURATIONS.get(case.configuration.id, ()):
        return none + math.nan
    up_xi, _, up = planes.rotation()[2]
    own, mass, load = case.figure("gravity_height_m"), case.configuration.mass_kg, case.figure("rated_load_kg")
    floor = case.configuration.basket.floor_height_m + _PEOPLE_M
    least = none + np.inf
    for corner in [None, *(xi for xi, _ in case.configuration.basket.ring)]:
        loaded = 0.0 if corner is None else load
        xi = (mass * case.figure("gravity_xi_m") + loaded * (corner or 0.0)) / (mass + loaded)
        height = (mass * own + loaded * floor) / (mass + loaded)
        ahead = xi - height * up_xi / up - case.machine.wheels[2].xi_m
        for tipped in (-height, height):
            on_front = np.clip((ahead + tipped * slowing) / case.machine.wheelbase_m, 0.0, 1.0)
            least = np.minimum(least, on_front if front else 1.0 - on_front)
    return np.asarray(np.where(np.isnan(load + xi + height), np.nan, least))


def offer_grip(case: Case, stance: Stance, fastest_mps: Floats, ledger: Ledger) -> None:
    """Offer what holds the machine in each sample, stopping in time from the limits of the steps of the whole drive."""
    friction, vague, bare = _met(case, stance)
    for surface in sorted(bare):
        ledger.leave_open(KIND, f"nobody said how tyres grip {surface}")
    if _one_axle(case):
        _weighed(case, ledger)
    if case.machine.tracks:
        return
    planes, wanted = stance.planes, case.site.thresholds
    around = np.maximum(np.append(fastest_mps[:1], fastest_mps), np.append(fastest_mps, fastest_mps[-1:]))
    speed = around[stance.rows][:, None, None]
    upright = planes.rotation()[2][2]
    slope = np.where(np.isnan(planes.pitch), np.nan, np.sqrt(np.maximum(1.0 - upright**2, 0.0)) / upright)
    braking_m = wanted.stopping_distance_m - wanted.reaction_s * speed
    stops = np.divide(speed**2, 2 * braking_m * _G * upright, out=np.full(slope.shape, np.inf), where=braking_m > 0)
    slowing = np.minimum(stops, _TOO_LATE)
    nobody = np.isinf(friction)
    off = (nobody & ~vague)[:, None, None]  # on no ground that is accepted, which is another check's to say
    mu = np.where(nobody, np.nan, friction)[:, None, None]
    used = slope + slowing
    gives = [
        mu * share_on(case, planes, "brakes", slowing),
        case.figure("brake_mps2") / (_G * upright),
        mu * share_on(case, planes, "drives", 0.0) + slowing,
    ]
    least = np.fmin.reduce(gives)
    unknown = (np.isnan(np.stack(gives)).any(axis=0) | vague[:, None, None]) & ~(least < used)
    sure = case.sure(stance.hub_x, stance.hub_y, ledger.k)
    along, across = (np.asarray(one)[..., None] for one in (sure.pitch, sure.roll))
    sigma = np.hypot(along, across) + _of_the_share(case, mu) * along
    margin = np.where(unknown, np.nan, least - used)
    if (unknown & ~off).any():
        ledger.leave_open(KIND, "what holds it is not known all along the way")
    ledger.offer(KIND, stance.rows, margin, value=used, limit=least, sigma=np.broadcast_to(sigma, margin.shape))


def _weighed(case: Case, ledger: Ledger) -> None:
    for name in _WEIGHT:
        figure = case.machine.figures.get(name)
        if figure is None or not figure.trusted:
            ledger.leave_open(KIND, f"{name} is {'missing' if figure is None else f'a {figure.tag} figure'}")


def _of_the_share(case: Case, mu: Floats) -> Floats:
    """What an error of the slope makes of the share on one axle, times friction, at most."""
    if not _one_axle(case):
        return np.zeros_like(mu)
    own, load = case.figure("gravity_height_m"), case.figure("rated_load_kg")
    mass, floor = case.configuration.mass_kg, case.configuration.basket.floor_height_m + _PEOPLE_M
    height = max(own, (mass * own + load * floor) / (mass + load))
    return np.asarray(np.nan_to_num(mu * height / case.machine.wheelbase_m))


def _met(case: Case, stance: Stance) -> tuple[Floats, NDArray[np.bool_], set[str]]:
    """Least friction said of what any tyre is on from each sample to the next, infinite where nobody says; where some
    of it is not said, and of which surfaces.
    """
    least, vague, bare = np.full(len(stance.rows), np.inf), np.zeros(len(stance.rows), dtype=bool), set[str]()
    driven_on = [surface for surface in case.site.surfaces if accepts(case, surface.acceptance)]
    for surface in local(driven_on, case.track, stance.rows, wheel_reach_m(case)):
        under = _under(case, stance, surface)
        mu = coefficient(surface, case.wet)
        if math.isnan(mu) and under.any():
            bare.add(surface.id)
        vague |= under & math.isnan(mu)
        least[under] = np.fmin(least[under], mu)
    return least, vague, bare


def _under(case: Case, stance: Stance, surface: Surface) -> NDArray[np.bool_]:
    """Which samples have a tyre on a surface: by their place, and near its edge by what tyres sweep."""
    x, y = case.track.x[stance.rows], case.track.y[stance.rows]
    found = np.asarray(shapely.contains_xy(surface.geometry, x, y))
    at = near(surface.geometry.boundary, x, y, wheel_reach_m(case))
    if at.size:
        found[at] = np.any([gaps(shapes, surface.geometry)[1] for shapes in swept_contacts(case, stance, at)], axis=0)
    return found


def grip_objections(move: Move, case: Case) -> Iterator[Objection]:
    """A move that is made on dry ground only has to tell people so before they drive off."""
    pose, text = move.poses[0], "nobody is told that it is for dry ground only"
    told = [one.text for one in move.controls if one.kind == KIND and one.chainage_m <= pose.chainage_m]
    if not case.wet and not (told and all("dry ground only" in said.lower() for said in told)):
        yield Objection(KIND, pose.chainage_m, (pose.x, pose.y), math.nan, math.nan, "", text)
