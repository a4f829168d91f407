"""``routeplan new``: a new site folder, commented, with layers that a spreadsheet opens."""

from __future__ import annotations

import argparse
from pathlib import Path

from routeplan.errors import ExitStatus


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "new",
        help="a new site folder to fill in",
        description="Makes a site folder: a commented site.toml, and layers and levels as CSV files that a spreadsheet"
        " opens. What it holds is an example and proves nothing. Exit status 6 when something is there already.",
    )
    parser.add_argument("folder", metavar="DIR", type=Path, help="where to make it: nothing, or an empty folder")


def run(args: argparse.Namespace) -> ExitStatus:
    """Make the folder and say what to do next."""
    from routeplan.site.new import new_site

    made = new_site(args.folder)
    print(f"Made {args.folder} with {', '.join(made)}.")
    print("It holds an example yard (invented). Put your site in its place, file by file, from the top of site.toml.")
    print(f"Then ask what is wrong and what is still open:  routeplan check {args.folder}")
    return ExitStatus.OK
