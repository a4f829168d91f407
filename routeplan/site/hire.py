"""The terms that a machine is hired on, as far as they decide by when its collection has to be asked for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Hire:
    """Calendar days between asking for a collection and the lorry, and kept in hand; ``None`` where nobody said."""

    notice_days: int | None = None
    buffer_days: int | None = None


UNSAID = Hire()
