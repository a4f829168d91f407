"""Whole runs of ``reroute`` killed at random moments: the folder has the old set or the new, and the next run goes on.

Three moments run by default, 100 when ``ROUTEPLAN_FULL`` is set: a third of them anywhere in the run, a third while it
writes, a third in the exchange of the files. A moment is drawn over a stretch as long as one run took for it, counted
from where it begins, for a busy machine is never as quick twice. An exchange takes half a millisecond, which hardly a
signal meets: where a run is to be killed in it, each of its steps waits.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from routeplan.cli.main import main
from routeplan.planfile.plan import read_plan
from tests.plan.two_doors import ISSUED, LATER, MOVES, write_doors

MOMENTS = 100 if os.environ.get("ROUTEPLAN_FULL") else 3
EVEN_LATER = "2026-11-26T07:00:00+00:00"
#: Stretches of a run, by what begins them.
STRETCHES = ("starts", "writes", "exchanges")
#: The command line with an exchange that waits before each file, s, and how long it then takes at least.
WAITS_S, EXCHANGE_S = 0.005, 0.035
SLOWED = f"""
import pathlib, sys, time
quick = pathlib.Path.replace
def replace(self, target):
    time.sleep({WAITS_S})
    return quick(self, target)
pathlib.Path.replace = replace
from routeplan.cli.main import main
sys.exit(main())
"""
Files = Mapping[str, bytes]


def files_in(folder: Path) -> Files:
    """What a reader finds: every file but those that a run hides."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}


def stamp(path: str) -> tuple[int, int]:
    """What tells that a file is another one, or was written to."""
    try:
        state = os.stat(path)
    except FileNotFoundError:
        return 0, 0
    return state.st_ino, state.st_mtime_ns


@dataclass(frozen=True)
class Doors:
    """A site folder, and beside it the folder of its set."""

    root: Path

    @property
    def folder(self) -> Path:
        """Where the set is."""
        return self.root / "set"

    def lay(self, files: Files) -> None:
        """Put a set in the folder, and nothing else."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir()
        for name, content in files.items():
            (self.folder / name).write_bytes(content)

    def close_south(self, issued: str) -> list[str]:
        """The command: a plan after a change, written where the plan before it is."""
        where = [str(self.folder / "plan.json"), "--site", str(self.root / "site"), "--out", str(self.folder)]
        return ["reroute", *where, "--close", "south", "--issued", issued]

    @contextlib.contextmanager
    def running(self, stretch: str) -> Iterator[subprocess.Popen[bytes]]:
        """That command as a process, in a group of its own."""
        program = ["-c", SLOWED] if stretch == "exchanges" else ["-m", "routeplan"]
        command, quiet = [sys.executable, *program, *self.close_south(LATER)], subprocess.DEVNULL
        with subprocess.Popen(
            command, stdout=quiet, stderr=quiet, cwd=Path(__file__).parents[2], start_new_session=True
        ) as run:
            yield run

    def seen(self, run: subprocess.Popen[bytes]) -> Iterator[str]:
        """Each stretch of a run as it begins, and its end."""
        folder, plan = str(self.folder), str(self.folder / "plan.json")
        names, old = os.listdir(folder), {one.path: stamp(one.path) for one in os.scandir(folder)}
        yield "starts"
        while os.listdir(folder) == names and all(stamp(path) == was for path, was in old.items()):
            time.sleep(0.001)
            if run.poll() is not None:
                break
        yield "writes"
        hidden = [os.path.join(folder, name) for name in os.listdir(folder) if name not in names]
        plans = [os.path.join(one, "plan.json") for one in hidden]
        while stamp(plan) == old[plan] and not any(map(os.path.exists, plans)) and run.poll() is None:
            pass  # no sleep is as short as an exchange
        yield "exchanges"
        while stamp(plan) == old[plan] and run.poll() is None:
            pass
        yield "is done"


@dataclass(frozen=True)
class Sets:
    """The old set, the new one, and how long a run takes from one to the other, by stretches, s."""

    doors: Doors
    old: Files
    new: Files
    lasts_s: Mapping[str, float]


@pytest.fixture(scope="module")
def sets(tmp_path_factory: pytest.TempPathFactory) -> Sets:
    """A whole run, which nobody kills."""
    doors = Doors(tmp_path_factory.mktemp("doors"))
    site = write_doors(doors.root / "site", moves=MOVES[:1])
    assert main(["plan", str(site), "--out", str(doors.folder), "--issued", ISSUED]) == 0
    old, began_s = files_in(doors.folder), dict[str, float]()
    with doors.running("starts") as run:
        for stretch in doors.seen(run):
            began_s[stretch] = time.perf_counter()
    assert run.returncode == 0
    lasts_s = {one: began_s["is done"] - began_s[one] for one in ("starts", "writes")}
    return Sets(doors, old, files_in(doors.folder), lasts_s | {"exchanges": EXCHANGE_S})


def killed(doors: Doors, stretch: str, after_s: float) -> bool:
    """Start the run and kill it so long after a stretch of it begins; whether it was still at work."""
    with doors.running(stretch) as run:
        for begun in doors.seen(run):
            if begun == stretch:
                break
        until_s = time.perf_counter() + after_s
        while time.perf_counter() < until_s - 0.01:
            time.sleep(0.005)
        while time.perf_counter() < until_s:
            pass
        if run.poll() is None:
            os.killpg(run.pid, signal.SIGKILL)
    return run.returncode == -signal.SIGKILL


def left(doors: Doors) -> str:
    """How far a run came before it was killed."""
    hidden = list(doors.folder.glob(".routeplan-*"))
    if any((one / "earlier").is_dir() for one in hidden):
        return "in the exchange"
    if any((one / "done").is_dir() for one in hidden):
        return "while it tidied up"
    return "while it wrote" if hidden else "before or after it wrote"


def test_a_run_killed_at_any_moment_leaves_one_set_whole_and_the_next_run_goes_on(sets: Sets) -> None:
    drawn, counted = random.Random(7), Counter[str]()
    for number in range(MOMENTS):
        stretch = STRETCHES[number % len(STRETCHES)]
        sets.doors.lay(sets.old)
        at_work = killed(sets.doors, stretch, drawn.uniform(0.0, sets.lasts_s[stretch]))
        came = left(sets.doors)
        revision = read_plan(sets.doors.folder / "plan.json").revision
        assert files_in(sets.doors.folder) == {"1": sets.old, "2": sets.new}[revision], f"{stretch}, {came}"
        counted[f"{'killed' if at_work else 'ended'} {came}, revision {revision} is there"] += 1
        assert main(sets.doors.close_south(EVEN_LATER)) == 0
        assert read_plan(sets.doors.folder / "plan.json").revision == str(int(revision) + 1)
        assert not list(sets.doors.folder.glob(".*"))
    print({stretch: round(s, 4) for stretch, s in sets.lasts_s.items()}, dict(counted))
