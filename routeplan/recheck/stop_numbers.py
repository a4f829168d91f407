"""Stop numbers: how much deeper, higher or lower than recorded a thing may be found before the move stops."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import shapely

from routeplan.machine.model import Machine
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import CATALOGUE, Instance, Ledger
from routeplan.recheck.opinion import UNDRIVEN, Look, Near, look
from routeplan.recheck.verdicts import NEVER_FAILS, NOISE, open_reasons
from routeplan.recheck.wheels import depth_m, height_m
from routeplan.route.model import Conditions, Measured, Move, StopNumber
from routeplan.site.model import Defect, Site, Soffit

_FIGURE = {"depth": "depth_m", "width": "width_m", "height": "height_m", "level": "level_m", "clear height": "clear_m"}
#: Changes beyond this are not looked for, mm: nobody drives on where a hole or a soffit has changed so much.
MOST_MM = 1000


def stop_numbers(move: Move, *, site: Site, machine: Machine, conditions: Conditions) -> tuple[StopNumber, ...]:
    """Stop numbers of every hole, raised feature and soffit that may stop a move, in driving order.

    Parameters
    ----------
    move, site, machine, conditions
        As for ``opinion.second_opinion``, which has accepted the move on this site.

    Notes
    -----
    One figure changes at a time, and every check gets worse with it, or better up to some change and worse from there
    on: what a wheel stands on, or what is overhead, moves one way, and slopes, levels and excess are convex to it. So
    one reading divides good from bad. Measured may change by a metre without harm has no number. One case is left: a
    wider hole is also driven out of later, when less is left of the swing that driving in began. Where that alone
    decides, a width between two good ones may be bad.
    """
    if move.verdict in UNDRIVEN or not move.poses:
        return ()
    whole = look(move, site=site, machine=machine, conditions=conditions)
    walk = _Walk(move, site, machine, conditions, whole)
    found = [number for thing, what in _measured(site) for number in walk.numbers_of(thing, what)]
    return tuple(sorted(found, key=lambda number: number.chainage_m))


def _measured(site: Site) -> Iterator[tuple[Defect | Soffit, Measured]]:
    """Measured can be measured, thing by thing."""
    for defect in site.defects:
        if depth_m(defect) > 0:
            yield defect, "depth"
            yield defect, "width"
        if height_m(defect) > 0:
            yield defect, "height"
    for soffit in site.soffits:
        yield soffit, "level" if soffit.clear_m is None else "clear height"


def _recorded_m(thing: Defect | Soffit, what: Measured) -> float:
    return float(getattr(thing, _FIGURE[what]))


def changed(site: Site, thing: Defect | Soffit, what: Measured, by_mm: int) -> Site:
    """The site with a thing found deeper, wider (to all sides), higher, or lower overhead than recorded."""
    by_m = by_mm / 1000.0
    if isinstance(thing, Soffit):
        lower = thing
        if what == "level":
            lower = replace(thing, level_m=_recorded_m(thing, what) - by_m)
        else:
            lower = replace(thing, clear_m=_recorded_m(thing, what) - by_m)
        return replace(site, soffits=tuple(lower if one is thing else one for one in site.soffits))
    if what == "depth":
        worse = replace(thing, depth_m=thing.depth_m + by_m)
    elif what == "height":
        worse = replace(thing, height_m=thing.height_m + by_m)
    else:
        wider = thing.geometry.buffer(by_m / 2.0, join_style="mitre")
        worse = replace(thing, width_m=thing.width_m + by_m, geometry=wider)
    return replace(site, defects=tuple(worse if one is thing else one for one in site.defects))


@dataclass(frozen=True, eq=False)
class _Walk:
    """One accepted move and a whole look at it, looked at again near one thing after another."""

    move: Move
    site: Site
    machine: Machine
    conditions: Conditions
    whole: Look

    def numbers_of(self, thing: Defect | Soffit, what: Measured) -> Iterator[StopNumber]:
        """The stop number of a thing, if it may stop the move."""
        track = self.whole.case.track
        far = shapely.distance(thing.geometry, shapely.points(track.x, track.y))
        if far.min() > self.whole.case.reach_m:
            return
        worse = self._worse(thing, what, MOST_MM)
        if worse:
            yield self._between(thing, what, worse)

    def _between(self, thing: Defect | Soffit, what: Measured, worse: Mapping[str, Instance]) -> StopNumber:
        """The number of a thing whose largest change is known to be bad."""
        good, bad = 0, MOST_MM
        while bad - good > 1:
            middle = (good + bad) // 2
            then = self._worse(thing, what, middle)
            good, bad, worse = (good, middle, then) if then else (middle, bad, worse)
        first = next(iter(worse.values()))
        recorded_m = _recorded_m(thing, what)
        last_good_m = round(recorded_m + (good if isinstance(thing, Defect) else -good) / 1000.0, 6)
        return StopNumber(thing.id, what, recorded_m, last_good_m, tuple(worse), first.chainage_m, first.place)

    def _worse(self, thing: Defect | Soffit, what: Measured, by_mm: int) -> Mapping[str, Instance]:
        """The checks that a change makes worse, with where."""
        site = changed(self.site, thing, what, by_mm)
        near_by = Near(thing.geometry, self.whole.ridden)
        found = look(self.move, site=site, machine=self.machine, conditions=self.conditions, near_by=near_by)
        now, then = goodness(self.whole.case, self.whole.ledger), goodness(found.case, found.ledger)
        return {kind: found.ledger.least_slack[kind] for kind in CATALOGUE if then[kind] < now[kind]}


def goodness(case: Case, ledger: Ledger) -> Mapping[str, int]:
    """2 for each check that is proven, 1 for one that is open, 0 for one that fails."""
    found: dict[str, int] = {}
    for kind in CATALOGUE:
        margin = ledger.least_margin[kind].margin if kind in ledger.least_margin else math.inf
        slack = ledger.least_slack[kind].slack if kind in ledger.least_slack else math.inf
        is_open = slack < -NOISE or bool(ledger.open.get(kind)) or any(open_reasons(kind, case))
        fails = margin < -NOISE and kind not in NEVER_FAILS
        found[kind] = 0 if fails else 1 if is_open else 2
    return found
