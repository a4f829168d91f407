"""A spot level taken after the survey with a better instrument: the value, apart from how it is read and used."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from shapely.geometry import Point


@dataclass(frozen=True)
class Reading:
    """A spot level of the ground on the survey's datum.

    Parameters
    ----------
    geometry
        Where it was taken.
    level_m
        What was read, metres.
    sigma_m
        Standard deviation of what was read, relative to the survey's datum, metres.
    date, role
        When, and by whom.
    """

    id: str
    geometry: Point
    level_m: float
    sigma_m: float
    date: dt.date
    role: str
