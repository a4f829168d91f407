"""``routeplan calendar``: who can get in and out on which day, last safe collection dates, and what ends them."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.cli.plan import STATUS_OF, aids_of_user, iso_time, issued_at
from routeplan.errors import ExitStatus, worst

if TYPE_CHECKING:
    from routeplan.route.days import Calendar, MachineCalendar
    from routeplan.site.model import Site


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "calendar",
        help="who can get in and out on which day, and last safe collection dates",
        description="Reads a site folder and tells, for each machine and day, whether it can reach its work and get"
        " out from where it then stands, its last safe collection date, what ends it and what a slip does. Writes"
        " calendar.json and calendar.html. Exit status 0 when every machine has a way in and out as planned and is"
        " collected in time; 8 when one has not, is late, or its notice is not known; 3 where there is proved to be no"
        " way, 4 when a search gave up, 5 when the second opinion refused one.",
    )
    parser.add_argument("site", type=Path, metavar="SITE", help="the site folder")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")
    parser.add_argument("--issued", type=iso_time, metavar="TIME", help="time of issue, ISO 8601 (default: now)")


def run(args: argparse.Namespace) -> ExitStatus:
    """Make the calendar of a site and write it; the summary goes to stdout."""
    from routeplan.site.read import read_site

    issued = issued_at(args)
    site = read_site(args.site)
    print(f"Calendar of {site.name}, revision {site.revision}", file=sys.stderr)
    if not site.moves:
        print("The site asks for no moves.", file=sys.stderr)
    from routeplan.plan.calendar import calendar_of

    calendar = calendar_of(site, issued=issued, aids=aids_of_user())
    _write(calendar, site, args.out)
    from routeplan.report.calendar_words import summary_of

    print(summary_of(calendar, site, args.out))
    return worst(status for machine in calendar.machines for status in statuses_of(machine))


def statuses_of(machine: MachineCalendar) -> Iterator[ExitStatus]:
    """What the days of a machine as planned come to."""
    if machine.unplaced is not None or (machine.first_without is not None and machine.last_safe is None):
        yield ExitStatus.NOT_PASSED
    if machine.spare_days is not None and machine.spare_days < 0:
        yield ExitStatus.NOT_PASSED
    for day in (day for day in machine.days if day.planned):
        for verdict in (day.out, day.reach if day.moves else None):
            if verdict is not None:
                yield ExitStatus.REFUSED if verdict == "fail" else STATUS_OF[verdict]


def _write(calendar: Calendar, site: Site, folder: Path) -> None:
    from routeplan.planfile.calendar import CALENDAR_NAME, write_calendar
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.calendar_page import write_calendar_page

    with OutputSet(folder) as out:
        write_calendar_page(calendar, site, out.path("calendar.html"))
        write_calendar(calendar, out.path(CALENDAR_NAME))
        out.publish_without_plan()
