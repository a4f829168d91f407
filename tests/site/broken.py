"""A broken site folder: how the sound one is broken, and what ``routeplan check`` prints about it, word for word."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.site.folders import MACHINE, SITE, geojson, write_folder, write_levels

PLACES = "id,kind,x,y\ngate,gate,1,1\nbay,workface,18,8\n"
WITH_MOVES = f'{SITE}[layers]\nplaces = "places.csv"\n{MACHINE}'


@dataclass(frozen=True)
class Broken:
    """One folder of the zoo.

    Parameters
    ----------
    name
        What is wrong, in words.
    faults
        Everything that ``routeplan check`` prints to stdout.
    toml, files
        ``site.toml``, and files written over those of the sound folder.
    then
        What else is done to the folder.
    """

    name: str
    faults: str
    toml: str = SITE
    files: Mapping[str, str | bytes] = field(default_factory=dict)
    then: Callable[[Path], object] | None = None

    def make(self, folder: Path) -> Path:
        """Write the folder."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the writers warn of what is broken on purpose
            write_folder(folder, toml=self.toml)
            for name, content in self.files.items():
                (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
            if self.then is not None:
                self.then(folder)
        return folder


def key(name: str, old: str, new: str, faults: str) -> Broken:
    """Write something else into ``site.toml``."""
    assert SITE.count(old) == 1, old
    return Broken(name, faults, toml=SITE.replace(old, new))


def more(name: str, toml: str, faults: str) -> Broken:
    """Add to the end of ``site.toml``."""
    return Broken(name, faults, toml=SITE + toml)


def moves(name: str, toml: str, faults: str, *, places: str = PLACES) -> Broken:
    """Ask for moves of one machine between a gate and a bay."""
    return Broken(name, faults, toml=WITH_MOVES + toml, files={"places.csv": places})


def move(**changes: str) -> str:
    """A sound move, with other values or keys."""
    values = {"id": "D1", "purpose": "delivery", "machine": "SC12", "configuration": "stowed", "travel_mode": "ridden"}
    values |= {"from": "gate", "to": "bay"} | changes
    return "[[moves]]\n" + "".join(f'{key} = "{value}"\n' for key, value in values.items())


def rows(name: str, layer: str, *features: dict[str, Any], faults: str) -> Broken:
    """Give a layer these rows."""
    return text(name, layer, "geojson", geojson(*features), faults)


def text(name: str, layer: str, suffix: str, content: str | bytes, faults: str) -> Broken:
    """Give a layer a file."""
    file = f"{layer}.{suffix}"
    return Broken(name, faults, toml=f'{SITE}[layers]\n{layer} = "{file}"\n', files={file: content})


def levels(name: str, z: Any, faults: str, **options: Any) -> Broken:
    """Give the site other levels."""
    return Broken(name, faults, then=lambda folder: write_levels(folder / "levels.tif", z, **options))


def csv_levels(name: str, content: str, faults: str) -> Broken:
    """Give the site levels as a CSV."""
    return Broken(name, faults, toml=SITE.replace("levels.tif", "levels.csv"), files={"levels.csv": content})


def other_file(name: str, file: str, then: Callable[[Path], object] | None, faults: str) -> Broken:
    """Give the site obstacles from a file that is made by ``then``."""
    return Broken(name, faults, toml=f'{SITE}[layers]\nobstacles = "{file}"\n', then=then)
