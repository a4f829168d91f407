"""What the documents point to is there: files, sections, tests and sources; what is outside ``docs`` included.

Sphinx holds the links of its own pages (``.ci/run``); here also those of ``README.md`` and ``DEVELOPERS.md``, and
whatever is named in code style as a path of this repository.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
#: A path of this repository in code style, with a test in it or not; NAME stands for any.
NAMED = re.compile(r"`((?!\S*NAME)(?:docs|tests|routeplan|sample_sites|\.ci)/[\w./-]+)(?:::(\w+))?`")
LINK = re.compile(r"\]\(([^)\s]+)\)")


def anchors(text: str) -> set[str]:
    """The names of the headings of a text, as readers of Markdown make them."""
    titles = re.findall(r"^#+ (.+)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w -]", "", title).lower().replace(" ", "-") for title in titles}


def dead_ends(path: Path) -> list[str]:
    """What a text points to that is not there."""
    text = path.read_text(encoding="utf-8")
    found = []
    for target in LINK.findall(text):
        name, _, anchor = target.partition("#")
        other = path.parent / name if name else path
        if not other.exists() or (anchor and anchor not in anchors(other.read_text(encoding="utf-8"))):
            found.append(target)
    for name, test in NAMED.findall(text):
        source = ROOT / name
        if not source.exists() or (test and f"def {test}(" not in source.read_text(encoding="utf-8")):
            found.append(f"{name}::{test}")
    return found


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.name)
def test_no_dead_end(path: Path) -> None:
    assert dead_ends(path) == []


@pytest.mark.parametrize(
    ("words", "dead"),
    [
        ("[a](away.md)", "away.md"),
        ("[a](#no-such)", "#no-such"),
        ("`tests/away.py`", "tests/away.py::"),
        ("`tests/docs/test_links.py::test_nothing`", "tests/docs/test_links.py::test_nothing"),
    ],
)
def test_a_dead_end_is_seen(tmp_path: Path, words: str, dead: str) -> None:
    path = tmp_path / "page.md"
    path.write_text(f"# Page\n{words}\n[b](#page) `tests/docs/test_links.py::test_no_dead_end`\n", encoding="utf-8")
    assert dead_ends(path) == [dead]
