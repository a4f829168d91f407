"""``routeplan new``: makes a site folder that people on a building site can fill in."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from routeplan.errors import ExitStatus


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "new",
        help="make a site folder to fill in, with layers that a spreadsheet opens",
        description="Makes a site folder: an invented example yard to be replaced by your own. Overwrites nothing.",
    )
    parser.add_argument("folder", metavar="DIR", type=Path, help="a folder that is empty or not there yet")


def run(args: argparse.Namespace) -> ExitStatus:
    """Make the folder, and say what to do with it."""
    from routeplan.route.model import CAUTIONS
    from routeplan.site.new import write_new_site

    folder = shlex.quote(str(args.folder))
    tables = [name for name in write_new_site(args.folder) if name.endswith(".csv")]
    lines = [
        f"Made {args.folder}, an INVENTED example yard. Replace it by your own:",
        "  1. in a text editor: site.toml, with survey, machines and moves; each key is explained in it",
        f"  2. in a spreadsheet: {', '.join(tables[:5])},",
        f"     {', '.join(tables[5:])}; columns.txt explains each column",
        "  3. invented = false in site.toml, once no example is left",
        f"After each change:  routeplan check {folder}",
        f"To plan its moves:  routeplan plan {folder} --out out",
        "",
        *CAUTIONS,
    ]
    print("\n".join(lines))
    return ExitStatus.OK
