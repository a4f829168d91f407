"""The catalogue of checks: its page is made from the code, and no line of it stands without a test.

``python -m tests.hazards.test_catalogue`` makes ``docs/checks.md`` anew.
"""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from routeplan.hazards.catalogue import CATALOGUE, CheckKind
from routeplan.hazards.register import NOT_CHECKED

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "checks.md"
METHOD = ROOT / "docs" / "method.md"
HEAD = """# The checks

Made from `routeplan/hazards/catalogue.py`; [`method.md`](method.md) defines the words. Each margin is the best
estimate less what is wanted, the worst over the tube and over both planes, computed twice: by the search, never kinder,
and by the second opinion. A planning aid: the machine's manual and local rules come first, and a competent person
decides. A figure that is missing or is a class's, a layer that nobody gave, a survey whose accuracy is assumed: not
proven, whatever is left.
"""


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    # Section 7 of the method tells where the words and formulas of each check stand.
    text = METHOD.read_text(encoding="utf-8")
    sections = dict(re.findall(r"^\| \[([a-z ,-]+)\]\(checks\.md#[a-z-]+\) \| (\[.*\)) \|$", text, flags=re.MULTILINE))
    for line in CATALOGUE:
        where = sections[line.kind].replace("[", "[section ").replace("](#", "](method.md#")
        figures = ", ".join(f"`{name}`" for name in line.figures) or "none"
        layers = ", ".join(line.layers) or "none of its own"
        tests = "".join(f"\n  - `{test}`" for test in line.tests)
        sigma = "from the survey of the levels (section 8)" if line.surveyed else "0"
        parts.append(
            f"## {line.kind}\n"
            f"- **Margin**, {line.unit}: {line.formula}\n"
            f"- **Wanted**: {line.limit}\n"
            f"- **Words and formulas**: method, {where}\n"
            f"- **Figures it rests on**: {figures}\n"
            f"- **Layers it rests on**: {layers}\n"
            f"- **Sigma**: {sigma}\n"
            f"- **Verdict**: {line.rule}\n"
            f"- **Source**: {line.source}\n"
            f"- **Tests**:{tests}\n"
        )
    parts.append("## Not checked\n" + "".join(f"- {what}\n" for what in NOT_CHECKED))
    return _linked("\n".join(parts))


def _linked(text: str) -> str:
    """The text with each section of the method that it names as a link to it."""
    titles = dict(re.findall(r"^## ((\d+) .+)$", METHOD.read_text(encoding="utf-8"), flags=re.MULTILINE))
    anchors = {number: re.sub(r"[^\w -]", "", title).lower().replace(" ", "-") for title, number in titles.items()}
    targets = {number: f"method.md#{anchor}" for number, anchor in anchors.items()}
    text = re.sub(r"docs/method\.md (\d+)", lambda found: f"[method, section {found[1]}]({targets[found[1]]})", text)
    return re.sub(r"(?<!method, )(?<!\[)\bsection (\d+)", lambda found: f"[{found[0]}]({targets[found[1]]})", text)


@cache
def functions_of(path: str) -> dict[str, ast.FunctionDef]:
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_the_page_is_what_the_code_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "python -m tests.hazards.test_catalogue"


@pytest.mark.parametrize("test", sorted({test for line in CATALOGUE for test in line.tests}))
def test_every_test_named_is_there_and_can_fail(test: str) -> None:
    path, name = test.split("::")
    body = list(ast.walk(functions_of(path)[name]))
    called = {node.func.id for node in body if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    helpers = [functions_of(path)[other] for other in called & set(functions_of(path))]
    inner = [node for helper in helpers for node in ast.walk(helper)]
    assert any(isinstance(node, ast.Assert) for node in (*body, *inner))


def test_a_check_without_a_test_cannot_be_registered() -> None:
    with pytest.raises(ValueError, match="no check without a test"):
        replace(CATALOGUE[0], tests=())


def test_no_kind_twice() -> None:
    assert len({line.kind for line in CATALOGUE}) == len(CATALOGUE)
    assert all(isinstance(line, CheckKind) and line.formula and line.limit and line.source for line in CATALOGUE)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
