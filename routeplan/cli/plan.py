"""``routeplan plan``: reads a site folder, plans every move in it, re-checks and reports."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.errors import ExitStatus, worst

if TYPE_CHECKING:
    from routeplan.plan.aids import Aids
    from routeplan.route.model import Move, Plan
    from routeplan.site.model import Site

STATUS_OF = {
    "pass": ExitStatus.OK,
    "pass with controls": ExitStatus.OK,
    "not proven": ExitStatus.NOT_PASSED,
    "no route": ExitStatus.NO_ROUTE,
    "search limit": ExitStatus.SEARCH_LIMIT,
}
#: Seconds of silence between two lines of progress.
_QUIET_S = 2.0


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "plan",
        help="plan every move of a site, re-check it, and write plan and map",
        description="Reads a site folder, plans every move in it, has each route judged by a second opinion, and writes"
        " plan.json, map.html, routes.gpkg and routes.geojson. Exit status 0 when every move passes, 8 when one is not"
        " proven or fails, 3 when one has no route, 4 when a search gave up, 5 when the second opinion refused one.",
    )
    parser.add_argument("site", type=Path, metavar="SITE", help="the site folder")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")
    parser.add_argument("--issued", type=iso_time, metavar="TIME", help="time of issue, ISO 8601 (default: now)")


def iso_time(text: str) -> str:
    """A time of issue as an option gives it."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no ISO 8601 time, such as 2026-11-24T07:30+00:00") from error
    return moment.isoformat()


def issued_at(args: argparse.Namespace) -> str:
    """The time of issue that was given, else now."""
    given: str | None = args.issued
    return given or dt.datetime.now(dt.UTC).replace(microsecond=0).isoformat()


class Telling:
    """Progress on stderr: what comes first at once, then whenever it has been silent for a while."""

    def __init__(self) -> None:
        self._last = -_QUIET_S

    def __call__(self, words: str, count: int) -> None:
        """Say what is being worked on, unless something was said a moment ago."""
        now = time.monotonic()
        if now - self._last >= _QUIET_S:
            self._last = now
            print(f"  {words}" + (f" ({count} motions)" if count else ""), file=sys.stderr, flush=True)


def aids_of_user() -> Aids:
    """Progress on stderr, and tiles kept in the user's cache."""
    from routeplan.plan.aids import Aids
    from routeplan.plan.tiles import user_store

    return Aids(Telling(), user_store())


def run(args: argparse.Namespace) -> ExitStatus:
    """Plan a site and write everything; the summary goes to stdout."""
    from routeplan.site.read import read_site

    issued = issued_at(args)
    site = read_site(args.site)
    print(f"Planning {site.name}, revision {site.revision}", file=sys.stderr)
    if not site.moves:
        print("The site asks for no moves.", file=sys.stderr)
    from routeplan.plan.whole import plan_site

    plan = plan_site(site, issued=issued, aids=aids_of_user())
    _write(plan, site, args.out)
    print(_summary(plan, site, args.out))
    return worst(map(status_of, plan.moves))


def status_of(move: Move) -> ExitStatus:
    """The exit status that a move asks for."""
    if move.verdict == "fail":
        return ExitStatus.REFUSED if move.refused is not None else ExitStatus.NOT_PASSED
    return STATUS_OF[move.verdict]


def _write(plan: Plan, site: Site, folder: Path) -> None:
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.outputs import write_outputs

    with OutputSet(folder) as out:
        write_outputs(plan, site, out)
        out.publish(plan)


def _summary(plan: Plan, site: Site, folder: Path) -> str:
    from routeplan.report.wording import through_text

    lines = [f"{plan.site_name}, revision {plan.site_revision}. Plan issued {plan.issued}, DRAFT."]
    for move in plan.moves:
        length = f"{move.length_m:.0f} m" if move.poses else "no way given"
        lines.append(
            f"{move.id}  {move.machine}  {move.start} to {move.goal}: {move.verdict.upper()}, {length}; {move.reason}"
        )
        if len(move.legs) > 1:
            lines.append(f"    through: {through_text(move, site)}")
    lines += ["", *plan.cautions, "", f"Map: {folder / 'map.html'}"]
    return "\n".join(lines)
