"""Until when a move, and a plan, hold: the last day before the next dated change that touches what a body covers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from routeplan.plan.covered import outlines
from routeplan.plan.trace import ROW_STEP_M
from routeplan.route.model import Move
from routeplan.site.model import Site

#: What a body reaches beyond its outlines: its tube, for whatever the site's thresholds allow, m.
_BEYOND_M = 1.0
_DAY = dt.timedelta(days=1)


def last_day(move: Move, site: Site, issued: dt.date) -> dt.date | None:
    """The last day on which a move holds as planned; ``None`` where no dated change ends it, or there is no way.

    Parameters
    ----------
    issued
        Day of issue, from which a move without a day of its own counts.
    """
    return _last(move, site, issued if move.on is None else dt.date.fromisoformat(move.on))


def last_day_of_all(moves: Sequence[Move], site: Site, issued: dt.date) -> dt.date | None:
    """The last day on which a plan holds: each of its moves is made on its own day, and after the last of these days
    the next change that touches any of them ends it.
    """
    after = max([issued, *(dt.date.fromisoformat(move.on) for move in moves if move.on is not None)])
    return min((day for move in moves if (day := _last(move, site, after)) is not None), default=None)


def _last(move: Move, site: Site, after: dt.date) -> dt.date | None:
    dated = list(_dated(site, after)) if move.poses else []
    if not dated:
        return None
    bodies = outlines(move.poses, site.machines[move.machine], move.configuration)
    reach_m = _BEYOND_M + ROW_STEP_M
    return min((day for day, ground in dated if np.any(shapely.dwithin(bodies, ground, reach_m))), default=None)


def _dated(site: Site, after: dt.date) -> Iterator[tuple[dt.date, BaseGeometry]]:
    """Last days, not before a day, of what the site dates, and where."""
    for area in site.areas:
        begins = [first for first, _ in area.closures if first > after]
        if begins:
            yield min(begins) - _DAY, area.geometry
    words = [
        *((one.acceptance, one.geometry) for one in site.surfaces),
        *((one.acceptance, one.geometry) for one in site.elevated_zones),
        *((one.proof, one.geometry) for one in site.defects),
    ]  # fmt: skip
    for word, ground in words:
        if word is not None and word.valid_until is not None and word.valid_until >= after:
            yield word.valid_until, ground
