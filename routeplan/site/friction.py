"""How tyres grip a surface, as somebody who measured it says; nothing is taken from a surface's name."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Loose:
    """What lies loose on a surface, as the site names it, and the friction on it at its worst."""

    name: str
    friction: float


@dataclass(frozen=True)
class Friction:
    """Coefficients of friction between tyres and a surface, as ``role`` says; ``None`` where nobody said.

    ``dry`` is never less than ``wet``. What is ``loose`` lies there on every day.
    """

    role: str
    dry: float | None
    wet: float | None
    loose: Loose | None
