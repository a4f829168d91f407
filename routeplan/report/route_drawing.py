"""What is drawn of a move, once: its swept band, line, stops, zones and what stands in its way, in site metres."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shapely import MultiPoint
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Configuration, Machine
from routeplan.report.margins import BETWEEN, figures_text, governing, made, rests_on, said, spare_text
from routeplan.report.shapes import Bounds, Layer, Position, Shape, area, bounds_of, line, mark, position
from routeplan.report.side_view import SideView, side_view
from routeplan.report.stops import Stop, reversals_of, stops_of
from routeplan.report.sweep import placements, swept
from routeplan.report.tight import names_near, tight_places, zone_figures, zone_tag
from routeplan.report.wording import against_text, amount_text, place_text, span_text
from routeplan.route.model import Check, Move, Plan, Pose, Zone, heading_rad
from routeplan.site.model import Area, Site

#: The deciding check takes the mark of a tight place that lies this close to it along the way, metres.
_NEAR_M = 2.0


@dataclass(frozen=True)
class MoveDrawing:
    """A move's layers, lowest first, its numbered stops, and the extent of its own plan (``None``: nothing to show).

    ``decides`` is the deciding margin in words, with what it was measured against; nothing without checks.
    ``tightest_m`` is its chainage, NaN without one; ``side`` is the machine from its side along the way.
    """

    layers: tuple[Layer, ...]
    stops: tuple[Stop, ...]
    bounds: Bounds | None
    decides: str
    tightest_m: float
    side: SideView | None


def draw_move(move: Move, *, plan: Plan, site: Site) -> MoveDrawing:
    """Return everything that is drawn for a move.

    Parameters
    ----------
    move, plan
        The move, and the plan it belongs to (its machines and the closures it assumed).
    site
        Gives the places where the move starts and ends and the named areas.
    """
    configuration = plan.machines[move.machine].configurations[move.configuration]
    stops = stops_of(move, tight_places(move, configuration, site))
    check = governing(move)
    near = "" if check is None else names_near(check, configuration, move.poses, site)
    decides = "" if check is None else _decides(check, near, plan.machines[move.machine])
    layers = (
        Layer(
            "closed", "Closed for this move", tuple(_closed(item) for item in closed_areas(move, plan=plan, site=site))
        ),
        Layer("band", "Swept by the machine", tuple(_band(move.poses, configuration))),
        Layer(
            "zones",
            "Bounce, slope and low gaps",
            tuple(shape for index, zone in enumerate(move.zones, 1) for shape in _zone(index, zone)),
        ),
        Layer("way", "Way of the machine", (*_way(move.poses), *_machine_at_ends(move, configuration))),
        Layer("refused", "Refused route, do not drive", tuple(_refused(move))),
        Layer("trouble", "What stands in the way", (*_misses(move), *_governing(check, decides, stops))),
        Layer(
            "stops",
            "Stops in driving order",
            (*_ends(move, site), *(shape for stop in stops for shape in _stop(stop, check))),
        ),
    )
    drawn = tuple(layer for layer in layers if layer.shapes)
    tightest_m = check.chainage_m if check is not None and made(check) else math.nan
    bounds = bounds_of(layer for layer in drawn if layer.id != "closed")
    return MoveDrawing(drawn, stops, bounds, decides, tightest_m, side_view(move, plan.machines[move.machine], site))


def closed_areas(move: Move, *, plan: Plan, site: Site) -> tuple[Area, ...]:
    """Return the named areas that the plan held closed for this move."""
    day = dt.date.fromisoformat(move.on) if move.on else None
    conditions = plan.conditions
    return tuple(
        item
        for item in site.areas
        if item.id not in conditions.opened and (item.id in conditions.closed or item.closed_on(day))
    )


def _band(poses: Sequence[Pose], configuration: Configuration) -> Iterable[Shape]:
    if poses:
        yield area("band", swept(poses, configuration.footprint))


def _way(poses: Sequence[Pose]) -> Iterable[Shape]:
    """Yield the centre line by gear, and arrows in the direction of travel."""
    for start, end in _stretches(poses):
        stretch = poses[start:end]
        backwards = stretch[-1].gear < 0
        yield line("way-reverse" if backwards else "way", [(pose.x, pose.y) for pose in stretch])
    if len(poses) > 1:
        yield from _arrows(poses)


def _stretches(poses: Sequence[Pose]) -> list[tuple[int, int]]:
    """Return index ranges of poses in one gear; each begins where the one before it ended."""
    breaks = [index for index in range(1, len(poses)) if poses[index].gear != poses[index - 1].gear]
    edges = [0, *breaks, len(poses)]
    return [(max(0, low - 1), high) for low, high in zip(edges, edges[1:], strict=False) if high > low]


def _arrows(poses: Sequence[Pose]) -> Iterable[Shape]:
    """Yield arrow heads in the direction of travel; their size goes with the extent of the way."""
    xs, ys = [pose.x for pose in poses], [pose.y for pose in poses]
    size_m = max(0.8, math.hypot(max(xs) - min(xs), max(ys) - min(ys)) / 55.0)
    next_m = 3.0 * size_m
    for pose, following in zip(poses, poses[1:], strict=False):
        east, north = following.x - pose.x, following.y - pose.y
        step_m = math.hypot(east, north)
        if pose.chainage_m >= next_m and step_m > 0.0:
            yield _arrow_head((pose.x, pose.y), (east / step_m, north / step_m), size_m)
            next_m = pose.chainage_m + 8.0 * size_m


def _arrow_head(at: Position, ahead: Position, size_m: float) -> Shape:
    corners = ((0.6, 0.0), (-0.6, 0.45), (-0.3, 0.0), (-0.6, -0.45), (0.6, 0.0))
    ring = tuple(
        position(at[0] + size_m * (u * ahead[0] - v * ahead[1]), at[1] + size_m * (u * ahead[1] + v * ahead[0]))
        for u, v in corners
    )
    return Shape("area", "arrow", ((ring,),))


def _machine_at_ends(move: Move, configuration: Configuration) -> Iterable[Shape]:
    """Yield the machine's outline where it starts, reverses and ends, with the chassis arrow in it."""
    if not move.poses:
        return
    turns = [move.poses[index] for index in reversals_of(move.poses)]
    for pose in (move.poses[0], *turns, move.poses[-1]):
        outline = placements([pose], configuration.footprint)[0]
        yield area("machine", MultiPoint(outline).convex_hull)
        heading = heading_rad(pose.bearing_deg)
        yield _arrow_head((pose.x, pose.y), (math.cos(heading), math.sin(heading)), 1.2)


def _ends(move: Move, site: Site) -> Iterable[Shape]:
    for character, words, place_id in (("A", "Start", move.start), ("Z", "Finish", move.goal)):
        if (found := site.places.get(place_id)) is not None:
            yield mark(
                "end",
                (found.point.x, found.point.y),
                character,
                title=f"{words}: {found.title or place_id}",
                details=(("Place", place_text((found.point.x, found.point.y))),),
                label=words,
            )


def _stop(stop: Stop, decisive: Check | None) -> Iterable[Shape]:
    """Yield a numbered mark; where only the deciding check is watched, its own mark bears the number instead."""
    if stop.place is None or (not stop.halts and _is_at(decisive, stop)):
        return
    lines = tuple((f"{stop.words} {stop.number}", text) for text in stop.lines)
    yield mark(
        "stop" if stop.halts else "watch",
        stop.place,
        str(stop.number),
        title=f"{stop.words} {stop.number} {stop.along}",
        details=lines,
    )


def _is_at(check: Check | None, stop: Stop) -> bool:
    """Whether a check bites within a watched place or close to it."""
    return check is not None and stop.chainage_m - _NEAR_M <= check.chainage_m <= stop.until_m + _NEAR_M


def _zone(index: int, zone: Zone) -> Iterable[Shape]:
    """Yield the stretch of ground, where the basket then is, and the link between the two."""
    tag = zone_tag(index, zone)
    details = (
        ("Figure", zone_figures(zone)),
        ("Along the way", span_text(zone.chainage_from_m, zone.chainage_to_m)),
        ("What", zone.text),
    )
    style = zone.kind.replace(" ", "-")
    outlines = [
        area(
            f"zone-{style}-{part}",
            _polygon(ring),
            title=f"{tag} {zone.kind}: {words}",
            details=details,
            label=f"{tag} {words}",
        )
        for part, words, ring in (("ground", "wheels", zone.ground), ("basket", "basket", zone.basket))
        if len(ring) > 2
    ]
    yield from outlines
    ends = [shape.label_at for shape in outlines if shape.label_at is not None]
    if len(ends) == 2:
        yield line("zone-link", ends)


def _polygon(ring: Sequence[Position]) -> BaseGeometry:
    return Polygon(ring).buffer(0)


def _closed(item: Area) -> Shape:
    return area(
        "closed",
        item.geometry,
        title=f"Closed: {item.title}",
        details=(("Rule", "no machine enters on this day"),),
        label=f"closed: {item.title}",
    )


def _refused(move: Move) -> Iterable[Shape]:
    if move.refused is None:
        return
    if move.refused.poses:
        yield line("refused", [(pose.x, pose.y) for pose in move.refused.poses], title="Refused route: do not drive")
    for index, objection in enumerate(move.refused.objections, 1):
        if all(math.isfinite(value) for value in objection.place):
            figures = against_text(objection.value, objection.limit, objection.unit)
            yield mark(
                "objection",
                objection.place,
                str(index),
                title=f"Objection {index}: {objection.kind}",
                details=(("Figures", figures), ("What", objection.text)),
                label=objection.kind,
            )


def _misses(move: Move) -> Iterable[Shape]:
    for index, miss in enumerate(move.nearest_misses, 1):
        if all(math.isfinite(value) for value in miss.place):
            yield mark(
                "miss",
                miss.place,
                str(index),
                title=f"Nearest miss {index}: {miss.kind}",
                details=(("What", miss.text),),
                label=miss.kind,
            )


def _decides(check: Check, near: str, machine: Machine) -> str:
    """Return the deciding margin as a phrase, with what it was measured against and, of an open one, why it is open."""
    if not made(check):
        return f"{check.kind} was not made"
    between = BETWEEN.get(check.kind)
    text = f"{spare_text(check)} {between}" if between else f"{check.kind}: {spare_text(check)}"
    text = f"{text} ({near})" if near else text
    if check.verdict != "not proven":
        return text
    doubt_m = check.k * check.sigma
    why = rests_on(check, machine)[:1]
    if not why and math.isfinite(doubt_m):
        why = (f"it may be off by {amount_text(doubt_m, check.unit, upwards=True)}",)
    return f"{text}, not to be relied on: {why[0]}" if why else text


def _governing(check: Check | None, decides: str, stops: Sequence[Stop]) -> Iterable[Shape]:
    if check is None or not all(math.isfinite(value) for value in check.place):
        return
    number = next((str(stop.number) for stop in stops if not stop.halts and _is_at(check, stop)), "!")
    figures = figures_text(check)
    yield mark(
        "governing",
        check.place,
        number,
        title=f"Tightest place: {check.kind}",
        label=f"{said(check)}{check.kind}: {spare_text(check)}",
        details=(
            ("Verdict", check.verdict),
            ("Margin", decides),
            *((("Figures", figures),) if figures else ()),
            ("Along the way", f"{check.chainage_m:.1f} m"),
            ("Place", place_text(check.place)),
        ),
    )
