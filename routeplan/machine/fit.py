"""Whether the figures of one machine can belong to one machine: each fault names the figures that clash."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from routeplan.errors import Fault
from routeplan.machine.model import BasketEnd, Figure
from routeplan.machine.shape import (
    BASKET_ABOVE_FLOOR_M,
    BASKET_BELOW_FLOOR_M,
    Kind,
    axles_m,
    boom_stations_m,
    turn_radius_at_origin_m,
)

#: Sheets round each length to a centimetre or so.
ADDS_UP_WITHIN_M = 0.02

Clash = tuple[bool, str, tuple[str, ...]]


def _span(m: Mapping[str, float]) -> str:
    """Return the name of the figure that says how far apart the axles stand, or the ends of the tracks."""
    return "track_contact_m" if "track_contact_m" in m else "wheelbase_m"


def _widths_and_lengths(m: Mapping[str, float]) -> Iterator[Clash]:
    """Plan dimensions that every machine has."""
    tread_m = m["track_m"] + m["wheel_width_m"]
    yield (
        tread_m > m["width_m"] + 1e-9,
        f"the tyres reach {tread_m:.3f} m across (track and tyre width), the machine only {m['width_m']:.3f} m",
        ("track_m", "wheel_width_m", "width_m"),
    )
    span = _span(m)
    yield m[span] >= m["length_m"], "the wheelbase is no shorter than the machine", (span, "length_m")
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
    order = {
        "block": ["ground_clearance_m", "height_m"],
        "scissor": ["ground_clearance_m", "platform_floor_m", "height_m"],
        "mast": ["ground_clearance_m", "chassis_top_m", "height_m"],
        "boom": ["ground_clearance_m", "chassis_top_m", "boom_top_m", "height_m"],
    }[kind]
    if kind == "boom":
        underside_m = m["platform_floor_m"] - BASKET_BELOW_FLOOR_M
        rail_m = m["platform_floor_m"] + BASKET_ABOVE_FLOOR_M
        yield underside_m <= 0, "the basket's underside would lie in the ground", ("platform_floor_m",)
        yield rail_m > m["height_m"], "the basket's rails stand above the machine", ("platform_floor_m", "height_m")
        yield underside_m >= m["boom_top_m"], "the boom lies below its basket", ("boom_top_m", "platform_floor_m")
    pairs = list(zip(order, order[1:], strict=False))
    if kind == "mast":
        underside_m = m["platform_floor_m"] - BASKET_BELOW_FLOOR_M
        yield underside_m <= 0, "the platform's underside would lie in the ground", ("platform_floor_m",)
        pairs.append(("platform_floor_m", "height_m"))
    if "height_folded_m" in m:
        pairs += [("platform_floor_m", "height_folded_m"), ("height_folded_m", "height_m")]
    for low, high in pairs:
        upside_down = m[low] > m[high] if high == "height_m" and low == "boom_top_m" else m[low] >= m[high]
        yield upside_down, f"{m[low]:g} m does not lie below {m[high]:g} m", (low, high)


def _basket_over_chassis(m: Mapping[str, float], kind: Kind, end: BasketEnd | None) -> Iterator[Clash]:
    """Baskets narrower than the machine; those of booms beyond the chassis, stowed and turned round."""
    if kind not in ("boom", "mast"):
        return
    yield m["basket_width_m"] > m["width_m"], "the basket is wider than the machine", ("basket_width_m", "width_m")
    if kind == "boom" and end is not None:
        sides = ("front_overhang_m", "rear_overhang_m")
        boom_side, tail_side = sides if end == "front" else sides[::-1]
        yield (
            m["basket_overhang_m"] - m["basket_length_m"] <= m[boom_side],
            "the basket would lie over the chassis, not beyond it",
            ("basket_overhang_m", "basket_length_m", boom_side),
        )
        yield (
            m["turntable_xi_m"] > m["wheelbase_m"],
            "the turntable's axis does not lie between the axles",
            ("turntable_xi_m", "wheelbase_m"),
        )
        _, chassis_end, near, far = boom_stations_m(m, end, turned=True)
        yield (
            (near - chassis_end) * (far - near) <= 0,
            "turned round, the basket would lie over the chassis, not beyond it",
            ("turntable_xi_m", "basket_overhang_m", "basket_length_m", tail_side),
        )


def _tail_turns(m: Mapping[str, float], kind: Kind, end: BasketEnd | None) -> Iterator[Clash]:
    """A tail that sweeps no smaller a circle than it reaches from the turntable's axis as it is stowed."""
    if kind != "boom" or end is None or "turntable_xi_m" not in m or "tail_swing_radius_m" not in m:
        return
    reach_m = abs(boom_stations_m(m, end, turned=False)[0] - m["turntable_xi_m"])
    yield (
        m["tail_swing_radius_m"] < reach_m - ADDS_UP_WITHIN_M,
        f"the tail reaches {reach_m:.3f} m from the turntable's axis, its circle only {m['tail_swing_radius_m']:.3f} m",
        ("tail_swing_radius_m", "turntable_xi_m", "tail_overhang_m"),
    )


def _length_adds_up(m: Mapping[str, float], kind: Kind, end: BasketEnd | None) -> Iterator[Clash]:
    """The parts in a row are as long as the machine."""
    parts: tuple[str, ...] = ("rear_overhang_m", _span(m), "front_overhang_m")
    if kind == "boom":
        parts = ("tail_overhang_m", f"{'rear' if end == 'front' else 'front'}_overhang_m", "wheelbase_m")
        parts += ("basket_overhang_m",)
    if kind == "mast":
        ahead = "basket_overhang_m" if m["basket_overhang_m"] > m["front_overhang_m"] else "front_overhang_m"
        parts = ("tail_overhang_m", "rear_overhang_m", "wheelbase_m", ahead)
    total_m = sum(m[part] for part in parts)
    yield (
        abs(total_m - m["length_m"]) > ADDS_UP_WITHIN_M,
        f"{' + '.join(parts)} is {total_m:.3f} m, length_m is {m['length_m']:.3f} m",
        (*parts, "length_m"),
    )


def _turning(m: Mapping[str, float]) -> Iterator[Clash]:
    """Turning radii that the outline can describe; a towed machine has none of its own."""
    if "turn_radius_outside_m" not in m:
        return
    ahead_m = axles_m(m)[1]
    radius_m = turn_radius_at_origin_m(
        outside_m=m["turn_radius_outside_m"],
        wheelbase_m=ahead_m,
        front_overhang_m=m["front_overhang_m"],
        width_m=m["width_m"],
    )
    too_small = math.isnan(radius_m) or radius_m < 0 or (m["pivots"] == 0 and radius_m == 0)
    least_m = math.hypot(ahead_m + m["front_overhang_m"], m["width_m"] / 2)
    yield (
        too_small,
        f"the outside turning radius {m['turn_radius_outside_m']:g} m is smaller than the front corner can describe "
        f"({least_m:.2f} m)",
        ("turn_radius_outside_m", _span(m), "front_overhang_m", "width_m"),
    )
    band_m = m["turn_radius_inside_m"] + m["width_m"]
    yield (
        band_m > m["turn_radius_outside_m"],
        "the inside turning radius leaves less than the machine's width to the outside one",
        ("turn_radius_inside_m", "turn_radius_outside_m", "width_m"),
    )
    yield m["pivots"] not in (0, 1), "a machine turns on the spot (1) or does not (0)", ("pivots",)


def _axles_held(m: Mapping[str, float]) -> Iterator[Clash]:
    """Axles that are braked or driven, or not; one of them is braked."""
    for name in ("brakes_front", "brakes_rear", "drives_front", "drives_rear"):
        yield m.get(name, 0.0) not in (0, 1), "an axle is braked or driven (1) or it is not (0)", (name,)
    braked = ("brakes_front", "brakes_rear")
    yield all(m.get(name) == 0 for name in braked), "neither axle is braked: nothing would stop it", braked


def _turning_coordinated(m: Mapping[str, float]) -> Iterator[Clash]:
    """An outside radius in coordinated steer that the front corner can describe, no larger than in front steer."""
    if "turn_radius_outside_coordinated_m" not in m:
        return
    outside_m, half_m = m["turn_radius_outside_coordinated_m"], axles_m(m)[1] / 2
    radius_m = turn_radius_at_origin_m(
        outside_m=outside_m, wheelbase_m=half_m, front_overhang_m=m["front_overhang_m"], width_m=m["width_m"]
    )
    yield (
        not radius_m > 0,
        f"the outside turning radius {outside_m:g} m in coordinated steer is smaller than the front corner can "
        f"describe ({math.hypot(half_m + m['front_overhang_m'], m['width_m'] / 2):.2f} m)",
        ("turn_radius_outside_coordinated_m", _span(m), "front_overhang_m", "width_m"),
    )
    yield (
        outside_m > m["turn_radius_outside_m"],
        "coordinated steer turns wider than front steer",
        ("turn_radius_outside_coordinated_m", "turn_radius_outside_m"),
    )


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
    every = (
        *_widths_and_lengths(m),
        *_heights(m, kind),
        *_basket_over_chassis(m, kind, basket_end),
        *_tail_turns(m, kind, basket_end),
        *_length_adds_up(m, kind, basket_end),
        *_turning(m),
        *_turning_coordinated(m),
        *_axles_held(m),
    )
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
