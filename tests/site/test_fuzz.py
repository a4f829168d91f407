"""Whatever stands in the files, reading ends in a site or in named faults, never in a crash."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import tempfile
import tomllib
import warnings
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import geopandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import shape

from routeplan.errors import BadInput
from routeplan.site.columns import COLUMNS
from routeplan.site.faults import CONTROL
from routeplan.site.model import Site
from routeplan.site.read import read_site
from tests.site.broken import PLACES, WITH_MOVES, move
from tests.site.folders import SITE, point, polygon, write_folder

VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["2026-12-01", "2026-12-01/2026-12-04", "pothole", "kerb", "51.5", "-1", "1,5"]),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
)
COORDINATES = st.recursive(st.floats() | st.integers(-5, 25), lambda inner: st.lists(inner, max_size=4), max_leaves=12)
GEOMETRIES = st.one_of(
    st.none(),
    st.just(polygon(1, 1, 4, 3)),
    st.just(point(2, 2)),
    st.just({"type": "LineString", "coordinates": [[1, 1], [4, 4]]}),
    st.just({"type": "GeometryCollection", "geometries": [point(1, 1), polygon(1, 1, 4, 3)]}),
    st.fixed_dictionaries({"type": st.sampled_from(["Polygon", "Point", "LineString", "MultiPolygon", "Knot"])}
                          | {"coordinates": COORDINATES}),
    VALUES,
)  # fmt: skip


KEYS = ["", "x = 1", "[[levels]]", "[layers]\nobstacles = 1", "site = 3", "crs = []", "levels.file = {}", "[[moves]]"]
KEYS += ["moves = 1", "moves = [1]", "machines = [1]", "[machines]\na = 1", "[machines.a]\nclass = 1"]


def read(toml: str, files: Mapping[str, str | bytes]) -> None:
    """Read a folder: a site, or faults with file, what and mend, each on one line; and nothing is left behind."""
    with tempfile.TemporaryDirectory() as name:
        folder = write_folder(Path(name) / "site", toml="")
        for file, content in {"site.toml": toml, **files}.items():
            (folder / file).write_bytes(content if isinstance(content, bytes) else content.encode())
        before = {path: path.read_bytes() for path in folder.iterdir()}
        try:
            assert isinstance(read_site(folder), Site)
        except BadInput as error:
            assert error.faults
            for fault in error.faults:
                assert all((fault.code, fault.where.strip(), fault.what.strip(), fault.mend.strip())), fault
                assert not CONTROL.search(str(fault)) and name not in str(fault), fault
        assert {path: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize("layer", [name for name in COLUMNS if name != "boundary"])
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_rows_of_anything(layer: str, data: st.DataObject) -> None:
    columns = st.fixed_dictionaries({}, optional=dict.fromkeys(COLUMNS[layer], VALUES))
    row = st.fixed_dictionaries({"type": st.just("Feature"), "properties": columns, "geometry": GEOMETRIES})
    rows: list[Any] = data.draw(st.lists(row, max_size=3))
    text = json.dumps({"type": "FeatureCollection", "features": rows})
    read(SITE + f'[layers]\n{layer} = "{layer}.geojson"\n', {f"{layer}.geojson": text})


@settings(max_examples=40, deadline=None)
@given(text=st.text(max_size=60) | st.from_regex(r"(id|x|y|z|wkt|[0-9.,;\"\n]){0,30}", fullmatch=True))
@pytest.mark.parametrize("name", ["places.csv", "levels.csv", "boundary.geojson", "levels.tif"])
def test_files_of_anything(name: str, text: str) -> None:
    toml = SITE.replace("levels.tif", name) if name == "levels.csv" else SITE
    read(toml + '[layers]\nplaces = "places.csv"\n', {"places.csv": "id,x,y\na,1,1\n"} | {name: text})


CORNER = st.tuples(
    st.sampled_from(["a", "b", ""]),
    st.sampled_from(["", "line", "area", "Point", "ring"]),
    st.sampled_from(["", "1", "2", "3", "4.0", "1e400", "nan", "-1"]),
    st.sampled_from(["1", "2", "3.5", "1e300", "inf", "nan", "1,5", ""]),
    st.sampled_from(["1", "2", "4.5", "-1e300", "1e400", ""]),
)


@settings(max_examples=100, deadline=None)
@given(rows=st.lists(CORNER, max_size=8))
def test_corners_of_anything(rows: list[tuple[str, ...]]) -> None:
    text = io.StringIO()
    csv.writer(text).writerows([("id", "shape", "n", "x", "y"), *rows])
    toml = SITE.replace("boundary.geojson", "corners.csv") + '[layers]\nsurfaces = "corners.csv"\n'
    read(toml, {"corners.csv": text.getvalue()})


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_keys_of_anything(data: st.DataObject) -> None:
    lines = SITE.splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    value = data.draw(st.sampled_from(KEYS))
    lines[at] = value if data.draw(st.booleans()) else lines[at] + "\n" + value
    read("\n".join(lines), {})


TOML_VALUES = st.recursive(
    st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.dates()
    | st.datetimes()
    | st.sampled_from(["", " ", "none", ".", "..", "/", "levels.tif", "places.csv", "local", "EPSG:3007", "ridden"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def written(value: Any) -> str:
    """Return a value as TOML on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {written(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, str | bool):
        return json.dumps(value)
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def holders(value: Any) -> list[Any]:
    """Return every table and list in a value."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    found = [value] if isinstance(value, dict | list) else []
    return found + [one for part in inner for one in holders(part)]


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_values_of_anything(data: st.DataObject) -> None:
    """A sound document of which some values are another, or gone, or joined by keys that nobody knows."""
    values = tomllib.loads(WITH_MOVES + move() + "[thresholds]\nhead_gap_m = 0.3\n[grid]\nheadings = 16\n")
    for _ in range(data.draw(st.integers(1, 3))):
        holder = data.draw(st.sampled_from([one for one in holders(values) if one]))
        place = data.draw(st.sampled_from(list(holder) if isinstance(holder, dict) else range(len(holder))))
        if data.draw(st.booleans()):
            holder[place] = data.draw(TOML_VALUES)
        elif isinstance(holder, dict) and data.draw(st.booleans()):
            holder[data.draw(st.sampled_from(["file", "layer", "id", "class", "sheet"]) | st.text(max_size=5))] = 1
        else:
            del holder[place]
    text = "\n".join(f"{json.dumps(key)} = {written(value)}" for key, value in values.items())
    read(text, {"places.csv": PLACES})


def test_the_document_before_it_is_changed_is_sound(tmp_path: Path) -> None:
    values = tomllib.loads(WITH_MOVES + move())
    text = "\n".join(f"{json.dumps(key)} = {written(value)}" for key, value in values.items())
    assert tomllib.loads(text) == values
    assert len(read_site(write_folder(tmp_path / "site", toml=text, files={"places.csv": PLACES})).moves) == 1


@settings(max_examples=100, deadline=None)
@given(at=st.integers(0, len(SITE)), gone=st.integers(0, 20), junk=st.binary(max_size=6))
def test_bytes_of_anything_in_site_toml(at: int, gone: int, junk: bytes) -> None:
    text = SITE.encode()
    read("", {"site.toml": text[:at] + junk + text[at + gone :]})


CELLS = st.sampled_from(
    ["", "1", "-2.5", "51.2", "1e400", "nan", "-inf", "1,5", "pothole", "2026-12-01", "2026-12-02/2026-12-01", "\x1b"]
) | st.text(max_size=5)


@pytest.mark.parametrize("layer", [name for name in COLUMNS if name != "boundary"])
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_lines_of_anything(layer: str, data: st.DataObject) -> None:
    """A CSV of a layer's own columns with cells of anything, now and then too many or too few."""
    outlines = ["POLYGON ((1 1, 4 1, 4 3, 1 1))", "POINT (2 2)", "LINESTRING (1 1, 4 4)", "LINESTRING (1 1, 1 1)"]
    wkt = st.sampled_from([*outlines, "POINT EMPTY", "POINT (nan 1)", "POLYGON ((0 0, 1 1))"]) | CELLS
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([*COLUMNS[layer], "wkt"])
    row = st.tuples(*[CELLS] * len(COLUMNS[layer]), wkt).map(list)
    writer.writerows(data.draw(st.lists(row | st.lists(CELLS, max_size=4), max_size=4)))
    text = stream.getvalue().encode("utf-8", "surrogatepass")
    read(f'{SITE}[layers]\n{layer} = "{layer}.csv"\n', {f"{layer}.csv": text})


@cache
def sound_files(suffix: str) -> dict[str, bytes]:
    """The files of one sound layer, or of the sound levels, by name."""
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # no coordinate system is named, for the grid is local
        folder = write_folder(Path(name) / "site")
        if suffix != "tif":
            frame = geopandas.GeoDataFrame({"id": ["a"], "top_m": [55.0]}, geometry=[shape(polygon(1, 1, 2, 2))])
            frame.to_file(folder / f"stock.{suffix}")
        wanted = "levels" if suffix == "tif" else "stock"
        return {path.name: path.read_bytes() for path in folder.iterdir() if path.stem == wanted}


@pytest.mark.parametrize("suffix", ["tif", "gpkg", "shp"])
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_damage_of_any_kind(suffix: str, data: st.DataObject) -> None:
    """A sound file of which some bytes, most often those of its head, are others, or whose end is missing."""
    files = {name: bytearray(content) for name, content in sound_files(suffix).items()}
    content = files[data.draw(st.sampled_from(sorted(files)))]
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, min(len(content), 400) - 1) | st.integers(0, len(content) - 1))
        content[at] = data.draw(st.sampled_from([0, 1, 127, 255]) | st.integers(0, 255))
    if data.draw(st.integers(0, 5)) == 0:
        del content[data.draw(st.integers(0, len(content))) :]
    layers = "" if suffix == "tif" else f'[layers]\nobstacles = "stock.{suffix}"\n'
    read(SITE + layers, {name: bytes(content) for name, content in files.items()})
