"""What ships with the package for its pages: styles and scripts, and a page's own rule on what may run."""

from __future__ import annotations

import base64
import hashlib
import pkgutil
from collections.abc import Sequence

from routeplan.errors import NotWritten


def policy(scripts: Sequence[str], *, fonts: bool = False) -> str:
    """Return the page's own rule: nothing is fetched, only these very scripts run, ``fonts`` are those in the page."""
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts
    )
    hashes = hashes or "'none'"
    faces = "font-src data:; " if fonts else ""
    rule = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; {faces}script-src {hashes}; base-uri 'none'"
    return f'<meta http-equiv="Content-Security-Policy" content="{rule}">\n'


def asset(file_name: str) -> str:
    """Return a style sheet or script of our own."""
    return packaged("routeplan.report", file_name)


def packaged(package: str, file_name: str) -> str:
    """Return the text of a file that an installed package brings along."""
    return packaged_bytes(package, file_name).decode("utf-8")


def packaged_bytes(package: str, file_name: str) -> bytes:
    """Return a file that an installed package brings along."""
    content = pkgutil.get_data(package, file_name)
    if content is None:
        raise NotWritten(f"{package} was installed without {file_name}. Mend: install the program again")
    return content
