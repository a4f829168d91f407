"""Every fault that a site folder can have is found, named and placed, together with all others."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import geopandas
import pytest
from shapely.geometry import Polygon, box

from routeplan.site.read import read_site
from tests.site.folders import (
    BOW_TIE,
    MACHINE,
    SITE,
    faults_of,
    feature,
    geojson,
    line,
    north_up,
    only,
    point,
    polygon,
    slope,
    with_layer,
    write_folder,
    write_levels,
)

PLACES = "id,kind,x,y\ngate,gate,1,1\nbay,workface,18,8\n"
WITH_MOVES = f'{SITE}[layers]\nplaces = "places.csv"\n{MACHINE}'


def move(**changes: str) -> str:
    values = {"id": "D1", "purpose": "delivery", "machine": "SC12", "configuration": "stowed", "travel_mode": "ridden"}
    values |= {"from": "gate", "to": "bay"} | changes
    return "[[moves]]\n" + "".join(f'{key} = "{value}"\n' for key, value in values.items())


@pytest.mark.parametrize(
    ("old", "new", "code", "place"),
    [
        ("[site]", "[site", "toml-syntax", "site.toml"),
        ('"routeplan/site@1"', '"routeplan/site@9"', "unknown-value", "site.toml, format"),
        ("datum_m", "datum", "missing-key", "site.toml, levels, datum_m"),
        ('revision = "T1"', "revision = 1", "wrong-type", "site.toml, site, revision"),
        ("= 0.003", '= "3 mm"', "wrong-type", "site.toml, levels, short_range_m"),
        ("= 0.003", "= 0.0", "out-of-range", "site.toml, levels, short_range_m"),
        ("= 0.010", "= -0.01", "out-of-range", "site.toml, levels, datum_m"),
        ("= 2.0", "= nan", "out-of-range", "site.toml, levels, correlation_m"),
        ("2026-11-02", '"2 November"', "bad-date", "site.toml, levels, date"),
        ('"local"', '"the usual"', "crs-unknown", "site.toml, site, crs"),
        ('"local"', '"EPSG:999999"', "crs-unknown", "site.toml, site, crs"),
        ('"local"', '"EPSG:4326"', "crs-geographic", "site.toml, site, crs"),
        ('"local"', '"EPSG:3857"', "crs-stretched", "site.toml, site, crs"),
        ('"local"', '"EPSG:2263"', "crs-unit", "site.toml, site, crs"),
        ('"local"', '"EPSG:2048"', "crs-axes", "site.toml, site, crs"),
        ('"boundary.geojson"', '"border.geojson"', "file-missing", "site.toml, site, boundary"),
        ('"levels.tif"', '"/etc/levels.tif"', "path-outside", "site.toml, levels, file"),
        ('"levels.tif"', '"../levels.tif"', "path-outside", "site.toml, levels, file"),
        ('"levels.tif"', '"C:\\\\levels.tif"', "path-outside", "site.toml, levels, file"),
        ('"levels.tif"', '"boundary.geojson"', "format-unknown", "boundary.geojson"),
    ],
)
def test_site_toml(tmp_path: Path, old: str, new: str, code: str, place: str) -> None:
    assert old in SITE
    faults = faults_of(write_folder(tmp_path / "site", toml=SITE.replace(old, new)))
    assert (code, place) in [(fault.code, fault.where) for fault in faults]


@pytest.mark.parametrize(
    ("extra", "code", "said"),
    [
        ("[thresholds]\nbounce_limit = 0.3\n", "unknown-key", 'did you mean "bounce_limit_m"'),
        ("[thresholds]\nhead_gap_m = 30\n", "out-of-range", "less than or equal to 2"),
        ("[thresholds]\nhead_gap_m = inf\n", "out-of-range", "finite"),
        ("[thresholds]\nroute_confidence = 0.5\n", "out-of-range", "0.8"),
        ("[grid]\ncell_m = 0.0\n", "out-of-range", "0.05"),
        ("[grid]\nheadings = 17\n", "out-of-range", "multiple of 8"),
        ('[layers]\nobstacle = "none"\n', "unknown-key", 'did you mean "obstacles"'),
        ('[layers]\nobstacles = {file = "none", layr = "b"}\n', "unknown-key", 'did you mean "layer"'),
        ("[layers]\nobstacles = 3\n", "wrong-type", "docs/site-folder.md"),
        ("[levls]\n", "unknown-key", 'did you mean "levels"'),
        ("[[contacts]]\nrole = 3\ncall_sign = 'A'\n", "wrong-type", "3"),
        ('[machines.SC12]\nclass = "scissors"\n', "unknown-class", "scissors"),
        ("machines = 3\n", "unknown-key", "machines"),
    ],
)
def test_more_tables(tmp_path: Path, extra: str, code: str, said: str) -> None:
    fault = only(write_folder(tmp_path / "site", toml=SITE + extra), code)
    assert said in str(fault)


@pytest.mark.parametrize(
    ("changes", "code", "said"),
    [
        ({"from": "gat"}, "place-unknown", 'did you mean "gate"'),
        ({"to": "gate"}, "move-nowhere", "itself"),
        ({"machine": "SC13"}, "machine-unknown", 'did you mean "SC12"'),
        ({"configuration": "raised"}, "configuration-unknown", "stowed"),
        ({"travel_mode": "riden"}, "travel-mode-unknown", 'did you mean "ridden"'),
        ({"purpose": "fun"}, "unknown-value", "delivery"),
    ],
)
def test_moves(tmp_path: Path, changes: dict[str, str], code: str, said: str) -> None:
    folder = write_folder(tmp_path / "site", toml=WITH_MOVES + move(**changes), files={"places.csv": PLACES})
    fault = only(folder, code)
    assert "moves D1" in fault.where and said in str(fault)


def test_two_moves_with_one_id(tmp_path: Path) -> None:
    only(
        write_folder(tmp_path / "site", toml=WITH_MOVES + move() + move(), files={"places.csv": PLACES}), "duplicate-id"
    )


def test_a_broken_places_file_does_not_blame_the_moves(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=WITH_MOVES + move(), files={"places.csv": "id;kind;x;y\n"})
    only(folder, "csv-layout")


SOFFIT = {"kind": "beam", "sigma_m": 0.01}


@pytest.mark.parametrize(
    ("layer", "row", "code", "said"),
    [
        ("obstacles", feature(BOW_TIE, id="a"), "geometry-invalid", "at 4.00 E 4.00 N"),
        ("obstacles", feature(None, id="a"), "geometry-empty", "feature a"),
        ("obstacles", feature({"type": "Polygon", "coordinates": []}, id="a"), "geometry-empty", "feature a"),
        ("obstacles", feature({"type": "Polygon", "coordinates": "x"}, id="a"), "geometry-unreadable", "number 1"),
        ("obstacles", feature(line((1, 1), (1, 1)), id="a", width_m=1), "geometry-invalid", "draw it again"),
        ("obstacles", feature(line((1, 1), (5, 1)), id="a"), "width-missing", "a line without width_m"),
        ("obstacles", feature(point(1, 1), id="a"), "width-missing", "a point without width_m"),
        ("obstacles", feature(point(1, 1), id="a", width_m=51), "out-of-range", "width_m = 51"),
        ("obstacles", feature(polygon(1, 1, 2, 2)), "id-missing", "number 1"),
        ("obstacles", feature(polygon(1, 1, 2, 2), id="a", top_m=1.1), "obstacle-below-ground", "level plus height"),
        ("obstacles", feature(polygon(1, 1, 2, 2), id="a", top_m=9001), "out-of-range", "top_m"),
        ("obstacles", feature(polygon(1, 1, 2, 2), id="a", top_m="51,1"), "wrong-type", "decimal point"),
        ("obstacles", feature(polygon(1, 1, 2, 2), id="a", top_m=True), "wrong-type", "True"),
        ("obstacles", feature(polygon(1, 1, 2, 2), id="a", top=51.0), "unknown-column", "top_m"),
        ("obstacles", feature(polygon(5e3, 1, 5e3 + 1, 2), id="a"), "layer-elsewhere", "more than 1 km"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", **SOFFIT), "soffit-level", "neither"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", level_m=53, clear_m=3, **SOFFIT), "soffit-level", "both"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", clear_m=3, fall_x=0.1, **SOFFIT), "soffit-level", "fall"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", level_m=2.5, **SOFFIT), "soffit-below-ground", "clear_m"),
        ("soffits", feature(polygon(1, 1, 9, 2), id="a", level_m=51, fall_x=-0.4), "soffit-below-ground", "at 9.00 E"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", clear_m=-3), "out-of-range", "clear_m"),
        ("soffits", feature(polygon(1, 1, 2, 2), id="a", level_m=53, sigma_m=0), "out-of-range", "sigma_m"),
        ("soffits", feature(point(1, 1), id="a", level_m=53), "geometry-type", "an area or a line"),
        ("surfaces", feature(line((1, 1), (2, 2)), id="a"), "geometry-type", "an area"),
        ("surfaces", feature(polygon(1, 1, 2, 2), id="a", accepted_by="TWC"), "acceptance-incomplete", "in part"),
        ("surfaces", feature(polygon(1, 1, 2, 2), id="a", accepted_by="TWC", accepted_on="2026-02-29",
                             accepted_mass_kg=9000), "bad-date", "2026-02-29"),
        ("surfaces", feature(polygon(1, 1, 2, 2), id="a", accepted_by="TWC", accepted_on="2026-02-28",
                             accepted_mass_kg=9000, accepted_until="2026-02-27"), "acceptance-backwards", "until"),
        ("defects", feature(point(1, 1), id="a", kind="hole"), "unknown-value", "pothole"),
        ("defects", feature(point(1, 1), id="a", kind="pothole", width_m=0.3), "value-missing", "depth_m"),
        ("defects", feature(point(1, 1), id="a", kind="pothole", width_m=0.3, depth_m=-0.1), "out-of-range", "depth_m"),
        ("defects", feature(point(1, 1), id="a", kind="pothole", depth_m=0.1), "width-missing", "width_m"),
        ("defects", feature(line((1, 1), (2, 2)), id="a", kind="kerb"), "value-missing", "height_m"),
        ("defects", feature(line((1, 1), (2, 2)), id="a", kind="sill", height_m=0.02), "width-missing", "width_m"),
        ("walkways", feature(line((1, 1), (2, 2)), id="a"), "width-missing", "width_m"),
        ("overhead_lines", feature(line((1, 1), (2, 2)), id="a"), "value-missing", "no default"),
        ("excavations", feature(polygon(1, 1, 2, 2), id="a"), "value-missing", "set_back_m"),
        ("areas", feature(polygon(1, 1, 2, 2), id="a", closed="2026-12-04/2026-12-01"), "closure-backwards", "first"),
        ("areas", feature(polygon(1, 1, 2, 2), id="a", closed="Monday"), "bad-date", "Monday"),
        ("places", feature({"type": "MultiPoint", "coordinates": [[1, 1], [2, 2]]}, id="a"), "geometry-type", "points"),
        ("places", feature(point(1, 1), id="a", bearing_deg=361), "out-of-range", "bearing_deg"),
        ("places", feature(point(21, 1), id="a"), "place-outside", "1.00 m outside"),
    ],
)  # fmt: skip
def test_a_row(tmp_path: Path, layer: str, row: dict[str, Any], code: str, said: str) -> None:
    fault = only(with_layer(layer, geojson(row), folder=tmp_path / "site"), code)
    assert fault.where.startswith(f"{layer}.geojson") and said in str(fault)


@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-Infinity", "1e400"])
def test_coordinates_that_are_no_numbers(tmp_path: Path, bad: str) -> None:
    text = geojson(feature(point(1, 77), id="a", width_m=1)).replace("77", bad)
    faults = faults_of(with_layer("obstacles", text, folder=tmp_path / "site"))
    assert [fault.code for fault in faults] in (["coordinates-not-finite"], ["geometry-unreadable"])


def test_place_inside_an_obstacle(tmp_path: Path) -> None:
    toml = SITE + '[layers]\nplaces = "places.csv"\nobstacles = "obstacles.geojson"\n'
    files = {"places.csv": PLACES, "obstacles.geojson": geojson(feature(polygon(0.5, 0.5, 3, 3), id="stack"))}
    fault = only(write_folder(tmp_path / "site", toml=toml, files=files), "place-in-obstacle")
    assert "feature gate" in fault.where and '"stack"' in fault.what


def test_the_same_id_twice(tmp_path: Path) -> None:
    rows = [feature(polygon(1, 1, 2, 2), id="a"), feature(polygon(3, 1, 4, 2), id="a")]
    only(with_layer("obstacles", geojson(*rows), folder=tmp_path / "site"), "duplicate-id")


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("id,kind,x,y\na,gate,1\n", "csv-layout", "line 2"),
        ("id,kind,x,x\na,gate,1,1\n", "csv-layout", "same name"),
        ("id,kind,east,north\na,gate,1,1\n", "csv-layout", "x and y"),
        ('id,kind,x,y\na,gate,"1,5",1\n', "geometry-unreadable", "line 2"),
        ("id,kind,wkt\na,gate,POINT 1 1\n", "geometry-unreadable", "POINT (1 2)"),
        ("id,kind,x,y\na,gate,nan,1\n", "coordinates-not-finite", "feature a"),
        ('id,kind,x,y\n"a,gate,1,1\n', "file-unreadable", "CSV"),
    ],
)
def test_csv(tmp_path: Path, text: str, code: str, said: str) -> None:
    assert said in str(only(with_layer("places", text, suffix="csv", folder=tmp_path / "site"), code))


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"type": "FeatureCollection", "features": 3}', '{"type": "Topology"}']
)
def test_geojson_that_is_none(tmp_path: Path, text: str) -> None:
    only(with_layer("obstacles", text, folder=tmp_path / "site"), "file-unreadable")


@pytest.mark.parametrize("suffix", ["gpkg", "shp"])
def test_a_file_that_is_not_what_its_ending_says(tmp_path: Path, suffix: str) -> None:
    folder = with_layer("obstacles", "<OGRVRTDataSource/>", suffix=suffix, folder=tmp_path / "site")
    for part in ("shx", "dbf"):
        (folder / f"obstacles.{part}").write_bytes(b"x")
    only(folder, "file-unreadable")


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "nowhere")[0].code == "folder-missing"
    assert faults_of(write_folder(tmp_path / "site") / "site.toml")[0].code == "folder-missing"
    (tmp_path / "empty").mkdir()
    only(tmp_path / "empty", "file-missing")


def test_a_link_out_of_the_folder(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    (folder / "levels.tif").rename(tmp_path / "levels.tif")
    os.symlink(tmp_path / "levels.tif", folder / "levels.tif")
    only(folder, "path-outside")


def frame(crs: str | None, shape: Polygon) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame({"id": ["a"]}, geometry=[shape], crs=crs)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
@pytest.mark.parametrize(
    ("site_crs", "file_crs", "code"),
    [
        ("local", "EPSG:3007", "crs-mismatch"),
        ("EPSG:3007", None, "crs-missing"),
        ("EPSG:3007", "EPSG:3008", "crs-mismatch"),
    ],
)
@pytest.mark.parametrize("suffix", ["gpkg", "shp"])
def test_layers_in_other_coordinates(
    tmp_path: Path, suffix: str, site_crs: str, file_crs: str | None, code: str
) -> None:
    toml = SITE.replace("local", site_crs) + f'[layers]\nobstacles = "obstacles.{suffix}"\n'
    folder = write_folder(tmp_path / "site", toml=toml)
    frame(file_crs, box(1, 1, 2, 2)).to_file(folder / f"obstacles.{suffix}")
    found = [fault for fault in faults_of(folder) if fault.where == f"obstacles.{suffix}"]
    assert [fault.code for fault in found] == [code]


@pytest.mark.parametrize(
    ("name", "faulty"), [("EPSG::3007", False), ("EPSG::3008", True), ("OGC:1.3:CRS84", True), ("nonsense", True)]
)
def test_geojson_that_names_its_coordinates(tmp_path: Path, name: str, faulty: bool) -> None:
    member = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{name}"}}
    toml = SITE.replace("local", "EPSG:3007")
    folder = write_folder(tmp_path / "site", toml=toml)
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007", transform=north_up(150_000, 6_400_010, 0.5, 0.5))
    outline = feature(polygon(150_000, 6_400_000, 150_020, 6_400_010))
    (folder / "boundary.geojson").write_text(geojson(outline, crs=member))
    if faulty:
        assert only(folder, "crs-missing" if name == "nonsense" else "crs-mismatch").where == "boundary.geojson"
    else:
        assert read_site(folder).crs == "EPSG:3007"


def test_degrees_in_a_site_of_metres(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE.replace("local", "EPSG:3007"))
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007")
    assert "degrees" in only(folder, "crs-mismatch").what


@pytest.mark.parametrize(
    "rows", [[], [feature(polygon(0, 0, 9, 9)), feature(polygon(9, 0, 18, 9))],
             [feature({"type": "MultiPolygon", "coordinates": [polygon(0, 0, 1, 1)["coordinates"],
                                                               polygon(2, 2, 3, 3)["coordinates"]]})]],
)  # fmt: skip
def test_a_boundary_is_one_area(tmp_path: Path, rows: list[dict[str, Any]]) -> None:
    only(write_folder(tmp_path / "site", files={"boundary.geojson": geojson(*rows)}), "boundary-one")


def test_layers_in_one_file_must_be_named(tmp_path: Path) -> None:
    toml = SITE + '[layers]\nobstacles = "layers.gpkg"\nwalkways = {file = "layers.gpkg", layer = "paths"}\n'
    folder = write_folder(tmp_path / "site", toml=toml)
    for name in ("obstacles", "walkways"):
        frame("EPSG:3007", box(1, 1, 2, 2)).to_file(folder / "layers.gpkg", layer=name)
    faults = faults_of(folder)
    assert [fault.code for fault in faults] == ["layer-missing"] * 2
    assert {fault.where for fault in faults} == {"layers.gpkg", "layers.gpkg layer paths"}


def test_a_shapefile_without_its_parts(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE + '[layers]\nobstacles = "o.shp"\n')
    frame("EPSG:3007", box(1, 1, 2, 2)).to_file(folder / "o.shp")
    (folder / "o.dbf").unlink()
    assert ".dbf" in only(folder, "file-missing").what


def test_a_geopackage_that_another_program_is_writing(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE + '[layers]\nobstacles = "o.gpkg"\n')
    frame("EPSG:3007", box(1, 1, 2, 2)).to_file(folder / "o.gpkg")
    (folder / "o.gpkg-wal").write_bytes(b"x")
    only(folder, "file-open-elsewhere")


def test_all_faults_at_once(tmp_path: Path) -> None:
    toml = WITH_MOVES.replace('places.csv"', 'places.csv"\nsoffits = "soffits.geojson"').replace("datum_m", "datm_m")
    toml += move(to="by") + move(machine="X")
    soffits = geojson(feature(polygon(1, 1, 2, 2), id="a", level_m=2.5), feature(BOW_TIE, id="b", level_m=55))
    folder = write_folder(tmp_path / "site", toml=toml, files={"places.csv": PLACES, "soffits.geojson": soffits})
    write_levels(folder / "levels.tif", slope()[:, :30])
    assert [fault.code for fault in faults_of(folder)] == [
        "duplicate-id",
        "geometry-invalid",
        "levels-short-of-boundary",
        "machine-unknown",
        "missing-key",
        "place-unknown",
        "soffit-below-ground",
        "unknown-key",
    ]


def test_faults_are_json_values(tmp_path: Path) -> None:
    fault = faults_of(tmp_path / "nowhere")[0]
    assert json.loads(json.dumps(vars(fault)))["code"] == "folder-missing"


@pytest.mark.parametrize("x", [1e300, -3e7])
def test_coordinates_larger_than_the_earth(tmp_path: Path, x: float) -> None:
    text = geojson(feature(point(x, 1), id="a", width_m=1))
    only(with_layer("obstacles", text, folder=tmp_path / "site"), "coordinates-absurd")
