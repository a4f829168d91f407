"""A collector of faults: readers add to it and go on, so that a site's author sees every fault at once."""

from __future__ import annotations

import difflib
import re
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
        self.found.append(Fault(code, visible(shortened(where)), visible(shortened(what)), visible(mend)))

    def refuse(self, where: str, error: Unreadable) -> None:
        """Note a file that cannot be taken in."""
        code, what, mend = error.args
        self.add(code, where, what, mend)

    def merge(self, error: BadInput) -> None:
        """Take over the faults of another reader."""
        for fault in error.faults:
            self.add(fault.code, fault.where, fault.what, fault.mend)

    def __len__(self) -> int:
        """Count the faults found so far."""
        return len(self.found)

    def raise_if_any(self) -> None:
        """Raise `routeplan.errors.BadInput` with every fault found, if there is one."""
        if self.found:
            raise BadInput(self.found)


#: Characters that a line of text must not hold: controls, line ends, halves of a pair.
CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")

#: Words of a fault that quotes a file: enough to find the place by, characters.
_MOST_SHOWN = 300


def shortened(text: str, most: int = _MOST_SHOWN) -> str:
    """Return text with its middle left out when it is longer than ``most`` characters.

    >>> shortened("0123456789", 4)
    '01 ... 89'
    """
    return text if len(text) <= most else f"{text[: most // 2]} ... {text[-(most // 2) :]}"


def visible(text: str) -> str:
    """Return text that stays on one line and gives a terminal no orders.

    >>> visible("gate\\n2")
    'gate\\\\x0a2'
    """
    return CONTROL.sub(lambda found: f"\\x{ord(found.group()):02x}", text)


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
