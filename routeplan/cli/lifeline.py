"""``routeplan lifeline``: what cuts off each move of a plan, and how help comes to where machines work."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.cli.plan import aids_of_user
from routeplan.cli.recheck import accepted, add_files
from routeplan.errors import ExitStatus

if TYPE_CHECKING:
    from routeplan.route.lifelines import Lifelines
    from routeplan.route.model import Plan


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "lifeline",
        help="what cuts off each move of a plan, and how help comes to where machines work",
        description="Has the second opinion accept the plan, closes named areas until no way is left, looks for ways on"
        " foot and for a second machine to each workface, and writes lifelines.json and lifelines.html. Exit status 5"
        " when the plan is refused, and nothing is written; 8 when a move is not passed, or a workface has no way on"
        " foot; 0 otherwise.",
    )
    add_files(parser)


def run(args: argparse.Namespace) -> ExitStatus:
    """Have the plan accepted, look for what cuts it off and who comes to help, and write it."""
    from routeplan.plan.lifelines import lifelines_of
    from routeplan.planfile.plan import sha256_of
    from routeplan.site.changes import changed

    plan, site, status = accepted(args, "No lifelines")
    if status is ExitStatus.REFUSED:
        return status
    told = plan.conditions
    now = changed(site, closed=told.closed, opened=told.opened, wet=told.wet)
    found = lifelines_of(plan, now, aids_of_user())
    from routeplan.planfile.lifelines import LIFELINES_NAME, write_lifelines
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.lifelines_page import write_lifelines_page

    with OutputSet(args.out) as out:
        write_lifelines_page(found, plan, site, out.path("lifelines.html"))
        write_lifelines(found, plan, out.path(LIFELINES_NAME), sha256=sha256_of(args.plan))
        out.publish_without_plan()
    print(_summary(found, plan, args.out))
    helpless = any(one.on_foot is None for one in found.rescues)
    return ExitStatus.NOT_PASSED if helpless else status


def _summary(found: Lifelines, plan: Plan, folder: Path) -> str:
    lines = [f"{plan.site_name}, revision {plan.revision}, issued {plan.issued}: lifelines."]
    lines += [f"{one.move}  {one.words()}" for one in found.cuts]
    lines += [f"{one.move}  at {one.workface}: {text}" for one in found.rescues for text in one.words()]
    return "\n".join([*lines, "", *plan.cautions, "", f"Page: {folder / 'lifelines.html'}"])
