"""Whatever stands in the files, reading ends in a site or in named faults, never in a crash."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routeplan.errors import BadInput
from routeplan.site.columns import COLUMNS
from routeplan.site.read import read_site
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


def read(toml: str, files: dict[str, str]) -> None:
    """Read a folder; faults are an answer, with something to say about each."""
    with tempfile.TemporaryDirectory() as name:
        folder = write_folder(Path(name) / "site", toml=toml, files=files)
        try:
            read_site(folder)
        except BadInput as error:
            assert error.faults and all(fault.where and fault.what and fault.mend for fault in error.faults)


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


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_keys_of_anything(data: st.DataObject) -> None:
    lines = SITE.splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    value = data.draw(st.sampled_from(KEYS))
    lines[at] = value if data.draw(st.booleans()) else lines[at] + "\n" + value
    read("\n".join(lines), {})
