"""From figures to wheels, boxes and basket: the shape of a machine in its own frame, in each configuration it has.

Along the chassis ``xi = 0`` is the middle of the axle that does not steer, the steered axle stands at ``+wheelbase_m``;
of a tracked machine ``xi = 0`` is the middle of its tracks. Where a figure does not say how far a part reaches, the box
takes in too much, never too little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Literal

from routeplan.machine.model import Basket, BasketEnd, Box, Configuration, Wheel

Kind = Literal["scissor", "mast", "boom", "block"]
Axle = Literal["front", "rear"]
Ring = tuple[tuple[float, float], ...]
Parts = tuple[tuple[Box, ...], Basket]

#: Every configuration there is, with the figures that it rests on besides those of ``stowed``: a machine has it when it
#: has these figures.
CONFIGURATIONS: Mapping[str, tuple[str, ...]] = {
    "stowed": (),
    "stowed_rails_folded": ("height_folded_m",),
    "stowed_turned": ("turntable_xi_m",),
}

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


def axles_m(figures: Mapping[str, float]) -> tuple[float, float]:
    """Return ``xi`` of the rear and the front axle, or of the ends of the tracks on the ground.

    >>> axles_m({"wheelbase_m": 2.0}), axles_m({"track_contact_m": 1.5})
    ((0.0, 2.0), (-0.75, 0.75))
    """
    if "track_contact_m" in figures:
        half = figures["track_contact_m"] / 2
        return -half, half
    return 0.0, figures["wheelbase_m"]


def chassis_m(figures: Mapping[str, float]) -> tuple[float, float]:
    """Return ``xi`` of the rear and the front end of the chassis."""
    rear_m, front_m = axles_m(figures)
    return rear_m - figures["rear_overhang_m"], front_m + figures["front_overhang_m"]


def wheels(
    figures: Mapping[str, float], *, steered: bool, oscillating: Axle | None
) -> tuple[Wheel, Wheel, Wheel, Wheel]:
    """Return front left, front right, rear left and rear right for the figures of a machine, all lengths in metres.

    Parameters
    ----------
    steered
        Whether the front axle steers; the rear one stands still in front steer.
    oscillating
        The axle that oscillates.
    """
    half_track = figures["track_m"] / 2
    at = dict(zip(("rear", "front"), axles_m(figures), strict=True))

    def wheel(axle: Axle, side: Literal["left", "right"]) -> Wheel:
        name: Literal["front_left", "front_right", "rear_left", "rear_right"] = f"{axle}_{side}"  # type: ignore[assignment]
        return Wheel(
            name=name,
            xi_m=at[axle],
            eta_m=half_track if side == "left" else -half_track,
            radius_m=figures["wheel_radius_m"],
            width_m=figures["wheel_width_m"],
            steered=steered and axle == "front",
            oscillating=axle == oscillating,
            contact_area_m2=figures["contact_area_m2"],
        )

    return wheel("front", "left"), wheel("front", "right"), wheel("rear", "left"), wheel("rear", "right")


def _block(figures: Mapping[str, float], end: BasketEnd | None) -> Parts:
    """One body over the whole outline, nobody on it; the basket may be anywhere in it."""
    rear_m, front_m = chassis_m(figures)
    outline = rectangle(rear_m, front_m, figures["width_m"])
    body = Box("body", outline, figures["ground_clearance_m"], figures["height_m"])
    return (body,), Basket((rear_m + front_m) / 2, 0.0, figures["height_m"], end, outline)


def _scissor(figures: Mapping[str, float], *, rails_m: float, ridden: bool) -> Parts:
    """Chassis below, platform with its rails above, both over the whole outline."""
    floor_m = figures["platform_floor_m"]
    rear_m, front_m = chassis_m(figures)
    outline = rectangle(rear_m, front_m, figures["width_m"])
    boxes = (
        Box("chassis", outline, figures["ground_clearance_m"], floor_m),
        Box("platform", outline, floor_m, rails_m, occupied=ridden),
    )
    return boxes, Basket((rear_m + front_m) / 2, 0.0, floor_m, None, outline)


def _mast(figures: Mapping[str, float], end: BasketEnd | None, *, ridden: bool) -> Parts:
    """Chassis below, mast over all of it, platform out of it at the front or within it."""
    width_m, floor_m = figures["width_m"], figures["platform_floor_m"]
    rear_m, front_m = chassis_m(figures)
    far_m = axles_m(figures)[1] + figures["basket_overhang_m"]
    near_m = far_m - figures["basket_length_m"]
    platform = rectangle(near_m, far_m, figures["basket_width_m"])
    above = rectangle(rear_m - figures["tail_overhang_m"], max(front_m, far_m), width_m)
    boxes = (
        Box("chassis", rectangle(rear_m, front_m, width_m), figures["ground_clearance_m"], figures["chassis_top_m"]),
        Box("mast", above, figures["chassis_top_m"], figures["height_m"]),
        Box("platform", platform, floor_m - BASKET_BELOW_FLOOR_M, figures["height_m"], occupied=ridden),
    )
    return boxes, Basket((near_m + far_m) / 2, 0.0, floor_m, end, platform)


def boom_stations_m(figures: Mapping[str, float], end: BasketEnd, *, turned: bool) -> tuple[float, float, float, float]:
    """Return ``xi`` of the tail, of the chassis's end under the boom, and of the basket's near and far edge.

    Parameters
    ----------
    end
        The end of the chassis over which the basket is stowed.
    turned
        Whether the turntable is turned half round about its axis, ``turntable_xi_m``.
    """
    rear_m, front_m = chassis_m(figures)
    tail_m, basket_m, long_m = (figures[f"{part}_m"] for part in ("tail_overhang", "basket_overhang", "basket_length"))
    if end == "front":
        far_m = figures["wheelbase_m"] + basket_m
        stations = rear_m - tail_m, front_m, far_m - long_m, far_m
    else:
        stations = front_m + tail_m, rear_m, -basket_m + long_m, -basket_m
    if not turned:
        return stations
    tail, chassis_end, near, far = stations
    twice_m = 2 * figures["turntable_xi_m"]
    return twice_m - tail, rear_m if chassis_end == front_m else front_m, twice_m - near, twice_m - far


def _boom(figures: Mapping[str, float], end: BasketEnd, *, turned: bool) -> Parts:
    """Chassis, turntable and tail over all of it, boom out to the basket, basket with its rails."""
    width_m, floor_m = figures["width_m"], figures["platform_floor_m"]
    tail, chassis_end, near, far = boom_stations_m(figures, end, turned=turned)
    rear_m, front_m = chassis_m(figures)
    underside_m = floor_m - BASKET_BELOW_FLOOR_M

    def along(*stations_m: float, across_m: float) -> Ring:
        return rectangle(min(stations_m), max(stations_m), across_m)

    chassis = rectangle(rear_m, front_m, width_m)
    turntable = along(tail, rear_m, front_m, across_m=width_m)
    basket_ring = along(near, far, across_m=figures["basket_width_m"])
    boxes = (
        Box("chassis", chassis, figures["ground_clearance_m"], figures["chassis_top_m"]),
        Box("turntable and tail", turntable, figures["chassis_top_m"], figures["height_m"]),
        Box("boom", along(chassis_end, near, across_m=BOOM_WIDTH_M), underside_m, figures["boom_top_m"]),
        Box("basket", basket_ring, underside_m, floor_m + BASKET_ABOVE_FLOOR_M, occupied=True),
    )
    now_over: BasketEnd = ("rear" if end == "front" else "front") if turned else end
    return boxes, Basket((near + far) / 2, 0.0, floor_m, now_over, basket_ring)


def configurations(
    figures: Mapping[str, float], *, kind: Kind, basket_end: BasketEnd | None, ridden: bool
) -> dict[str, Configuration]:
    """Return the configurations that a machine has, by id; ``docs/site-folder.md`` says what each one is.

    Parameters
    ----------
    figures
        Every figure that ``kind`` needs, consistent with one another (``read`` sees to it).
    kind
        What is built on the chassis.
    basket_end
        The end over which the basket is stowed; ``None`` for a scissor, whose platform lies over the whole chassis.
    ridden
        Whether the operator rides on the platform.
    """

    def parts(configuration: str) -> Parts:
        if kind == "boom" and basket_end is not None:
            return _boom(figures, basket_end, turned=configuration == "stowed_turned")
        if kind == "mast":
            return _mast(figures, basket_end, ridden=ridden)
        if kind == "block":
            return _block(figures, basket_end)
        folded = configuration == "stowed_rails_folded"
        rails_m = figures["height_folded_m" if folded else "height_m"]
        return _scissor(figures, rails_m=rails_m, ridden=ridden and not folded)

    found = {}
    for name, needed in CONFIGURATIONS.items():
        if all(figure in figures for figure in needed):
            boxes, basket = parts(name)
            footprint = hull(point for box in boxes for point in box.ring)
            found[name] = Configuration(name, boxes, basket, figures["mass_kg"], footprint)
    return found
