"""From figures to wheels, boxes and basket: the shape of a machine in its own frame.

Along the chassis ``xi = 0`` is the middle of the axle that does not steer, the steered axle stands at ``+wheelbase_m``.
Where a figure does not say how far a part reaches, the box takes in too much, never too little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Literal

from routeplan.machine.model import Basket, BasketEnd, Box, Configuration, Wheel

Kind = Literal["scissor", "boom"]
Axle = Literal["front", "rear"]
Ring = tuple[tuple[float, float], ...]

#: Guard rail 1.10 m (EN 280-1, from memory) and the control box on top of it (from memory).
BASKET_ABOVE_FLOOR_M = 1.30
#: Floor and frame under an operator's feet in a boom's basket, from memory, careful side.
BASKET_BELOW_FLOOR_M = 0.15
#: Width of a stowed boom with its hoses, from memory, careful side.
BOOM_WIDTH_M = 0.80


def rectangle(xi_from_m: float, xi_to_m: float, width_m: float) -> Ring:
    """Return the anticlockwise ring of a rectangle that is symmetric about the chassis's middle line.

    >>> rectangle(0.0, 2.0, 1.0)
    ((0.0, -0.5), (2.0, -0.5), (2.0, 0.5), (0.0, 0.5))
    """
    half = width_m / 2
    return ((xi_from_m, -half), (xi_to_m, -half), (xi_to_m, half), (xi_from_m, half))


def hull(points: Iterable[tuple[float, float]]) -> Ring:
    """Return the convex hull of points, anticlockwise, without points on its edges (Andrew's monotone chain).

    >>> hull([(0.0, 0.0), (2.0, 0.0), (1.0, 0.0), (2.0, 1.0), (0.0, 1.0), (1.0, 0.5)])
    ((0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0))
    """
    ordered = sorted(set(points))

    def half(sequence: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        chain: list[tuple[float, float]] = []
        for x, y in sequence:
            while len(chain) > 1:
                (x0, y0), (x1, y1) = chain[-2:]
                if (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) > 0:
                    break
                chain.pop()
            chain.append((x, y))
        return chain[:-1]

    return tuple(half(ordered) + half(reversed(ordered)))


def turn_radius_at_origin_m(*, outside_m: float, wheelbase_m: float, front_overhang_m: float, width_m: float) -> float:
    """Return the turning radius of the origin for an outside radius that the front outer corner describes.

    Returns
    -------
    float
        Metres; NaN when the outside radius is smaller than the chassis's front corner can describe.

    Notes
    -----
    ``sqrt(R_out^2 - (L + f)^2) - W/2``: the corner stands at ``(L + f, Rc + W/2)`` from the turning centre.

    >>> turn_radius_at_origin_m(outside_m=5.0, wheelbase_m=2.5, front_overhang_m=0.5, width_m=2.0)
    3.0
    """
    squared = outside_m**2 - (wheelbase_m + front_overhang_m) ** 2
    return math.sqrt(squared) - width_m / 2 if squared >= 0 else math.nan


def wheels(
    figures: Mapping[str, float], *, steering: Axle, oscillating: Axle | None
) -> tuple[Wheel, Wheel, Wheel, Wheel]:
    """Return front left, front right, rear left and rear right for the figures of a machine, all lengths in metres."""
    half_track = figures["track_m"] / 2

    def wheel(axle: Axle, side: Literal["left", "right"]) -> Wheel:
        name: Literal["front_left", "front_right", "rear_left", "rear_right"] = f"{axle}_{side}"  # type: ignore[assignment]
        return Wheel(
            name=name,
            xi_m=figures["wheelbase_m"] if axle == "front" else 0.0,
            eta_m=half_track if side == "left" else -half_track,
            radius_m=figures["wheel_radius_m"],
            width_m=figures["wheel_width_m"],
            steered=axle == steering,
            oscillating=axle == oscillating,
            contact_area_m2=figures["contact_area_m2"],
        )

    return wheel("front", "left"), wheel("front", "right"), wheel("rear", "left"), wheel("rear", "right")


def _scissor(figures: Mapping[str, float]) -> tuple[tuple[Box, ...], Basket]:
    """Chassis below, platform with its rails above, both over the whole outline."""
    floor_m = figures["platform_floor_m"]
    rear_m, front_m = -figures["rear_overhang_m"], figures["wheelbase_m"] + figures["front_overhang_m"]
    outline = rectangle(rear_m, front_m, figures["width_m"])
    boxes = (
        Box("chassis", outline, figures["ground_clearance_m"], floor_m),
        Box("platform", outline, floor_m, figures["height_m"], occupied=True),
    )
    return boxes, Basket((rear_m + front_m) / 2, 0.0, floor_m, None, outline)


def _boom_stations(figures: Mapping[str, float], end: BasketEnd) -> tuple[float, float, float, float]:
    """Return xi of the tail, of the chassis's end under the boom, and of the basket's near and far edge."""
    rear_m, front_m = -figures["rear_overhang_m"], figures["wheelbase_m"] + figures["front_overhang_m"]
    tail_m, basket_m, long_m = (figures[f"{part}_m"] for part in ("tail_overhang", "basket_overhang", "basket_length"))
    if end == "front":
        far_m = figures["wheelbase_m"] + basket_m
        return rear_m - tail_m, front_m, far_m - long_m, far_m
    return front_m + tail_m, rear_m, -basket_m + long_m, -basket_m


def _boom(figures: Mapping[str, float], end: BasketEnd) -> tuple[tuple[Box, ...], Basket]:
    """Chassis, turntable and tail over all of it, boom out to the basket, basket with its rails."""
    width_m, floor_m = figures["width_m"], figures["platform_floor_m"]
    tail, chassis_end, near, far = _boom_stations(figures, end)
    underside_m = floor_m - BASKET_BELOW_FLOOR_M

    def along(one: float, other: float, across_m: float) -> Ring:
        return rectangle(min(one, other), max(one, other), across_m)

    chassis = rectangle(-figures["rear_overhang_m"], figures["wheelbase_m"] + figures["front_overhang_m"], width_m)
    basket_ring = along(near, far, figures["basket_width_m"])
    boxes = (
        Box("chassis", chassis, figures["ground_clearance_m"], figures["chassis_top_m"]),
        Box("turntable and tail", along(tail, chassis_end, width_m), figures["chassis_top_m"], figures["height_m"]),
        Box("boom", along(chassis_end, near, BOOM_WIDTH_M), underside_m, figures["boom_top_m"]),
        Box("basket", basket_ring, underside_m, floor_m + BASKET_ABOVE_FLOOR_M, occupied=True),
    )
    return boxes, Basket((near + far) / 2, 0.0, floor_m, end, basket_ring)


def stowed(figures: Mapping[str, float], *, kind: Kind, basket_end: BasketEnd | None) -> Configuration:
    """Return the configuration ``stowed``: rails up, boom down, axles as delivered.

    Parameters
    ----------
    figures
        Every figure that ``kind`` needs, consistent with one another (``read`` sees to it).
    kind
        Scissor or boom.
    basket_end
        The end over which a boom's basket lies; ignored for a scissor, whose platform lies over the whole chassis.
    """
    boxes, basket = _scissor(figures) if kind == "scissor" or basket_end is None else _boom(figures, basket_end)
    return Configuration(
        id="stowed",
        boxes=boxes,
        basket=basket,
        mass_kg=figures["mass_kg"],
        footprint=hull(point for box in boxes for point in box.ring),
    )
