"""A plan for other programs: what the layers hold, the same bytes each time, and no GeoJSON without a known place."""

from __future__ import annotations

import json
import math
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pyproj
import pytest
from shapely.geometry import shape

from routeplan.report.exports import LOCAL_REASON, NoTransformation, to_wgs84, write_geojson, write_geopackage
from routeplan.route.model import Measurement, Plan
from routeplan.route.rounding import as_written
from tests.plans import EAST_M, NORTH_M, plan


def layer(path: Path, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(path, layer=name)


@pytest.fixture
def package(tmp_path: Path) -> Path:
    path = tmp_path / "routes.gpkg"
    write_geopackage(as_written(plan()), path)
    return path


def geojson(what: Plan, folder: Path) -> dict[str, Any]:
    path = folder / "routes.geojson"
    write_geojson(as_written(what), path)
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)
    return document


def test_the_package_has_its_layers_and_crs(package: Path) -> None:
    names = {"routes", "legs", "stops", "checks", "measurements", "zones"}
    assert {name for name, _ in pyogrio.list_layers(package)} == names
    assert layer(package, "routes").crs == "EPSG:3006"


def test_every_move_is_a_row_drivable_or_not(package: Path) -> None:
    routes = layer(package, "routes").set_index("move")
    assert list(routes.verdict) == ["pass with controls", "fail"]
    assert routes.geometry["M1"].length == pytest.approx(2.95)
    assert routes.geometry["M1"].coords[0] == (EAST_M, NORTH_M)
    assert routes.geometry["M2"] is None
    assert set(routes.invented) == {True}


def test_stops_come_in_driving_order_and_controls_lie_on_the_way(package: Path) -> None:
    stops = layer(package, "stops")
    first = stops[stops["move"] == "M1"]
    assert list(first.kind) == ["hold", "marshal"]
    assert list(first.geometry.x) == pytest.approx([EAST_M + 0.9, EAST_M + 1.0])


def test_an_open_check_keeps_its_row_without_numbers_or_place(package: Path) -> None:
    checks = layer(package, "checks")
    (row,) = checks[(checks["move"] == "M1") & (checks.kind == "survey resolution")].itertuples()
    assert row.verdict == "not proven" and math.isnan(row.margin) and row.geometry is None


def test_what_settles_an_open_check_is_a_point_where_it_has_a_place(tmp_path: Path) -> None:
    """A surveyor's own programs lead to it: a spot level with the level that the plan has there."""
    level = Measurement("level", "", (EAST_M + 1.0, NORTH_M), 12.345, 0.002, True, "read the level of the ground")
    whole = plan()
    first = whole.moves[0]
    checks = tuple(
        replace(check, settled_by=(level, *check.settled_by)) if check.verdict == "not proven" else check
        for check in first.checks
    )
    path = tmp_path / "routes.gpkg"
    write_geopackage(as_written(replace(whole, moves=(replace(first, checks=checks), *whole.moves[1:]))), path)
    rows = layer(path, "measurements")
    (spot,) = rows[rows.what == "level"].itertuples()
    assert (spot.move, spot.level_m, spot.sigma_m, bool(spot.fewest)) == ("M1", 12.345, 0.002, True)
    assert (spot.geometry.x, spot.geometry.y) == (EAST_M + 1.0, NORTH_M)
    others = list(rows[rows.what == "other"].itertuples())
    assert others and all(one.geometry is None and math.isnan(one.level_m) for one in others)
    assert {one.text for one in others} == {"nobody said"}


def test_zones_have_a_ground_and_a_basket_part(package: Path) -> None:
    zones = layer(package, "zones")
    assert list(zones[zones["move"] == "M1"].part) == ["ground", "basket"]
    assert list(zones.geometry.area[:2]) == pytest.approx([0.5, 0.5])


def test_same_plan_same_bytes_at_another_time(package: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    again = tmp_path / "again.gpkg"
    write_geopackage(as_written(plan()), again)
    assert again.read_bytes() == package.read_bytes()
    with closing(sqlite3.connect(package)) as database:
        times = {time for (time,) in database.execute("select last_change from gpkg_contents")}
    # 08:00 at +01:00, the time of issue, not the time of writing.
    assert times == {"2026-12-01T07:00:00.000Z"}


def test_the_clock_of_the_library_runs_again_afterwards(package: Path) -> None:
    assert package.exists()
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_a_local_site_and_a_plan_without_rows_are_written_too(tmp_path: Path) -> None:
    path = tmp_path / "local.gpkg"
    write_geopackage(replace(plan(), crs="local", moves=()), path)
    assert len(layer(path, "routes")) == 0 and len(layer(path, "zones")) == 0
    assert "local site grid" in layer(path, "routes").crs.to_wkt()


def test_geojson_is_rfc_7946(tmp_path: Path) -> None:
    document = geojson(plan(), tmp_path)
    assert document["type"] == "FeatureCollection"
    # Sections 4 and 7.1: no other reference system, no members of other types.
    assert not {"crs", "properties", "geometry", "coordinates", "geometries"} & set(document)
    assert document["plan"]["invented"] is True and document["plan"]["transformation_accuracy_m"] == 1.0
    for feature in document["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        if feature["geometry"] is not None:
            found = shape(feature["geometry"])
            assert found.is_valid
            assert found.geom_type != "Polygon" or found.exterior.is_ccw


def test_geojson_lies_where_the_projection_puts_it(tmp_path: Path) -> None:
    (route,) = (
        feature
        for feature in geojson(plan(), tmp_path)["features"]
        if feature["properties"]["layer"] == "routes" and feature["geometry"]
    )
    (east_deg, north_deg), *_, (last_east_deg, _) = route["geometry"]["coordinates"]
    # Longitude first; the distance on the ellipsoid is the grid's within its scale (0.9996) and seven decimals.
    assert (east_deg, north_deg) == pytest.approx((18.058, 59.323), abs=0.001)
    length_m = pyproj.Geod(ellps="GRS80").inv(east_deg, north_deg, last_east_deg, north_deg)[2]
    assert length_m == pytest.approx(2.95, abs=0.02)


@pytest.mark.parametrize(
    ("crs", "reason"),
    [
        ("local", "^local grid: no known transformation to WGS84$"),
        # The national grid's accurate shift needs a grid file that this program does not ship.
        ("EPSG:27700", "needs a grid that is not installed"),
        ("EPSG:99999", "no known transformation"),
    ],
)
def test_no_geojson_without_a_good_transformation(tmp_path: Path, crs: str, reason: str) -> None:
    path = tmp_path / "routes.geojson"
    with pytest.raises(NoTransformation, match=reason):
        write_geojson(plan(crs=crs), path)
    assert not path.exists()


def test_the_local_reason_is_the_contract_s() -> None:
    assert LOCAL_REASON == "local grid: no known transformation to WGS84"


def test_a_stated_accuracy_comes_with_the_transformation() -> None:
    # "SWEREF99 to WGS 84 (1)": 1 m in the EPSG dataset, as the installed PROJ database states it.
    _, accuracy_m = to_wgs84("EPSG:3007")
    assert accuracy_m == 1.0
