"""``routeplan inspect``: the daily inspection list of every move of a plan, with stop numbers."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.cli.recheck import accepted, add_files, add_language
from routeplan.errors import ExitStatus
from routeplan.report.languages import LANGUAGES

if TYPE_CHECKING:
    from routeplan.report.inspection_line import Line
    from routeplan.route.model import Plan
    from routeplan.site.model import Site


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "inspect",
        help="the daily route inspection list of a plan, with stop numbers",
        description="Has the second opinion accept the plan on the site folder as it is now, finds the reading of every"
        " hole, raised feature and soffit that stops a move, and writes inspection.html and inspection.csv. Exit status"
        " 5 when the plan is refused, and nothing is written; 8 when a move is not passed, 0 otherwise.",
    )
    add_files(parser)
    add_language(parser, "the page in this language too, as inspection-CODE.html")


def run(args: argparse.Namespace) -> ExitStatus:
    """Have the plan accepted, find its stop numbers, and write the list; the summary goes to stdout."""
    from routeplan.planfile.plan import sha256_of

    plan, site, status = accepted(args, "No inspection list")
    if status is ExitStatus.REFUSED:
        return status
    lists = _lists(plan, site)
    _write(plan, site, lists, args, sha256=sha256_of(args.plan))
    print(_summary(plan, lists, args.out))
    return status


def _lists(plan: Plan, site: Site) -> dict[str, tuple[Line, ...]]:
    """The lines of each move; a line of progress a move, for a long one takes minutes."""
    from routeplan.recheck.stop_numbers import stop_numbers
    from routeplan.report.inspection_list import inspection_lines

    lists = {}
    for count, move in enumerate(plan.moves, 1):
        print(f"  stop numbers of move {move.id} ({count} of {len(plan.moves)})", file=sys.stderr, flush=True)
        machine = site.machines[move.machine]
        numbers = stop_numbers(move, site=site, machine=machine, conditions=plan.conditions)
        lists[move.id] = inspection_lines(move, numbers, plan=plan, site=site)
    return lists


def _write(
    plan: Plan, site: Site, lists: Mapping[str, tuple[Line, ...]], args: argparse.Namespace, *, sha256: str
) -> None:
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.inspection import write_inspection_page
    from routeplan.report.inspection_csv import write_inspection_csv
    from routeplan.report.tongue import tongue

    with OutputSet(args.out) as out:
        write_inspection_page(plan, site, lists, out.path("inspection.html"), sha256=sha256)
        for code in LANGUAGES:
            page = f"inspection-{code}.html"
            if code in args.language:
                write_inspection_page(plan, site, lists, out.path(page), sha256=sha256, tongue=tongue(code))
            else:
                out.leave_out(page, "nobody asked for it")  # one of an older list must not stay beside this one
        write_inspection_csv(plan, lists, out.path("inspection.csv"), sha256=sha256)
        out.publish_without_plan()


def _summary(plan: Plan, lists: Mapping[str, tuple[Line, ...]], folder: Path) -> str:
    from routeplan.report.inspection import summary_of

    lines = [f"{plan.site_name}, revision {plan.revision}, issued {plan.issued}: route inspection."]
    lines += [f"{move.id}  {move.machine}: {move.verdict.upper()}, {summary_of(lists[move.id])}" for move in plan.moves]
    return "\n".join([*lines, "", *plan.cautions, "", f"Page: {folder / 'inspection.html'}"])
