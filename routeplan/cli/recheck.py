"""``routeplan recheck``: the second opinion on a plan against the site as it is now."""

from __future__ import annotations

import argparse
import datetime as dt
import math
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from routeplan.errors import ExitStatus
from routeplan.report.languages import LANGUAGES

if TYPE_CHECKING:
    from routeplan.route.model import Objection, Plan
    from routeplan.site.model import Site

PASSED = frozenset({"pass", "pass with controls"})


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "recheck",
        help="the second opinion on a plan against the site as it is now",
        description="Computes every check of every move again, by code the planner does not use, on the site folder as"
        " it is now. Exit status 5 when anything is refused, 8 when a move is not passed, 0 otherwise.",
    )
    parser.add_argument("plan", type=Path, metavar="PLAN.json", help="a plan that routeplan wrote")
    parser.add_argument("--site", type=Path, required=True, metavar="SITE", help="the site folder")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> ExitStatus:
    """Re-check a plan and print what is accepted and what is refused, and why."""
    from routeplan.planfile.plan import read_plan
    from routeplan.recheck.opinion import recheck_plan

    plan = read_plan(args.plan)
    site = site_of(plan, args.plan.parent, args.site)
    found = recheck_plan(plan, site=site, today=dt.date.today())
    status = status_of(plan, found)
    if args.json:
        import json

        print(json.dumps(_document(plan, found, status), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(answer_text(plan, found))
    return status


def site_of(plan: Plan, beside: Path, folder: Path) -> Site:
    """The site of a plan: its folder as it is now, with what the plan was made for besides, from the files by it."""
    from routeplan.site.changes import Change
    from routeplan.site.read import read_site

    told = plan.conditions
    return read_site(folder, Change.of({name: beside / name for name in told.files}, told.added, told.machines))


def add_files(parser: argparse.ArgumentParser) -> None:
    """Add the plan, the site folder and where to write, as every command has them that goes on with ``accepted``."""
    parser.add_argument("plan", type=Path, metavar="PLAN.json", help="a plan that routeplan wrote")
    parser.add_argument("--site", type=Path, required=True, metavar="SITE", help="the site folder")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")


def add_language(parser: argparse.ArgumentParser, what: str) -> None:
    """Add the option by which something is told in other languages; ``what`` says what."""
    parser.add_argument(
        "--language", action="append", choices=LANGUAGES, default=[], metavar="CODE",
        help=f"{what}: {', '.join(LANGUAGES)}; may be given again",
    )  # fmt: skip


def accepted(args: argparse.Namespace, lacks: str) -> tuple[Plan, Site, ExitStatus]:
    """The plan and site of a command that goes on only with what the second opinion accepts, and what it says.

    Parameters
    ----------
    lacks
        What there will not be where it refuses, in words.
    """
    from routeplan.planfile.plan import read_plan
    from routeplan.recheck.opinion import recheck_plan

    plan = read_plan(args.plan)
    site = site_of(plan, args.plan.parent, args.site)
    print(f"Second opinion on {plan.site_name}, revision {plan.revision}", file=sys.stderr, flush=True)
    found = recheck_plan(plan, site=site, today=dt.date.today())
    status = status_of(plan, found)
    if status is ExitStatus.REFUSED:
        print(answer_text(plan, found))
        print(f"{lacks}: nothing was written.", file=sys.stderr)
    return plan, site, status


def status_of(plan: Plan, found: Mapping[str, tuple[Objection, ...]]) -> ExitStatus:
    """Refused when there is any objection, not passed when a move is not, OK otherwise."""
    if any(found.values()):
        return ExitStatus.REFUSED
    passed = all(move.verdict in PASSED for move in plan.moves)
    return ExitStatus.OK if passed else ExitStatus.NOT_PASSED


def answer_text(plan: Plan, found: Mapping[str, tuple[Objection, ...]]) -> str:
    """One block a move: its verdict, whether it is accepted, and each objection with its place."""
    lines = [f"{plan.site_name}, revision {plan.site_revision}: second opinion on the plan issued {plan.issued}"]
    verdicts = {move.id: move.verdict.upper() for move in plan.moves}
    for name, objections in found.items():
        if name in verdicts:
            answer = f"REFUSED, {len(objections)} objection(s)" if objections else "no objection"
            lines.append(f"\nmove {name}: {verdicts[name]}: {answer}")
        elif objections:
            lines.append("\nthe plan as a whole: REFUSED")
        lines += [f"  {_line(objection)}" for objection in objections]
    refused = sum(bool(objections) for objections in found.values())
    lines.append(f"\n{'REFUSED: this plan must not be driven' if refused else 'Nothing refused'}.")
    return "\n".join(lines)


def _line(objection: Objection) -> str:
    if math.isnan(objection.place[0]):
        return f"{objection.kind}: {objection.text}"
    x, y = objection.place
    return f"{objection.kind} at chainage {objection.chainage_m:.2f} m ({x:.2f} E, {y:.2f} N): {objection.text}"


def _document(plan: Plan, found: Mapping[str, tuple[Objection, ...]], status: ExitStatus) -> dict[str, Any]:
    verdicts = {move.id: move.verdict for move in plan.moves}
    blocks = [
        {
            "move": name if name in verdicts else None,
            "verdict": verdicts.get(name),
            "objections": [_plain(objection) for objection in some],
        }
        for name, some in found.items()
    ]
    return {"plan": plan.revision, "issued": plan.issued, "exit_status": int(status), "rechecked": blocks}


def _plain(objection: Objection) -> dict[str, Any]:
    """An objection as JSON values; what has no number is null."""
    x, y = (_finite(coordinate) for coordinate in objection.place)
    return {
        "kind": objection.kind,
        "chainage_m": _finite(objection.chainage_m),
        "place": None if x is None or y is None else [x, y],
        "value": _finite(objection.value),
        "limit": _finite(objection.limit),
        "unit": objection.unit,
        "text": objection.text,
    }


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None
