"""A machine made into the kernels' record: once a machine, configuration and travel mode."""

from __future__ import annotations

import math
from collections.abc import Mapping
from copy import copy
from typing import cast

import numpy as np

from routeplan.hazards.arrays import KINDS, Body, Floats
from routeplan.hazards.bounce import lever
from routeplan.hazards.fields import SPACING_M
from routeplan.machine.model import Configuration, Machine
from routeplan.site.model import Site

#: Rows that every table of a body has room for; a machine with more rows is a type of its own, compiled for anew.
_ROWS = 256


def new_body(figures: Mapping[str, float], arrays: Mapping[str, Floats], tables: Mapping[str, Floats]) -> Body:
    """A body of single figures, of arrays of one length for every machine, and of tables (rows, columns)."""
    room = {name: max(_ROWS, 1 << (len(table) - 1).bit_length()) for name, table in tables.items()}
    kind = np.dtype(
        (
            Body,
            [(name, np.float64) for name in figures]
            + [("n_" + name, np.int64) for name in tables]
            + [(name, np.float64, array.shape) for name, array in arrays.items()]
            + [(name, np.float64, (room[name], table.shape[1])) for name, table in tables.items()],
        )
    )
    body = cast(Body, np.zeros((), kind)[()])
    for name, figure in figures.items():
        body[name] = figure
    for name, array in arrays.items():
        body[name] = array
    for name, table in tables.items():
        body["n_" + name] = len(table)
        body[name][: len(table)] = table
    return body


def proven_from(body: Body, proven: Floats) -> Body:
    """The same body with other margins from which a check is proven."""
    other: Body = copy(body)
    other["proven"] = proven
    return other


def _levers(xi: float, eta: float, machine: Machine) -> tuple[float, float]:
    front, rear, track = machine.wheels[0].xi_m, machine.wheels[2].xi_m, machine.track_m
    return lever(xi, eta, front, rear, track), lever(xi, eta, rear, front, track)


def _spread(low: float, high: float, spacing_m: float = SPACING_M) -> Floats:
    return np.linspace(low, high, max(2, math.ceil((high - low) / spacing_m) + 1))


def _rectangle(ring: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    xi, eta = zip(*ring, strict=True)
    return min(xi), max(xi), min(eta), max(eta)


def _tops(configuration: Configuration, machine: Machine, site: Site, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for lid, box in enumerate(configuration.boxes):
        wanted = limits.body_gap_m if box.occupied and ridden else limits.structure_clearance_m
        a0, a1, b0, b1 = _rectangle(box.ring)
        rows += [
            (x, y, box.top_m, *_levers(x, y, machine), wanted, 0.0, lid)
            for x in _spread(a0, a1)
            for y in _spread(b0, b1)
        ]
    if ridden:
        a0, a1, b0, b1 = _rectangle(configuration.basket.ring)
        head = configuration.basket.floor_height_m + limits.head_height_m
        rows += [
            (x, y, head, *_levers(x, y, machine), limits.head_gap_m, 1.0, len(configuration.boxes))
            for x in _spread(a0, a1)
            for y in _spread(b0, b1)
        ]
    return np.array(rows)


def _lids(configuration: Configuration, site: Site) -> Floats:
    limits, basket = site.thresholds, configuration.basket
    head = (*_rectangle(basket.ring), basket.floor_height_m + limits.head_height_m, limits.head_gap_m)
    boxes = configuration.boxes
    return np.array([*((*_rectangle(box.ring), box.top_m, limits.structure_clearance_m) for box in boxes), head])


def underside_spacing(configuration: Configuration) -> float:
    """Long machines stand high enough for points farther apart, each standing for more ground around it."""
    return SPACING_M if max(math.hypot(*corner) for corner in configuration.footprint) < 3.0 else 2.0 * SPACING_M


def _undersides(configuration: Configuration) -> Floats:
    rows = []
    spacing = underside_spacing(configuration)
    for box in configuration.boxes:
        a0, a1, b0, b1 = _rectangle(box.ring)
        rows += [(x, y, box.bottom_m) for x in _spread(a0, a1, spacing) for y in _spread(b0, b1, spacing)]
    lower = [(*_rectangle(box.ring), box.bottom_m) for box in configuration.boxes]

    def shadowed(x: float, y: float, bottom: float) -> bool:
        return any(a0 <= x <= a1 and b0 <= y <= b1 and bottom > under for a0, a1, b0, b1, under in lower)

    return np.array([row for row in rows if not shadowed(*row)])


def _discs(boxes: Floats, site: Site, lateral_m: float, sin_heading: float, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for a0, a1, b0, b1, _, _, occupied in boxes:
        across = b1 - b0
        n = max(1, math.ceil(2.0 * (a1 - a0) / across))
        half = (a1 - a0) / n / 2
        gap = limits.body_gap_m if occupied and ridden else limits.structure_clearance_m
        tube = lateral_m + max(-a0, a1) * sin_heading
        rows += [(a0 + half * (2 * i + 1), (b0 + b1) / 2, math.hypot(half, across / 2), gap + tube) for i in range(n)]
    return np.array(rows)


def _corners(configuration: Configuration, machine: Machine, site: Site, *, ridden: bool) -> Floats:
    rows = []
    limits = site.thresholds
    for box in configuration.boxes:
        a0, a1, b0, b1 = _rectangle(box.ring)
        wanted = limits.body_gap_m if box.occupied and ridden else limits.structure_clearance_m
        rows += [(x, y, box.bottom_m, box.top_m, *_levers(x, y, machine), wanted) for x in (a0, a1) for y in (b0, b1)]
    if ridden:
        a0, a1, b0, b1 = _rectangle(configuration.basket.ring)
        floor = configuration.basket.floor_height_m
        head = floor + limits.head_height_m
        rows += [(x, y, floor, head, *_levers(x, y, machine), limits.head_gap_m) for x in (a0, a1) for y in (b0, b1)]
    return np.array(rows)


def _wheel_reach_m(machine: Machine, lateral_m: float, turn: float) -> float:
    """How far the ends of a tyre's contact line get from where its middle should be, tube included, m."""
    half = machine.wheels[0].width_m / 2
    beside = half + lateral_m + machine.wheelbase_m * math.sin(turn)
    ahead = (machine.track_m / 2 + half) * math.sin(turn) + machine.wheelbase_m * (1.0 - math.cos(turn))
    return math.hypot(beside, ahead)


def _hull(boxes: Floats, machine: Machine) -> Floats:
    xi, eta = [w.xi_m for w in machine.wheels], [w.eta_m for w in machine.wheels]
    low, high = boxes[:, [0, 2]].min(axis=0), boxes[:, [1, 3]].max(axis=0)
    return np.array([min(low[0], *xi), max(high[0], *xi), min(low[1], *eta), max(high[1], *eta)])


def _figures(site: Site, machine: Machine, configuration: Configuration, *, ridden: bool) -> dict[str, float]:
    limits, wheels = site.thresholds, machine.wheels
    axle = 1 if wheels[0].oscillating else 2 if wheels[2].oscillating else 0
    up = machine.value("gradeability_basket_uphill_pct") / 100.0
    down = machine.value("gradeability_basket_downhill_pct") / 100.0
    front_end = configuration.basket.end != "rear"
    lateral_m = _lateral_m(site, machine)
    return {
        "wheelbase": machine.wheelbase_m,
        "track": machine.track_m,
        "oscillating": axle,
        "stop_tan": math.tan(math.radians(machine.value("oscillation_stop_deg"))) if axle else 0.0,
        "limit_up": up if front_end else down,
        "limit_down": down if front_end else up,
        "limit_side": machine.value("side_slope_pct") / 100.0,
        "reach": max(math.hypot(xi, eta) for box in _boxes(configuration) for xi in box[:2] for eta in box[2:4]),
        "half_track": machine.wheelbase_m / 2 if machine.tracks else 0.0,
        "wheel_gap": _wheel_reach_m(machine, lateral_m, math.radians(limits.heading_tolerance_deg)),
        "tyre_half": wheels[0].width_m / 2,
        "radius": max(w.radius_m for w in wheels),
        "structure_gap": limits.structure_clearance_m,
        "body_gap": limits.body_gap_m if ridden else limits.structure_clearance_m,
        "underside_gap": limits.ground_clearance_m,
        "bounce_limit": limits.bounce_limit_m,
        "amplification": 2.0 * limits.tip_participation,
        "step_limit": machine.value("step_limit_m"),
        "kerb_angle": limits.kerb_angle_deg,
        "kerb_side": limits.kerb_side_slope_deg,
        "lateral": lateral_m,
        "sin_heading": math.sin(math.radians(limits.heading_tolerance_deg)),
        "tallest": max(box.top_m for box in configuration.boxes),
    }


def _lateral_m(site: Site, machine: Machine) -> float:
    """A machine in crab steer strays square to where it travels: farther than that square to its arrow."""
    return site.thresholds.lateral_tolerance_m / math.cos(machine.crab_rad)


def _boxes(configuration: Configuration) -> Floats:
    return np.array([(*_rectangle(b.ring), b.bottom_m, b.top_m, float(b.occupied)) for b in configuration.boxes])


def build_body(site: Site, machine: Machine, configuration: Configuration, *, ridden: bool) -> Body:
    """The machine as a record; every box is checked as the rectangle around its ring."""
    figures, boxes = _figures(site, machine, configuration, ridden=ridden), _boxes(configuration)
    arrays = {
        "wheel_xi": np.array([wheel.xi_m for wheel in machine.wheels]),
        "wheel_eta": np.array([wheel.eta_m for wheel in machine.wheels]),
        "hull": _hull(boxes, machine),
        "proven": np.zeros(KINDS),
    }
    tables = {
        "boxes": boxes,
        "tops": _tops(configuration, machine, site, ridden=ridden),
        "lids": _lids(configuration, site),
        "discs": _discs(boxes, site, figures["lateral"], figures["sin_heading"], ridden=ridden),
        "undersides": _undersides(configuration),
        "basket": np.array([(xi, eta, *_levers(xi, eta, machine)) for xi, eta in configuration.basket.ring]),
        "corners": _corners(configuration, machine, site, ridden=ridden),
    }
    return new_body(figures, arrays, tables)
