"""Files of a set exchanged for new ones, so that a run that is killed at any moment leaves the old set or the new.

Old files are first linked into a hidden folder beside the new ones, with a list of what is to come; that folder's name
is the word that an exchange is under way. Whoever next reads or writes the set undoes one that nobody is at any more.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO

_PREFIX = ".routeplan-"
_LOCK, _UNDER_WAY, _COMING = "lock", "earlier", ".coming"


def staged(folder: Path) -> tuple[Path, IO[bytes]]:
    """Make a hidden folder for new files; while the lock is open, nobody takes it for left behind."""
    made = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=folder))
    lock = (made / _LOCK).open("wb")
    fcntl.flock(lock, fcntl.LOCK_EX)
    return made, lock


def exchange(folder: Path, staging: Path, new: Sequence[str], old: Sequence[str]) -> None:
    """Put new files in the place of old ones, in this order; undone when a step fails.

    Parameters
    ----------
    folder, staging
        Where the files go, and the hidden folder in it that has the new ones.
    new, old
        Names; an old one that no new one replaces is gone afterwards.

    Raises
    ------
    OSError
        The file system refuses; the old files stand as they were.
    """
    noted = staging / "noting"
    noted.mkdir()
    there = [name for name in old if (folder / name).exists()]
    for name in there:
        _link(folder / name, noted / name)
    (noted / _COMING).write_text(json.dumps(list(new)), encoding="utf-8")
    noted.rename(staging / _UNDER_WAY)
    try:
        for name in new:
            (staging / name).replace(folder / name)
        for name in there:
            if name not in new:
                (folder / name).unlink()
    except BaseException:
        _undo(folder, staging)
        raise
    (staging / _UNDER_WAY).rename(staging / "done")


def put_right(folder: Path) -> bool:
    """Undo what runs that were killed left half done in a folder; whether there was anything to undo."""
    undone = False
    for staging in sorted(folder.glob(f"{_PREFIX}*")):
        for lock in _left_behind(staging):
            if (staging / _UNDER_WAY).is_dir():
                _undo(folder, staging)
                undone = True
            shutil.rmtree(staging, ignore_errors=True)
            lock.close()
    return undone


def _left_behind(staging: Path) -> Iterator[IO[bytes]]:
    """The lock of a hidden folder, if whoever made it is gone."""
    try:
        lock = (staging / _LOCK).open("ab")
    except OSError:
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
    else:
        yield lock


def _undo(folder: Path, staging: Path) -> None:
    """Put the old files back; killed on the way, it can be done again."""
    earlier = staging / _UNDER_WAY
    for name in json.loads((earlier / _COMING).read_text(encoding="utf-8")):
        if not (earlier / name).exists():
            (folder / name).unlink(missing_ok=True)
    for path in (path for path in earlier.iterdir() if path.name != _COMING):
        if (folder / path.name).exists() and path.samefile(folder / path.name):
            continue  # it was not replaced yet
        back = staging / "back"
        back.unlink(missing_ok=True)
        _link(path, back)
        back.replace(folder / path.name)
    earlier.rename(staging / "undone")


def _link(path: Path, other: Path) -> None:
    """Give a file a second name, or a copy on a file system that has no second names."""
    try:
        os.link(path, other)
    except OSError:
        shutil.copy2(path, other)
