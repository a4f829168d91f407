"""The command line: finds the commands, runs one, turns named faults into exit statuses.

Nothing heavy is imported here, nor by a command's ``add_parser``: a command imports what it needs when it runs.
"""

from __future__ import annotations

import argparse
import gc
import sys
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

from routeplan import __version__
from routeplan.errors import BadInput, NotWritten, RouteplanError

#: In the order of use, as ``--help`` lists them.
COMMANDS = ("new", "check", "plan", "recheck", "reroute", "brief", "inspect", "calendar", "lifeline", "machines")

#: Objects made and still there after which cycles are looked for. A plan is many small objects that stay, and looking
#: through them every few hundred took a tenth of a command's time.
_OBJECTS = 200_000

EXIT_STATUSES = """\
exit status: 0 every move is pass or pass with controls; 8 some move is not proven or fail; 3 proved that some move has
no route; 4 a search reached its limit; 5 the re-check refused; 6 bad input; 7 could not write; 2 wrong usage.
Answers go to stdout, messages to stderr."""


def _command(name: str) -> ModuleType | None:
    """Return the module of a command, ``None`` while it does not exist."""
    module = f"routeplan.cli.{name}"
    try:
        return import_module(module)
    except ModuleNotFoundError as error:
        if error.name != module:
            raise
        return None


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every command that exists; each command's ``run`` is the default ``run``."""
    parser = argparse.ArgumentParser(
        prog="routeplan",
        description="Plans how mobile elevating work platforms travel on a site, and checks every route twice.",
        epilog=EXIT_STATUSES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"routeplan {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name in COMMANDS:
        module = _command(name)
        if module is not None:
            before = set(subparsers.choices)
            module.add_parser(subparsers)
            for added in set(subparsers.choices) - before:
                subparsers.choices[added].set_defaults(run=module.run)
    return parser


def _say(error: RouteplanError) -> None:
    """Print an error's faults, one a line, to stderr."""
    if isinstance(error, BadInput):
        count = len(error.faults)
        for fault in error.faults:
            print(f"routeplan: {fault}", file=sys.stderr)
        print(f"routeplan: {count} fault{'' if count == 1 else 's'} in the input; nothing was done.", file=sys.stderr)
    else:
        print(f"routeplan: {error}", file=sys.stderr)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv
        Arguments without the program's name; those of the process when ``None``.

    Returns
    -------
    int
        The exit status, see ``errors.ExitStatus``. Wrong usage leaves through ``SystemExit(2)``.
    """
    gc.set_threshold(_OBJECTS)
    for stream in (sys.stdout, sys.stderr):
        # A site's own names must not crash a terminal that cannot show them.
        getattr(stream, "reconfigure", lambda **_: None)(errors="backslashreplace")
    arguments = build_parser().parse_args(argv)
    try:
        status = int(arguments.run(arguments))
        sys.stdout.flush()
    except RouteplanError as error:
        _say(error)
        return int(error.exit_status)
    except BrokenPipeError:
        # Whoever read our answer has left; keep the interpreter from complaining while it shuts down.
        sys.stdout = None
        return int(NotWritten.exit_status)
    return status
