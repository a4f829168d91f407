"""``docs/gotchas.md``: what it quotes is what ``routeplan check`` says of such a folder, or a test is named."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from routeplan.cli.main import main
from tests.docs.test_links import NAMED, ROOT
from tests.site.zoo import ANIMALS

TEXT = (ROOT / "docs" / "gotchas.md").read_text(encoding="utf-8")
ENTRIES = dict(re.findall(r"^### ([^\n]+)\n(.*?)(?=^##|\Z)", TEXT, flags=re.MULTILINE | re.DOTALL))


def edited(folder: Path, old: str, new: str) -> None:
    toml = folder / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


def nobody_dug(folder: Path) -> None:
    edited(folder, "\nexcavations = ", "\n# excavations = ")


def emptied(folder: Path) -> None:
    file = folder / "excavations.csv"
    file.write_text(file.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")


def real(folder: Path) -> None:
    edited(folder, "invented = true", "invented = false")


def plain(text: str) -> str:
    """A text without its line breaks and the room that lists take."""
    return " ".join(text.split())


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> str:
    """All that is said of the folders of the zoo (``tests/site/test_zoo.py`` holds it), of three more, of samples."""
    changes: tuple[Callable[[Path], None], ...] = (nobody_dug, emptied, real)
    found = [animal.faults for animal in ANIMALS]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("builtins.print", lambda *words, **_: found.extend(map(str, words)))
        for number, change in enumerate(changes):
            folder = tmp_path_factory.mktemp("gotchas") / str(number)
            assert main(["new", str(folder)]) == 0
            change(folder)
            main(["check", str(folder)])
        for name in ("kestrel_quay", "whimbrel_hall"):
            main(["check", str(ROOT / "sample_sites" / name)])
    return plain("\n".join(found))


@pytest.mark.parametrize("title", ENTRIES)
def test_what_is_quoted_is_said(said: str, title: str) -> None:
    entry = ENTRIES[title]
    quoted = [
        words
        for seen in re.findall(r"^.*\*\*You see\*\* (.*)$", entry, flags=re.MULTILINE)
        for words in re.findall(r"`([^`]+)`", seen)
        if " " in words
    ]
    assert all(plain(words) in said for words in quoted), quoted
    assert quoted or NAMED.search(entry), "neither a message nor a test"
    assert entry.count("**Why.**") == 1 and entry.count("**Mend.**") == 1


def test_there_are_some() -> None:
    assert len(ENTRIES) > 20
