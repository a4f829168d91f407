"""Files of a set exchanged for new ones, so that a run that is killed at any moment leaves the old set or the new.

Old files are first linked into a hidden folder beside the new ones, with a list of what is to come; that folder's name
is the word that an exchange is under way. Whoever next reads or writes the set undoes one that nobody is at any more,
or brings it to its end where every new file was in place: somebody may have read them.
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
_LOCK, _UNDER_WAY, _COMING, _BACK = "lock", "earlier", ".coming", ".taken-back"


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
    put_right(folder, own=staging)  # who was killed since this run began would be ended or undone over it
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
        _end(folder, staging)
    except BaseException:
        _undo(folder, staging)
        raise


def put_right(folder: Path, own: Path | None = None) -> bool:
    """Undo or end what runs that were killed left half done in a folder; whether there was anything.

    ``own`` is the hidden folder of whoever asks.
    """
    found = False
    for staging in sorted(set(folder.glob(f"{_PREFIX}*")) - {own}):
        for lock in _left_behind(staging):
            if (staging / _UNDER_WAY).is_dir():
                (_end if _in_place(staging) else _undo)(folder, staging)
                found = True
            shutil.rmtree(staging, ignore_errors=True)
            lock.close()
    return found


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


def _coming(staging: Path) -> list[str]:
    names: list[str] = json.loads((staging / _UNDER_WAY / _COMING).read_text(encoding="utf-8"))
    return names


def _in_place(staging: Path) -> bool:
    """Whether all new files are where they belong, and none was taken back."""
    return not (staging / _BACK).exists() and not any((staging / name).exists() for name in _coming(staging))


def _end(folder: Path, staging: Path) -> None:
    """Take away the old files that no new one replaced; killed on the way, it can be done again."""
    coming = _coming(staging)
    for path in (staging / _UNDER_WAY).iterdir():
        if path.name != _COMING and path.name not in coming:
            (folder / path.name).unlink(missing_ok=True)
    (staging / _UNDER_WAY).rename(staging / "done")


def _undo(folder: Path, staging: Path) -> None:
    """Put the old files back; killed on the way, it can be done again."""
    (staging / _BACK).touch()
    earlier = staging / _UNDER_WAY
    for name in _coming(staging):
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
