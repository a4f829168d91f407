"""``routeplan brief``: the briefing pack of a plan, as a page and as PDF."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.cli.recheck import accepted, add_files, add_language
from routeplan.errors import ExitStatus, NotWritten

if TYPE_CHECKING:
    from routeplan.route.model import Plan


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "brief",
        help="the briefing pack of a plan: board sheet, operators' sheets, supervisor's pages",
        description="Has the second opinion accept the plan on the site folder as it is now, and writes briefing.html "
        "and briefing.pdf: a board sheet on A3, one sheet of A4 for the operator of each move, and the supervisor's "
        "pages with every check. Exit status 5 when the plan is refused, and nothing is written; 7 when the PDF cannot "
        "be set, and only the page is written; 8 when a move is not passed, 0 otherwise.",
    )
    add_files(parser)
    add_language(parser, "each operator's sheet in this language too, after the English one")


def run(args: argparse.Namespace) -> ExitStatus:
    """Have the plan accepted and write its briefing; the summary goes to stdout."""
    from routeplan.plan.rescue import on_foot
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.briefing.page import briefing_page, briefing_sheets
    from routeplan.report.briefing.paper import write_briefing_pdf
    from routeplan.report.tongue import tongue
    from routeplan.site.changes import changed

    plan, site, status = accepted(args, "No briefing")
    if status is ExitStatus.REFUSED:
        return status
    told = plan.conditions
    print("Looking for ways on foot to where machines work", file=sys.stderr, flush=True)
    reached = on_foot(changed(site, closed=told.closed, opened=told.opened, wet=told.wet), plan.moves)
    sheets = briefing_sheets(plan, site, reached, [tongue(code) for code in args.language])
    with OutputSet(args.out) as out:
        out.path("briefing.html").write_bytes(briefing_page(plan, sheets).encode("utf-8"))
        try:
            write_briefing_pdf(sheets, plan, out.path("briefing.pdf"))
        except NotWritten as error:
            out.leave_out("briefing.pdf", str(error))
            print(f"routeplan: {error}", file=sys.stderr)
            status = error.exit_status
        out.publish_without_plan()
    print(_summary(plan, args.out, paper=status is not ExitStatus.NOT_WRITTEN))
    return status


def _summary(plan: Plan, folder: Path, *, paper: bool) -> str:
    lines = [f"{plan.site_name}, revision {plan.revision}, issued {plan.issued}: briefing."]
    lines += [f"{move.id}  {move.machine}: {move.verdict.upper()}" for move in plan.moves]
    pack = [f"For screen: {folder / 'briefing.html'}"] + [f"For paper:  {folder / 'briefing.pdf'}"] * paper
    return "\n".join([*lines, "", *plan.cautions, "", *pack])
