"""A machine that travels with its platform raised: which may, and the body it then has (docs/method.md 15)."""

from __future__ import annotations

from dataclasses import replace

from routeplan.machine.model import Box, Configuration, Machine
from routeplan.machine.modelled import not_ridden, on_outriggers
from routeplan.machine.shape import rectangle

#: Figures without which nobody can say how a machine travels raised. Of tilt, both axes or any direction besides.
RAISED_FIGURES = (
    "tilt_sensor_tolerance_deg", "elevated_height_max_m", "elevated_speed_mps", "elevated_step_m",
    "elevated_clearance_m",
)  # fmt: skip
#: What a machine raised goes by instead of the figures of the same machine lowered.
INSTEAD = {
    "step_limit_m": "elevated_step_m",
    "ground_clearance_m": "elevated_clearance_m",
    "travel_speed_mps": "elevated_speed_mps",
    "bounce_period_s": "elevated_bounce_period_s",
    "bounce_damping_pct": "elevated_bounce_damping_pct",
}
#: Whether an axle that oscillates does so raised, too; it is locked unless the machine's own figure says 1.
FOLLOWS = "elevated_axle_follows"
#: Rounding of lengths that a sheet gives, m.
_ROUNDING_M = 1e-9


def not_raised(machine: Machine, configuration: str) -> str | None:
    """Return why a machine may not travel raised, whatever the ground; ``None`` when it may.

    What may is the simplest body: wheels below, and a platform that goes straight up and stays over the chassis.
    """
    boxes = {box.name: box for box in machine.configurations[configuration].boxes}
    if machine.slews or machine.tracks or on_outriggers(machine) or not {"chassis", "platform"} <= set(boxes):
        return "only scissors and masts on wheels, whose platform goes straight up, are modelled with it raised"
    if not _within(boxes["platform"], boxes["chassis"]):
        return "its platform reaches beyond its chassis, which is not modelled with it raised"
    if (why := not_ridden(machine, configuration)) is not None:
        return why
    lacking = [name for name in RAISED_FIGURES if name not in machine.figures]
    if "tilt_any_deg" not in machine.figures:
        lacking += [name for name in ("tilt_side_deg", "tilt_long_deg") if name not in machine.figures]
    return f"nobody gave {', '.join(lacking)}: read them from the machine's sheet" if lacking else None


def raised_body(
    configuration: Configuration, *, floor_m: float, clearance_m: float, ahead_m: float, aside_m: float
) -> Configuration:
    """Return the body with its platform's floor raised: all from the chassis up to the rails as wide as the machine.

    Parameters
    ----------
    floor_m
        Height of the platform's floor above the ground.
    clearance_m
        Ground clearance with the guards down.
    ahead_m, aside_m
        How far what is raised may be thrown along and across the chassis; it is as much larger on every side.
    """
    boxes = {box.name: box for box in configuration.boxes}
    rails_m = max(box.top_m for box in configuration.boxes) - configuration.basket.floor_height_m
    xi, eta = zip(*(corner for box in configuration.boxes for corner in box.ring), strict=True)
    half_m = max(max(eta), -min(eta)) + aside_m
    column = rectangle(min(xi) - ahead_m, max(xi) + ahead_m, 2.0 * half_m)
    chassis = replace(boxes["chassis"], bottom_m=clearance_m)
    raised = Box("platform", column, chassis.top_m, floor_m + rails_m, occupied=True)
    basket = replace(configuration.basket, floor_height_m=floor_m, ring=column)
    return replace(configuration, boxes=(chassis, raised), basket=basket, footprint=column)


def _within(inner: Box, outer: Box) -> bool:
    """Whether a box's outline lies within the upright rectangle of another's."""
    (xi, eta), (out_xi, out_eta) = (tuple(zip(*box.ring, strict=True)) for box in (inner, outer))
    return bool(
        min(xi) >= min(out_xi) - _ROUNDING_M and max(xi) <= max(out_xi) + _ROUNDING_M
        and min(eta) >= min(out_eta) - _ROUNDING_M and max(eta) <= max(out_eta) + _ROUNDING_M
    )  # fmt: skip
