"""Vector files into rows: GeoPackage, GeoJSON, Shapefile and CSV, each row a geometry and its columns.

The kind of file is told by its ending and proved by its first bytes, so that no file can point the reader elsewhere.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import pyogrio
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from routeplan.site.crs import SiteCrs, check_file_crs
from routeplan.site.faults import Faults, Unreadable

#: Files that make up one Shapefile; the sidecar indexes of other programs are not read.
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")

#: First bytes by ending.
_MAGIC = {".gpkg": b"SQLite format 3\0", ".shp": b"\x00\x00\x27\x0a"}

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")

FORMATS = ".gpkg, .geojson, .json, .shp or .csv"


@dataclass(frozen=True)
class RawFeature:
    """One row of a layer as the file gives it.

    ``columns`` has lower-case names; ``where`` names file and feature for people; ``geometry`` is None when the file
    gives none; ``broken`` when it gives one that cannot be read, which has left a fault.
    """

    id: str | None
    geometry: BaseGeometry | None
    columns: Mapping[str, Any]
    where: str
    broken: bool = False


class Row(NamedTuple):
    """A row before its columns are cleaned."""

    geometry: BaseGeometry | None
    columns: dict[str, Any]
    broken: bool = False


def read_features(
    path: Path, *, layer: str | None, label: str, site: SiteCrs, faults: Faults
) -> tuple[RawFeature, ...]:
    """Read every row of a vector file; what cannot be read is a fault and yields no rows.

    Parameters
    ----------
    path
        An existing file.
    layer
        Layer in the file; None when it holds one.
    label
        The file for people, relative to the site folder.
    site
        The site's coordinate system, which the file must share.
    faults
        Where faults go.

    Returns
    -------
    tuple of RawFeature
        In the file's order.
    """
    label = f"{label} layer {layer}" if layer else label
    ending = path.suffix.lower()
    try:
        if ending in {".geojson", ".json"}:
            rows = _read_geojson(path, label=label, site=site, faults=faults)
        elif ending == ".csv":
            rows = _read_csv(path, label=label, faults=faults)
        elif ending in _MAGIC:
            rows = _read_ogr(path, layer=layer, label=label, site=site, faults=faults)
        else:
            raise Unreadable("format-unknown", f'no reader for "{ending}"', f"give a {FORMATS} file")
    except Unreadable as error:
        code, what, mend = error.args
        faults.add(code, label, what, mend)
        return ()
    return tuple(_raw(number, row, label=label) for number, row in enumerate(rows, start=1))


def _raw(number: int, row: Row, *, label: str) -> RawFeature:
    """Name a row and lower the case of its columns."""
    columns = {name.strip().lower(): _plain(value) for name, value in row.columns.items()}
    given = columns.get("id")
    if isinstance(given, float) and given.is_integer():
        given = int(given)  # a column of whole numbers with a gap in it
    feature_id = None if given is None else str(given)
    where = f"{label}, feature {feature_id or f'number {number}'}"
    return RawFeature(feature_id, row.geometry, columns, where, row.broken)


def _plain(value: Any) -> Any:
    """Return a cell as a plain Python value; None for every way in which files say "nothing"."""
    if hasattr(value, "item"):
        value = value.item()
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return None
    if isinstance(value, str):
        value = value.strip()
        return value or None
    return None if str(value) == "NaT" else value


def _read_ogr(path: Path, *, layer: str | None, label: str, site: SiteCrs, faults: Faults) -> list[Row]:
    """Read a GeoPackage or a Shapefile."""
    with path.open("rb") as stream:
        if not stream.read(16).startswith(_MAGIC[path.suffix.lower()]):
            raise Unreadable("file-unreadable", "the file is not what its ending says", "export it again")
    journal = path.with_name(path.name + "-wal")
    if journal.exists() and journal.stat().st_size:
        raise Unreadable(
            "file-open-elsewhere", "another program still holds changes to this file", "save and close it there"
        )
    try:
        names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
        if layer is None and len(names) != 1:
            raise Unreadable(
                "layer-missing",
                f"the file holds {len(names)} layers: {', '.join(names)}",
                'name one: {file = "...", layer = "..."}',
            )
        if layer is not None and layer not in names:
            raise Unreadable("layer-missing", f'the file has no layer "{layer}"', f"it has: {', '.join(names)}")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # measures and curves are told about twice; heights are dropped on purpose
            frame = pyogrio.read_dataframe(path, layer=layer or names[0], datetime_as_string=True)
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        OSError,
    ) as error:
        reason = str(error).replace(str(path), path.name)
        raise Unreadable("file-unreadable", f"cannot be read: {reason}", "export it again") from error
    if "geometry" not in frame.columns:
        return [Row(None, dict(record)) for record in frame.to_dict("records")]
    check_file_crs(site, frame.crs, where=label, faults=faults)
    columns = frame.drop(columns="geometry").to_dict("records")
    return [Row(shape, dict(record)) for shape, record in zip(frame.geometry.array, columns, strict=True)]


def _read_geojson(path: Path, *, label: str, site: SiteCrs, faults: Faults) -> list[Row]:
    """Read GeoJSON as site coordinates; only an explicit ``crs`` member is compared with the site's system."""
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        raise Unreadable("file-unreadable", f"is not JSON: {error}", "export it again as GeoJSON") from error
    if not isinstance(data, dict) or data.get("type") not in {"FeatureCollection", "Feature"}:
        raise Unreadable("file-unreadable", "is not a GeoJSON FeatureCollection", "export it again as GeoJSON")
    features = data.get("features") if data["type"] == "FeatureCollection" else [data]
    if not isinstance(features, list) or not all(isinstance(item, dict) for item in features):
        raise Unreadable("file-unreadable", "its features are not a list of objects", "export it again as GeoJSON")
    if not site.local and "crs" in data:
        check_file_crs(site, _named_crs(data["crs"]), where=label, faults=faults)
    rows = [_geojson_row(item, f"{label}, feature number {n}", faults) for n, item in enumerate(features, start=1)]
    if not site.local and _all_degrees([row.geometry for row in rows if row.geometry is not None]):
        faults.add(
            "crs-mismatch",
            label,
            f"every coordinate looks like degrees, but the site is in {site.code}",
            f"export it with coordinates in {site.code}",
        )
    return rows


def _named_crs(member: Any) -> CRS | None:
    """Return the system of a GeoJSON ``crs`` member, None when it cannot be told."""
    try:
        return CRS.from_user_input(str(member["properties"]["name"]))
    except (KeyError, TypeError, CRSError):
        return None


def _geojson_row(item: Mapping[str, Any], where: str, faults: Faults) -> Row:
    """Return geometry and columns of a GeoJSON feature; the feature's own ``id`` stands in for a missing column."""
    properties = item.get("properties")
    columns = dict(properties) if isinstance(properties, dict) else {}
    if columns.get("id") is None and item.get("id") is not None:
        columns["id"] = item["id"]
    if item.get("geometry") is None:
        return Row(None, columns)
    try:
        text = json.dumps(item["geometry"], allow_nan=False)
    except ValueError:
        faults.add("coordinates-not-finite", where, "a coordinate is NaN or infinite", "draw it again")
        return Row(None, columns, broken=True)
    try:
        return Row(shapely.from_geojson(text), columns)
    except shapely.errors.GEOSException as error:
        faults.add("geometry-unreadable", where, f"its geometry cannot be read: {error}", "draw it again")
        return Row(None, columns, broken=True)


def _all_degrees(geometries: list[BaseGeometry]) -> bool:
    """Whether every coordinate could be a longitude and a latitude."""
    xy = shapely.get_coordinates(geometries)
    return len(xy) > 0 and bool((abs(xy[:, 0]) <= 180.0).all() and (abs(xy[:, 1]) <= 90.0).all())


def _read_csv(path: Path, *, label: str, faults: Faults) -> list[Row]:
    """Read a CSV whose columns ``x``, ``y`` or ``wkt`` are site coordinates."""
    table = list(csv_records(path))
    header = table[0][1] if table else []
    names = [name.strip().lower() for name in header]
    if len(names) == 1 and ";" in names[0]:
        raise Unreadable(
            "csv-layout", "the columns are separated by semicolons", "save it with commas and decimal points"
        )
    if len(set(names)) != len(names):
        raise Unreadable("csv-layout", "two columns have the same name", "name each column once")
    if "wkt" not in names and not {"x", "y"} <= set(names):
        raise Unreadable("csv-layout", "there are no columns x and y, nor wkt", "add x and y in site metres, or wkt")
    rows: list[Row] = []
    for line, cells in table[1:]:
        where = f"{label}, line {line}"
        if len(cells) != len(names):
            faults.add(
                "csv-layout", where, f"has {len(cells)} cells, the header {len(names)}", "give each column one cell"
            )
            continue
        columns = dict(zip(names, cells, strict=True))
        geometry = _csv_geometry(columns, where, faults)
        told = {name: cell for name, cell in columns.items() if name not in {"x", "y", "wkt"}}
        rows.append(Row(geometry, told, broken=geometry is None))
    return rows


def csv_records(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells of every line of a CSV that is not blank.

    Raises
    ------
    Unreadable
        The file is not UTF-8, or its quotes are broken.
    """
    try:
        reader = csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline=""), strict=True)
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except (UnicodeDecodeError, csv.Error) as error:
        raise Unreadable("file-unreadable", f"is not a CSV in UTF-8: {error}", "save it as CSV UTF-8") from error


def _csv_geometry(columns: Mapping[str, str], where: str, faults: Faults) -> BaseGeometry | None:
    """Return the geometry of a CSV line, from ``wkt`` where it is filled in, else from x and y; None at fault."""
    wkt = columns.get("wkt", "").strip()
    if wkt:
        try:
            return shapely.from_wkt(wkt)
        except shapely.errors.GEOSException as error:
            faults.add("geometry-unreadable", where, f"its wkt cannot be read: {error}", "write it as in POINT (1 2)")
            return None
    x, y = (number_of(columns.get(name, "")) for name in ("x", "y"))
    if x is None or y is None:
        faults.add(
            "geometry-unreadable",
            where,
            f"x = {columns.get('x', '')!r}, y = {columns.get('y', '')!r} is no place",
            "give both in site metres with decimal points",
        )
        return None
    return Point(x, y)


def number_of(text: str) -> float | None:
    """Return a written number, None when it is not one; decimal commas and digit groups are not guessed at.

    >>> number_of(" 1.5 "), number_of("1,5")
    (1.5, None)
    """
    text = text.strip()
    if text.lower() in {"nan", "inf", "-inf", "infinity"}:
        return float(text)
    return float(text) if _NUMBER.fullmatch(text) else None
