"""The pages of ``docs`` as Sphinx builds them: no warning, no request, nothing cut off on a phone.

Needs the extra ``docs``; ``.ci/run`` installs it, and without it nothing is built here.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.report.browser import DESK, PHONE
from tests.report.conftest import browser as browser

pytest.importorskip("sphinx", reason="pip install -e '.[docs]'")

DOCS = Path(__file__).parents[2] / "docs"
PAGES = sorted(page.stem for page in DOCS.glob("*.md"))
#: What sticks out of the page to the right, by tag and words.
CUT_OFF = """() => document.documentElement.scrollWidth <= document.documentElement.clientWidth ? [] :
  [...document.querySelectorAll('article *')].filter((one) => one.getBoundingClientRect().right > window.innerWidth)
    .map((one) => `${one.tagName}: ${one.textContent.slice(0, 60)}`)"""
LOST_PICTURES = "() => [...document.images].filter((one) => !one.naturalWidth || !one.alt).map((one) => one.src)"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("docs") / "html"
    command = [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-n", "-q", "-b", "html", str(DOCS), str(folder)]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return folder


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_a_page_asks_for_nothing_and_shows_all_of_it(
    built: Path, browser: Any, page: str, size: tuple[int, int]
) -> None:
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    shown = context.new_page()
    asked: list[str] = []
    wrong: list[str] = []
    shown.on("request", lambda request: asked.append(request.url))
    shown.on("requestfailed", lambda request: wrong.append(request.url))
    shown.on("pageerror", lambda error: wrong.append(str(error)))
    shown.goto((built / f"{page}.html").as_uri())
    assert asked and [url for url in asked if not url.startswith((built.as_uri(), "data:"))] == []
    assert wrong == []
    assert shown.evaluate(CUT_OFF) == []
    assert shown.evaluate(LOST_PICTURES) == []
    context.close()
