"""Columns of a layer's rows: numbers, words and days, each checked, and the near name when one is mistyped."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from routeplan.site.faults import CONTROL, Faults, near
from routeplan.site.layers import RawFeature
from routeplan.site.spans import NO_FIRST, NO_LAST, Span
from routeplan.site.text import has_comma, number_of

#: Columns of each layer, with geometry's own left out.
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "boundary": (),
    "obstacles": ("id", "kind", "top_m", "width_m"),
    "soffits": ("id", "kind", "level_m", "clear_m", "fall_x", "fall_y", "sigma_m", "survey", "width_m"),
    "surfaces": (
        "id", "kind", "accepted_by", "accepted_on", "accepted_mass_kg", "accepted_until",
        "bearing_by", "wet_factor", "wheel_limit_kn", "clay_cu_kpa", "clay_factor", "clay_rut_kpa",
        "platform_m", "spread_deg", "below_kpa", "below_phi_deg", "below_knm3", "below_factor",
        "friction_by", "friction_dry", "friction_wet", "loose", "friction_loose",
    ),  # fmt: skip
    "defects": (
        "id", "kind", "width_m", "depth_m", "height_m", "state", "proven_by", "proven_on", "proven_until",
        "wheel_limit_kn",
    ),  # fmt: skip
    "walkways": ("id", "kind", "width_m"),
    "overhead_lines": (
        "id", "corridor_m", "voltage_kv", "level_m", "clear_m", "sag_m", "sigma_m", "survey"
    ),  # fmt: skip
    "excavations": ("id", "set_back_m"),
    "areas": ("id", "title", "closed"),
    "readings": ("id", "level_m", "sigma_m", "taken_on", "taken_by"),
    "elevated_zones": (
        "id", "accepted_by", "accepted_on", "accepted_until", "accepted_mass_kg", "platform_height_m", "smooth_to_m",
    ),  # fmt: skip
    "places": ("id", "kind", "title", "bearing_deg", "tolerance_m"),
}

#: Levels on land: the Dead Sea shore is near -430 m, the highest summit below 8,850 m (common knowledge, no source).
LOWEST_LEVEL_M, HIGHEST_LEVEL_M = -500.0, 9000.0

#: Widths of what is drawn on a building site, metres; thinner strips vanish when they are drawn as areas.
NARROWEST_M, WIDEST_M = 0.001, 50.0

_SHAPEFILE_NAME = 10


def matched(raw: RawFeature, layer: str, *, short_names: bool) -> RawFeature:
    """Return the row with the layer's own column names where a Shapefile cut them to ten letters."""
    if not short_names:
        return raw
    full = {name[:_SHAPEFILE_NAME]: name for name in COLUMNS[layer]}
    return RawFeature(raw.id, raw.geometry, {full.get(k, k): v for k, v in raw.columns.items()}, raw.where)


def check_names(layer: str, given: Iterable[str], *, label: str, faults: Faults) -> None:
    """Find columns that look like a mistyped column of the layer which is not there; others are left alone.

    Parameters
    ----------
    layer, given
        Name of the layer, names of the file's columns.
    label, faults
        File for people, and collector.
    """
    names = set(given)
    absent = [name for name in COLUMNS[layer] if name not in names and name != "id"]
    for name in sorted(names - set(COLUMNS[layer])):
        meant = near(name, absent)
        if meant:
            faults.add(
                "unknown-column", label, f'column "{name}" is not read', f'name it "{meant}", or something less alike'
            )


@dataclass(frozen=True)
class Columns:
    """The columns of one row; a cell that cannot be used is a fault and reads as missing."""

    raw: RawFeature
    faults: Faults

    def text(self, name: str) -> str | None:
        """Return a word, None when there is none."""
        value = self.raw.columns.get(name)
        if isinstance(value, bool) or not isinstance(value, str | int | float | None):
            self.faults.add("wrong-type", self.raw.where, f"{name} = {value!r} is not text", "write words")
            return None
        if isinstance(value, str) and CONTROL.search(value):
            self.faults.add(
                "text-unfit", self.raw.where, f"{name} = {value!r} is not one line of text", "write one line of text"
            )
        return None if value is None else str(value)

    def number(self, name: str, *, low: float, high: float, above: bool = False, required: str = "") -> float | None:
        """Return a number, None when the cell is empty.

        Parameters
        ----------
        name
            Column.
        low, high
            Sane range, both ends allowed.
        above
            Whether the number must be above ``low``.
        required
            Why the cell may not be empty; empty when it may.
        """
        value: Any = self.raw.columns.get(name)
        if value is None:
            if required:
                self.faults.add("value-missing", self.raw.where, f"it has no {name}", required)
            return None
        number = value if isinstance(value, int | float) and not isinstance(value, bool) else number_of(str(value))
        if number is None:
            what = "is written with a comma" if has_comma(str(value)) else "is not a number"
            mend = "write digits with a decimal point, without a unit"
            self.faults.add("wrong-type", self.raw.where, f"{name} = {value!r} {what}", mend)
            return None
        if not low <= number <= high or (above and number == low):
            word = "above" if above else "from"
            self.faults.add(
                "out-of-range",
                self.raw.where,
                f"{name} = {f'{number:g}' if abs(number) < 1e16 else value} is outside the sane range",
                f"give a value {word} {low:g} to {high:g}",
            )
            return None
        return float(number)

    def day(self, name: str) -> dt.date | None:
        """Return a day, None when the cell is empty."""
        text = self.text(name)
        if text is None:
            return None
        day = parse_day(text[:10] if re.fullmatch(r"\d{4}-\d\d-\d\d[T ]00:00:00.*", text) else text)
        if day is None:
            mend = "write it as in 2026-11-02; in a spreadsheet make the column text first, it rewrites days"
            self.faults.add("bad-date", self.raw.where, f"{name} = {text!r} is not a day", mend)
        return day

    def spans(self, name: str) -> tuple[Span, ...]:
        """Return spans of days, both ends included, written ``2026-11-30/2026-12-04; 2026-12-10``.

        An end that nobody knows is written ``..`` (ISO 8601-2): ``2026-12-10/..`` for good, ``../2026-12-10`` until
        then.
        """
        found: list[Span] = []
        for text in (self.text(name) or "").split(";"):
            if not text.strip():
                continue
            said = [end.strip() for end in text.split("/")]
            unknown = (NO_FIRST, NO_LAST) if len(said) == 2 else (None, None)
            ends = [parse_day(end) if end != ".." else no for end, no in zip(said, unknown, strict=False)]
            first, last = ends[0], ends[-1]
            if len(said) > 2 or first is None or last is None:
                self.faults.add(
                    "bad-date",
                    self.raw.where,
                    f"{name}: {text.strip()!r} is not a span of days",
                    "write it as in 2026-11-30/2026-12-04; 2026-12-10/..",
                )
            elif last < first:
                self.faults.add(
                    "closure-backwards",
                    self.raw.where,
                    f"{name}: {text.strip()} ends before it begins",
                    "write the first day first",
                )
            else:
                found.append((first, last))
        return tuple(found)


def parse_day(text: str) -> dt.date | None:
    """Return a day written as ``YYYY-MM-DD``, None when it is not one.

    >>> parse_day("2026-02-29") is None
    True
    """
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
