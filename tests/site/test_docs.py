"""``docs/site-folder.md`` says what the reader does: every key, column, default, range, and an example that reads."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import annotated_types
import pytest
from shapely.geometry import Point

from routeplan.hazards.catalogue import CATALOGUE
from routeplan.site import schema
from routeplan.site.columns import COLUMNS, HIGHEST_LEVEL_M, LOWEST_LEVEL_M, NARROWEST_M, WIDEST_M, Columns
from routeplan.site.departures import parse
from routeplan.site.faults import Door, Faults
from routeplan.site.features import KERB_WIDTH_M, PLACE_TOLERANCE_M
from routeplan.site.layers import RawFeature
from routeplan.site.lines import LineReader
from routeplan.site.read import _BUILDERS

TEXT = (Path(__file__).parents[2] / "docs" / "site-folder.md").read_text(encoding="utf-8")

TABLES: dict[str, type[schema.Section]] = {
    "[site]": schema.SiteSection,
    "[levels]": schema.LevelsSection,
    "[grid]": schema.GridSection,
    "[thresholds]": schema.ThresholdsSection,
    "[hire]": schema.HireSection,
    "[[moves]]": schema.MoveSection,
    "[layers]": schema.LayersSection,
    "[overhead_lines]": schema.OverheadLinesSection,
}
BUILDERS: dict[str, Any] = {**_BUILDERS, "overhead_lines": LineReader(None, None)}
#: Said once for all layers: levels, and widths of what is drawn.
SAID_ONCE = {
    (LOWEST_LEVEL_M, HIGHEST_LEVEL_M): f"Levels outside {LOWEST_LEVEL_M:g} to {HIGHEST_LEVEL_M:g} m",
    (NARROWEST_M, WIDEST_M): f"Widths are {NARROWEST_M:g} to {WIDEST_M:g} m.",
}
#: How the unit of a name is written; metres are said once for all.
UNITS = {
    "_kg": " kg",
    "_kn": " kN",
    "_kpa": " kPa",
    "_kv": " kV",
    "_knm3": " kN/m3",
    "_deg": " degrees",
    "_days": " days",
}


def part(title: str) -> str:
    """The text under a heading, up to the next one."""
    found = re.search(rf"^### `{re.escape(title)}`.*?\n(.*?)(?=^##|\Z)", TEXT, re.MULTILINE | re.DOTALL)
    assert found, title
    return found[1]


def first_cells(text: str) -> set[str]:
    """The words in code style in the first column of the tables of a text."""
    cells = re.findall(r"^\| (`[^|]*) \|", text, re.MULTILINE)
    return {word for cell in cells for word in re.findall(r"`([^`]+)`", cell)}


def rows(title: str) -> Iterator[tuple[tuple[str, ...], dict[str, str]]]:
    """Every row of the tables under a heading: the names in its first cell, and its cells by the heads above them."""
    for found in re.findall(r"(?:^\|.*\|\n)+", part(title), re.MULTILINE):
        head, _, *lines = ([cell.strip() for cell in line.strip("|").split(" | ")] for line in found.splitlines())
        for line in lines:
            yield tuple(re.findall(r"`([^`]+)`", line[0])), dict(zip(head, line, strict=True))


def span(low: float, high: float, *, above: bool) -> str:
    """A sane range as the page writes it."""
    return f"{'above ' if above else ''}{low:g} to {f'{high:,.0f}' if high >= 1e4 else f'{high:g}'}"


def bounds(field: Any) -> str | None:
    """The sane range of a number of ``site.toml``, ``None`` for other keys."""
    kinds = [*field.metadata]
    for kind in get_args(field.annotation):
        kinds.extend(getattr(kind, "__metadata__", ()))
    known = [one for kind in kinds for one in getattr(kind, "metadata", [kind])]
    ends = {name: getattr(one, name) for one in known for name in ("ge", "gt", "le", "lt") if hasattr(one, name)}
    ends = {name: end for name, end in ends.items() if end is not None}
    if not ends:
        return None
    above = "gt" in ends
    return span(ends["gt" if above else "ge"], ends["le"], above=above)


@pytest.mark.parametrize("title", TABLES)
def test_every_key_and_no_other(title: str) -> None:
    fields = TABLES[title].model_fields
    assert first_cells(part(title)) == {field.alias or name for name, field in fields.items()}


@pytest.mark.parametrize("layer", [name for name in COLUMNS if name != "boundary"])
def test_every_column_and_no_other(layer: str) -> None:
    words = first_cells(part(layer)) - {"kind", "pothole", "kerb", "sill", "cover", "plate", "trench"}
    assert words == set(COLUMNS[layer]) - {"id", "kind"}
    assert ("`kind`" in part(layer)) == ("kind" in COLUMNS[layer])


@pytest.mark.parametrize("title", [title for title in TABLES if title not in {"[layers]", "[thresholds]"}])
def test_each_key_has_its_range_its_default_and_what_a_missing_one_means(title: str) -> None:
    fields = {field.alias or name: field for name, field in TABLES[title].model_fields.items()}
    assert {name for names, _ in rows(title) for name in names} >= set(fields)
    for names, cells in rows(title):
        for name in names:
            if name not in fields:
                continue
            range_, default = bounds(fields[name]), cells.get("default", "none")
            assert range_ is None or range_ in cells["value"], name
            assert (default == "required") == fields[name].is_required(), name
            assert default == "required" or cells.get("missing means", cells.get("left out")), name
            if isinstance(fields[name].default, bool | str):
                written = str(fields[name].default).lower()
                assert default in {f"`{written}`", f'`"{written}"`'}, name
            elif not fields[name].is_required() and isinstance(fields[name].default, int | float):
                assert default == f"{fields[name].default:g}", name
            unit = next((word for end, word in UNITS.items() if name.endswith(end)), "")
            assert unit in cells["value"], name


def sane_ranges(layer: str, monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[float, float, bool]]:
    """What the reader of a layer lets each of its numbers be, as it asks for them."""
    asked = {}

    def number(_: Columns, name: str, *, low: float, high: float, above: bool = False, required: str = "") -> None:
        asked[name] = (low, high, above)

    monkeypatch.setattr(Columns, "number", number)
    for given in ("level_m", "clear_m"):
        raw = RawFeature("one", Point(1, 1), {"kind": "cover", given: 1.0}, "layer, feature one")
        BUILDERS[layer](raw, Door(Faults()))
    return asked


@pytest.mark.parametrize("layer", BUILDERS)
def test_each_column_has_its_unit_its_range_and_what_a_missing_one_means(
    layer: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ranges, told = sane_ranges(layer, monkeypatch), set()
    for names, cells in rows(layer):
        if "missing means" not in cells:
            continue  # which kinds there are, and how each is drawn
        assert cells["missing means"], names
        for name in names:
            told.add(name)
            unit = next((word for end, word in UNITS.items() if name.endswith(end)), "")
            assert unit in cells["value"], name
            if name in ranges:
                low, high, above = ranges[name]
                once = SAID_ONCE.get((low, high))
                assert once in TEXT if once else span(low, high, above=above) in cells["value"], name
    assert told >= set(ranges)


def test_what_stands_in_no_table() -> None:
    assert f'`format` is `"{schema.FORMAT}"`' in TEXT
    assert all(f"`{name}`" in part("[[contacts]]") for name in schema.ContactSection.model_fields)
    assert all(f"`{name}`" in part("[hire]") for name in schema.HireTerms.model_fields)
    assert "[machines.ID.sheet]" in part("[machines.ID]") and "[machines.ID.measured]" in part("[machines.ID]")
    assert "`class`" in part("[machines.ID]") and "`sheet_source`" in part("[machines.ID]")
    assert "Every length, level and coordinate is in metres." in TEXT


@pytest.mark.parametrize("name", schema.ThresholdsSection.model_fields)
def test_defaults_and_ranges_of_thresholds(name: str) -> None:
    field = schema.ThresholdsSection.model_fields[name]
    low = next(limit.ge for limit in field.metadata if isinstance(limit, annotated_types.Ge))
    high = next(
        f"{limit.le:g}" if isinstance(limit, annotated_types.Le) else f"below {limit.lt:g}"
        for limit in field.metadata
        if isinstance(limit, annotated_types.Le | annotated_types.Lt)
    )
    row = re.search(rf"^\| `{name}` \| [^|]+ \| ([^|]+) \| ([^|]+) \| ([^|]+) \|$", part("[thresholds]"), re.MULTILINE)
    assert row is not None
    assert (row[1], row[2]) == (f"{field.default:g}", f"{low:g} to {high}")
    assert "EN ISO 13854" in row[3] or "the same" in row[3] or "no source" in row[3] or "from memory" in row[3]


def test_other_defaults() -> None:
    assert f"is {KERB_WIDTH_M:g} m wide" in part("defects")
    assert f"{PLACE_TOLERANCE_M:g} m (common practice" in part("places")
    assert f"| {schema.GridSection().cell_m:g} |" in part("[grid]")


def test_layers_and_the_checks_they_leave_open() -> None:
    rows = dict(re.findall(r"^\| `(\w+)` \| ([^|]+) \|$", part("[layers]"), re.MULTILINE))
    for name in schema.LayersSection.model_fields:
        kinds = [line.kind for line in CATALOGUE if name in line.layers]
        assert rows[name] == ", ".join(kinds) if kinds else rows[name].startswith("nothing")


def test_the_example_is_sound() -> None:
    found = re.search(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    assert found is not None
    faults = Faults()
    assert parse(tomllib.loads(found[1]), faults=faults) is not None and not faults.found
