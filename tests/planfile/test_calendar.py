"""``calendar.json``: it fits its schema, schema and values say the same, and its bytes are fixed."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from routeplan.planfile.calendar import calendar_document, write_calendar
from routeplan.route.days import Calendar, Cause, MachineCalendar, MachineDay, Slip, Window, Without
from routeplan.route.model import CAUTIONS
from tests.report.calendars import calendar

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "calendar.schema.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
MACHINE: dict[str, Any] = SCHEMA["$defs"]["machine"]["properties"]


def test_a_calendar_fits_its_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert list(VALIDATOR.iter_errors(calendar_document(calendar()))) == []


@pytest.mark.parametrize(
    ("kind", "place"),
    [
        (MachineCalendar, SCHEMA["$defs"]["machine"]),
        (MachineDay, MACHINE["days"]["items"]),
        (Without, MACHINE["without"]["items"]),
        (Window, MACHINE["later"]["items"]),
        (Cause, MACHINE["without"]["items"]["properties"]["ended_by"]["items"]),
        (Slip, SCHEMA["$defs"]["slip"]),
    ],
)
def test_the_schema_names_and_needs_every_field(kind: type, place: dict[str, Any]) -> None:
    names = {field.name for field in fields(kind)}
    assert set(place["properties"]) == names == set(place["required"])


def test_a_key_that_is_missing_or_wrong_does_not_fit() -> None:
    document = calendar_document(calendar())
    assert {*document, "site"} == set(SCHEMA["required"])
    for name in SCHEMA["required"]:
        assert list(VALIDATOR.iter_errors({key: value for key, value in document.items() if key != name}))
    document["machines"][0]["days"][0]["out"] = "maybe"
    assert list(VALIDATOR.iter_errors(document))


def test_the_same_calendar_gives_the_same_bytes(tmp_path: Path) -> None:
    paths = [tmp_path / "a.json", tmp_path / "b.json"]
    for path in paths:
        write_calendar(calendar(), path)
    assert paths[0].read_bytes() == paths[1].read_bytes()
    document = json.loads(paths[0].read_text(encoding="utf-8"))
    assert document["cautions"] == list(CAUTIONS) and document["site"]["name"] == calendar().site_name
    assert {field.name for field in fields(Calendar)} - {"site_name", "site_revision", "inputs"} < set(document)
