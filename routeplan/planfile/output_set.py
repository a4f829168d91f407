"""The set of files that a plan belongs to, published whole or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from routeplan.errors import NotWritten
from routeplan.planfile.plan import PLAN_NAME, listed_in, write_plan
from routeplan.planfile.publish import exchange, put_right, staged
from routeplan.route.model import Plan

#: Sheets that other commands made of the plan of a folder: they go with it, so that none stays beside a newer plan.
TOLD_OF_A_PLAN = (
    "briefing.html", "briefing.pdf", "inspection.html", "inspection-??.html", "inspection.csv", "lifelines.html",
    "lifelines.json",
)  # fmt: skip


class OutputSet:
    """Files that belong together, made in a folder beside their place and published together, ``plan.json`` last.

    Used as a context: leaving it without publishing, by an error or otherwise, leaves earlier output whole. An
    ``OSError`` inside becomes ``NotWritten``.

    Parameters
    ----------
    folder
        Where the files go; made when it does not exist.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._names: list[str] = []
        self._not_written: dict[str, str] = {}

    def __enter__(self) -> Self:
        try:
            self._made_folder = not self.folder.exists()
            self.folder.mkdir(parents=True, exist_ok=True)
            put_right(self.folder)
            self._staging, self._lock = staged(self.folder)
        except OSError as error:
            raise NotWritten(f"{self.folder} cannot be written to: {error}") from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        shutil.rmtree(self._staging, ignore_errors=True)
        self._lock.close()
        if error is not None and self._made_folder and not any(self.folder.iterdir()):
            self.folder.rmdir()
        if isinstance(error, OSError):
            raise NotWritten(f"output in {self.folder} could not be written: {error}") from error

    def path(self, name: str) -> Path:
        """Return where to write the file that will be called ``name``."""
        self._names.append(name)
        return self._staging / name

    def leave_out(self, name: str, reason: str) -> None:
        """Say why the set has no file of this name; an older one is removed when the set is published."""
        self._not_written[name] = reason
        if name in self._names:
            self._names.remove(name)

    def publish(self, plan: Plan) -> Path:
        """Write ``plan.json`` and move every file to its place; on failure put back what was there.

        Returns
        -------
        Path
            The published ``plan.json``.

        Raises
        ------
        NotWritten
            The file system refuses; the earlier output stands as it was.
        """
        outputs = {name: self._staging / name for name in self._names}
        write_plan(plan, self._staging, outputs=outputs, not_written=self._not_written)
        told = [path.name for pattern in TOLD_OF_A_PLAN for path in sorted(self.folder.glob(pattern))]
        old = [*self._names, *self._not_written, *listed_in(self.folder / PLAN_NAME), *told, PLAN_NAME]
        self._move_in([*self._names, PLAN_NAME], list(dict.fromkeys(old)))
        return self.folder / PLAN_NAME

    def publish_without_plan(self) -> None:
        """Move every file to its place, beside a plan or elsewhere; on failure put back what was there.

        Raises
        ------
        NotWritten
            The file system refuses; the earlier output stands as it was.
        """
        self._move_in(self._names, [*self._names, *self._not_written])

    def _move_in(self, new: Sequence[str], old: Sequence[str]) -> None:
        try:
            exchange(self.folder, self._staging, new, old)
        except OSError as error:
            raise NotWritten(f"output in {self.folder} could not be written: {error}") from error
