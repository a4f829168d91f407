"""A move that travels with its platform raised, looked at a second time: whether it may, where, and as which machine.

Written from ``docs/method.md`` 15, apart from the planner; only the body's shape comes from the machine's own room.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

from routeplan.machine.model import Figure, Machine, Wheel
from routeplan.machine.modelled import not_modelled
from routeplan.machine.raised import not_raised, raised_body
from routeplan.route.model import Move
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import MoveWanted, Site, Thresholds

#: Figures of the lowered machine with those that hold when it is raised; one without a name holds no more.
_RAISED_BY = {
    "ground_clearance_m": "elevated_clearance_m",
    "step_limit_m": "elevated_step_m",
    "travel_speed_mps": "elevated_speed_mps",
    "bounce_period_s": "elevated_bounce_period_s",
    "bounce_damping_pct": "elevated_bounce_damping_pct",
    "gravity_height_m": "",
}


@dataclass(frozen=True)
class Raised:
    """The machine as it travels raised, and the zone that it does not leave."""

    machine: Machine
    zone: ElevatedZone


def raised_as_asked(move: Move, *, site: Site, machine: Machine) -> Raised | str | None:
    """How a move travels raised, or why it may not; ``None`` where the site asks for it lowered."""
    wanted = next((one for one in site.moves if one.id == move.id), None)
    if wanted is None or wanted.regime != "elevated":
        return None
    reasons = list(_against(wanted, machine))
    if reasons:
        return f"it may not travel raised: {reasons[0]}"
    zone = next((zone for zone in site.elevated_zones if _takes(zone, wanted, site, machine)), None)
    if zone is None or zone.acceptance is None:
        return "it may not travel raised: no elevated zone from end to end is accepted for this machine, height and day"
    height_m, smooth_m = float(wanted.platform_height_m or math.nan), zone.acceptance.smooth_to_m
    return Raised(_raised(machine, wanted.configuration, height_m, smooth_m, site.thresholds), zone)


def _against(wanted: MoveWanted, machine: Machine) -> Iterator[str]:
    """What speaks against a machine that travels raised so, wherever it does."""
    for why in (not_modelled(machine), not_raised(machine, wanted.configuration)):
        if why is not None:
            yield why
            return
    floor_m = machine.configurations[wanted.configuration].basket.floor_height_m
    height_m, most = wanted.platform_height_m, machine.figures["elevated_height_max_m"]
    if wanted.travel_mode != "ridden":
        yield "nobody rides"
    if height_m is None or not floor_m < height_m <= most.value or not most.trusted:
        yield f"its floor at {height_m} m is not between {floor_m:g} m and a height that its own sheet allows"
    if not all(limit > 0.0 for limit, _ in _tilt_deg(machine)):
        yield "its tilt sensor may be off by all that the machine may lean"


def _takes(zone: ElevatedZone, wanted: MoveWanted, site: Site, machine: Machine) -> bool:
    """Whether a zone is accepted for a move, and every place that it stands at lies in it."""
    word, height_m = zone.acceptance, wanted.platform_height_m
    if word is None or wanted.on is None or height_m is None:
        return False
    weighs_kg = [machine.configurations[wanted.configuration].mass_kg, machine.value("mass_kg")]
    places = [site.places[name].point for name in {wanted.start, wanted.goal, *wanted.via}]
    return (
        word.date <= wanted.on
        and wanted.on <= word.valid_until
        and all(mass_kg <= word.mass_limit_kg for mass_kg in weighs_kg)
        and height_m <= word.platform_height_m
        and all(zone.geometry.covers(point) for point in places)
    )


def _tilt_deg(machine: Machine) -> tuple[tuple[float, Figure], tuple[float, Figure]]:
    """How far a machine may lean along and across, degrees: the sensor's limit less what the sensor may be off.

    Each with the figure that it is as good as. A limit for any direction holds for each axis, too; then a limit of an
    axis that nobody vouches for says nothing.
    """
    any_way, off = machine.figures.get("tilt_any_deg"), machine.figures["tilt_sensor_tolerance_deg"]

    def of(axis: str) -> tuple[float, Figure]:
        own = machine.figures.get(axis)
        if any_way is not None and (own is None or not own.trusted or own.value > any_way.value):
            own = any_way
        assert own is not None  # who has neither is not raised at all
        vague = [one for one in (own, any_way, off) if one is not None and not one.trusted]
        return own.value - off.value, vague[0] if vague else own

    return of("tilt_long_deg"), of("tilt_side_deg")


def _raised(machine: Machine, configuration: str, height_m: float, smooth_m: float, limits: Thresholds) -> Machine:
    low = machine.configurations[configuration]
    over_floor_m = max(box.top_m for box in low.boxes) - low.basket.floor_height_m
    highest_m = height_m + max(over_floor_m, limits.head_height_m)
    # A wheel of one side, or axle, on the largest defect leans what is highest by so much; livelier, and twice.
    lively = 2.0 * limits.tip_participation * smooth_m * highest_m
    body = raised_body(
        low, floor_m=height_m, clearance_m=machine.value("elevated_clearance_m"),
        ahead_m=lively / machine.wheelbase_m, aside_m=lively / machine.track_m,
    )  # fmt: skip
    figures = dict(machine.figures)
    for lowered, own in _RAISED_BY.items():
        figures.pop(lowered, None)
        if own in machine.figures:
            figures[lowered] = machine.figures[own]
    slow, creep = figures["travel_speed_mps"], figures.get("creep_speed_mps")
    if creep is not None and slow.value < creep.value:
        figures["creep_speed_mps"] = slow
    for name, (most_deg, good) in zip(("along", "side_slope_pct"), _tilt_deg(machine), strict=True):
        rating = dataclasses.replace(good, value=100.0 * math.tan(math.radians(most_deg)))
        both = ("gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct")
        figures |= dict.fromkeys(both if name == "along" else (name,), rating)
    for name, value in (("height_m", height_m + over_floor_m), ("platform_floor_m", height_m)):
        figures[name] = dataclasses.replace(figures[name], value=value)
    fl, fr, rl, rr = (_axle(wheel, machine) for wheel in machine.wheels)
    shapes = {**machine.configurations, configuration: body}
    return dataclasses.replace(machine, figures=figures, wheels=(fl, fr, rl, rr), configurations=shapes)


def _axle(wheel: Wheel, machine: Machine) -> Wheel:
    """A wheel of an axle that is locked while the platform is raised, but where the machine's own figure says not."""
    says = machine.figures.get("elevated_axle_follows")
    free = says is not None and says.trusted and says.value == 1
    return wheel if free else dataclasses.replace(wheel, oscillating=False)
