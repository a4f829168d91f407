"""CSV as spreadsheets save it: its lines, its header, and the points, lines and areas that its rows draw.

A row draws by itself, with ``x`` and ``y`` or with ``wkt``; or rows with the same ``id`` draw a line or an area
together, one corner each, numbered in ``n`` and with the word ``line`` or ``area`` in ``shape``.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.site.faults import Faults, Unreadable, did_you_mean, shortened
from routeplan.site.text import has_comma, number_of, read_text

#: What several rows may draw together, and the fewest corners that do.
OUTLINES = {"line": 2, "area": 3}
SHAPES = ("point", *OUTLINES)

#: The mark of UTF-8 as a spreadsheet shows it that took the file for another text: letters with accents are spoilt too.
_MISTAKEN_MARK = "\ufeff".encode().decode("latin-1")

#: Columns that draw. The others tell.
CORNER_COLUMNS = ("shape", "n", "x", "y")
DRAWING = {*CORNER_COLUMNS, "wkt"}

_NUMBERED = "number the corners of each outline 1, 2, 3 and so on in the order round it; each outline has its own id"


class Row(NamedTuple):
    """A row before its columns are cleaned."""

    geometry: BaseGeometry | None
    columns: dict[str, Any]
    broken: bool = False


class Line(NamedTuple):
    """A line of a CSV: where it stands, for people, and its cells by column."""

    where: str
    number: int
    cells: Mapping[str, str]

    def cell(self, name: str) -> str:
        """Return a cell, empty where there is no such column."""
        return self.cells.get(name, "").strip()


def read_csv(path: Path, *, label: str, faults: Faults) -> list[Row]:
    """Read a CSV whose columns ``x``, ``y`` or ``wkt`` are site coordinates, in the order of its lines.

    Parameters
    ----------
    path, label
        An existing file, and its name for people.
    faults
        Where faults go.

    Raises
    ------
    Unreadable
        It is no CSV, or has no columns that draw.
    """
    table = csv_records(path)
    names = csv_header(table)
    if "wkt" not in names and not {"x", "y"} <= set(names):
        raise Unreadable("csv-layout", "there are no columns x and y, nor wkt", "add x and y in site metres, or wkt")
    features: dict[tuple[str, str | int], list[Line]] = {}
    for line in csv_lines(table, names, label=label, faults=faults):
        line = line._replace(cells={**line.cells, "shape": line.cells.get("shape", "").lower()})
        alone = not line.cell("n") and line.cell("shape") not in OUTLINES
        key = ("line", line.number) if alone or line.cell("wkt") else ("id", line.cell("id"))
        features.setdefault(key, []).append(line)
    return [
        _corners(lines, label=label, faults=faults) if kind == "id" else _single(lines[0], faults=faults)
        for (kind, _), lines in features.items()
    ]


def csv_records(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells of every line of a CSV that is not blank.

    Raises
    ------
    Unreadable
        The file is not UTF-8, or its quotes are broken.
    """
    reader = csv.reader(io.StringIO(read_text(path), newline=""), strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as error:
        raise Unreadable(
            "file-unreadable", f"is not a CSV: line {reader.line_num}: {error}", "close the quotes, or use GeoJSON"
        ) from error


def csv_lines(
    records: Iterable[tuple[int, list[str]]], names: Sequence[str], *, label: str, faults: Faults
) -> Iterator[Line]:
    """Yield the lines below a header; one that has not a cell for each column is a fault."""
    for number, cells in records:
        where = f"{label}, line {number}"
        if len(cells) < len(names) or any(cell.strip() for cell in cells[len(names) :]):
            faults.add(
                "csv-layout",
                where,
                f"has {len(cells)} cells, the header {len(names)}",
                "give each column one cell, and write decimal points: a decimal comma makes two cells of one",
            )
            continue
        yield Line(where, number, dict(zip(names, cells[: len(names)], strict=True)))


def csv_header(records: Iterator[tuple[int, list[str]]]) -> list[str]:
    """Take the first line of a CSV and return its columns in lower case, without the empty ones at its end.

    Raises
    ------
    Unreadable
        There is no line, a spreadsheet spoilt it, it is not separated by commas, or a column stands in it twice.
    """
    names = [name.strip().lower() for name in next(records, (1, [""]))[1]]
    if _MISTAKEN_MARK in names[0]:
        mend = "choose UTF-8 when the spreadsheet opens the file, from a copy that it has not saved yet"
        raise Unreadable("not-utf-8", "was taken for another text than UTF-8 and saved so", mend)
    while len(names) > 1 and not names[-1]:
        names.pop()
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and mark in names[0]:
            raise Unreadable(
                "csv-layout",
                f"its columns are separated by {word}",
                "use commas and decimal points: choose the comma as separator when the spreadsheet opens and saves it",
            )
    if len(names) == 1 and "," in names[0]:
        raise Unreadable(
            "csv-layout",
            "its whole first line is one cell",
            "choose the comma as separator when the spreadsheet opens the file, and save it again",
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        what = f'two columns are called "{twice[0]}"' if twice[0] else "two columns have no name"
        raise Unreadable("csv-layout", what, "name each column once")
    return names


def _told(line: Line) -> dict[str, str]:
    """Return the cells that tell, not draw."""
    return {name: cell for name, cell in line.cells.items() if name not in DRAWING}


def _single(line: Line, *, faults: Faults) -> Row:
    """Return a row that draws by itself: from ``wkt`` where it is filled in, else from x and y."""
    geometry = _from_wkt(line, faults) if line.cell("wkt") else _point(line, faults)
    return Row(geometry, _told(line), broken=geometry is None)


def _from_wkt(line: Line, faults: Faults) -> BaseGeometry | None:
    """Return what a ``wkt`` draws; None at fault."""
    if line.cell("n") or line.cell("shape"):
        faults.add("csv-layout", line.where, "it has a wkt and a shape or n", "leave shape and n empty beside a wkt")
        return None
    try:
        with np.errstate(all="ignore"):  # numbers beyond all bounds are found when the geometry is checked
            return shapely.from_wkt(line.cell("wkt"))
    except shapely.errors.GEOSException:
        what = f'its wkt "{shortened(line.cell("wkt"), 40)}" cannot be read'
        faults.add("geometry-unreadable", line.where, what, "write it as in POINT (1 2)")
        return None


def _point(line: Line, faults: Faults) -> Point | None:
    """Return the point of x and y; None at fault."""
    shape = line.cell("shape")
    if shape not in ("", *SHAPES):
        faults.add("unknown-value", line.where, f"shape = {shape!r} is no shape", did_you_mean(shape, SHAPES))
        return None
    x, y = (number_of(line.cell(name)) for name in ("x", "y"))
    if x is not None and y is not None:
        return Point(x, y)
    given = f"x = {line.cells.get('x', '')!r}, y = {line.cells.get('y', '')!r}"
    comma = any(has_comma(line.cell(name)) for name in ("x", "y"))
    faults.add(
        "geometry-unreadable",
        line.where,
        f"{given}: a number is written with a comma" if comma else f"{given} is no place",
        "give both in site metres with decimal points",
    )
    return None


def _corners(lines: list[Line], *, label: str, faults: Faults) -> Row:
    """Return the row that several lines draw together, one corner each; what they tell stands in one of them or all."""
    where = f"{label}, feature {lines[0].cell('id') or 'without an id'}"
    before = len(faults)
    told = {name: _agreed(name, lines, where=where, faults=faults) for name in _told(lines[0])}
    shape = _agreed("shape", lines, where=where, faults=faults)
    numbered = _in_order(lines, where=where, faults=faults)
    points = [_corner(line, faults) for line in numbered]
    found = [point for point in points if point is not None]
    if shape not in OUTLINES and len(faults) == before:
        what = f'its rows have numbers n, and as shape "{shape}"' if shape else "its rows have numbers n, but no shape"
        faults.add("csv-layout", where, what, "write line or area into shape; leave n empty for a point")
    elif len(faults) == before and len(set(found)) < OUTLINES[shape]:
        what = f"it is drawn as {'an' if shape == 'area' else 'a'} {shape} with {len(set(found))} corner(s)"
        faults.add("csv-layout", where, what, f"give at least {OUTLINES[shape]} rows in different places")
    if len(faults) > before:
        return Row(None, told, broken=True)
    return Row(Polygon(found) if shape == "area" else LineString(found), told)


def _agreed(name: str, lines: list[Line], *, where: str, faults: Faults) -> str:
    """Return the one value that the lines give for a column; two values are a fault."""
    given: dict[str, int] = {}
    for line in lines:
        if line.cell(name):
            given.setdefault(line.cell(name), line.number)
    if len(given) > 1:
        (one, first), (other, second) = list(given.items())[:2]
        what = f'{name} is "{shortened(one, 40)}" in line {first} and "{shortened(other, 40)}" in line {second}'
        mend = "say the same in all rows of a feature, or say it in one of them; another feature needs another id"
        faults.add("rows-disagree", where, what, mend)
    return next(iter(given), "")


def _in_order(lines: list[Line], *, where: str, faults: Faults) -> list[Line]:
    """Return the lines by their ``n``, which must be 1, 2, 3 and so on: a corner that got lost changes the outline."""
    by_number: dict[int, Line] = {}
    for line in lines:
        value = number_of(line.cell("n"))
        if value is None or not math.isfinite(value) or value != int(value) or value < 1:
            faults.add("corner-number", line.where, f"n = {line.cell('n')!r} is no number of a corner", _NUMBERED)
        elif int(value) in by_number:
            first = by_number[int(value)].number
            what = f"corner {value:g} stands twice, in lines {first} and {line.number}"
            faults.add("corner-number", where, what, _NUMBERED)
        else:
            by_number[int(value)] = line
    missing = next((n for n in range(1, len(lines) + 1) if n not in by_number), None)
    if len(by_number) == len(lines) and missing is not None:
        faults.add("corner-number", where, f"corner {missing} is missing", _NUMBERED)
    return [by_number[number] for number in sorted(by_number)]


def _corner(line: Line, faults: Faults) -> Point | None:
    """Return a corner, which must be finite; None at fault."""
    point = _point(line, faults)
    if point is not None and not (math.isfinite(point.x) and math.isfinite(point.y)):
        faults.add("coordinates-not-finite", line.where, "a coordinate is NaN or infinite", "give it in site metres")
        return None
    return point
