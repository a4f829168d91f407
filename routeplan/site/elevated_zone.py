"""Zones in which somebody accepts that machines travel with their platform raised."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from shapely.geometry import Polygon


@dataclass(frozen=True)
class RaisedAcceptance:
    """A competent person's word that machines may travel over ground with their platform raised.

    By role, from one day until another, both included, up to a gross mass and a height of the platform's floor.
    ``smooth_to_m`` is the largest hole, bump or step in that ground.
    """

    role: str
    date: dt.date
    valid_until: dt.date
    mass_limit_kg: float
    platform_height_m: float
    smooth_to_m: float


@dataclass(frozen=True)
class ElevatedZone:
    """Where machines may travel with their platform raised; nowhere without an ``acceptance``."""

    id: str
    geometry: Polygon
    acceptance: RaisedAcceptance | None
