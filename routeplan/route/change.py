"""What a change did to a move: a value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from routeplan.route.model import Move


@dataclass(frozen=True)
class MoveChange:
    """What became of a move after a change, and why; ``before`` is ``None`` where the plan before did not have it."""

    id: str
    change: Literal["unchanged", "changed", "cut off"]
    why: str
    before: Move | None
    after: Move
