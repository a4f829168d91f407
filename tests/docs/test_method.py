"""``docs/method.md``: each section tells for its formulas where they are from and which tests hold them."""

from __future__ import annotations

import math
import re

import pytest

from routeplan.hazards.catalogue import CATALOGUE
from tests.docs.test_links import NAMED, ROOT

TEXT = (ROOT / "docs" / "method.md").read_text(encoding="utf-8")
SECTIONS = dict(re.findall(r"^## (\d+) [^\n]*\n(.*?)(?=^## |\Z)", TEXT, flags=re.MULTILINE | re.DOTALL))
HEAD = "| what | where from | tests that hold it |\n|---|---|---|\n"
#: What "where from" may begin with: somebody else's, everybody's, or this project's own, proven or plainly chosen.
FROM = ("published: ", "common practice, no source", "from memory", "worked out: ", "own rule", "own choice, no source")


def rows(section: str) -> list[list[str]]:
    """The rows of a section's table of sources and tests."""
    table = SECTIONS[section].partition(HEAD)[2].split("\n\n")[0]
    return [line.strip("|").split(" | ") for line in table.splitlines()]


@pytest.mark.parametrize("section", SECTIONS)
def test_every_section_says_where_its_formulas_are_from_and_what_holds_them(section: str) -> None:
    told = rows(section)
    assert told
    for what, source, tests in told:
        assert source.strip().startswith(FROM), what
        assert any(name.startswith("tests/") and test for name, test in NAMED.findall(tests)), what


def test_every_check_has_its_sections() -> None:
    """The table of section 7 has each check of the catalogue, in its order, and sends nobody nowhere."""
    lines = re.findall(r"^\| \[([a-z ,-]+)\]\(checks\.md#[a-z-]+\) \| (\[.*\)) \|$", SECTIONS["7"], flags=re.MULTILINE)
    assert [kind for kind, _ in lines] == [line.kind for line in CATALOGUE]
    for kind, links in lines:
        for number in re.findall(r"\[(\d+)\]", links):
            assert number in SECTIONS, kind


@pytest.mark.parametrize("cycles", [1, 2, 5, 20])
def test_damping_by_counting_cycles(cycles: int) -> None:
    """A mode with the damping that the page reckons swings half as far after so many cycles, to a hundredth of it."""
    damping = math.log(2.0) / (2.0 * math.pi * cycles)
    left = math.exp(-damping * 2.0 * math.pi * cycles / math.sqrt(1.0 - damping**2))
    assert left == pytest.approx(0.5, rel=0.01)
    assert 100.0 * damping == pytest.approx(11.0 / cycles, rel=0.01)
    assert "`ln 2 / (2 pi n)`, 11 % over n" in SECTIONS["6"]
