"""Overhead lines: their corridors, how low they hang, and the safety distance by a table that the site names."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from shapely.geometry import Polygon

from routeplan.site.columns import HIGHEST_LEVEL_M, LOWEST_LEVEL_M, Columns
from routeplan.site.consistency import HIGHEST_SOFFIT_M
from routeplan.site.csv_rows import csv_header, csv_lines, csv_records
from routeplan.site.faults import Door, Faults, Unreadable
from routeplan.site.features import AREA_OR_LINE
from routeplan.site.ground import samples
from routeplan.site.layers import RawFeature
from routeplan.site.model import Ground, LineCorridor, LineHeight, SafetyDistance
from routeplan.site.outlines import widened

#: Columns of a table of safety distances.
TABLE_COLUMNS = ("over_kv", "up_to_kv", "distance_m", "per_kv_m", "scope", "source")

#: No line carries more, kV: the highest in service are near 1,100 kV (common knowledge, no source).
HIGHEST_KV = 2000.0

_NAME_ONE = 'name the table that holds here, in site.toml: [overhead_lines] safety_distances = "..."'


@dataclass(frozen=True)
class VoltageRange:
    """Voltages over ``over_kv`` up to and with ``up_to_kv``, and the distance their row of a table asks for.

    ``per_kv_m`` is what each kV over ``over_kv`` adds to ``distance_m``.
    """

    over_kv: float
    up_to_kv: float
    distance_m: float
    per_kv_m: float
    scope: str
    source: str


@dataclass(frozen=True)
class SafetyTable:
    """A table of safety distances. ``whole`` is false where a row is at fault: it then says nothing of other voltages.

    >>> row = VoltageRange(50.0, math.inf, 3.048, 0.01016, "insulated lines", "29 CFR 1926.451(f)(6)")
    >>> round(SafetyTable("t.csv", (row,), True).distance(69.0).distance_m, 3)
    3.241
    """

    label: str
    rows: tuple[VoltageRange, ...]
    whole: bool

    def distance(self, voltage_kv: float) -> SafetyDistance | None:
        """The distance for a voltage, ``None`` where the table does not speak of it."""
        for row in self.rows:
            if row.over_kv < voltage_kv <= row.up_to_kv:
                distance_m = row.distance_m + row.per_kv_m * (voltage_kv - row.over_kv)
                return SafetyDistance(voltage_kv, distance_m, row.scope, row.source)
        return None


def read_safety_table(path: Path, *, label: str, faults: Faults) -> SafetyTable:
    """Read a table of safety distances: a CSV with ``TABLE_COLUMNS``, each row with its scope and its source."""
    before = len(faults)
    rows: list[VoltageRange] = []
    try:
        records = csv_records(path)
        names = csv_header(records)
        for name in names:
            if name not in TABLE_COLUMNS:
                mend = f"it holds {', '.join(TABLE_COLUMNS)} and nothing else"
                faults.add("unknown-column", label, f'column "{name}" is not read', mend)
        for line in csv_lines(records, names, label=label, faults=faults):
            cells = {name: line.cell(name) or None for name in TABLE_COLUMNS}
            rows += _range(Columns(RawFeature(None, None, cells, line.where), faults))
    except Unreadable as error:
        faults.refuse(label, error)
    rows.sort(key=lambda row: (row.over_kv, row.up_to_kv))
    for low, high in pairwise(rows):
        if high.over_kv < low.up_to_kv:
            what = f"two rows speak of {high.over_kv:g} to {min(low.up_to_kv, high.up_to_kv):g} kV"
            faults.add("safety-distance", label, what, "let each row begin where the one before it ends")
    if not rows and len(faults) == before:
        faults.add("safety-distance", label, "it has no rows", "copy the table that holds on this site into it")
    return SafetyTable(label, tuple(rows), len(faults) == before)


def _range(columns: Columns) -> Iterator[VoltageRange]:
    """The row of a table, nothing when it is at fault."""
    over_kv = columns.number("over_kv", low=0.0, high=HIGHEST_KV, required="write 0 in the first row")
    up_to_kv = columns.number("up_to_kv", low=0.0, high=HIGHEST_KV, above=True)
    distance_m = columns.number("distance_m", low=0.0, high=100.0, above=True, required="give the distance, metres")
    per_kv_m = columns.number("per_kv_m", low=0.0, high=1.0)
    told = {name: columns.text(name) for name in ("scope", "source")}
    for name, text in told.items():
        if text is None:
            mend = "say whom and what the distance is for, and where it is published, in every row"
            columns.faults.add("value-missing", columns.raw.where, f"it has no {name}", mend)
    if up_to_kv is not None and over_kv is not None and up_to_kv <= over_kv:
        what = f"it runs from over {over_kv:g} up to {up_to_kv:g} kV"
        columns.faults.add("safety-distance", columns.raw.where, what, "write the lower voltage in over_kv")
    elif over_kv is not None and distance_m is not None and told["scope"] and told["source"]:
        most = math.inf if up_to_kv is None else up_to_kv
        yield VoltageRange(over_kv, most, distance_m, per_kv_m or 0.0, told["scope"], told["source"])


@dataclass(frozen=True)
class LineReader:
    """Builds the lines of a layer.

    Parameters
    ----------
    table
        What the site names; ``None`` where it names none.
    ground
        What heights are measured from; ``None`` where it could not be read.
    """

    table: SafetyTable | None
    ground: Ground | None

    def __call__(self, raw: RawFeature, door: Door) -> tuple[LineCorridor, ...]:
        """Lines of a row: the line, or the area under it, and ``corridor_m`` to each side of it."""
        columns = Columns(raw, door.faults)
        corridor_m = columns.number(
            "corridor_m",
            low=0.01,
            high=200.0,
            required="give the distance to keep to each side, metres; there is no default",
        )
        safety, height = self._safety(columns), self._height(columns)
        # A line is first a strip of a centimetre so that it passes the same checks as areas, then grows.
        outlines = widened(raw, width_m=0.01, kinds=AREA_OR_LINE, door=door)
        if corridor_m is None:
            return ()
        grown_m = corridor_m + (0.0 if safety is None else safety.distance_m)
        above_ground = raw.columns.get("clear_m") is not None
        lines = []
        for name, outline in outlines:
            shape, low = outline.buffer(grown_m, join_style="mitre"), None if safety is None else height
            if low is not None and above_ground:
                low = self._over_ground(low, shape)
            lines.append(LineCorridor(name, shape, corridor_m, safety, low))
        return tuple(lines)

    def _safety(self, columns: Columns) -> SafetyDistance | None:
        """The safety distance of a row; a voltage that no table speaks of is a fault."""
        voltage_kv = columns.number("voltage_kv", low=0.0, high=HIGHEST_KV, above=True)
        if voltage_kv is None:
            return None
        where = columns.raw.where
        if self.table is None:
            what = f"it carries {voltage_kv:g} kV, and no table says what distance that asks for"
            columns.faults.add("safety-distance", where, what, _NAME_ONE)
            return None
        found = self.table.distance(voltage_kv)
        if found is None and self.table.whole:
            mend = "name a table that does, or ask the line's owner for the distance and add a row with that source"
            what = f"{self.table.label} does not speak of {voltage_kv:g} kV"
            columns.faults.add("safety-distance", where, what, mend)
        return found

    def _height(self, columns: Columns) -> LineHeight | None:
        """How low the line of a row hangs; ``level_m`` is still above the ground where that was measured."""
        level_m = columns.number("level_m", low=LOWEST_LEVEL_M, high=HIGHEST_LEVEL_M)
        clear_m = columns.number("clear_m", low=0.0, high=HIGHEST_SOFFIT_M, above=True)
        given = [name for name in ("level_m", "clear_m") if columns.raw.columns.get(name) is not None]
        if not given:
            return None
        if len(given) == 2:
            mend = "give its level, or its height above the ground, not both"
            columns.faults.add("line-height", columns.raw.where, "it has both level_m and clear_m", mend)
        if columns.raw.columns.get("voltage_kv") is None:
            mend = "give its voltage, or leave its height out: without a safety distance nothing passes under it"
            columns.faults.add("line-height", columns.raw.where, "it has a height and no voltage_kv", mend)
        sag_m = columns.number(
            "sag_m", low=0.0, high=50.0, required="give how much lower than measured it may come, 0 if it cannot"
        )
        sigma_m = columns.number("sigma_m", low=0.0, high=10.0, above=True)
        low = clear_m if level_m is None else level_m
        if low is None or sag_m is None:
            return None
        return LineHeight(low, sag_m, sigma_m, columns.text("survey"))

    def _over_ground(self, height: LineHeight, shape: Polygon) -> LineHeight:
        """A height above the ground as a level: above the lowest that is known near the line, for nobody said where."""
        if self.ground is None:
            return height
        levels = samples(self.ground, shape)[1]
        low = float(levels.min()) if levels.size else math.nan
        return replace(height, level_m=low + height.level_m, survey=self.ground.accuracy.survey)


def check_lines(lines: Iterable[LineCorridor], ground: Ground, *, label: str, faults: Faults) -> None:
    """Find lines whose height cannot be: no ground known below, a level and a height mixed up, or another datum."""
    for line in lines:
        if line.height is None:
            continue
        where, levels = f"{label}, feature {line.id}", samples(ground, line.geometry)[1]
        if math.isnan(line.height.level_m):
            mend = "give level_m, or levels there"
            faults.add("line-height", where, "its height is measured from ground that has no known level", mend)
        elif levels.size and not levels.min() < line.height.level_m <= levels.max() + HIGHEST_SOFFIT_M:
            what = f"it hangs at {line.height.level_m:.2f} m, the ground there at {levels.min():.2f} to"
            mend = "level_m is a level in the site's datum; give a height above the ground as clear_m"
            faults.add("line-height", where, f"{what} {levels.max():.2f} m", mend)
