"""Where a way passes under overhead lines: goal posts on both sides, and how high their crossbar may hang."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from routeplan.hazards import arrays
from routeplan.hazards.fields import soffit_sigma, top_reach_m, volume_under
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.sweep import FAR
from routeplan.plan.profile import Profile
from routeplan.route.model import Control
from routeplan.site.model import Site


def goal_posts(found: Profile, site: Site, hazards: Hazards, k: float) -> Iterator[Control]:
    """A control for every time that a way passes under a line.

    The crossbar hangs so low that whatever passes below it, on level ground, keeps the safety distance over the highest
    ground that the machine may stand on under the line, less k sigma of how the line was measured.
    """
    body, terrain = hazards.body, hazards.terrain
    reach_m = float(body.reach) + top_reach_m(body, terrain.cell_m)
    places = shapely.points(found.starts[:, :2])
    under = found.margins[:, arrays.UNDER_LINE] < FAR / 2
    for line in site.line_corridors:
        if line.height is None:
            continue
        shapely.prepare(line.geometry)
        flags = under & shapely.dwithin(line.geometry, places, reach_m)
        volume = volume_under(line, line.height)
        for first, last in found.runs(flags, reach_m):
            driven = shapely.MultiPoint(found.starts[first : last + 1, :2]).buffer(reach_m)
            rows, cols, _ = terrain.nodes_within(driven.intersection(line.geometry), 2.0 * terrain.cell_m)
            ground_m = float(np.nanmax(terrain.level[rows, cols], initial=-math.inf))
            bar_m = (volume.level_m or 0.0) - k * soffit_sigma(volume, site) - ground_m
            before, beyond = found.chainage_m(max(first - 1, 0)), found.chainage_m(last + 1)
            yield Control("overhead line", before, _text(line.id, before, beyond, bar_m))


def _text(name: str, before_m: float, beyond_m: float, bar_m: float) -> str:
    """Where the posts stand and how high they bar, rounded down."""
    posts = f"Goal posts across the way at {before_m:.1f} m and {beyond_m:.1f} m, on both sides of overhead line {name}"
    if not math.isfinite(bar_m):
        return f"{posts}; how high their crossbar may hang is not known: measure it and say how far off it may be."
    bar_m = math.floor(bar_m * 100.0 + 1e-6) / 100.0
    return f"{posts}, crossbar at most {bar_m:.2f} m above the ground. What would touch it does not go on."
