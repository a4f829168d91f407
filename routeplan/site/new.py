"""A new site folder: a commented ``site.toml`` and layers that a spreadsheet opens, ready to be filled in."""

from __future__ import annotations

import csv
import shutil
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from pathlib import Path

from routeplan.errors import BadInput, Fault, NotWritten
from routeplan.site.columns import COLUMNS

#: The example yard, m: level, wholly inside its levels. Every figure of it is made up.
EAST_M, NORTH_M, LEVEL_EVERY_M = 40, 30, 1
#: What each layer is drawn by; the others' columns stand in ``columns.COLUMNS``.
DRAWN_BY: Mapping[str, tuple[str, ...]] = {
    "boundary": ("wkt",),
    "obstacles": ("x", "y", "wkt"),
    "soffits": ("wkt",),
    "surfaces": ("wkt",),
    "defects": ("x", "y", "wkt"),
    "walkways": ("wkt",),
    "overhead_lines": ("wkt",),
    "excavations": ("wkt",),
    "areas": ("wkt",),
    "places": ("x", "y"),
}
#: Rows of the example, by column. Layers without rows are not named in ``site.toml``: an empty file would say "none".
ROWS: Mapping[str, tuple[Mapping[str, str], ...]] = {
    "boundary": ({"wkt": f"POLYGON ((0 0, {EAST_M} 0, {EAST_M} {NORTH_M}, 0 {NORTH_M}, 0 0))"},),
    "places": (
        {"id": "gate-1", "kind": "gate", "title": "Example gate", "bearing_deg": "90", "x": "5", "y": "15"},
        {"id": "bay-1", "kind": "workface", "title": "Example bay", "x": "33", "y": "20"},
        {"id": "bay-2", "kind": "workface", "title": "Example bay, east", "x": "33", "y": "8"},
    ),
}


def _write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a CSV with a byte order mark, by which spreadsheets know UTF-8."""
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(header)
        writer.writerows(rows)


def _fill(folder: Path) -> None:
    template = files("routeplan.site").joinpath("new_site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(template, encoding="utf-8")
    for layer, drawn_by in DRAWN_BY.items():
        header = (*COLUMNS[layer], *drawn_by)
        rows = ([row.get(name, "") for name in header] for row in ROWS.get(layer, ()))
        _write_csv(folder / f"{layer}.csv", header, rows)
    levels = (
        (x, y, "0.00")
        for y in range(-1, NORTH_M + 2, LEVEL_EVERY_M)
        for x in range(-1, EAST_M + 2, LEVEL_EVERY_M)
    )
    _write_csv(folder / "levels.csv", ("x", "y", "z"), levels)


def new_site(folder: Path) -> tuple[str, ...]:
    """Make a site folder with an example yard; it reads back without a fault and proves nothing.

    Parameters
    ----------
    folder
        Where it goes: nothing, or an empty folder. It is made beside its place and moved in whole.

    Returns
    -------
    tuple of str
        Names of the files made.

    Raises
    ------
    BadInput
        Something is there already; it is left as it is.
    NotWritten
        The file system refuses; nothing is left behind.
    """
    try:
        if folder.is_symlink() or (folder.exists() and not (folder.is_dir() and not any(folder.iterdir()))):
            mend = "name a folder that does not exist yet"
            raise BadInput([Fault("folder-taken", str(folder), "there is something there already", mend)])
        folder.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".routeplan-", dir=folder.parent))
    except OSError as error:
        raise NotWritten(f"{folder} cannot be made: {error}") from error
    try:
        _fill(staging)
        staging.chmod(0o755)
        staging.replace(folder)
    except OSError as error:
        raise NotWritten(f"{folder} cannot be made: {error}") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return tuple(sorted(path.name for path in folder.iterdir()))
