"""A calendar on disk: ``calendar.json``, one value for each field; ``docs/calendar.schema.json`` describes it."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

from routeplan.planfile.codec import encoded
from routeplan.planfile.plan import json_text
from routeplan.route.days import Calendar

FORMAT = "routeplan/calendar@1"
CALENDAR_NAME = "calendar.json"

_SITE = {"site_name": "name", "site_revision": "revision", "inputs": "inputs"}


def calendar_document(calendar: Calendar) -> dict[str, Any]:
    """Return the JSON values of a calendar; what is told of the site goes under ``site``, as in a plan."""
    document: dict[str, Any] = {"format": FORMAT}
    for field in fields(calendar):
        value = encoded(getattr(calendar, field.name), where=field.name)
        if field.name in _SITE:
            document.setdefault("site", {})[_SITE[field.name]] = value
        else:
            document[field.name] = value
    return document


def write_calendar(calendar: Calendar, path: Path) -> None:
    """Write a calendar; the same calendar always gives the same bytes."""
    path.write_bytes((json_text(calendar_document(calendar)) + "\n").encode("utf-8"))
