"""Every fault this program can name: what, where, the mend, and the exit status it leads to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum


class ExitStatus(IntEnum):
    """Exit statuses of the command line, as documented in ``docs/commands.md``."""

    OK = 0
    USAGE = 2
    NO_ROUTE = 3
    SEARCH_LIMIT = 4
    REFUSED = 5
    BAD_INPUT = 6
    NOT_WRITTEN = 7
    NOT_PASSED = 8


#: The worst status of a run wins, in this order.
WORST_FIRST = (
    ExitStatus.REFUSED,
    ExitStatus.BAD_INPUT,
    ExitStatus.NOT_WRITTEN,
    ExitStatus.SEARCH_LIMIT,
    ExitStatus.NO_ROUTE,
    ExitStatus.NOT_PASSED,
    ExitStatus.OK,
)


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with an input.

    Parameters
    ----------
    code
        Stable short name in kebab-case, e.g. ``"crs-missing"``.
    where
        File, layer, feature and place, as far as known, e.g. ``"obstacles.geojson, feature rack-2, at 12.0 E 88.5 N"``.
    what
        What is wrong, with the offending value.
    mend
        What the reader can do about it.
    """

    code: str
    where: str
    what: str
    mend: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. Mend: {self.mend} [{self.code}]"


class RouteplanError(Exception):
    """Base of every error raised on purpose; carries the exit status of the command that meets it."""

    exit_status: ExitStatus = ExitStatus.BAD_INPUT


class BadInput(RouteplanError):
    """One or more faults found at the door; all of them, not the first.

    Parameters
    ----------
    faults
        At least one fault.
    """

    exit_status = ExitStatus.BAD_INPUT

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(set(faults)))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class NotWritten(RouteplanError):
    """An output could not be written or rendered; earlier output is left whole."""

    exit_status = ExitStatus.NOT_WRITTEN


def worst(statuses: Iterable[ExitStatus]) -> ExitStatus:
    """Return the status that wins, ``OK`` when there is none.

    >>> worst([ExitStatus.OK, ExitStatus.NOT_PASSED, ExitStatus.NO_ROUTE]).name
    'NO_ROUTE'
    """
    return min(statuses, key=WORST_FIRST.index, default=ExitStatus.OK)
