"""The browser that the pages are opened in."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def needed(reason: str) -> None:
    """Skip on a developer's machine, fail where the browser was promised."""
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        needed("chromium is not installed")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        needed("playwright is not installed")
    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield running
        running.close()
