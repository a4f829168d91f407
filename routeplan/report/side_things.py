"""What stands in the picture of a machine from its side besides the machine: what hangs over its band, what lies below.

Each thing has a letter of its own for the whole move, by which the picture and its words name it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Machine
from routeplan.report.wording import down, up
from routeplan.route.model import Pose, heading_rad
from routeplan.site.model import Defect, Excavation, LineCorridor, Site, Soffit

Floats = NDArray[np.float64]


class Overhead(NamedTuple):
    """A thing overhead between two places along the machine: how high it hangs at both, NaN where nobody knows.

    A ``line`` is the level below which everything stays; a ``kept out`` line is one that nothing may come under.
    """

    letter: str
    number: int
    kind: Literal["soffit", "line", "kept out"]
    from_m: float
    to_m: float
    low_from_m: float
    low_to_m: float
    label: str
    words: str

    @property
    def low_m(self) -> float:
        """How high it hangs at its lower end."""
        return min(self.low_from_m, self.low_to_m)

    def height_at(self, at_m: float) -> float:
        """How high it hangs at a place."""
        share = (at_m - self.from_m) / (self.to_m - self.from_m) if self.to_m > self.from_m else 0.0
        return self.low_from_m + min(max(share, 0.0), 1.0) * (self.low_to_m - self.low_from_m)


class Below(NamedTuple):
    """A hole or something raised: from ``edge_m``, the ground beside it, to ``bottom_m``, its bottom or its top.

    ``under`` says whether wheels run over it; else it lies between them. ``bottom_m`` is NaN where nobody knows.
    """

    letter: str
    from_m: float
    to_m: float
    edge_m: float
    bottom_m: float
    under: bool
    label: str
    words: str


class Things:
    """Everything of a site that may come into a picture, and the letters that a move gave what did."""

    def __init__(self, site: Site, machine: Machine, window: tuple[float, float], step_m: float) -> None:
        self.along_m = np.arange(window[0], window[1] + step_m / 2, step_m)
        self._window, self._machine = window, machine
        self._over: tuple[Soffit | LineCorridor, ...] = (*site.soffits, *site.line_corridors)
        self._low: tuple[Defect | Excavation, ...] = (*site.defects, *site.excavations)
        self._over_tree = shapely.STRtree([one.geometry for one in self._over])
        self._low_tree = shapely.STRtree([one.geometry for one in self._low])
        self._letters: dict[tuple[str, str], str] = {}

    def overhead(self, pose: Pose, half_m: float, ground_m: Floats, datum_m: float) -> tuple[Overhead, ...]:
        """What hangs over the band of a machine, from behind to ahead; heights over the datum's level."""
        strip, found = self._strip(pose, *self._window, half_m), []
        for number in sorted(self._over_tree.query(strip, predicate="intersects").tolist()):
            for from_m, to_m in _spans(self._over[number].geometry, strip, pose):
                found.append(self._hanging(number, (from_m, to_m), pose, half_m, ground_m, datum_m))
        return tuple(sorted(found, key=lambda one: (one.from_m, one.number)))

    def below(self, pose: Pose, half_m: float, ground_m: Floats) -> tuple[Below, ...]:
        """What is recorded of the ground under the band of a machine, from behind to ahead."""
        strip, found = self._strip(pose, *self._window, half_m), []
        for number in sorted(self._low_tree.query(strip, predicate="intersects").tolist()):
            one = self._low[number]
            for span in _spans(one.geometry, strip, pose):
                found.append(self._lying(one, span, pose, ground_m))
        return tuple(sorted(found))

    def under(
        self, one: Overhead, pose: Pose, from_m: float, to_m: float, half_m: float
    ) -> Iterator[tuple[float, float]]:
        """From where to where a thing overhead lies over a part of the machine."""
        strip = self._strip(pose, from_m, to_m, half_m)
        for span in _spans(self._over[one.number].geometry, strip, pose):
            if span[1] >= one.from_m - 1e-6 and span[0] <= one.to_m + 1e-6:
                yield span

    def _strip(self, pose: Pose, from_m: float, to_m: float, half_m: float) -> Polygon:
        corners = ((from_m, -half_m), (to_m, -half_m), (to_m, half_m), (from_m, half_m))
        c, s = math.cos(heading := heading_rad(pose.bearing_deg)), math.sin(heading)
        return Polygon([(pose.x + xi * c - eta * s, pose.y + xi * s + eta * c) for xi, eta in corners])

    def _letter(self, kind: str, name: str) -> str:
        """A, B, ..., Z, AA, AB, ... in the order in which a move meets things."""
        number, letter = self._letters.setdefault((kind, name), ""), ""
        if number:
            return number
        left = len(self._letters)
        while left:
            left, digit = divmod(left - 1, 26)
            letter = chr(65 + digit) + letter
        self._letters[kind, name] = letter
        return letter

    def _hanging(
        self, number: int, span: tuple[float, float], pose: Pose, half_m: float, ground_m: Floats, datum_m: float
    ) -> Overhead:
        one = self._over[number]
        if isinstance(one, LineCorridor):
            return self._line(one, number, span, datum_m)
        letter, height = self._letter("soffit", one.id), ""
        if one.level_m is None:
            lows, told = self._clear(span, ground_m, one.clear_m), f"clear {_height(one.clear_m)}"
        else:
            lows = self._sloping(one, one.level_m, span, pose, half_m, datum_m)
            told = f"level {down(min(lows) + datum_m if math.isfinite(datum_m) else one.level_m, 2)}"
        if math.isfinite(low := min(lows)):
            height = f", {_height(low)} over the ground at the wheels"
        else:
            height = ", how high over the machine is not known"
        words = f"{letter}: {one.id}, underside {'at ' if one.level_m is not None else ''}{told}{height}."
        return Overhead(letter, number, "soffit", *span, *lows, f"{letter} {told}", words)

    def _sloping(
        self, one: Soffit, level_m: float, span: tuple[float, float], pose: Pose, half_m: float, datum_m: float
    ) -> tuple[float, float]:
        """Over the middle of the band, and as much lower as its lower edge is."""
        c, s = math.cos(heading := heading_rad(pose.bearing_deg)), math.sin(heading)
        middle, aside = one.geometry.centroid, abs(one.fall_y * c - one.fall_x * s) * half_m

        def low(at_m: float) -> float:
            x, y = pose.x + at_m * c - middle.x, pose.y + at_m * s - middle.y
            return float(level_m + one.fall_x * x + one.fall_y * y - aside - datum_m)

        return low(span[0]), low(span[1])

    def _clear(self, span: tuple[float, float], ground_m: Floats, clear_m: float | None) -> tuple[float, float]:
        """A straight line that is nowhere above what follows the ground; NaN over ground that is not known."""
        clear = math.nan if clear_m is None else clear_m
        inner = self.along_m[(self.along_m > span[0]) & (self.along_m < span[1])]
        at = np.concatenate([[span[0]], inner, [span[1]]])
        low = np.interp(at, self.along_m, ground_m) + clear
        line = np.interp(at, span, (low[0], low[-1]))
        over = float(np.max(line - low))
        return float(low[0]) - over, float(low[-1]) - over

    def _line(self, one: LineCorridor, number: int, span: tuple[float, float], datum_m: float) -> Overhead:
        letter = self._letter("line", one.id)
        if one.height is None:
            words = f"{letter}: overhead line {one.id}, no machine enters its corridor."
            return Overhead(letter, number, "kept out", *span, math.nan, math.nan, f"{letter} keep out", words)
        level_m = one.height.level_m - one.height.sag_m - one.distance_m
        told = f"level {down(level_m, 2)}" if math.isfinite(level_m) else "level not known"
        words = f"{letter}: overhead line {one.id}, everything stays below {told}, sag and safety distance taken off."
        return Overhead(letter, number, "line", *span, level_m - datum_m, level_m - datum_m, f"{letter} {told}", words)

    def _lying(self, one: Defect | Excavation, span: tuple[float, float], pose: Pose, ground_m: Floats) -> Below:
        edge_m = float(np.interp(span, self.along_m, ground_m).min())
        sides = self._wheels_on(one.geometry, pose, span)
        where = f"under the {sides} wheels' line" if sides else "between the wheels"
        if isinstance(one, Excavation):
            letter = self._letter("excavation", one.id)
            words = f"{letter}: excavation {one.id}, depth not known, {where}."
            return Below(letter, *span, edge_m, math.nan, bool(sides), f"{letter} depth not known", words)
        letter, bottom_m, told, short = self._letter("defect", one.id), edge_m, "flush", ""
        if one.depth_m > 0.0:
            short = f" {up(one.depth_m * 1000.0, 0)} mm"
            bottom_m, told = edge_m - one.depth_m, f"{short.strip()} deep"
        elif one.height_m > 0.0:
            short = f" {up(one.height_m * 1000.0, 0)} mm"
            bottom_m, told = edge_m + one.height_m, f"{short.strip()} high"
        state = f", {one.state}" if one.state else ""
        words = f"{letter}: {one.kind} {one.id}{state}, {told}, {where}."
        return Below(letter, *span, edge_m, bottom_m, bool(sides), f"{letter}{short}", words)

    def _wheels_on(self, geometry: BaseGeometry, pose: Pose, span: tuple[float, float]) -> str:
        """Which side's wheels run over a thing: left, right, both, or none."""
        c, s = math.cos(heading := heading_rad(pose.bearing_deg)), math.sin(heading)
        sides = []
        for name, wheel in (("left", self._machine.wheels[0]), ("right", self._machine.wheels[1])):
            low, high = wheel.eta_m - wheel.width_m / 2, wheel.eta_m + wheel.width_m / 2
            corners = ((span[0], low), (span[1], low), (span[1], high), (span[0], high))
            course = Polygon([(pose.x + xi * c - eta * s, pose.y + xi * s + eta * c) for xi, eta in corners])
            if course.intersects(geometry):
                sides.append(name)
        return "left and right" if len(sides) == 2 else "".join(sides)


def _height(value: float | None) -> str:
    return f"{down(value, 2)} m" if value is not None and math.isfinite(value) else "not known"


def _spans(geometry: BaseGeometry, strip: Polygon, pose: Pose) -> Iterator[tuple[float, float]]:
    """From where to where along the machine each piece of a thing lies in a strip."""
    met = geometry.intersection(strip)
    c, s = math.cos(heading := heading_rad(pose.bearing_deg)), math.sin(heading)
    for part in getattr(met, "geoms", (met,)):
        at = shapely.get_coordinates(part)
        if len(at):
            along = (at[:, 0] - pose.x) * c + (at[:, 1] - pose.y) * s
            yield float(along.min()), float(along.max())
