"""Small invented sites and machines, built in memory, for the tests of every room."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from routeplan.machine.model import Basket, Box, Configuration, Figure, Machine, Tag, Wheel
from routeplan.machine.read import build_machine
from routeplan.site.elevated_zone import ElevatedZone, RaisedAcceptance
from routeplan.site.friction import Friction
from routeplan.site.model import (
    Acceptance,
    Accuracy,
    Ground,
    MoveWanted,
    Place,
    Site,
    Surface,
)

ALL_LAYERS = frozenset(
    {"obstacles", "soffits", "surfaces", "defects", "walkways", "overhead_lines", "excavations", "areas"}
)

GOOD_SURVEY = Accuracy(
    short_range_m=0.001,
    datum_m=0.005,
    correlation_m=2.0,
    smallest_hole_m=0.05,
    survey="S1",
    date=dt.date(2026, 11, 2),
    assumed=False,
)

#: Braked and driven on all four wheels, and hard.
HELD = {"brakes_front": 1.0, "brakes_rear": 1.0, "drives_front": 1.0, "drives_rear": 1.0, "brake_mps2": 8.0}

#: Rough as clean concrete, in rain too (invented).
ROUGH = Friction("a test", 0.9, 0.9, None)
#: Enough to be judged by where it works.
TILT = {"tilt_side_deg": 2.0, "tilt_long_deg": 3.0, "tilt_sensor_tolerance_deg": 0.2}

#: Enough to be judged as it travels raised.
RAISED: dict[str, Any] = {
    "elevated_height_max_m": 8.0, "elevated_speed_mps": 0.3, "elevated_step_m": 0.015, "elevated_clearance_m": 0.02,
    "elevated_bounce_period_s": 0.3, "elevated_bounce_damping_pct": 20.0,
}  # fmt: skip

#: A basket that hardly swings, so that other checks decide.
STIFF = {"bounce_period_s": 0.3, "bounce_damping_pct": 20.0, "travel_speed_mps": 0.5, "creep_speed_mps": 0.2}

SPIDER = {"class": "tracked-spider-20m"}


def ring(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    """Anticlockwise rectangle."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def machine(
    machine_id: str,
    figures: dict[str, float],
    wheels: tuple[Wheel, Wheel, Wheel, Wheel],
    configuration: Configuration,
    *,
    slews: bool = False,
    tag: Tag = "sheet",
) -> Machine:
    """A machine whose every figure carries one tag."""
    return Machine(
        id=machine_id,
        class_id="test",
        title=f"{machine_id} (invented)",
        figures={name: Figure(name, value, tag, "invented for a test") for name, value in figures.items()},
        wheels=wheels,
        configurations={configuration.id: configuration},
        slews=slews,
    )


def four_wheels(
    *, wheelbase_m: float, track_m: float, radius_m: float, width_m: float, oscillating: str | None = None
) -> tuple[Wheel, Wheel, Wheel, Wheel]:
    """Front left, front right, rear left, rear right; the front axle steers."""

    def wheel(name: Any, xi_m: float, eta_m: float, axle: str) -> Wheel:
        return Wheel(name, xi_m, eta_m, radius_m, width_m, axle == "front", axle == oscillating, 0.02)

    return (
        wheel("front_left", wheelbase_m, track_m / 2, "front"),
        wheel("front_right", wheelbase_m, -track_m / 2, "front"),
        wheel("rear_left", 0.0, track_m / 2, "rear"),
        wheel("rear_right", 0.0, -track_m / 2, "rear"),
    )


def scissor(machine_id: str = "SC", *, tag: Tag = "sheet", **changes: float) -> Machine:
    """A narrow slab scissor, 2.4 x 0.81 m, platform over the whole chassis; it may pivot when ``pivots=1``."""
    figures = {
        "mass_kg": 2300.0,
        "length_m": 2.40,
        "width_m": 0.81,
        "height_m": 2.30,
        "wheelbase_m": 1.85,
        "track_m": 0.70,
        "wheel_radius_m": 0.19,
        "wheel_width_m": 0.11,
        "contact_area_m2": 0.01,
        "turn_radius_outside_m": 2.30,
        "turn_radius_inside_m": 0.2,
        "gradeability_basket_uphill_pct": 25.0,
        "gradeability_basket_downhill_pct": 25.0,
        "side_slope_pct": 20.0,
        "ground_clearance_m": 0.09,
        "step_limit_m": 0.06,
        "platform_floor_m": 1.20,
        "front_overhang_m": 0.28,
        "rear_overhang_m": 0.27,
        "pivots": 0.0,
        **STIFF,
        **HELD,
        **TILT,
    } | changes
    outline = ring(-0.27, -figures["width_m"] / 2, 2.13, figures["width_m"] / 2)
    configuration = Configuration(
        id="stowed",
        boxes=(
            Box("chassis", outline, figures["ground_clearance_m"], figures["platform_floor_m"]),
            Box("platform", outline, figures["platform_floor_m"], figures["height_m"], occupied=True),
        ),
        basket=Basket(0.93, 0.0, figures["platform_floor_m"], None, outline),
        mass_kg=figures["mass_kg"],
        footprint=outline,
    )
    wheels = four_wheels(
        wheelbase_m=figures["wheelbase_m"],
        track_m=figures["track_m"],
        radius_m=figures["wheel_radius_m"],
        width_m=figures["wheel_width_m"],
    )
    return machine(machine_id, figures, wheels, configuration, tag=tag)


def boom(machine_id: str = "TB", *, tag: Tag = "sheet", oscillating: str | None = "front", **changes: float) -> Machine:
    """A 20 m class telescopic boom, 8.8 m long stowed, basket 4.0 m beyond the front axle."""
    figures = {
        "mass_kg": 10500.0,
        "length_m": 8.80,
        "width_m": 2.44,
        "height_m": 2.60,
        "wheelbase_m": 2.50,
        "track_m": 2.05,
        "wheel_radius_m": 0.46,
        "wheel_width_m": 0.33,
        "contact_area_m2": 0.06,
        "turn_radius_outside_m": 5.50,
        "turn_radius_inside_m": 2.4,
        "gradeability_basket_uphill_pct": 40.0,
        "gradeability_basket_downhill_pct": 30.0,
        "side_slope_pct": 25.0,
        "ground_clearance_m": 0.35,
        "step_limit_m": 0.15,
        "platform_floor_m": 0.50,
        "front_overhang_m": 0.60,
        "rear_overhang_m": 0.70,
        "basket_overhang_m": 4.60,
        "tail_overhang_m": 1.0,
        "tail_swing_radius_m": 2.9,
        "turntable_xi_m": 1.2,
        "chassis_top_m": 1.3,
        "basket_length_m": 0.90,
        "basket_width_m": 2.30,
        "oscillation_stop_deg": 6.0,
        "pivots": 0.0,
        **STIFF,
        **HELD,
        **TILT,
    } | changes
    half = figures["width_m"] / 2
    basket_ring = ring(6.20, -figures["basket_width_m"] / 2, 7.10, figures["basket_width_m"] / 2)
    configuration = Configuration(
        id="stowed",
        boxes=(
            Box("chassis", ring(-0.70, -half, 3.10, half), figures["ground_clearance_m"], 1.30),
            Box("turntable and tail", ring(-1.70, -half, 2.0, half), 1.30, figures["height_m"]),
            Box("boom", ring(2.0, -0.4, 6.20, 0.4), 0.60, 2.0),
            Box("basket", basket_ring, 0.35, 1.60, occupied=True),
        ),
        basket=Basket(6.65, 0.0, figures["platform_floor_m"], "front", basket_ring),
        mass_kg=figures["mass_kg"],
        footprint=ring(-1.70, -half, 7.10, half),
    )
    wheels = four_wheels(
        wheelbase_m=figures["wheelbase_m"],
        track_m=figures["track_m"],
        radius_m=figures["wheel_radius_m"],
        width_m=figures["wheel_width_m"],
        oscillating=oscillating,
    )
    return machine(machine_id, figures, wheels, configuration, slews=True, tag=tag)


def spider(machine_id: str = "SP", **changes: float) -> Machine:
    """The class of a tracked spider, 5.4 x 0.8 m on tracks 1.2 m long, each of its figures vouched for by a sheet."""
    own = {name: figure.value for name, figure in build_machine("", SPIDER, where="test").figures.items()}
    return build_machine(machine_id, {**SPIDER, "sheet_source": "a test", "sheet": own | changes}, where="test")


def ground(z: NDArray[np.float64], *, cell_m: float = 0.25, accuracy: Accuracy = GOOD_SURVEY) -> Ground:
    """Levels from an array with row 0 in the south and the first node at the origin."""
    return Ground(z=z, x_min=0.0, y_min=0.0, cell_m=cell_m, accuracy=accuracy)


def flat_site(
    east_m: float = 40.0,
    north_m: float = 30.0,
    *,
    z: NDArray[np.float64] | None = None,
    machines: tuple[Machine, ...] = (),
    places: tuple[Place, ...] = (),
    moves: tuple[MoveWanted, ...] = (),
    accuracy: Accuracy = GOOD_SURVEY,
    cell_m: float = 0.25,
    **layers: Any,
) -> Site:
    """A level, wholly accepted yard with the layers given; ``z`` replaces the levels."""
    shape = (round(north_m / cell_m) + 1, round(east_m / cell_m) + 1)
    levels = np.zeros(shape) if z is None else z
    outline: Polygon = box(0.0, 0.0, east_m, north_m)
    accepted = Surface(
        "yard", outline, "stone", Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0),
        friction=ROUGH,
    )
    layers.setdefault("surfaces", (accepted,))
    layers.setdefault("layers_given", ALL_LAYERS)
    return Site(
        name="Test yard (invented)",
        revision="T1",
        crs="local",
        invented=True,
        boundary=outline,
        ground=ground(levels, cell_m=cell_m, accuracy=accuracy),
        places={place.id: place for place in places},
        machines={m.id: m for m in machines},
        moves=moves,
        **layers,
    )


def place(place_id: str, x: float, y: float, bearing_deg: float | None = None, *, kind: str = "parking") -> Place:
    """A place at a point, where nobody works unless ``kind`` says so; its tolerance is 0.1 m."""
    return Place(place_id, kind, place_id, Point(x, y), bearing_deg, 0.1)


def zone(
    x0: float, y0: float, x1: float, y1: float, *, zone_id: str = "Z", mass_limit_kg: float = 3000.0,
    platform_height_m: float = 6.0, smooth_to_m: float = 0.01,
) -> ElevatedZone:  # fmt: skip
    """A zone accepted for travel with the platform raised, on the days about that of ``raised``."""
    word = RaisedAcceptance(
        "temporary works coordinator", dt.date(2026, 11, 1), dt.date(2026, 12, 31), mass_limit_kg, platform_height_m,
        smooth_to_m,
    )  # fmt: skip
    return ElevatedZone(zone_id, box(x0, y0, x1, y1), word)


def raised(move: MoveWanted, height_m: float | None = 5.0) -> MoveWanted:
    """The same move with the platform raised, on a day."""
    return replace(move, regime="elevated", platform_height_m=height_m, on=dt.date(2026, 12, 1))


def wanted(machine_id: str, start: str, goal: str, *, move_id: str = "M1", travel_mode: Any = "ridden") -> MoveWanted:
    """A delivery in the stowed configuration."""
    return MoveWanted(move_id, "delivery", machine_id, "stowed", travel_mode, start, goal, None)
