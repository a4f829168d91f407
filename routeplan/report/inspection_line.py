"""Lines of an inspection list: what is looked at, what is measured, and the reading that stops the move."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from routeplan.report.wording import down, place_text, up
from routeplan.route.model import Measured, StopNumber
from routeplan.site.model import Defect, Soffit

#: Said wherever there is no number: what nobody has a limit for is never in order by itself.
ASK = "look and ask"

_LAST = {"depth": "deepest", "width": "widest", "height": "highest", "level": "lowest", "clear height": "lowest"}
_FROM = {
    "depth": "from the ground beside it straight down to its deepest place",
    "width": "across, where it is longest, edge to edge",
    "height": "from the ground beside it up to its top",
    "level": "level of its underside at the middle of its outline, in the heights of the survey",
    "clear height": "from the ground straight up to its underside, where that is least",
}


@dataclass(frozen=True)
class Reading:
    """One figure of one thing to measure.

    Parameters
    ----------
    thing, figure
        Id of the thing, and which figure of it.
    recorded_m
        As the site has it.
    number
        The stop number, ``None`` where there is none.
    """

    thing: str
    figure: Measured
    recorded_m: float
    number: StopNumber | None

    @property
    def overhead(self) -> bool:
        """Whether less, and not more, stops the move."""
        return self.figure in ("level", "clear height")

    @property
    def unit(self) -> str:
        """Metres overhead, as a staff or laser shows them; millimetres on the ground."""
        return "m" if self.overhead else "mm"

    @property
    def measured_from(self) -> str:
        """From where to where the figure is measured."""
        return _FROM[self.figure]

    @property
    def recorded(self) -> str:
        """What is recorded, in the unit."""
        return f"{self.recorded_m:.3f}" if self.overhead else f"{round(self.recorded_m * 1000.0, 1):g}"

    @property
    def last_good(self) -> str:
        """The stop number in the unit, rounded against the user; empty where there is none."""
        if self.number is None:
            return ""
        last_m = self.number.last_good_m
        return up(last_m, 3) if self.overhead else down(last_m * 1000.0, 0)

    @property
    def lead(self) -> str:
        """What the number says, as the words before it; before ``ASK`` where there is none."""
        return "no number" if self.number is None else f"{_LAST[self.figure]} reading that still lets the move go"

    @property
    def limit(self) -> str:
        """The number with its unit, or that somebody has to be asked."""
        return ASK if self.number is None else f"{self.last_good} {self.unit}"

    @property
    def stops(self) -> str:
        """What a reading beyond the number breaks, and where the machine then is."""
        if self.number is None:
            return ""
        return f"{', '.join(self.number.stops)}, machine at {self.number.chainage_m:.1f} m"


@dataclass(frozen=True)
class Line:
    """One line of the list.

    ``chainage_m`` is how far the machine's origin has come when the machine is nearest to the thing, minus infinity for
    what comes before the walk, infinity for what comes after; ``place`` is where the thing is, ``None`` for the whole
    way.
    """

    chainage_m: float
    place: tuple[float, float] | None
    title: str
    look: str
    readings: tuple[Reading, ...] = ()

    @property
    def along(self) -> str:
        """Where on the way it is met."""
        return f"{self.chainage_m:.1f} m" if math.isfinite(self.chainage_m) else "whole way"

    @property
    def where(self) -> str:
        """The thing's site coordinates, if it has a place."""
        return "" if self.place is None else place_text(self.place)


def readings_of(thing: Defect | Soffit, numbers: Mapping[tuple[str, str], StopNumber]) -> tuple[Reading, ...]:
    """Return what is measured of a thing, each figure with its number where there is one."""
    figures: dict[Measured, float | None]
    if isinstance(thing, Soffit):
        figures = {"level": thing.level_m, "clear height": thing.clear_m}
    elif thing.kind == "pothole":
        figures = {"depth": thing.depth_m, "width": thing.width_m}
    elif thing.kind in ("kerb", "sill"):
        figures = {"height": thing.height_m}
    else:
        figures = {}
    return tuple(
        Reading(thing.id, figure, recorded_m, numbers.get((thing.id, figure)))
        for figure, recorded_m in figures.items()
        if recorded_m is not None
    )
