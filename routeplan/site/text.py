"""The text of a file, and the numbers that people write in it."""

from __future__ import annotations

import re
from pathlib import Path

from routeplan.site.faults import Unreadable

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_WITH_COMMA = re.compile(r"[+-]?[\d.]*\d,\d[\d.,]*")


def read_text(path: Path) -> str:
    """Return the text of a file.

    Raises
    ------
    Unreadable
        It is not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        line, byte = error.object.count(b"\n", 0, error.start) + 1, error.object[error.start]
        what = f"is not UTF-8 text: byte 0x{byte:02X} in line {line}"
        raise Unreadable("not-utf-8", what, "save it as UTF-8") from error


def number_of(text: str) -> float | None:
    """Return a written number, None when it is not one; decimal commas and digit groups are not guessed at.

    >>> number_of(" 1.5 "), number_of("1,5")
    (1.5, None)
    """
    text = text.strip()
    if text.lower() in {"nan", "inf", "-inf", "infinity"}:
        return float(text)
    return float(text) if _NUMBER.fullmatch(text) else None


def has_comma(text: str) -> bool:
    """Whether a text is a number written with a comma, be it for the decimals or between groups of digits.

    >>> has_comma("1,5"), has_comma("1,250.00"), has_comma("gate, west")
    (True, True, False)
    """
    return _WITH_COMMA.fullmatch(text.strip()) is not None
