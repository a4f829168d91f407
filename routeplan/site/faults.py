"""A collector of faults: readers add to it and go on, so that a site's author sees every fault at once."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from routeplan.errors import BadInput, Fault


@dataclass
class Faults:
    """Faults found so far.

    >>> faults = Faults()
    >>> faults.add("file-missing", "levels.tif", "there is no such file", "add it")
    >>> len(faults)
    1
    """

    found: list[Fault] = field(default_factory=list)

    def add(self, code: str, where: str, what: str, mend: str) -> None:
        """Note one fault; the parameters are those of `routeplan.errors.Fault`."""
        self.found.append(Fault(code, where, what, mend))

    def merge(self, error: BadInput) -> None:
        """Take over the faults of another reader."""
        self.found.extend(error.faults)

    def __len__(self) -> int:
        """Count the faults found so far."""
        return len(self.found)

    def raise_if_any(self) -> None:
        """Raise `routeplan.errors.BadInput` with every fault found, if there is one."""
        if self.found:
            raise BadInput(self.found)


class Unreadable(Exception):
    """A file that cannot be taken in at all; ``args`` are code, what and mend of its fault."""


@dataclass
class Door:
    """What every layer passes on its way in: the faults, and whether and how invalid outlines are mended.

    Parameters
    ----------
    faults
        Where faults go.
    repair
        Whether the site asked for ``repair = "make_valid"``.
    repairs
        One line for each outline that was mended.
    """

    faults: Faults
    repair: bool = False
    repairs: list[str] = field(default_factory=list)


def near(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that a mistyped one most likely stands for, or None when nothing is close.

    >>> near("bounce_limit", ["bounce_limit_m", "head_gap_m"])
    'bounce_limit_m'
    """
    plain = {name.lower(): name for name in known}
    matches = difflib.get_close_matches(word.lower(), list(plain), n=1, cutoff=0.7)
    return plain[matches[0]] if matches else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the mend for an unknown word: the near one first, else what is known.

    >>> did_you_mean("gat-1", ["gate-1", "bay-3"])
    'did you mean "gate-1"? Known: bay-3, gate-1'
    """
    names = sorted(known)
    guess = near(word, names)
    listed = "Known: " + (", ".join(names) if names else "none")
    return f'did you mean "{guess}"? {listed}' if guess else listed


def at(x: float, y: float) -> str:
    """Return a place for people.

    >>> at(12.0, 88.5)
    'at 12.00 E 88.50 N'
    """
    return f"at {x:.2f} E {y:.2f} N"
