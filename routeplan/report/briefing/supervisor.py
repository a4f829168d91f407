"""The supervisor's pages: every check of every move, what is open and what settles it, and who approves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from routeplan.report.briefing.sheet import Sheet, earliest, sheet
from routeplan.report.legs import legs_of
from routeplan.report.markup import escape, name
from routeplan.report.move_html import checks_of, ends, more_of, verdict_line
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.tables import facts, table
from routeplan.report.trouble import trouble
from routeplan.route.model import Move, Plan
from routeplan.site.model import Site

#: Who signs before a machine moves, by their part.
APPROVALS = (
    "Access coordinator: routes and days", "Competent person: ground and overheads as planned",
    "Temporary works: slabs, covers, platforms", "Supervisor: operators and marshals briefed",
)  # fmt: skip
_SIGNED = ("Part", "Name", "Accepted, or not, and why", "Day and time", "Signature")


def supervisor_sheets(plan: Plan, site: Site, drawings: Sequence[MoveDrawing]) -> Iterator[Sheet]:
    """Yield the page of approvals and then the pages of each move."""
    of = "Approvals and inputs"
    yield sheet("supervisor", "supervisor", "Supervisor's pages", of, _first(plan), plan, last_day=plan.valid_until)
    for index, (move, drawing) in enumerate(zip(plan.moves, drawings, strict=True), 1):
        yield _of_move(f"supervisor-{index}", move, drawing, plan, site)


def _first(plan: Plan) -> str:
    unchecked = "".join(f"<li>{name(text)}</li>" for text in plan.not_checked) or "<li>nothing listed</li>"
    rows = [(escape(part), "", "", "", "") for part in APPROVALS]
    read = [(name(item.path), f"<code>{escape(item.sha256)}</code>") for item in plan.inputs]
    assumed = facts("facts", _conditions(plan))
    return (
        f"<h3>Approvals: none is given by this paper, each is signed below</h3>"
        f"{table('Who accepts what', _SIGNED, rows, style='approvals')}"
        f"<h3>What the plan took for granted</h3>{assumed}"
        f"<h3>Not checked</h3><ul>{unchecked}</ul>"
        f"<h3>Files it was made from</h3>{table('Each by its sha256', ('File', 'sha256'), read, style='inputs')}"
    )


def _conditions(plan: Plan) -> list[tuple[str, str]]:
    told = plan.conditions
    instead = "; ".join(f"{name(new)} instead of {name(old)}" for old, new in told.machines.items())
    rows: Mapping[str, str] = {
        "Closed": name(", ".join(told.closed)) if told.closed else "only what the site folder dates",
        "Opened": name(", ".join(told.opened)) if told.opened else "nothing against its dates",
        "Added": name(", ".join(told.added)) if told.added else "nothing beyond the site folder",
        "Weather": "rain is allowed for: no move waits for dry ground" if told.wet else "dry where a move says so",
        "Machines": instead or "those ordered",
        "How sure": f"{plan.confidence_route * 100:g} % over each whole way",
    }
    return list(rows.items())


def _of_move(ident: str, move: Move, drawing: MoveDrawing, plan: Plan, site: Site) -> Sheet:
    machine = plan.machines[move.machine]
    controls = [
        (f"{control.chainage_m:.1f} m" if math.isfinite(control.chainage_m) else "all along",
         name(control.kind), name(control.text))
        for control in move.controls
    ]  # fmt: skip
    body = "".join(
        (
            f"<h2>{name(move.id)}: {ends(move, site)}</h2>",
            verdict_line(move),
            trouble(move, machine, site),
            legs_of(move, drawing.stops, site),
            "<h3>Controls</h3>" + table("In driving order", ("Along", "Kind", "What"), controls, style="controls")
            if controls
            else "",
            checks_of(move, machine),
            more_of(move, plan),
        )
    )
    of = f"Move <b>{name(move.id)}</b>, {name(move.machine)}"
    last = earliest(plan.valid_until, move.valid_until)
    return sheet("supervisor", ident, "Supervisor's page", of, body, plan, last_day=last)
