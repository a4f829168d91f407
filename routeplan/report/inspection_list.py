"""The inspection list of a move: every line in driving order, with a number where the second opinion found one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from routeplan.report.inspection_line import ASK, Line, readings_of
from routeplan.report.inspection_way import Way, sights
from routeplan.report.nearby import NEAR_M
from routeplan.report.stops import place_at, stops_of
from routeplan.report.tight import zone_tag
from routeplan.report.trouble import unsettled
from routeplan.report.wording import VERDICTS
from routeplan.route.model import Move, Plan, StopNumber
from routeplan.site.model import Defect, Site, Soffit

#: What to look for in a stretch where a hazard bites, beside what is recorded.
_IN_ZONE = {
    "bounce": "Any hole, step, hose or debris under the wheels that is not on this list stops the move.",
    "slope": "Mud, ice, oil or loose stone on it stops the move.",
    "low gap": "Anything that hangs lower than recorded (cable, light, net, scaffold) stops the move.",
}
_ANYTHING = Line(
    math.inf, None, "Anything that is not on this list",
    "A hole, step, hose, spoil, stored material, parked plant, a cable or scaffold overhead, water or ice on the way:"
    f" the move stops; {ASK}.",
)  # fmt: skip


def inspection_lines(move: Move, numbers: Sequence[StopNumber], *, plan: Plan, site: Site) -> tuple[Line, ...]:
    """Return the lines of a move in driving order.

    Parameters
    ----------
    numbers
        Of the move, as the second opinion found them.
    plan, site
        The plan of the move, and the site that it was accepted on.
    """
    if not move.poses:
        words = VERDICTS[move.verdict]
        look = f"{words.words}. {words.meaning} {move.reason}".strip()
        return (Line(-math.inf, None, "No way to walk: the machine does not make this move", look),)
    machine = plan.machines[move.machine]
    way = Way(move, machine)
    seen = *_measured(way, numbers, site), *sights(way, move, site), *_zones(move), *_stands(move), *_stops(move)
    found = [*seen, _ANYTHING]
    opened = [
        Line(-math.inf, None, f"Open: {text}", f"Keeps open: {', '.join(kinds)}. Settle it by measurement, or {ASK}.")
        for text, kinds in unsettled(move, machine).items()
    ]
    return (*opened, *sorted(found, key=lambda line: line.chainage_m))


def _measured(way: Way, numbers: Sequence[StopNumber], site: Site) -> Iterator[Line]:
    """A line for each hole, raised feature and soffit that has a number or is near the way."""
    by_thing = {(number.feature, str(number.what)): number for number in numbers}
    numbered = {number.feature for number in numbers}
    things: tuple[Defect | Soffit, ...] = (*site.defects, *site.soffits)
    for thing in things:
        readings = readings_of(thing, by_thing)
        met = way.met(thing.geometry)
        if readings and (met.far_m <= NEAR_M or thing.id in numbered):
            over = "The machine passes under it." if isinstance(thing, Soffit) else "The machine passes over it."
            look = f"{met.words(over)} {_look(thing)}"
            yield Line(met.chainage_m, met.place, f"{thing.kind.capitalize()} {thing.id}", look, readings)


def _look(thing: Defect | Soffit) -> str:
    if isinstance(thing, Soffit):
        return "Look for anything that hangs below it."
    state = f"Recorded as {thing.state}." if thing.state else "Nobody said in what state it is."
    return f"{state} Look for edges that break away, water in it, a loose fill."


def _zones(move: Move) -> Iterator[Line]:
    for index, zone in enumerate(move.zones, 1):
        title = f"{zone.kind.capitalize()} zone {zone_tag(index, zone)}, until {zone.chainage_to_m:.1f} m"
        at = place_at(move.poses, zone.chainage_from_m)
        yield Line(zone.chainage_from_m, at, title, f"{zone.text} {_IN_ZONE[zone.kind]}")


def _stands(move: Move) -> Iterator[Line]:
    """Where the end that leads changes, and the slopes, with which way up them that end lies."""
    for before, one in zip((None, *move.stands), move.stands, strict=False):
        turned = before is not None and before.facing != one.facing
        if turned or one.orientation != "level":  # what goes on as before on the level is no line
            lies = "" if one.orientation == "level" else f"; {one.end} {one.orientation}"
            title = f"{one.end.capitalize()} {one.facing}{lies}, until {one.chainage_to_m:.1f} m"
            look = "The machine stands and goes so, or it does not go: the sign of the slope is as said."
            yield Line(one.chainage_from_m, place_at(move.poses, one.chainage_from_m), title, look)


def _stops(move: Move) -> Iterator[Line]:
    """Hold points, controls and reversals: who stands there, and that they know."""
    for stop in stops_of(move):
        title = stop.words if stop.place is not None else "Along the whole way"
        look = f"{' '.join(stop.lines)} Whoever does it is named and knows where."
        yield Line(stop.chainage_m, stop.place, title, look)
