"""One move under a second look: its site, machine, day and levels, gathered once."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from dataclasses import dataclass

import numpy as np

from routeplan.machine.model import Configuration, Machine
from routeplan.recheck.levels import DEFECT_REACH_M, Levels
from routeplan.recheck.readings import Readings
from routeplan.recheck.track import Floats, Ints, Track, driven_in, envelope
from routeplan.recheck.uncertainty import Sigmas, Sure
from routeplan.route.model import Conditions, Move
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.model import Area, Site

#: What leaning, the tube and a rolling wheel add to the reach of a body, metres.
WINDOW_SPARE_M = 3.0
#: Kind of the places where machines work, and how near rows and holds lie that are one, metres.
WORKFACE, HELD_M = "workface", 0.001


def _levels_around(site: Site, track: Track, rows: Ints, reach_m: float, readings: Readings | None) -> Levels:
    x, y = track.x[rows], track.y[rows]
    window = (x.min() - reach_m, y.min() - reach_m, x.max() + reach_m, y.max() + reach_m)
    return Levels(site.ground, tuple(map(float, window)), None if readings is None else readings.rise)


def _works(move: Move, track: Track, site: Site) -> Ints:
    """Samples in which the machine stands to work: where the move ends, and where it is held at a stop.

    A hold is at the rows whose chainage says so, wherever on the path's own length that is.
    """
    faces = {name: place for name, place in site.places.items() if place.kind == WORKFACE}
    at = {len(track.x) - 1} if move.goal in faces else set[int]()
    ends = np.flatnonzero(np.diff(track.row, append=track.row[-1] + 1))  # the sample that is each row itself
    said = np.array([pose.chainage_m for pose in move.poses])[track.row[ends]]
    for place in (faces[name] for name in move.via if name in faces):
        off_m = np.hypot(track.x - place.point.x, track.y - place.point.y)
        for hold in move.holds:
            for here in track.chainage_m[ends[np.abs(said - hold.chainage_m) < HELD_M]]:
                held = (np.abs(track.chainage_m - here) < HELD_M) & (off_m <= place.tolerance_m + HELD_M)
                at.update(np.flatnonzero(held).tolist())
    return np.array(sorted(at), dtype=np.intp)


@dataclass(frozen=True, eq=False)
class Case:
    """Everything a check needs to know of one move; ``levels`` reach as far round the samples as any check looks.

    ``works`` are the samples of the track in which it stands at a workface; ``zone`` is where it travels raised, if it
    does; ``machine`` is then the raised one.
    """

    site: Site
    machine: Machine
    configuration: Configuration
    conditions: Conditions
    ridden: bool
    day: dt.date | None
    track: Track
    levels: Levels
    sigmas: Sigmas
    reach_m: float
    configurations: tuple[str, ...]
    steers: tuple[str, ...]
    wet: bool
    works: Ints
    readings: Readings | None
    zone: ElevatedZone | None

    @classmethod
    def of(
        cls, move: Move, track: Track, *, site: Site, machine: Machine, conditions: Conditions,
        zone: ElevatedZone | None = None,
    ) -> Case:  # fmt: skip
        """Gather a move that has samples."""
        configuration = machine.configurations[move.configuration]
        readings = Readings(site.ground, site.readings) if site.readings else None
        reach = float(np.hypot(*envelope(machine, configuration).T).max()) + DEFECT_REACH_M + WINDOW_SPARE_M
        return cls(
            site=site,
            machine=machine,
            configuration=configuration,
            conditions=conditions,
            ridden=any(pose.travel_mode == "ridden" for pose in move.poses),
            day=None if move.on is None else dt.date.fromisoformat(move.on),
            track=track,
            levels=_levels_around(site, track, np.zeros(1, dtype=np.intp), reach, readings),
            reach_m=reach,
            configurations=tuple(chosen.id for chosen in driven_in(move, machine).values()),
            steers=tuple(dict.fromkeys(pose.steer for pose in move.poses)),
            wet=conditions.wet or not any(one.id == move.id and not one.wet for one in site.moves),
            sigmas=Sigmas.of(machine, site.ground.accuracy),
            works=_works(move, track, site),
            readings=readings,
            zone=zone,
        )

    def driven(self, travel_mode: str, configuration: Configuration) -> Case:
        """The same case in one travel mode, and the configuration it is driven in."""
        return dataclasses.replace(self, ridden=travel_mode == "ridden", configuration=configuration)

    def sure(self, hub_x: Floats, hub_y: Floats, k: float) -> Sure:
        """How sure the machine is of how it stands in poses whose hubs ``(..., 4)`` are at these places."""
        known = None if self.site.ground.accuracy.assumed else self.readings
        return Sure.of(self.sigmas, known, hub_x, hub_y, k)

    def around(self, rows: Ints) -> Case:
        """The same case with the levels round some samples of its track, so that no route needs them all at once."""
        levels = _levels_around(self.site, self.track, rows, self.reach_m, self.readings)
        return dataclasses.replace(self, levels=levels)

    def figure(self, name: str) -> float:
        """A machine figure, NaN when nobody gave it: a check that needs it is then not made."""
        return self.machine.value(name) if name in self.machine.figures else math.nan

    @property
    def lateral_m(self) -> float:
        """Half the width of the tube, square to the chassis arrow, where it is widest."""
        return float(self.lateral_at(self.track.aslant).max())

    def lateral_at(self, aslant: Floats) -> Floats:
        """The same in samples: what travels aslant strays square to where it travels, so square to its arrow more."""
        return np.asarray(self.site.thresholds.lateral_tolerance_m / np.cos(aslant))

    @property
    def heading_rad(self) -> float:
        """Half the heading range of the tube."""
        return math.radians(self.site.thresholds.heading_tolerance_deg)

    def tube_reach_m(self, distance_m: Floats | float) -> Floats | float:
        """How far the tube moves a point at a distance from the machine's origin."""
        return self.lateral_m + distance_m * self.heading_rad

    def given(self, day: dt.date) -> bool:
        """Whether what holds from a day on holds on the day of the move: of a move without one, on the day of issue."""
        last = self.day.isoformat() if self.day else self.conditions.on
        return last is None or day.isoformat() <= last

    def holds(self, first: dt.date, last: dt.date | None) -> bool:
        """Whether what was said from one day until another holds on the day of the move; with a last day it holds for
        no move without one.
        """
        return self.given(first) and (last is None or (self.day is not None and self.day <= last))

    def closed(self, area: Area) -> bool:
        """Whether an area is closed for this move: dated, or closed by the conditions, which then win."""
        if area.id in self.conditions.closed:
            return True
        return area.closed_on(self.day) and area.id not in self.conditions.opened

    def reopened(self, area: Area) -> bool:
        """Whether an area is open for this move by the conditions alone."""
        return area.closed_on(self.day) and not self.closed(area)
