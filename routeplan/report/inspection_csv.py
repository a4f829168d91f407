"""The inspection list as CSV: the lines and boxes of the page, and nothing that a spreadsheet would reckon with."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from io import StringIO
from pathlib import Path

from routeplan.report.inspection_line import Line
from routeplan.report.markup import plain
from routeplan.route.model import Plan

COLUMNS = (
    "row", "plan_revision", "issued", "plan_sha256", "move", "machine", "verdict", "line", "chainage_m", "place",
    "title", "look", "measure", "measured_from", "unit", "last_good", "recorded", "number_in_words", "stops",
    "reading", "time", "initials",
)  # fmt: skip
#: A cell that begins so, blanks aside, is a formula to one spreadsheet or another; the last four are full-width.
_FORMULA = tuple("=+-@\uff1d\uff0b\uff0d\uff20")


def write_inspection_csv(plan: Plan, lists: Mapping[str, Sequence[Line]], path: Path, *, sha256: str) -> None:
    """Write the list as RFC 4180 has it, with a mark in front by which spreadsheets know UTF-8."""
    path.write_bytes(inspection_csv(plan, lists, sha256=sha256).encode("utf-8-sig"))


def inspection_csv(plan: Plan, lists: Mapping[str, Sequence[Line]], *, sha256: str) -> str:
    """Return the list: a row for each caution, then one for each reading, or line without any, in driving order."""
    text = StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    whole = {"plan_revision": plan.revision, "issued": plan.issued, "plan_sha256": sha256}
    if plan.invented:
        writer.writerow(_inert(whole | {"row": "caution", "look": "INVENTED DATA"}))
    for caution in plan.cautions:
        writer.writerow(_inert(whole | {"row": "caution", "look": caution}))
    for row in _rows(plan, lists):
        writer.writerow(_inert(whole | row))
    return text.getvalue()


def _rows(plan: Plan, lists: Mapping[str, Sequence[Line]]) -> Iterator[dict[str, str]]:
    for move in plan.moves:
        for number, line in enumerate(lists[move.id], 1):
            told = {
                "row": "look", "move": move.id, "machine": move.machine, "verdict": move.verdict, "line": str(number),
                "chainage_m": line.along.removesuffix(" m"), "place": line.where, "title": line.title,
                "look": line.look,
            }  # fmt: skip
            if not line.readings:
                yield told
            for reading in line.readings:
                yield told | {
                    "row": "measure", "measure": reading.figure, "measured_from": reading.measured_from,
                    "unit": reading.unit, "last_good": reading.last_good, "recorded": reading.recorded,
                    "number_in_words": f"{reading.lead}: {reading.limit}", "stops": reading.stops,
                }  # fmt: skip


def _inert(row: Mapping[str, str]) -> dict[str, str]:
    """The row as text that no spreadsheet takes for a formula: an apostrophe goes before what would begin one.

    Figures below zero stay figures.
    """
    shown = {key: plain(text) for key, text in row.items()}
    return {key: f"'{text}" if _begins_formula(text) else text for key, text in shown.items()}


def _begins_formula(text: str) -> bool:
    if not text.lstrip().startswith(_FORMULA):
        return False
    try:
        float(text)
    except ValueError:
        return True
    return False
