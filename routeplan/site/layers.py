"""Vector files into rows: GeoPackage, GeoJSON, Shapefile and CSV, each row a geometry and its columns.

The kind of file is told by its ending and proved by its first bytes, so that no file can point the reader elsewhere.
"""

from __future__ import annotations

import json
import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyogrio
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry.base import BaseGeometry

from routeplan.site.crs import SiteCrs, check_file_crs
from routeplan.site.csv_rows import Row, read_csv
from routeplan.site.faults import Faults, Unreadable
from routeplan.site.text import read_text

#: Files that make up one Shapefile; the sidecar indexes of other programs are not read.
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")

#: First bytes by ending.
_MAGIC = {".gpkg": b"SQLite format 3\0", ".shp": b"\x00\x00\x27\x0a"}

#: What a damaged GeoPackage or Shapefile leads to.
_DAMAGED = (
    pyogrio.errors.CRSError,
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.FieldError,
    pyogrio.errors.GeometryError,
    CRSError,
    OSError,
)

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
        if layer is not None and ending in {".geojson", ".json", ".csv"}:
            raise Unreadable("layer-missing", f"a {ending} file has no named layers", "name the file only")
        if ending in {".geojson", ".json"}:
            rows = _read_geojson(path, label=label, site=site, faults=faults)
        elif ending == ".csv":
            rows = read_csv(path, label=label, faults=faults)
        elif ending in _MAGIC:
            rows = _read_ogr(path, layer=layer, label=label, site=site, faults=faults)
        else:
            raise Unreadable("format-unknown", f'no reader for "{ending}"', f"give a {FORMATS} file")
    except Unreadable as error:
        faults.refuse(label, error)
        return ()
    return tuple(_raw(number, row, label=label, faults=faults) for number, row in enumerate(rows, start=1))


def _raw(number: int, row: Row, *, label: str, faults: Faults) -> RawFeature:
    """Name a row and lower the case of its columns."""
    columns: dict[str, Any] = {}
    for given_name, value in row.columns.items():
        name = given_name.strip().lower()
        if name in columns:
            faults.add("column-twice", label, f'the column "{name}" stands twice', "keep one of them")
        columns[name] = _plain(value)
    given = columns.get("id")
    if isinstance(given, float) and given.is_integer():
        given = int(given)  # a column of whole numbers with a gap in it
    feature_id = None if given is None else str(given)
    where = f"{label}, feature {feature_id or f'number {number}'}"
    return RawFeature(feature_id, row.geometry, columns, where, row.broken)


def _plain(value: Any) -> Any:
    """Return a cell as a plain Python value; None for every way in which files say "nothing"."""
    if getattr(value, "ndim", None) == 0:
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
    for journal in (path.with_name(path.name + ending) for ending in ("-wal", "-journal")):
        if journal.exists() and journal.stat().st_size:
            raise Unreadable(
                "file-open-elsewhere", "another program still holds changes to this file", "save and close it there"
            )
    if "!" in str(path.absolute()):
        raise Unreadable("file-unreadable", 'its path holds a "!", which cannot be read', "rename the file or folder")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # measures and curves are told about twice; heights are dropped on purpose
            name = _layer_name(path, layer)
            _check_count(path, name)
            frame = pyogrio.read_dataframe(path, layer=name, datetime_as_string=True, on_invalid="ignore")
    except UnicodeDecodeError as error:
        raise Unreadable(
            "not-utf-8", "its text is in another encoding than the file states", "export it again in UTF-8"
        ) from error
    except _DAMAGED as error:
        raise Unreadable("file-unreadable", "is damaged: it cannot be read to its end", "export it again") from error
    if not hasattr(frame, "crs"):
        raise Unreadable("geometry-empty", "nothing is drawn in it, it is a table only", "export it with its outlines")
    check_file_crs(site, frame.crs, where=label, faults=faults)
    columns = frame.drop(columns="geometry").to_dict("records")
    return [Row(shape, dict(record)) for shape, record in zip(frame.geometry.array, columns, strict=True)]


def _layer_name(path: Path, layer: str | None) -> str:
    """Return the name of the one layer in a file, or of the one asked for."""
    names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    if layer is None and len(names) != 1:
        raise Unreadable(
            "layer-missing",
            f"the file holds {len(names)} layers: {', '.join(names)}",
            'name one: {file = "...", layer = "..."}',
        )
    if layer is not None and layer not in names:
        raise Unreadable("layer-missing", f'the file has no layer "{layer}"', f"it has: {', '.join(names)}")
    return layer or names[0]


def _check_count(path: Path, layer: str) -> None:
    """Refuse a file that claims more rows than its bytes can hold, before memory is set aside for them."""
    count = int(pyogrio.read_info(path, layer=layer)["features"])
    if count > path.stat().st_size:
        raise Unreadable("file-unreadable", f"claims {count:,} rows, more than its bytes can hold", "export it again")


def _read_geojson(path: Path, *, label: str, site: SiteCrs, faults: Faults) -> list[Row]:
    """Read GeoJSON as site coordinates; only an explicit ``crs`` member is compared with the site's system."""
    try:
        data = json.loads(read_text(path), object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        reason = "a number or a nest of lists in it is far too long"
        if isinstance(error, json.JSONDecodeError):
            reason = f"line {error.lineno}, column {error.colno}: {error.msg}"
        raise Unreadable("file-unreadable", f"is not JSON: {reason}", "export it again as GeoJSON") from error
    if not isinstance(data, dict) or data.get("type") not in {"FeatureCollection", "Feature"}:
        raise Unreadable("file-unreadable", "is not a GeoJSON FeatureCollection", "export it again as GeoJSON")
    features = data.get("features") if data["type"] == "FeatureCollection" else [data]
    if not isinstance(features, list) or not all(isinstance(item, dict) for item in features):
        raise Unreadable("file-unreadable", "its features are not a list of objects", "export it again as GeoJSON")
    if site.crs is not None and "crs" in data:
        check_file_crs(site, _named_crs(data["crs"]), where=label, faults=faults)
    rows = [_geojson_row(item, number, label=label, faults=faults) for number, item in enumerate(features, start=1)]
    if site.crs is not None and _all_degrees([row.geometry for row in rows if row.geometry is not None]):
        faults.add(
            "crs-mismatch",
            label,
            f"every coordinate looks like degrees, but the site is in {site.code}",
            f"export it with coordinates in {site.code}",
        )
    return rows


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return a JSON object, in which no name may stand twice."""
    names = dict(pairs)
    if len(names) != len(pairs):
        name = next(name for number, (name, _) in enumerate(pairs) if name in dict(pairs[:number]))
        raise Unreadable("column-twice", f'the name "{name}" stands twice in one object', "keep one of them")
    return names


def _named_crs(member: Any) -> CRS | None:
    """Return the system of a GeoJSON ``crs`` member, None when it cannot be told."""
    try:
        return CRS.from_user_input(str(member["properties"]["name"]))
    except (KeyError, TypeError, CRSError):
        return None


def _geojson_row(item: Mapping[str, Any], number: int, *, label: str, faults: Faults) -> Row:
    """Return geometry and columns of a GeoJSON feature; the feature's own ``id`` stands in for a missing column."""
    where = f"{label}, feature number {number}"
    properties = {} if item.get("properties") is None else item["properties"]
    if not isinstance(properties, dict):
        faults.add("wrong-type", where, "its properties are not an object", "export it again as GeoJSON")
        properties = {}
    # JSON has no NaN; written all the same it does not mean that the cell is empty.
    columns = {name: "NaN" if value != value else value for name, value in properties.items()}
    if columns.get("id") is None and item.get("id") is not None:
        columns["id"] = item["id"]
    if isinstance(columns.get("id"), str | int):
        where = f"{label}, feature {columns['id']}"
    if item.get("geometry") is None:
        return Row(None, columns)
    try:
        text = json.dumps(item["geometry"], allow_nan=False)
    except (ValueError, RecursionError):
        faults.add("coordinates-not-finite", where, "a coordinate is NaN or infinite", "draw it again")
        return Row(None, columns, broken=True)
    try:
        return Row(shapely.from_geojson(text), columns)
    except shapely.errors.GEOSException:
        faults.add("geometry-unreadable", where, "its geometry is none that GeoJSON knows", "draw it again")
        return Row(None, columns, broken=True)


def _all_degrees(geometries: list[BaseGeometry]) -> bool:
    """Whether every coordinate could be a longitude and a latitude."""
    xy = shapely.get_coordinates(geometries)
    return len(xy) > 0 and bool((abs(xy[:, 0]) <= 180.0).all() and (abs(xy[:, 1]) <= 90.0).all())
