"""Whether the figures of one machine can belong to one machine: each fault names the figures that clash."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from routeplan.errors import Fault
from routeplan.machine.model import BasketEnd, Figure
from routeplan.machine.shape import BASKET_ABOVE_FLOOR_M, BASKET_BELOW_FLOOR_M, Kind, turn_radius_at_origin_m

#: Sheets round each length to a centimetre or so.
ADDS_UP_WITHIN_M = 0.02

Clash = tuple[bool, str, tuple[str, ...]]


def _widths_and_lengths(m: Mapping[str, float]) -> Iterator[Clash]:
    """Plan dimensions that every machine has."""
    tread_m = m["track_m"] + m["wheel_width_m"]
    yield (
        tread_m > m["width_m"] + 1e-9,
        f"the tyres reach {tread_m:.3f} m across (track and tyre width), the machine only {m['width_m']:.3f} m",
        ("track_m", "wheel_width_m", "width_m"),
    )
    yield m["wheelbase_m"] >= m["length_m"], "the wheelbase is no shorter than the machine", ("wheelbase_m", "length_m")
    for overhang in ("front_overhang_m", "rear_overhang_m"):
        short = m[overhang] < m["wheel_radius_m"] - 1e-9
        yield short, "the tyre would stand out beyond the overhang of its own end", (overhang, "wheel_radius_m")
    yield (
        m["step_limit_m"] > m["wheel_radius_m"],
        "no wheel climbs a step higher than its own hub",
        ("step_limit_m", "wheel_radius_m"),
    )


def _heights(m: Mapping[str, float], kind: Kind) -> Iterator[Clash]:
    """Heights above the ground, from the underside up."""
    order = ["ground_clearance_m", "platform_floor_m", "height_m"]
    if kind == "boom":
        order = ["ground_clearance_m", "chassis_top_m", "boom_top_m", "height_m"]
        underside_m = m["platform_floor_m"] - BASKET_BELOW_FLOOR_M
        rail_m = m["platform_floor_m"] + BASKET_ABOVE_FLOOR_M
        yield underside_m <= 0, "the basket's underside would lie in the ground", ("platform_floor_m",)
        yield rail_m > m["height_m"], "the basket's rails stand above the machine", ("platform_floor_m", "height_m")
        yield underside_m >= m["boom_top_m"], "the boom lies below its basket", ("boom_top_m", "platform_floor_m")
    for low, high in zip(order, order[1:], strict=False):
        upside_down = m[low] > m[high] if high == "height_m" and low == "boom_top_m" else m[low] >= m[high]
        yield upside_down, f"{m[low]:g} m does not lie below {m[high]:g} m", (low, high)


def _length_adds_up(m: Mapping[str, float], kind: Kind, end: BasketEnd | None) -> Iterator[Clash]:
    """The parts in a row are as long as the machine."""
    parts: tuple[str, ...] = ("rear_overhang_m", "wheelbase_m", "front_overhang_m")
    if kind == "boom":
        ends = ("rear_overhang_m", "front_overhang_m")
        tail_side, boom_side = ends if end == "front" else ends[::-1]
        parts = ("tail_overhang_m", tail_side, "wheelbase_m", "basket_overhang_m")
        yield (
            m["basket_overhang_m"] - m["basket_length_m"] <= m[boom_side],
            "the basket would lie over the chassis, not beyond it",
            ("basket_overhang_m", "basket_length_m", boom_side),
        )
        yield m["basket_width_m"] > m["width_m"], "the basket is wider than the machine", ("basket_width_m", "width_m")
    total_m = sum(m[part] for part in parts)
    yield (
        abs(total_m - m["length_m"]) > ADDS_UP_WITHIN_M,
        f"{' + '.join(parts)} is {total_m:.3f} m, length_m is {m['length_m']:.3f} m",
        (*parts, "length_m"),
    )


def _turning(m: Mapping[str, float]) -> Iterator[Clash]:
    """Turning radii that the outline can describe."""
    radius_m = turn_radius_at_origin_m(
        outside_m=m["turn_radius_outside_m"],
        wheelbase_m=m["wheelbase_m"],
        front_overhang_m=m["front_overhang_m"],
        width_m=m["width_m"],
    )
    too_small = math.isnan(radius_m) or radius_m < 0 or (m["pivots"] == 0 and radius_m == 0)
    least_m = math.hypot(m["wheelbase_m"] + m["front_overhang_m"], m["width_m"] / 2)
    yield (
        too_small,
        f"the outside turning radius {m['turn_radius_outside_m']:g} m is smaller than the front corner can describe "
        f"({least_m:.2f} m)",
        ("turn_radius_outside_m", "wheelbase_m", "front_overhang_m", "width_m"),
    )
    band_m = m["turn_radius_inside_m"] + m["width_m"]
    yield (
        band_m > m["turn_radius_outside_m"],
        "the inside turning radius leaves less than the machine's width to the outside one",
        ("turn_radius_inside_m", "turn_radius_outside_m", "width_m"),
    )
    yield m["pivots"] not in (0, 1), "a machine turns on the spot (1) or does not (0)", ("pivots",)


def clashes(figures: Mapping[str, Figure], *, kind: Kind, basket_end: BasketEnd | None, where: str) -> list[Fault]:
    """Return a fault for each set of figures that cannot belong to one machine.

    Parameters
    ----------
    figures
        Every figure that the kind needs, each within its own bounds.
    where
        Table that the machine was read from, for the message.
    """
    m = {name: figure.value for name, figure in figures.items()}
    every = (*_widths_and_lengths(m), *_heights(m, kind), *_length_adds_up(m, kind, basket_end), *_turning(m))
    return [
        Fault(
            code="figures-clash",
            where=where,
            what=f"{text} ({', '.join(f'{name} from {figures[name].tag}' for name in names)})",
            mend="take these figures from the same sheet, or measure them on the machine",
        )
        for clash, text, names in every
        if clash
    ]
