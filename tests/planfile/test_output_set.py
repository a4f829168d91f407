"""A set of files is the old one or the new one, whatever moment its run is killed at."""

from __future__ import annotations

import contextlib
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from routeplan.planfile.output_set import OutputSet
from routeplan.planfile.plan import read_plan
from routeplan.planfile.publish import _BACK, exchange, put_right, staged
from tests.plans import plan

FILES = tuple(f"sheet-{n}.html" for n in range(12))
#: Publishes one set after another, each whole in itself: every file of it says the set's number.
_PUBLISHING = """
import sys
from pathlib import Path
from routeplan.planfile.output_set import OutputSet
from tests.plans import plan
from tests.planfile.test_output_set import FILES
folder = Path(sys.argv[1])
for number in range(2, 10**6):
    with OutputSet(folder) as out:
        for name in FILES:
            out.path(name).write_text(str(number))
        print(number, flush=True)
        out.publish(plan(revision=str(number)))
"""


def published(folder: Path, number: int) -> Path:
    with OutputSet(folder) as out:
        for name in FILES:
            out.path(name).write_text(str(number), encoding="utf-8")
        return out.publish(plan(revision=str(number)))


def test_a_run_killed_at_any_of_a_hundred_moments_leaves_one_set_whole(tmp_path: Path) -> None:
    path, drawn, mixed = published(tmp_path, 1), random.Random(7), 0
    for _ in range(100):
        with subprocess.Popen(
            [sys.executable, "-c", _PUBLISHING, str(tmp_path)], stdout=subprocess.PIPE, cwd=Path(__file__).parents[2]
        ) as run:
            assert run.stdout is not None
            run.stdout.readline()
            time.sleep(drawn.uniform(0.0, 0.03))
            run.send_signal(signal.SIGKILL)
        left = {name: (tmp_path / name).read_text(encoding="utf-8") for name in FILES if (tmp_path / name).exists()}
        mixed += len(set(left.values())) > 1
        number = read_plan(path).revision
        assert {(tmp_path / name).read_text(encoding="utf-8") for name in FILES} == {number}
    published(tmp_path, 0)
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted((*FILES, "plan.json"))
    print(f"killed in the middle of an exchange: {mixed} of 100")


@pytest.mark.parametrize("steps", range(7))
@pytest.mark.parametrize("taken_back", [False, True])
def test_an_exchange_that_stops_after_any_step_is_undone_or_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, steps: int, taken_back: bool
) -> None:
    """As if the run were killed after so many files had been exchanged, new ones among them, and old ones gone; or as
    it began to take them back. Where every new file was in place, somebody may have read them: they stay.
    """
    for name in ("a", "b", "old"):
        (tmp_path / name).write_text("old", encoding="utf-8")
    staging, lock = staged(tmp_path)
    for name in ("a", "b", "new"):
        (staging / name).write_text("new", encoding="utf-8")

    class Killed(BaseException):
        pass

    done, moved, gone = [0], Path.replace, Path.unlink

    def step() -> None:
        done[0] += 1
        if done[0] > steps:
            raise Killed

    def replace(self: Path, target: Path) -> Path:
        step()
        return moved(self, target)

    def begin_undoing(_: Path, staging: Path) -> None:
        if taken_back:
            (staging / _BACK).touch()

    def unlink(self: Path, missing_ok: bool = False) -> None:
        step()
        gone(self, missing_ok)

    with monkeypatch.context() as killing:
        killing.setattr(Path, "replace", replace)
        killing.setattr(Path, "unlink", unlink)
        killing.setattr("routeplan.planfile.publish._undo", begin_undoing)
        with contextlib.suppress(Killed):
            exchange(tmp_path, staging, ["a", "b", "new"], ["a", "b", "old"])
    lock.close()
    assert put_right(tmp_path) is (steps < 4)
    left = {one.name: one.read_text(encoding="utf-8") for one in tmp_path.iterdir()}
    old, new = dict.fromkeys(("a", "b", "old"), "old"), dict.fromkeys(("a", "b", "new"), "new")
    assert left == (old if steps < (4 if taken_back else 3) else new)


def test_what_a_run_killed_meanwhile_left_is_put_right_before_the_files_are_exchanged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else it would be ended, or undone, by whoever reads the set that came after it."""
    published(tmp_path, 1)
    with OutputSet(tmp_path) as out:
        for name in FILES:
            out.path(name).write_text("3", encoding="utf-8")
        staging, lock = staged(tmp_path)
        (staging / "plan.json").write_text("2", encoding="utf-8")
        with monkeypatch.context() as killing, contextlib.suppress(KeyboardInterrupt):
            for step in ("_end", "_undo"):
                killing.setattr(f"routeplan.planfile.publish.{step}", interrupted)
            exchange(tmp_path, staging, ["plan.json"], [*FILES, "plan.json"])
        lock.close()
        path = out.publish(plan(revision="3"))
    put_right(tmp_path)
    assert read_plan(path).revision == "3"
    assert {name: (tmp_path / name).read_text(encoding="utf-8") for name in FILES} == dict.fromkeys(FILES, "3")


def interrupted(*_: object) -> None:
    raise KeyboardInterrupt


def test_nobody_undoes_what_is_still_under_way(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old", encoding="utf-8")
    staging, lock = staged(tmp_path)
    (staging / "a").write_text("new", encoding="utf-8")
    assert put_right(tmp_path) is False and (staging / "a").exists()
    lock.close()
    assert put_right(tmp_path) is False and not staging.exists()


def test_files_of_an_older_plan_that_the_new_one_does_not_have_are_gone(tmp_path: Path) -> None:
    published(tmp_path, 1)
    (tmp_path / "notes.txt").write_text("somebody's own", encoding="utf-8")
    with OutputSet(tmp_path) as out:
        out.path(FILES[0]).write_text("2", encoding="utf-8")
        out.publish(plan(revision="2"))
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted((FILES[0], "notes.txt", "plan.json"))


def test_sheets_of_an_older_plan_do_not_stay_beside_a_newer_one_and_nothing_else_goes(tmp_path: Path) -> None:
    published(tmp_path, 1)
    sheets = ("briefing.pdf", "inspection-pl.html", "inspection.csv", "lifelines.json")
    mine = ("briefing notes.pdf", "inspection-monday.html", "calendar.html")
    with OutputSet(tmp_path) as out:
        for name in sheets:
            out.path(name).write_text("of plan 1", encoding="utf-8")
        out.publish_without_plan()
    for name in mine:
        (tmp_path / name).write_text("mine", encoding="utf-8")
    assert all((tmp_path / name).exists() for name in sheets)
    with pytest.raises(KeyError), OutputSet(tmp_path):
        raise KeyError  # a run that fails leaves them
    assert all((tmp_path / name).exists() for name in sheets)
    published(tmp_path, 2)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted((*FILES, *mine, "plan.json"))
