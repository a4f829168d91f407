"""The tutorial as a program: its commands in order, the output it quotes, and a folder to run them in.

A block of ``sh`` is run; a block of ``text`` right after it quotes lines of what that printed, ``...`` for those left
out.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from routeplan.kernel import cache_folder
from tests.samples.writing import ROOT

PAGE = ROOT / "docs" / "tutorial.md"
_STEP = re.compile(r"^```sh\n(.*?)^```$(?:\n+^```text\n(.*?)^```$)?", flags=re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Step:
    """A block of commands and the lines of their output that the page quotes, ``...`` left out."""

    commands: str
    quoted: tuple[str, ...]


def steps() -> tuple[Step, ...]:
    """Every block of commands of the page, in order."""
    found = _STEP.findall(PAGE.read_text(encoding="utf-8"))
    return tuple(Step(commands, tuple(line for line in text.splitlines() if line != "...")) for commands, text in found)


def workplace(folder: Path) -> Path:
    """A folder like a clone in which the README's first line was run: the sample, and the program in its place."""
    shutil.copytree(ROOT / "sample_sites", folder / "sample_sites")
    program = folder / ".venv" / "bin" / "routeplan"
    program.parent.mkdir(parents=True)
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m tests.docs.on_the_day "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return folder


def run(step: Step, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a block in a workplace, with tiles of its own and the kernels that are compiled already."""
    own = {"XDG_CACHE_HOME": str(folder / "cache"), "NUMBA_CACHE_DIR": str(cache_folder()), "PYTHONPATH": str(ROOT)}
    command = ["bash", "-uo", "pipefail", "-c", step.commands]
    return subprocess.run(command, cwd=folder, env=os.environ | own, capture_output=True, text=True, check=False)
