"""What wheels carry against what the site claims of the ground under them, worked out a second time.

A machine on uneven ground stands on three of its wheels. Which three is for its weight to say: the point below its
centre of gravity lies within their triangle, and what each carries is that point's share of it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from routeplan.machine.model import Configuration, Machine
from routeplan.machine.shape import CONFIGURATIONS
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.stance import Plane, Stance
from routeplan.recheck.touch import gaps, local, near
from routeplan.recheck.track import Floats, Ints
from routeplan.recheck.verdicts import open_reasons
from routeplan.recheck.wheels import contact_distances, swept_contacts, wheel_reach_m
from routeplan.site.bearing import Clay, Drained, HardGround, Platform
from routeplan.site.model import Surface

KIND = "ground load"
#: Weight of a kilogram, kN.
_KILOGRAM_KN = 0.00980665
#: People and what they carry have their middle this far over their floor, metres: value from memory.
_PEOPLE_M = 1.0
#: Load met at a step, in loads at rest: common practice, no source.
_AT_A_STEP = 2.0
#: Wheels that can stand without the fourth: each diagonal with one wheel more.
_TRIPODS = ((0, 3, 1), (0, 3, 2), (1, 2, 0), (1, 2, 3))


def tripod_loads(machine: Machine, planes: Plane, mass_kg: float, centre: Floats) -> Floats:
    """Largest load of each wheel over the tripods that a mass can stand on, kN; a last axis of four wheels.

    Where it stands on none it tips, and each wheel may carry it all.
    """
    up_xi, up_eta, up = planes.rotation()[2]
    foot_xi, foot_eta = centre[0] - centre[2] * up_xi / up, centre[1] - centre[2] * up_eta / up
    largest = np.full((*foot_xi.shape, 4), -np.inf)
    for tripod in _TRIPODS:
        xi, eta = (np.array([getattr(machine.wheels[wheel], name) for wheel in tripod]) for name in ("xi_m", "eta_m"))
        shares = np.linalg.inv(np.stack([xi, eta, np.ones(3)]))
        foot = np.stack([foot_xi, foot_eta, np.ones_like(foot_xi)], axis=-1)
        carried = foot @ shares.T
        stands = (carried >= -1e-9).all(axis=-1)
        for at, wheel in enumerate(tripod):
            here = np.where(stands, carried[..., at], -np.inf)
            largest[..., wheel] = np.maximum(largest[..., wheel], here)
    tips = np.isneginf(largest).all(axis=-1, keepdims=True)
    return np.asarray(np.where(tips, 1.0, largest.clip(0.0)) * mass_kg * _KILOGRAM_KN)


def standing_loads(machine: Machine, configuration: Configuration, planes: Plane) -> Floats:
    """Largest load of each wheel at rest, kN, ``(n, 4)`` over the variants and planes; NaN where nobody knows.

    The rated load is carried at any corner of the basket's floor, or not at all.
    """
    figures = {name: figure.value for name, figure in machine.figures.items()}
    sheet = figures.get("wheel_load_max_kn", math.nan)
    names = ("gravity_xi_m", "gravity_eta_m", "gravity_height_m", "rated_load_kg")
    turned = "turntable_xi_m" in CONFIGURATIONS.get(configuration.id, ())
    if turned or any(name not in figures for name in names):
        return np.full((planes.pitch.shape[0], 4), sheet)
    own = np.array([figures[name] for name in names[:3]])
    mass, carried = configuration.mass_kg, figures["rated_load_kg"]
    height = configuration.basket.floor_height_m + _PEOPLE_M
    people = [np.array([xi, eta, height]) for xi, eta in configuration.basket.ring]
    cases = [(mass, own), *((mass + carried, (mass * own + carried * at) / (mass + carried)) for at in people)]
    loads = [tripod_loads(machine, planes, whole, centre) for whole, centre in cases]
    return np.asarray(np.fmax(np.max(loads, axis=0).max(axis=(1, 2)), sheet))


def resistance_kpa(soil: Drained, beside_kpa: float, short_m: float, long_m: float, slope: Floats) -> Floats:
    """What drained soil bears under a rectangle pushed along its short side by a slope's share of its load, kPa.

    EN 1997-1 Annex D.4 without cohesion (formulas from memory).
    """
    cover, weight, power = _level_kpa(soil, beside_kpa, short_m, long_m)
    upright = np.maximum(0.0, 1.0 - slope)
    return np.asarray(cover * upright**power + weight * upright ** (power + 1))


def falls_kpa(soil: Drained, beside_kpa: float, short_m: float, long_m: float, slope: Floats) -> Floats:
    """By how much the same falls for a slope of one more: what `resistance_kpa` loses at the rate that it has here."""
    cover, weight, power = _level_kpa(soil, beside_kpa, short_m, long_m)
    upright = np.maximum(0.0, 1.0 - slope)
    return np.asarray(power * cover * upright ** (power - 1) + (power + 1) * weight * upright**power)


def _level_kpa(soil: Drained, beside_kpa: float, short_m: float, long_m: float) -> tuple[float, float, float]:
    """What cover and weight of the soil make it bear on the level, kPa, and the power that a slope counts by."""
    phi = math.radians(soil.phi_deg)
    flow = math.exp(math.pi * math.tan(phi)) * (1 + math.sin(phi)) / (1 - math.sin(phi))
    cover = beside_kpa * flow * (1 + short_m / long_m * math.sin(phi))
    weight = soil.weight_knm3 * short_m * (flow - 1) * math.tan(phi) * (1 - 0.3 * short_m / long_m)
    return cover, weight, 1 + 1 / (1 + short_m / long_m)


def share_left(surface: Surface, case: Case) -> float:
    """What is left of a surface's strength if the move may be wet, NaN when nobody said; what is hard stays so."""
    ground = surface.bearing
    if not case.wet or not isinstance(ground, Clay | Platform):
        return 1.0
    return math.nan if ground.wet is None else ground.wet


def allowed_kn(surface: Surface, case: Case, slope: Floats) -> tuple[Floats, Floats]:
    """What one wheel may carry on a surface, kN, for the slopes that the machine stands on, and how much less for a
    slope of one more.
    """
    ground, machine = surface.bearing, case.machine
    if isinstance(ground, HardGround):
        return np.full_like(slope, ground.wheel_kn), np.zeros_like(slope)
    area, wide, left = case.figure("contact_area_m2"), machine.wheels[0].width_m, share_left(surface, case)
    if isinstance(ground, Clay):
        square = 1.2 * (2 + math.pi) * ground.cu_kpa / ground.factor
        return np.full_like(slope, left * area * min(square, ground.rut_kpa)), np.zeros_like(slope)
    assert isinstance(ground, Platform)
    more = 2 * ground.thickness_m * math.tan(math.radians(ground.spread_deg))
    sides = area / wide + more, wide + more
    sharing = (1 + (sides[0] > machine.wheelbase_m)) * (1 + (sides[1] > machine.track_m))
    spread = np.full_like(slope, left * sides[0] * sides[1] / sharing)
    if not isinstance(ground.below, Drained):
        return spread * ground.below, np.zeros_like(slope)
    pushed = ground.below, ground.below.weight_knm3 * ground.thickness_m, min(sides), max(sides), slope
    kpa, lost = (bears(*pushed) / ground.below.factor for bears in (resistance_kpa, falls_kpa))
    return spread * kpa, spread * lost


def offer_ground_load(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer the load of every wheel that a surface claims anything of, and why it cannot be a pass."""
    reach = wheel_reach_m(case)
    claimed = [surface for surface in case.site.surfaces if surface.bearing is not None]
    claimed += [
        Surface(one.id, one.geometry, one.kind, None, one.proof.limit) for one in case.site.defects if one.proof
    ]  # fmt: skip
    for surface in local(claimed, case.track, stance.rows, reach):
        at = near(surface.geometry, case.track.x[stance.rows], case.track.y[stance.rows], reach)
        if at.size:
            _offer(case, stance, ledger, surface, at)


def _offer(case: Case, stance: Stance, ledger: Ledger, surface: Surface, at: Ints) -> None:
    on = [gaps(shapes, surface.geometry) for shapes in swept_contacts(case, stance, at)]
    under = np.stack([overlap for _, overlap in on], axis=-1)
    if not under.any():
        return
    for why in open_reasons(KIND, case):
        ledger.leave_open(KIND, why)
    if not isinstance(surface.bearing, HardGround):
        area = case.machine.figures.get("contact_area_m2")
        if area is None or not area.trusted:
            ledger.leave_open(KIND, f"contact_area_m2 is {'missing' if area is None else f'a {area.tag} figure'}")
    if math.isnan(share_left(surface, case)):
        ledger.leave_open(KIND, f"nobody said what {surface.id} bears in the wet")
    if "turntable_xi_m" in CONFIGURATIONS.get(case.configuration.id, ()):
        ledger.leave_open(KIND, f"nobody said where the weight acts in {case.configuration.id}")
    if case.machine.tracks:
        return
    after = np.minimum(at + 1, len(stance.rows) - 1)
    steps = _steps(case, stance)
    loads = standing_loads(case.machine, case.configuration, stance.planes) * steps
    slopes = np.hypot(stance.planes.pitch, stance.planes.roll).max(axis=(1, 2))
    load = np.where(under, np.maximum(loads[at], loads[after]), np.nan)
    allowed, falls = (some[:, None] for some in allowed_kn(surface, case, np.maximum(slopes[at], slopes[after])))
    carried, slope = _sigmas(case, stance, ledger.k)
    sigma = np.maximum((carried * steps)[at], (carried * steps)[after])
    sigma = sigma + np.nan_to_num(falls) * np.maximum(slope[at], slope[after])
    ledger.offer(KIND, stance.rows[at], allowed - load, value=load, limit=allowed, sigma=sigma)
    if any(one.geometry is surface.geometry for one in case.site.defects):
        # A cover or plate, however well proven, is kept off where nobody knows what wheels carry.
        blind = np.where(under & np.isnan(load), -np.inf, np.nan)
        ledger.offer("covers, plates and trenches", stance.rows[at], blind, value=load, limit=0.0)


def _steps(case: Case, stance: Stance) -> Floats:
    """What steps and edges of holes make of the load of each wheel, ``(n, 4)``."""
    edges = [defect.geometry for defect in case.site.defects if max(defect.depth_m, defect.height_m) > 0]
    if not edges:
        return np.ones((len(stance.rows), 4))
    radii = np.array([wheel.radius_m for wheel in case.machine.wheels])
    met = contact_distances(case, stance, shapely.union_all(edges)) <= radii
    return np.where(met.any(axis=1), _AT_A_STEP, 1.0)


def _sigmas(case: Case, stance: Stance, k: float) -> tuple[Floats, Floats]:
    """How far errors of the slopes carry into a load at rest, kN, and how large they are down the slope, ``(n, 1)``."""
    machine = case.machine
    moment = case.configuration.mass_kg * case.figure("gravity_height_m")
    moment += case.figure("rated_load_kg") * (case.configuration.basket.floor_height_m + _PEOPLE_M)
    sure = case.sure(stance.hub_x, stance.hub_y, k)
    pitch, roll = (np.broadcast_to(one, stance.x.shape) for one in (sure.pitch, sure.roll))
    lever = np.maximum(pitch / machine.wheelbase_m, roll / machine.track_m).max(axis=1)
    carried = np.nan_to_num(moment) * _KILOGRAM_KN * lever
    return carried[:, None], np.hypot(pitch, roll).max(axis=1)[:, None]
