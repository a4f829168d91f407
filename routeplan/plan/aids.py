"""What planning has at hand besides the site: somebody to tell how it goes, and what earlier runs looked at."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from routeplan.plan.tiles import Store

#: Called with a line of words for people and a number that grows while one move is worked on.
Progress = Callable[[str, int], None]


def speechless(words: str, count: int) -> None:
    """Progress that nobody wants to hear."""


class Aids(NamedTuple):
    """Who is told what is being worked on, and where tiles are kept for later runs."""

    progress: Progress = speechless
    store: Store = Store()


#: Nobody is told, and nothing is kept.
UNAIDED = Aids()
