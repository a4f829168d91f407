"""A new site folder to fill in: an invented example yard whose layers are CSV files that a spreadsheet opens.

The headers come from the reader's own tables. The words for people are ``new_site.toml`` and ``new_columns.txt``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

from routeplan.errors import BadInput, Fault, NotWritten
from routeplan.machine.read import applicable_figures, find_class, read_figure_kinds
from routeplan.site.columns import COLUMNS
from routeplan.site.consistency import EXAMPLE
from routeplan.site.csv_rows import CORNER_COLUMNS
from routeplan.site.faults import visible

MACHINE_CLASS = "slab-scissor-8m"

#: The example yard, metres: its size, how far apart its levels stand, and how they fall to the east.
_EAST_M, _NORTH_M, _CELL_M, _LEVEL_M, _FALL = 24, 16, 2, 100.0, 0.01

#: Columns that draw where a layer takes points only, and these layers.
_POINTS, _SPOTS = ("x", "y"), frozenset({"readings", "places"})

Xy = tuple[float, float]
Cells = Mapping[str, str]


def header(layer: str) -> tuple[str, ...]:
    """Return the columns of a layer's CSV: what it tells, then how it is drawn, which no row leaves empty at its end.

    >>> header("walkways")
    ('id', 'kind', 'width_m', 'shape', 'n', 'x', 'y')
    """
    return (*(COLUMNS[layer] or ("id",)), *(_POINTS if layer in _SPOTS else CORNER_COLUMNS))


def write_new_site(folder: Path) -> tuple[str, ...]:
    """Make a site folder that reads without faults.

    Parameters
    ----------
    folder
        A folder that is empty or not there yet, in one that is.

    Returns
    -------
    tuple of str
        Names of the files made.

    Raises
    ------
    BadInput
        The folder holds something, or there is nowhere to make it.
    NotWritten
        The file system refuses; nothing is left behind.
    """
    contents = {**_layers(), "columns.txt": _words("new_columns.txt"), "site.toml": _site_toml()}
    try:
        made = _check_free(folder)
        _write(folder, contents, made=made)
    except OSError as error:
        raise NotWritten(f"{folder} could not be made: {error.strerror or error}") from error
    return tuple(contents)


def _check_free(folder: Path) -> bool:
    """Return whether the folder is to be made; refuse one that holds something, and one with nowhere to be."""
    if folder.is_dir():
        held = sorted(path.name for path in folder.iterdir())
        if not held:
            return False
        more = f" and {len(held) - 1} more" if len(held) > 1 else ""
        code, what = "folder-not-empty", f'the folder is not empty: it holds "{held[0]}"{more}'
        mend = "give a name that is not taken yet; nothing is ever overwritten"
    elif folder.exists() or folder.is_symlink():
        code, what = "not-a-folder", "this is there already, and is no folder"
        mend = "give a name that is not taken yet; nothing is ever overwritten"
    elif not folder.parent.is_dir():
        code, what = "folder-missing", f'there is no folder "{folder.parent}" to make it in'
        mend = "make that folder first, or check the path"
    else:
        return True
    raise BadInput([Fault(code, visible(str(folder)), visible(what), mend)])


def _write(folder: Path, contents: Mapping[str, str], *, made: bool) -> None:
    """Write all files beside their places and move them in, ``site.toml`` last; take everything back when one fails."""
    moved: list[Path] = []
    try:
        if made:
            folder.mkdir()
        with TemporaryDirectory(prefix=".routeplan-", dir=folder) as beside:
            for name, text in contents.items():
                (Path(beside) / name).write_bytes(text.encode())
            for name in contents:
                moved.append((Path(beside) / name).rename(folder / name))
    except BaseException:
        for path in moved:
            path.unlink(missing_ok=True)
        if made:
            with suppress(OSError):
                folder.rmdir()
        raise


def _words(name: str) -> str:
    """Return a text that ships with the package."""
    return files("routeplan.site").joinpath(name).read_text(encoding="utf-8")


def _site_toml() -> str:
    """Return ``site.toml`` with the figures of the example's machine class, each to be filled in."""
    kinds = read_figure_kinds()
    figures = (kinds[name] for name in applicable_figures(find_class(MACHINE_CLASS, where="routeplan new")))
    lines = (f"# {one.name} =".ljust(39) + f"# {one.title}" + f", {one.unit}" * bool(one.unit) for one in figures)
    return _words("new_site.toml").replace("@class@", MACHINE_CLASS).replace("@figures@", "\n".join(lines))


def _layers() -> dict[str, str]:
    """Return the CSV files by name: the boundary, the levels, and each layer with its examples."""
    nodes = [(x, y) for y in range(0, _NORTH_M + 1, _CELL_M) for x in range(0, _EAST_M + 1, _CELL_M)]
    levels = [{"x": f"{x}", "y": f"{y}", "z": f"{_LEVEL_M - _FALL * x:.2f}"} for x, y in nodes]
    written = {f"{layer}.csv": _csv(header(layer), rows) for layer, rows in _examples().items()}
    return written | {"levels.csv": _csv(("x", "y", "z"), levels)}


def _csv(columns: tuple[str, ...], rows: Iterable[Cells]) -> str:
    """Return a CSV as a spreadsheet saves it: marked as UTF-8, so that it is not taken for anything else."""
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return "\ufeff" + text.getvalue()


def _drawn(name: str, shape: str, *corners: Xy, **told: str) -> list[Cells]:
    """Return the rows of an outline, one a corner; what they tell stands in the first."""
    rows = [
        {"id": EXAMPLE + name, "shape": shape, "n": f"{n}", "x": f"{x:g}", "y": f"{y:g}"}
        for n, (x, y) in enumerate(corners, start=1)
    ]
    return [rows[0] | told, *rows[1:]]


def _area(name: str, x0: float, y0: float, x1: float, y1: float, **told: str) -> list[Cells]:
    """Return the rows of a rectangle."""
    return _drawn(name, "area", (x0, y0), (x1, y0), (x1, y1), (x0, y1), **told)


def _spot(name: str, x: float, y: float, **told: str) -> list[Cells]:
    """Return the one row of a point."""
    return [{"id": EXAMPLE + name, "x": f"{x:g}", "y": f"{y:g}", **told}]


def _examples() -> dict[str, list[Cells]]:
    """Return the rows of each layer: a walled yard with a door, of which one machine goes from west to east."""
    accepted = {"accepted_by": f"{EXAMPLE}role", "accepted_on": "2026-11-02", "accepted_mass_kg": "3500"}
    return {
        "boundary": _area("boundary", 0, 0, _EAST_M, _NORTH_M),
        "obstacles": [
            *_drawn("wall-south", "line", (12, 1.5), (12, 6.5), kind="wall", width_m="0.2"),
            *_drawn("wall-north", "line", (12, 9.5), (12, 14), kind="wall", width_m="0.2"),
            *_area("stack", 15, 11, 17, 12, kind="stack", top_m="101.2"),
            *_spot("post", 6, 5, kind="post", width_m="0.3", top_m="101"),
        ],
        "soffits": _drawn(
            "door-head", "line", (12, 6.5), (12, 9.5), kind="door head", clear_m="3.6", sigma_m="0.01", width_m="0.2"
        ),
        "surfaces": _area("slab", 0, 0, _EAST_M, _NORTH_M, kind="concrete slab", **accepted),
        "defects": [
            *_spot("pothole", 17, 6, kind="pothole", width_m="0.4", depth_m="0.05", state="open"),
            *_drawn("kerb", "line", (2, 13), (8, 13), kind="kerb", height_m="0.1"),
            *_area(
                "plate", 10, 13, 12, 14, kind="plate", height_m="0.01", state="proven", proven_on="2026-11-20",
                proven_by="temporary works coordinator", wheel_limit_kn="40",
            ),
        ],
        "walkways": _area("footway", 0, 0, _EAST_M, 1.2, kind="footway"),
        "overhead_lines": _drawn("line", "line", (0, 15.5), (_EAST_M, 15.5), corridor_m="0.5"),
        "excavations": _area("pit", 20, 12, 22, 13.5, set_back_m="1"),
        "areas": _area("lay-down", 14, 1.5, 22, 4, title="Lay-down area", closed="2026-11-30/2026-12-04"),
        "readings": _spot(
            "level-1", 9, 8, level_m="99.909", sigma_m="0.002", taken_on="2026-11-09", taken_by="surveyor"
        ),
        "elevated_zones": _area(
            "raised-zone", 13, 5, 23, 11, **accepted, accepted_until="2026-12-31", platform_height_m="5",
            smooth_to_m="0.01",
        ),
        "places": [
            *_spot("gate", 3, 8, kind="gate", title="West gate", bearing_deg="90"),
            *_spot("bay", 21, 8, kind="workface", title="East bay"),
            *_spot("store", 9, 11, kind="drop-off", title="Store"),
        ],
    }
