"""Goal posts before a way under an overhead line: whether they are told of, and hang their crossbar low enough."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
import shapely

from routeplan.recheck.case import Case
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import KNOWN_BELOW_M, Raster
from routeplan.route.model import Move, Objection
from routeplan.site.model import LineCorridor

_BAR = re.compile(r"crossbar at most (-?\d+(?:\.\d+)?) m")
#: What is said of a bar that nobody can say the height of.
_UNKNOWN = "not known"
#: Bars are told to the centimetre.
_WRITTEN_M = 0.01
_NOISE = 1e-6


def passage_objections(move: Move, case: Case, ledger: Ledger) -> Iterator[Objection]:
    """A way under an overhead line needs goal posts: a control at or before the place where it first comes under it.

    It names the line, and bars what the line does not let pass over the ground on the way.
    """
    posts = [one for one in move.controls if one.kind == "overhead line"]
    lines = {line.id: line for line in case.site.line_corridors}
    for name, row in sorted(ledger.under_lines.items()):
        at, place = float(ledger.track.chainage_m[row]), (float(ledger.track.x[row]), float(ledger.track.y[row]))
        said = [one.text for one in posts if one.chainage_m <= at + _NOISE and _names(one.text, name)]
        most_m = _highest_bar_m(lines[name], case, row, ledger.k)
        bars = [float(bar) for text in said for bar in _BAR.findall(text)]
        if not said:
            text = f"no goal posts at or before the passage under line {name}"
            yield Objection("line clearance", at, place, math.nan, at, "m", text)
        elif not all(_BAR.search(text) or _UNKNOWN in text for text in said):
            text = f"nobody is told how high the crossbar before line {name} may hang"
            yield Objection("line clearance", at, place, math.nan, most_m, "m", text)
        elif bars and not max(bars) <= most_m + _WRITTEN_M:
            text = f"the crossbar before line {name} hangs too high"
            yield Objection("line clearance", at, place, max(bars), most_m, "m", text)


def _names(text: str, line: str) -> bool:
    return re.search(rf"overhead line {re.escape(line)}(?!\S*\w)", text) is not None


def _highest_bar_m(line: LineCorridor, case: Case, row: int, k: float) -> float:
    """How high a crossbar hangs at most: by the highest ground under the line that the machine's origin comes over.

    ``row`` is where the passage begins. Infinite where the origin comes over none; below zero where nobody knows how
    well the line was measured.
    """
    ground, track, height = case.site.ground, case.track, line.height
    inside = shapely.contains_xy(line.geometry, track.x, track.y)
    soon = track.chainage_m <= track.chainage_m[row] + case.reach_m
    first = int(np.argmax(inside & soon & (np.arange(len(inside)) >= row)))
    out = np.flatnonzero(~inside[first:])
    under = slice(first, first + int(out[0]) if out.size else None)
    raster = Raster(ground.z, x_min=ground.x_min, y_min=ground.y_min, cell_m=ground.cell_m)
    levels = raster.at(track.x[under], track.y[under])
    levels = levels[levels < KNOWN_BELOW_M]
    if height is None or not levels.size:
        return math.inf
    sigma_m = math.inf if height.sigma_m is None else height.sigma_m
    if height.survey != ground.accuracy.survey:
        sigma_m = math.hypot(sigma_m, ground.accuracy.datum_m)
    return height.level_m - height.sag_m - line.distance_m - k * sigma_m - float(levels.max())
