"""Tiles that outlive a run: what a lattice has looked at, kept under the name of all that it was made of.

They serve the search, which finds the same with them as without (``search/known.py``); the second opinion knows nothing
of them. They are trusted as the compiled kernels are, beside which they lie.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import joblib

from routeplan.kernel import cache_home, sources_hash
from routeplan.machine.model import Machine
from routeplan.plan.mapped import read_mapped, write_mapped
from routeplan.search.known import Looked
from routeplan.site.model import Site

#: Ids of areas that are closed.
Closed = frozenset[str]
#: Of all that is kept what was used last stays, up to this many bytes.
ROOM_BYTES = 2 << 30
#: Rooms whose code decides what tiles are; the last is what lies beside the rooms.
_MAKERS = ("site", "machine", "route", "hazards", "search", "plan", ".")


class Tiles(NamedTuple):
    """What was looked at while some areas were closed."""

    closed: Closed
    looked: Looked


def undated(site: Site) -> tuple[Site, list[str]]:
    """A site whatever is closed when, as far as its name goes that is the same in every run."""
    areas = tuple(replace(area, closures=(), reopened=False) for area in site.areas)
    # Sets of words come in another order in each process.
    return replace(site, areas=areas, hire={}, inputs=(), layers_given=frozenset()), sorted(site.layers_given)


def name_of(site: Site, machine: Machine, *other: object) -> str:
    """The name of the tiles of a machine on a site, whatever is closed; ``other`` is what else they were made of."""
    bare = undated(replace(site, moves=(), machines={}, name="", revision=""))
    name: str = joblib.hash((sources_hash(rooms=_MAKERS), bare, machine, other))
    return name


@dataclass(frozen=True)
class Store:
    """A folder of tiles and of notes; nothing is kept where there is none.

    The file name of tiles ends in how many areas were closed.
    """

    folder: Path | None = None

    def load(self, name: str, given: Mapping[str, object]) -> Tiles | None:
        """Tiles by their name, which are nobody else's; ``None`` where there are none. ``given``: see ``keep``."""
        for path in self._files(name)[:1]:
            with contextlib.suppress(Exception):
                closed, looked = read_mapped(path, given)
                os.utime(path)
                return Tiles(closed, looked)
            # Damaged, or written with other libraries: out of the way, so that they are made again.
            with contextlib.suppress(OSError):
                path.unlink()
        return None

    def keep(self, name: str, tiles: Tiles, given: Mapping[str, object]) -> None:
        """Keep tiles, unless some are kept that had as few areas closed; what cannot be written is not kept.

        ``given`` has by name what is part of them, but made by every run for itself.
        """
        files = self._files(name)
        if self.folder is None or (files and _closed(files[0]) <= len(tiles.closed)):
            return
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=self.folder) as beside:
                written = Path(beside) / "tiles"
                write_mapped(written, (tiles.closed, tiles.looked.by_itself()), given)
                written.replace(self.folder / f"{name}-{len(tiles.closed)}.tiles")
            for path in (*files, *self._least_used()):
                path.unlink(missing_ok=True)

    def noted(self, name: str) -> str | None:
        """A note by its name; ``None`` where there is none."""
        if self.folder is None:
            return None
        with contextlib.suppress(OSError, UnicodeDecodeError):
            return (self.folder / f"{name}.note").read_text(encoding="utf-8")
        return None

    def note(self, name: str, text: str) -> None:
        """Keep a note; what cannot be written is not kept."""
        if self.folder is None:
            return
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=self.folder) as beside:
                written = Path(beside) / "note"
                written.write_text(text, encoding="utf-8")
                written.replace(self.folder / f"{name}.note")

    def _files(self, name: str) -> list[Path]:
        """Those with fewest areas closed first."""
        return [] if self.folder is None else sorted(self.folder.glob(f"{name}-*.tiles"), key=_closed)

    def _least_used(self) -> Iterator[Path]:
        """Files beyond the room there is."""
        assert self.folder is not None
        taken = 0
        sizes = [(path.stat(), path) for path in self.folder.glob("*.*")]
        for stat, path in sorted(sizes, key=lambda one: one[0].st_mtime, reverse=True):
            taken += stat.st_size
            if taken > ROOM_BYTES:
                yield path


def _closed(path: Path) -> int:
    return int(path.stem.rpartition("-")[2])


def user_store() -> Store:
    """The store in the cache of whoever runs this."""
    return Store(cache_home() / "tiles")
