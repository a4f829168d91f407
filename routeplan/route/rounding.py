"""The plan as it is written: numbers on a fixed grid, so that the same plan gives the same bytes.

Where a number speaks for or against somebody's safety it is rounded against the user: margins down, values towards and
past their limit, needs and doubts up. Machine figures are never rounded: the second opinion compares them exactly.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from routeplan.route.model import (
    Check,
    Hold,
    Leg,
    Measurement,
    Move,
    NearMiss,
    Objection,
    Plan,
    Pose,
    Refused,
    SectionRow,
    Zone,
)

#: Metres, degrees and their like: 0.01 mm, far below what anybody measures on a site.
STEP = Decimal("1e-5")
#: Pure numbers (k, bound).
FINE = Decimal("1e-6")


@lru_cache(maxsize=1 << 16)
def _on_grid(value: float, step: Decimal, rounding: str) -> float:
    """Round through the shortest decimal of the float, so that a rounded value stays where it is; NaN and inf pass."""
    if not math.isfinite(value):
        return value
    exact = Decimal(repr(float(value)))
    # Digits enough for any float on this grid; quantize refuses numbers that have more than the context's.
    if exact.adjusted() > 15:
        return float(value)
    return float(exact.quantize(step, rounding=rounding)) + 0.0


def near(value: float) -> float:
    """Return the nearest number on the grid.

    >>> near(1.2345678), near(-0.0000001)
    (1.23457, 0.0)
    """
    return _on_grid(value, STEP, ROUND_HALF_EVEN)


def down(value: float) -> float:
    """Return the next number on the grid that is not larger.

    >>> down(0.29), down(0.299999)
    (0.29, 0.29999)
    """
    return _on_grid(value, STEP, ROUND_FLOOR)


def up(value: float, step: Decimal = STEP) -> float:
    """Return the next number on the grid that is not smaller.

    >>> up(0.29), up(0.290001)
    (0.29, 0.29001)
    """
    return _on_grid(value, step, ROUND_CEILING)


def _place(place: tuple[float, float]) -> tuple[float, float]:
    return near(place[0]), near(place[1])


def _ring(ring: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple(map(_place, ring))


def _pose(pose: Pose) -> Pose:
    """Poses are rounded to the nearest; a bearing that rounds to 360 is 0."""
    bearing = round(pose.bearing_deg, 5) % 360.0 + 0.0
    return pose._replace(
        x=round(pose.x, 5) + 0.0,
        y=round(pose.y, 5) + 0.0,
        bearing_deg=bearing,
        v_max_mps=down(pose.v_max_mps),
        chainage_m=round(pose.chainage_m, 5) + 0.0,
    )


def _section_row(row: SectionRow) -> SectionRow:
    """Places and slopes to the nearest, what is to spare down."""
    told = {name: near(getattr(row, name)) for name in ("chainage_m", "level_m", "pitch_deg", "roll_deg")}
    return SectionRow(**{name: told.get(name, down(value)) for name, value in row._asdict().items()})


def _check(check: Check) -> Check:
    """Margin down, doubt up; value and limit the way that leaves less between them (or more beyond)."""
    towards_more = (check.limit - check.value) * check.margin
    rounded_value, rounded_limit = near(check.value), near(check.limit)
    if towards_more > 0:  # an upper limit: the value may not exceed it
        rounded_value, rounded_limit = up(check.value), down(check.limit)
    elif towards_more < 0:
        rounded_value, rounded_limit = down(check.value), up(check.limit)
    return replace(
        check,
        value=rounded_value,
        limit=rounded_limit,
        margin=down(check.margin),
        sigma=up(check.sigma),
        k=up(check.k, FINE),
        chainage_m=near(check.chainage_m),
        place=_place(check.place),
        settled_by=tuple(map(_measurement, check.settled_by)),
    )


def _measurement(one: Measurement) -> Measurement:
    """What is good enough is rounded to better."""
    return replace(one, place=_place(one.place), level_m=near(one.level_m), sigma_m=down(one.sigma_m))


def _zone(zone: Zone) -> Zone:
    return replace(
        zone,
        chainage_from_m=down(zone.chainage_from_m),
        chainage_to_m=up(zone.chainage_to_m),
        value=near(zone.value),
        limit=near(zone.limit),
        ground=_ring(zone.ground),
        basket=_ring(zone.basket),
    )


def _objection(objection: Objection) -> Objection:
    return replace(
        objection,
        chainage_m=near(objection.chainage_m),
        place=_place(objection.place),
        value=near(objection.value),
        limit=near(objection.limit),
    )


def _refused(refused: Refused) -> Refused:
    return Refused(tuple(map(_pose, refused.poses)), tuple(map(_objection, refused.objections)))


def _hold(hold: Hold) -> Hold:
    return replace(hold, chainage_m=near(hold.chainage_m), place=_place(hold.place))


def _leg(leg: Leg) -> Leg:
    return replace(
        leg,
        length_m=near(leg.length_m),
        cost_m=near(leg.cost_m),
        chainage_from_m=near(leg.chainage_from_m),
        chainage_to_m=near(leg.chainage_to_m),
    )


def _near_miss(miss: NearMiss) -> NearMiss:
    return replace(miss, place=_place(miss.place), short_mm=up(miss.short_mm))


def _bound(move: Move, cost_m: float, best_possible_m: float) -> float:
    """Return the bound rounded up, and no smaller than the written costs make it."""
    bound = move.bound
    if best_possible_m > 0:
        bound = max(bound, cost_m / best_possible_m) if not math.isnan(bound) else bound
    return up(bound, FINE)


def _move(move: Move) -> Move:
    cost_m, best_possible_m = near(move.cost_m), near(move.best_possible_m)
    return replace(
        move,
        length_m=near(move.length_m),
        cost_m=cost_m,
        lattice_cost_m=near(move.lattice_cost_m),
        best_possible_m=best_possible_m,
        bound=_bound(move, cost_m, best_possible_m),
        poses=tuple(map(_pose, move.poses)),
        checks=tuple(map(_check, move.checks)),
        controls=tuple(replace(control, chainage_m=near(control.chainage_m)) for control in move.controls),
        holds=tuple(map(_hold, move.holds)),
        zones=tuple(map(_zone, move.zones)),
        refused=None if move.refused is None else _refused(move.refused),
        legs=tuple(map(_leg, move.legs)),
        nearest_misses=tuple(map(_near_miss, move.nearest_misses)),
        stands=tuple(
            replace(one, chainage_from_m=near(one.chainage_from_m), chainage_to_m=near(one.chainage_to_m))
            for one in move.stands
        ),
        section=tuple(map(_section_row, move.section)),
        platform_height_m=None if move.platform_height_m is None else near(move.platform_height_m),
    )


def as_written(plan: Plan) -> Plan:
    """Return the plan that a reader of its file gets back: what every other output should be drawn from.

    Rounding twice changes nothing.
    """
    return replace(
        plan,
        grid=json.loads(json.dumps(dict(plan.grid), allow_nan=False)),
        confidence_route=near(plan.confidence_route),
        k_by_move={move: up(k, FINE) for move, k in plan.k_by_move.items()},
        moves=tuple(map(_move, plan.moves)),
    )
