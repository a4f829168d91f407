"""``changes.json``: what became of each move after a change, and the ways known from before it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from routeplan.planfile.codec import encoded, moves_from
from routeplan.planfile.plan import json_text, listed_in, load
from routeplan.route.change import MoveChange
from routeplan.route.model import Move, Plan

CHANGES_NAME = "changes.json"
FORMAT = "routeplan/changes@1"


def write_changes(
    before: Plan, after: Plan, changes: Sequence[MoveChange], earlier: Sequence[Move], path: Path
) -> None:
    """Write what became of each move.

    Parameters
    ----------
    before, after
        The plan before the change and after it.
    changes
        One for each move of the plan after it.
    earlier
        Ways of still earlier plans of the same site folder that are none of these.
    """
    document = {
        "format": FORMAT,
        "before": _head(before),
        "after": _head(after),
        "moves": [
            {
                "id": one.id, "change": one.change, "why": one.why,
                "before": encoded(one.before, where=one.id), "after": encoded(one.after, where=one.id),
            }
            for one in changes
        ],
        "earlier": [encoded(move, where=move.id) for move in earlier],
        "cautions": list(after.cautions),
    }  # fmt: skip
    path.write_text(json_text(document) + "\n", encoding="utf-8")


def _head(plan: Plan) -> dict[str, Any]:
    return {
        "revision": plan.revision,
        "issued": plan.issued,
        "valid_until": plan.valid_until,
        "conditions": encoded(plan.conditions, where="conditions"),
    }


def known_before(plan_path: Path, plan: Plan) -> tuple[Move, ...]:
    """Ways that a plan's own ``changes.json`` knows from before it; none where its set has no such file, or another's.

    Raises
    ------
    BadInput
        A move in it has a missing or wrong value.
    """
    path = plan_path.parent / CHANGES_NAME
    if CHANGES_NAME not in listed_in(plan_path):
        return ()
    document = load(path)
    if not isinstance(document, dict) or document.get("format") != FORMAT or document.get("after") != _head(plan):
        return ()
    rows = document.get("moves")
    found = [row.get("before") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    earlier = document.get("earlier")
    documents = [one for one in found if one] + (earlier if isinstance(earlier, list) else [])
    return moves_from(documents, source=str(path))
