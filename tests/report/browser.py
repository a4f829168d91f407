"""A page opened in a real browser, with what it complained about or asked for."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

PHONE, DESK = (360, 740), (1280, 800)


@contextmanager
def opened(
    browser: Any, url: str, size: tuple[int, int] = DESK, *, scripts: bool = True
) -> Iterator[tuple[Any, list[str]]]:
    """A page and the list of what it complained about or asked for."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, java_script_enabled=scripts)
    page = context.new_page()
    seen: list[str] = []
    page.on("console", lambda message: seen.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: seen.append(f"error: {error}"))
    page.on("dialog", lambda dialog: seen.append(f"dialog: {dialog.message}"))
    page.on(
        "request",
        lambda request: (
            seen.append(f"request: {request.url}") if request.url.split("#")[0] != url.split("#")[0] else None
        ),
    )
    page.goto(url)
    yield page, seen
    context.close()
