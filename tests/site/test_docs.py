"""``docs/site-folder.md`` says what the reader does: every key, column, default, range, and an example that reads."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import annotated_types
import pytest

from routeplan.hazards.catalogue import CATALOGUE
from routeplan.site import schema
from routeplan.site.columns import COLUMNS
from routeplan.site.departures import parse
from routeplan.site.faults import Faults
from routeplan.site.features import KERB_WIDTH_M, PLACE_TOLERANCE_M

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


def part(title: str) -> str:
    """The text under a heading, up to the next one."""
    found = re.search(rf"^### `{re.escape(title)}`.*?\n(.*?)(?=^##|\Z)", TEXT, re.MULTILINE | re.DOTALL)
    assert found, title
    return found[1]


def first_cells(text: str) -> set[str]:
    """The words in code style in the first column of the tables of a text."""
    cells = re.findall(r"^\| (`[^|]*) \|", text, re.MULTILINE)
    return {word for cell in cells for word in re.findall(r"`([^`]+)`", cell)}


@pytest.mark.parametrize("title", TABLES)
def test_every_key_and_no_other(title: str) -> None:
    fields = TABLES[title].model_fields
    assert first_cells(part(title)) == {field.alias or name for name, field in fields.items()}


@pytest.mark.parametrize("layer", [name for name in COLUMNS if name != "boundary"])
def test_every_column_and_no_other(layer: str) -> None:
    words = first_cells(part(layer)) - {"kind", "pothole", "kerb", "sill", "cover", "plate", "trench"}
    assert words == set(COLUMNS[layer]) - {"id", "kind"}
    assert ("`kind`" in part(layer)) == ("kind" in COLUMNS[layer])


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
