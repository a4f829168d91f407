"""Every text of a plan and of a site tries to be more than a text, on every page that people open."""

from __future__ import annotations

import dataclasses
import functools
import re
import typing
from collections.abc import Mapping
from typing import Any

import pytest

from routeplan.report.briefing.page import briefing_page, briefing_sheets
from routeplan.report.diff_sheet import diff_sheet
from routeplan.report.inspection import inspection_page
from routeplan.report.inspection_list import inspection_lines
from routeplan.report.page import map_page
from routeplan.report.tongue import tongue
from routeplan.route.change import MoveChange
from routeplan.route.model import Plan
from routeplan.site.model import Site
from tests.report import world
from tests.report.browser import opened
from tests.report.test_page import Reader

BAD = (
    "</script></style></title><script>window.bad=1</script><img src=x onerror=window.bad=1>\"'-->"
    "<svg/onload=window.bad=1>"
)
#: Texts that are one of a few words, days, figures, or that name another value: the readers hold them.
HELD = {
    "Check.kind", "Check.unit", "Control.kind", "Pose.travel_mode", "Pose.steer", "Pose.regime", "Zone.unit",
    "NearMiss.kind", "Objection.kind", "Objection.unit", "StopNumber.feature", "Leg.travel_mode", "Measurement.name",
    "Move.configuration", "Move.machine", "Move.start", "Move.goal", "Move.on", "Move.valid_until", "Move.purpose",
    "Plan.issued", "Plan.valid_until", "Machine.id", "Machine.class_id", "Conditions.on", "Box.name", "Figure.unit",
    "Defect.kind", "Soffit.kind", "Place.kind", "Obstacle.kind", "Figure.tag", "Wheel.name",
}  # fmt: skip


def spoiled(value: Any, seen: set[str]) -> Any:
    """The same value with every text in it that is free spoiled; ``seen`` gets the fields that were."""
    if isinstance(value, tuple) and hasattr(value, "_replace"):
        return value._replace(**_fields(value, type(value).__annotations__, seen))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return dataclasses.replace(value, **_fields(value, typing.get_type_hints(type(value)), seen))
    if isinstance(value, tuple):
        return tuple(spoiled(one, seen) for one in value)
    if isinstance(value, Mapping):
        return {key: spoiled(one, seen) for key, one in value.items()}
    return value


def _fields(value: Any, hints: Mapping[str, Any], seen: set[str]) -> dict[str, Any]:
    changed: dict[str, Any] = {}
    for name, hint in hints.items():
        field, now = f"{type(value).__name__}.{name}", getattr(value, name)
        if field in HELD or typing.get_origin(hint) is typing.Literal:
            continue
        if isinstance(now, str) and hint in (str, str | None, "str", "str | None"):
            changed[name] = f"{now}{BAD}"
            seen.add(field)
        elif isinstance(now, tuple) and now and all(isinstance(one, str) for one in now):
            changed[name] = tuple(f"{one}{BAD}" for one in now)
            seen.add(field)
        elif not isinstance(now, str):
            changed[name] = spoiled(now, seen)
    return changed


@functools.cache
def spoiled_world() -> tuple[Plan, Site, frozenset[str]]:
    """Plan and site of the hand-made world, spoiled, and which fields were."""
    seen: set[str] = set()
    site = world.site()
    plan = dataclasses.replace(world.plan(), supersedes="R0")
    return spoiled(plan, seen), spoiled(site, seen), frozenset(seen)


@functools.cache
def pages() -> dict[str, str]:
    """Every page that people open, of the spoiled world."""
    plan, site, _ = spoiled_world()
    lists = {move.id: inspection_lines(move, (), plan=plan, site=site) for move in plan.moves}
    changes = [MoveChange(move.id, "changed", BAD, move, move) for move in plan.moves]
    told = [tongue("pl"), tongue("ar")]
    return {
        "map": map_page(plan, site),
        "briefing": briefing_page(plan, briefing_sheets(plan, site, (), told)),
        "inspection": inspection_page(plan, site, lists, sha256="ab" * 32),
        "inspection in Arabic": inspection_page(plan, site, lists, sha256="ab" * 32, tongue=told[1]),
        "diff": diff_sheet(plan, plan, changes, site),
    }


def test_every_kind_of_text_that_people_write_is_spoiled() -> None:
    fields = spoiled_world()[2]
    wanted = {
        "Plan.site_name", "Plan.revision", "Plan.site_revision", "Plan.supersedes", "Plan.cautions", "Plan.not_checked",
        "Move.id", "Move.reason", "Control.text", "Hold.text", "Zone.text", "Check.source", "Check.assumed",
        "NearMiss.text", "Objection.text", "Area.title", "Place.title", "Contact.role", "Contact.call_sign",
        "Defect.id", "Obstacle.id", "Machine.title", "FileRecord.path",
    }  # fmt: skip
    assert wanted <= fields


@pytest.mark.parametrize("name", ["map", "briefing", "inspection", "inspection in Arabic", "diff"])
def test_a_text_stays_a_text(name: str) -> None:
    page = pages()[name]
    assert "window.bad" in page and BAD not in page and "<script>window.bad" not in page and "<img" not in page
    read = Reader()
    read.feed(page.replace("<input", "<use"))
    read.close()
    assert read.open == []
    assert not [one for one in read.attributes if one[1].startswith("on")]
    assert not re.search(r"window\.bad", " ".join(read.scripts))


@pytest.mark.parametrize("name", ["map", "briefing", "inspection", "inspection in Arabic", "diff"])
def test_nothing_of_it_runs_or_asks_for_anything(browser: Any, tmp_path: Any, name: str) -> None:
    path = tmp_path / "page.html"
    path.write_text(pages()[name], encoding="utf-8")
    with opened(browser, path.as_uri()) as (shown, seen):
        assert shown.evaluate("window.bad === undefined") and seen == []
        assert "window.bad=1" in shown.locator("body").inner_text()
