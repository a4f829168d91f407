"""What a sound folder reads as: values, outlines, levels, and the same site whatever the file format."""

from __future__ import annotations

import datetime as dt
import hashlib
import math
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString, Point, Polygon, box, shape

from routeplan.plan.findings import findings
from routeplan.site.bearing import Clay, Drained, HardGround, Platform, Proof
from routeplan.site.features import PLACE_TOLERANCE_M
from routeplan.site.friction import Friction, Loose
from routeplan.site.ground import levels_at, samples
from routeplan.site.hire import Hire
from routeplan.site.model import LineHeight, Site, Thresholds
from routeplan.site.read import read_site
from routeplan.site.reading import Reading
from tests.site import zoo_lines
from tests.site.folders import (
    BOW_TIE,
    CELL_M,
    EAST_M,
    MACHINE,
    NORTH_M,
    SITE,
    feature,
    geojson,
    line,
    north_up,
    point,
    polygon,
    slope,
    with_layer,
    write_folder,
    write_levels,
)


def read_rows(layer: str, *rows: dict[str, Any], folder: Path, extra: str = "") -> Site:
    return read_site(with_layer(layer, geojson(*rows), folder=folder, extra=extra))


def test_the_sound_folder(tmp_path: Path) -> None:
    site = read_site(write_folder(tmp_path / "site"))
    assert (site.name, site.revision, site.crs, site.invented) == ("Test yard (invented)", "T1", "local", True)
    assert site.boundary.equals(box(0, 0, EAST_M, NORTH_M))
    assert site.thresholds == Thresholds() and site.layers_given == frozenset() and site.repairs == ()
    accuracy = site.ground.accuracy
    assert (accuracy.short_range_m, accuracy.datum_m, accuracy.smallest_hole_m) == (0.003, 0.010, None)
    assert accuracy.date == dt.date(2026, 11, 2) and not accuracy.assumed


def test_every_file_read_is_listed_and_none_is_left_behind(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE + '[layers]\nobstacles = "o.shp"\n')
    geopandas.GeoDataFrame({"id": ["a"]}, geometry=[box(1, 1, 2, 2)], crs="EPSG:3007").to_file(folder / "o.shp")
    (folder / "o.prj").unlink()
    (folder / "unrelated.txt").write_text("not read")
    before = sorted(path.name for path in folder.iterdir())
    site = read_site(folder)
    assert sorted(path.name for path in folder.iterdir()) == before
    assert [item.path for item in site.inputs] == [
        "boundary.geojson", "levels.tif", "o.cpg", "o.dbf", "o.shp", "o.shx", "site.toml"]  # fmt: skip
    for item in site.inputs:
        assert item.sha256 == hashlib.sha256((folder / item.path).read_bytes()).hexdigest()


def test_nodes_stand_at_pixel_centres_with_the_south_first(tmp_path: Path) -> None:
    ground = read_site(write_folder(tmp_path / "site")).ground
    assert (ground.x_min, ground.y_min, ground.cell_m) == (CELL_M / 2, CELL_M / 2, CELL_M)
    assert ground.z.shape == (20, 40) and ground.z.dtype == np.float64
    row, column = 3, 7
    x, y = ground.x_min + column * CELL_M, ground.y_min + row * CELL_M
    assert ground.z[row, column] == pytest.approx(50.0 + 0.01 * x + 0.02 * y, abs=1e-5)


def test_levels_of_many_rows_are_read_in_strips_that_fit(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    z = 50.0 + np.arange(700.0 * 3).reshape(700, 3) / 1000.0
    write_levels(folder / "levels.tif", z, transform=north_up(0.0, 350.0, CELL_M, CELL_M))
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(0, 0, 1, 300))))
    assert np.array_equal(read_site(folder).ground.z, z[::-1])


def test_scaled_levels(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    write_levels(folder / "levels.tif", np.full((20, 40), 512, dtype=np.int16))
    with rasterio.open(folder / "levels.tif", "r+") as target:
        target.scales, target.offsets = (0.1,), (-1.0,)
    assert read_site(folder).ground.z == pytest.approx(50.2)


def test_levels_between_and_beyond_nodes(tmp_path: Path) -> None:
    ground = read_site(write_folder(tmp_path / "site")).ground
    levels = levels_at(ground, np.array([[3.3, 4.4], [0.25, 0.25], [0.2, 4.0], [19.8, 4.0], [4.0, 9.8], [4.0, 0.1]]))
    assert levels[0] == pytest.approx(50.0 + 0.033 + 0.088, abs=1e-5)
    assert levels[1] == ground.z[0, 0]
    assert np.isnan(levels[2:]).all()


@pytest.mark.parametrize(("dtype", "nodata"), [("float32", -9999), ("float64", None), ("int16", -32768)])
def test_cells_without_data_are_unknown(tmp_path: Path, dtype: str, nodata: float | None) -> None:
    folder = write_folder(tmp_path / "site")
    z = slope().astype(dtype)
    z[-1, 0] = math.nan if nodata is None else nodata
    write_levels(folder / "levels.tif", z, nodata=nodata)
    ground = read_site(folder).ground
    assert math.isnan(ground.z[0, 0]) and np.isnan(ground.z).sum() == 1


def test_levels_from_a_csv_are_those_of_the_raster(tmp_path: Path) -> None:
    raster = read_site(write_folder(tmp_path / "a")).ground
    lines = ["x,y,z"]
    for (row, column), z in np.ndenumerate(raster.z):
        x, y = raster.x_min + column * CELL_M, raster.y_min + row * CELL_M
        if (row, column) != (2, 3):
            lines.append(f"{x},{y},{'' if (row, column) == (5, 5) else z}")
    toml = SITE.replace("levels.tif", "levels.csv")
    csv = read_site(write_folder(tmp_path / "b", toml=toml, files={"levels.csv": "\ufeff" + "\n".join(lines)})).ground
    assert (csv.x_min, csv.y_min, csv.cell_m) == (raster.x_min, raster.y_min, raster.cell_m)
    assert {(int(i), int(j)) for i, j in np.argwhere(np.isnan(csv.z))} == {(2, 3), (5, 5)}
    known = ~np.isnan(csv.z)
    assert np.array_equal(csv.z[known], raster.z[known])


def test_obstacles_get_their_width(tmp_path: Path) -> None:
    rows = [
        feature(polygon(1, 1, 3, 2), id="wall", kind="low wall", top_m=51.0),
        feature(point(10, 5), id="column", width_m=0.4),
        feature(line((5, 8), (9, 8)), id=7, width_m="0.2"),
    ]
    wall, column, fence = read_rows("obstacles", *rows, folder=tmp_path / "site").obstacles
    assert (wall.id, wall.kind, wall.top_m) == ("wall", "low wall", 51.0)
    assert (column.kind, column.top_m, fence.id) == ("obstacle", None, "7")
    assert column.geometry.covers(Point(10, 5).buffer(0.2 - 1e-9, quad_segs=64)), "a column is not smaller than it is"
    assert column.geometry.area < math.pi * 0.2**2 * 1.01
    assert fence.geometry.equals(box(5, 7.9, 9, 8.1))


def test_parts_are_numbered_and_a_falling_soffit_keeps_its_levels(tmp_path: Path) -> None:
    parts = {
        "type": "MultiPolygon",
        "coordinates": [polygon(0, 0, 2, 2)["coordinates"], polygon(8, 0, 10, 2)["coordinates"]],
    }
    row = feature(parts, id="roof", level_m=55.0, fall_x=0.1, fall_y=0.0, sigma_m=0.01, survey="S1")
    west, east = read_rows("soffits", row, folder=tmp_path / "site").soffits
    assert (west.id, east.id) == ("roof#1", "roof#2")
    assert west.level_m == pytest.approx(54.6) and east.level_m == pytest.approx(55.4)
    assert (west.sigma_m, west.survey, west.clear_m) == (0.01, "S1", None)


def test_a_soffit_line_with_a_clear_height(tmp_path: Path) -> None:
    (beam,) = read_rows(
        "soffits", feature(line((1, 1), (5, 1)), id="b", clear_m=3.2, width_m=0.3), folder=tmp_path / "site"
    ).soffits
    assert (beam.level_m, beam.clear_m, beam.sigma_m, beam.survey) == (None, 3.2, None, None)
    assert beam.geometry.equals(box(1, 0.85, 5, 1.15))


def test_surfaces_and_their_acceptance(tmp_path: Path) -> None:
    rows = [
        feature(polygon(0, 0, 5, 5), id="a", kind="stone", accepted_by="temporary works coordinator",
                accepted_on="2026-11-01", accepted_mass_kg=12000, accepted_until="2026-12-24"),
        feature(polygon(5, 0, 9, 5), id="b"),
    ]  # fmt: skip
    accepted, bare = read_rows("surfaces", *rows, folder=tmp_path / "site").surfaces
    assert accepted.acceptance is not None and bare.acceptance is None
    assert accepted.acceptance.role == "temporary works coordinator"
    assert (accepted.acceptance.date, accepted.acceptance.valid_until) == (dt.date(2026, 11, 1), dt.date(2026, 12, 24))
    assert accepted.acceptance.mass_limit_kg == 12000.0


def test_surfaces_and_what_they_bear(tmp_path: Path) -> None:
    below = {"below_phi_deg": 30, "below_knm3": 10, "below_factor": 2}
    told: list[dict[str, Any]] = [
        {"wheel_limit_kn": 30},
        {"clay_cu_kpa": 40, "clay_factor": 2, "clay_rut_kpa": 150, "wet_factor": 0.5},
        {"platform_m": 0.4, "spread_deg": 30, "below_kpa": 90},
        {"platform_m": 0.4, "spread_deg": 30, "wet_factor": 1, **below},
    ]
    rows = [feature(polygon(n, 0, n + 1, 5), id=f"s{n}", bearing_by="TWC", **row) for n, row in enumerate(told)]
    found = read_rows("surfaces", *rows, folder=tmp_path / "site").surfaces
    assert [surface.bearing for surface in found] == [
        HardGround("TWC", 30.0),
        Clay("TWC", 40.0, 2.0, 150.0, 0.5),
        Platform("TWC", 0.4, 30.0, 90.0),
        Platform("TWC", 0.4, 30.0, Drained(30.0, 10.0, 2.0), 1.0),
    ]


def test_surfaces_and_how_tyres_grip_them(tmp_path: Path) -> None:
    told: list[dict[str, Any]] = [
        {"friction_by": "drag test", "friction_dry": 0.6, "friction_wet": 0.45},
        {"friction_by": "drag test", "friction_wet": 0.4, "loose": "grit", "friction_loose": 0.35},
        {},
    ]
    rows = [feature(polygon(n, 0, n + 1, 5), id=f"s{n}", kind="ice", **row) for n, row in enumerate(told)]
    found = read_rows("surfaces", *rows, folder=tmp_path / "site").surfaces
    assert [surface.friction for surface in found] == [
        Friction("drag test", 0.6, 0.45, None), Friction("drag test", None, 0.4, Loose("grit", 0.35)), None
    ]  # fmt: skip


def test_defects(tmp_path: Path) -> None:
    text = (
        "id,kind,x,y,wkt,width_m,depth_m,height_m,state,proven_by,proven_on,wheel_limit_kn\n"
        "p,pothole,3,3,,0.4,0.08,,open,,,\n"
        'k,kerb,,,"LINESTRING (5 1, 5 5)",,,0.1,,,,\n'
        's,sill,,,"LINESTRING (7 1, 7 5)",0.2,,0.02,,,,\n'
        'q,pothole,,,"POLYGON ((8 1, 8.3 1, 8.3 3, 8 3, 8 1))",0.3,0.05,,,,,\n'
        'c,cover,,,"POLYGON ((9 1, 9.6 1, 9.6 1.6, 9 1.6, 9 1))",,,,proven,,,\n'
        't,trench,,,"LINESTRING (12 1, 12 9)",0.6,1.2,,plated,,,\n'
        'l,plate,,,"POLYGON ((12 10, 13 10, 13 11, 12 11, 12 10))",,,0.02,proven,TWC,2026-11-20,40\n'
    )
    found = {d.id: d for d in read_site(with_layer("defects", text, suffix="csv", folder=tmp_path / "site")).defects}
    hole = found["p"]
    assert (hole.width_m, hole.depth_m, hole.height_m, hole.state) == (0.4, 0.08, 0.0, "open")
    assert hole.geometry.covers(Point(3, 3).buffer(0.2 - 1e-9, quad_segs=64))
    assert len(hole.geometry.exterior.coords) == 33
    assert found["k"].geometry.equals(box(4.925, 1, 5.075, 5)) and found["k"].width_m == 0.15
    assert found["s"].geometry.equals(box(6.9, 1, 7.1, 5)) and found["s"].height_m == 0.02
    assert found["q"].width_m == pytest.approx(2.0), "a wheel can meet a slot along its length"
    assert found["c"].width_m == pytest.approx(0.6) and found["c"].state == "proven"
    assert found["l"].proof == Proof(dt.date(2026, 11, 20), HardGround("TWC", 40.0))
    assert found["c"].proof is None and found["t"].proof is None
    assert found["t"].geometry.equals(box(11.7, 1, 12.3, 9)) and found["t"].depth_m == 1.2


def test_the_other_layers(tmp_path: Path) -> None:
    layers = {
        "walkways": feature(line((1, 1), (1, 9)), id="w", width_m=1.5),
        "overhead_lines": feature(line((2, 2), (8, 2)), id="o", corridor_m=1.0),
        "excavations": feature(polygon(10, 1, 12, 3), id="e", set_back_m=1.5),
        "areas": feature(polygon(0, 0, 20, 5), id="n", title="North", closed="2026-11-30/2026-12-04; 2026-12-10"),
    }
    toml = SITE + "[layers]\nobstacles = 'none'\n" + "".join(f'{name} = "{name}.geojson"\n' for name in layers)
    files = {f"{name}.geojson": geojson(row) for name, row in layers.items()}
    site = read_site(write_folder(tmp_path / "site", toml=toml, files=files))
    assert site.layers_given == {"obstacles", *layers}
    assert site.walkways[0].geometry.equals(box(0.25, 1, 1.75, 9))
    assert site.line_corridors[0].geometry.covers(LineString([(2, 2), (8, 2)]).buffer(1.0))
    assert site.line_corridors[0].geometry.area < 8.02 * 2.02
    assert site.excavations[0].set_back_m == 1.5
    area = site.areas[0]
    assert area.title == "North" and area.closed_on(dt.date(2026, 12, 4)) and area.closed_on(dt.date(2026, 12, 10))
    assert not area.closed_on(dt.date(2026, 12, 5))


def test_closures_whose_end_nobody_knows_proofs_that_end_and_terms_of_hire(tmp_path: Path) -> None:
    """Closed for good, or until it opens; a plate until it is taken away; one machine hired on other terms."""
    proven = {"proven_by": "TWC", "proven_on": "2026-11-20", "proven_until": "2026-12-04", "wheel_limit_kn": 40}
    files = {
        "areas.geojson": geojson(
            feature(polygon(0, 0, 5, 5), id="good", closed="2026-12-10/.."),
            feature(polygon(0, 0, 5, 5), id="until", closed="../2026-12-10; 2026-12-20"),
        ),
        "defects.geojson": geojson(
            feature(polygon(6, 6, 8, 8), id="p", kind="plate", state="proven", height_m=0.01, **proven)
        ),
    }
    hire = "[hire]\nnotice_days = 2\nbuffer_days = 1\n[hire.machines.SC12]\nnotice_days = 5\n"
    toml = SITE + '[layers]\nareas = "areas.geojson"\ndefects = "defects.geojson"\n' + hire + MACHINE
    site = read_site(write_folder(tmp_path / "site", toml=toml, files=files))
    good, until = site.areas
    day, one = dt.date(2026, 12, 10), dt.timedelta(days=1)
    assert good.closed_on(day) and good.closed_on(dt.date(2126, 1, 1)) and not good.closed_on(day - one)
    assert until.closed_on(day) and until.closed_on(dt.date(1926, 1, 1)) and not until.closed_on(day + one)
    assert until.closed_on(dt.date(2026, 12, 20))
    (plate,) = site.defects
    assert plate.proof is not None and plate.proof.valid_until == dt.date(2026, 12, 4)
    assert site.hire == {"SC12": Hire(5, 1)}
    bare = read_site(write_folder(tmp_path / "bare", toml=SITE + MACHINE))
    assert bare.hire == {"SC12": Hire(None, None)}


def test_how_low_a_line_hangs_and_how_far_from_it_all_stays(tmp_path: Path) -> None:
    """A height above the ground counts from the lowest ground under the grown corridor: the site falls to the west."""
    toml = SITE + '[layers]\noverhead_lines = "o.geojson"\n[overhead_lines]\nsafety_distances = "t.csv"\n'
    told = {"corridor_m": 1.0, "voltage_kv": 11, "sag_m": 0.4}
    rows = (
        feature(line((6, 2), (8, 2)), id="clear", clear_m=6.0, sigma_m=0.05, **told),
        feature(line((6, 2), (8, 2)), id="level", level_m=56.5, survey="S2", **told),
        feature(line((6, 2), (8, 2)), id="barred", corridor_m=1.0, voltage_kv=11),
        feature(line((6, 2), (8, 2)), id="low", corridor_m=1.0, voltage_kv=1),
    )
    files = {"o.geojson": geojson(*rows), "t.csv": zoo_lines.TABLE}
    site = read_site(write_folder(tmp_path / "site", toml=toml, files=files))
    found = {one.id: one for one in site.line_corridors}
    assert found["clear"].safety is not None and found["clear"].distance_m == pytest.approx(3.0 + 10 * 0.1)
    assert found["low"].distance_m == 1.0, "up to and with 1 kV"
    for one in found.values():
        assert one.geometry.covers(LineString([(6, 2), (8, 2)]).buffer(one.corridor_m + one.distance_m))
    ground = min(samples(site.ground, found["clear"].geometry)[1])
    assert found["clear"].height == LineHeight(ground + 6.0, 0.4, 0.05, "S1")
    assert found["level"].height == LineHeight(56.5, 0.4, None, "S2")
    assert found["barred"].height is None and found["low"].height is None
    assert "t.csv" in {one.path for one in site.inputs}
    (row,) = (row for row in findings(site)["open"] if "height of line" in row["why"])
    assert row == {"why": "no accuracy for the height of line level", "checks": ["line clearance"]}


def test_places(tmp_path: Path) -> None:
    text = "\ufeffid,kind,title,x,y,bearing_deg,tolerance_m\ng,gate,Gate 2,1.5,2.5,360,0.1\nb,,,3,4,,\n"
    places = read_site(with_layer("places", text, suffix="csv", folder=tmp_path / "site")).places
    assert (places["g"].title, places["g"].bearing_deg, places["g"].tolerance_m) == ("Gate 2", 0.0, 0.1)
    assert (places["b"].title, places["b"].bearing_deg, places["b"].tolerance_m) == ("b", None, PLACE_TOLERANCE_M)
    assert places["g"].point.equals(Point(1.5, 2.5))


CORNERS = (
    "\ufeffid,kind,top_m,shape,n,x,y,width_m,,\r\n"
    "stack,stack,52,Area,1,2,2,,,\r\n"
    "post,column,,,,1,1,0.3,,\r\n"
    '"wall",wall,,line,2.0,15,5,0.2,,\r\n'
    "stack,,,,2,4,2,,,\r\n"
    "stack,,52,,4,2,3,,,\r\n"
    "wall,,,,1,12,5,,,\r\n"
    ",,,,,,,,,\r\n"
    "stack,stack,,area,3,4,3,,,,\r\n"
    ",,,,,,,,,\r\n"
)


def test_outlines_drawn_by_several_rows_of_a_csv(tmp_path: Path) -> None:
    """As a spreadsheet leaves them: sorted anyhow, with empty rows and columns, and told in one row or in all."""
    found = read_site(with_layer("obstacles", CORNERS, suffix="csv", folder=tmp_path / "site")).obstacles
    assert [one.id for one in found] == ["stack", "post", "wall"]
    stack, post, wall = found
    assert stack.geometry.equals(box(2, 2, 4, 3)) and (stack.kind, stack.top_m) == ("stack", 52.0)
    assert post.geometry.centroid.distance(Point(1, 1)) < 1e-9 and post.kind == "column"
    assert wall.geometry.equals(box(12, 4.9, 15, 5.1)) and (wall.kind, wall.top_m) == ("wall", None)


def test_an_area_may_end_where_it_began(tmp_path: Path) -> None:
    rows = "id,shape,n,x,y\na,area,1,2,2\na,,2,4,2\na,,3,4,3\na,,4,2,3\na,,5,2,2\n"
    (found,) = read_site(with_layer("surfaces", rows, suffix="csv", folder=tmp_path / "site")).surfaces
    assert found.geometry.equals(box(2, 2, 4, 3))


def test_a_boundary_drawn_by_corners_needs_no_id(tmp_path: Path) -> None:
    toml = SITE.replace("boundary.geojson", "boundary.csv")
    rows = "shape,n,x,y\narea,1,0,0\narea,2,20,0\narea,3,20,10\narea,4,0,10\n"
    assert read_site(write_folder(tmp_path, toml=toml, files={"boundary.csv": rows})).boundary.equals(box(0, 0, 20, 10))


def test_heights_of_drawn_points_are_dropped(tmp_path: Path) -> None:
    row = feature({"type": "Point", "coordinates": [3, 4, 51.2]}, id="a", width_m=1)
    assert not read_rows("obstacles", row, folder=tmp_path / "site").obstacles[0].geometry.has_z


def test_repairs_are_made_only_when_asked_and_are_listed(tmp_path: Path) -> None:
    folder = with_layer("obstacles", geojson(feature(BOW_TIE, id="a")), folder=tmp_path / "site")
    toml = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(toml.replace('boundary = "', 'repair = "make_valid"\nboundary = "'))
    site = read_site(folder)
    assert [obstacle.id for obstacle in site.obstacles] == ["a#1", "a#2"]
    assert sum(obstacle.geometry.area for obstacle in site.obstacles) == pytest.approx(8.0)
    assert site.repairs == (
        "obstacles.geojson, feature a, at 4.00 E 4.00 N: the outline is invalid: Self-intersection; "
        "mended to 8.00 m2 in 2 pieces",
    )


def test_a_repair_never_leaves_a_hole_where_an_outline_covers_itself_twice(tmp_path: Path) -> None:
    twice = {
        "type": "Polygon",
        "coordinates": [[[0, 0], [4, 0], [4, 4], [1, 4], [1, 1], [3, 1], [3, 5], [0, 5], [0, 0]]],
    }
    folder = with_layer("obstacles", geojson(feature(twice, id="a")), folder=tmp_path / "site")
    toml = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(toml.replace('boundary = "', 'repair = "make_valid"\nboundary = "'))
    mended = read_site(folder).obstacles
    assert any(obstacle.geometry.covers(Point(3.5, 2.0)) for obstacle in mended)
    assert any(obstacle.geometry.covers(Point(0.5, 2.0)) for obstacle in mended)


ROWS: list[dict[str, Any]] = [
    {"id": "a", "kind": "stone", "accepted_by": "engineer", "accepted_on": "2026-11-01", "accepted_mass_kg": 9000.0,
     "accepted_until": None},
    {"id": "b", "kind": None, "accepted_by": None, "accepted_on": None, "accepted_mass_kg": None,
     "accepted_until": None},
]  # fmt: skip
OUTLINES = [polygon(150_001, 6_400_001, 150_005, 6_400_005), polygon(150_005, 6_400_001, 150_009, 6_400_005)]


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "geojson", "csv"])
def test_one_site_in_every_format(tmp_path: Path, suffix: str) -> None:
    toml = SITE.replace("local", "EPSG:3007") + f'[layers]\nsurfaces = "surfaces.{suffix}"\n'
    folder = write_folder(tmp_path / "site", toml=toml)
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007", transform=north_up(150_000, 6_400_010, 0.5, 0.5))
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(150_000, 6_400_000, 150_020, 6_400_010))))
    shapes = [shape(outline) for outline in OUTLINES]
    frame = geopandas.GeoDataFrame(ROWS, geometry=shapes, crs="EPSG:3007")
    path = folder / f"surfaces.{suffix}"
    if suffix == "csv":
        frame.assign(wkt=frame.geometry.to_wkt()).drop(columns="geometry").to_csv(path, index=False)
    elif suffix == "shp":
        frame.rename(columns={name: name[:10] for name in ROWS[0]}).to_file(path)
    else:
        frame.to_file(path)
    first, second = read_site(folder).surfaces
    assert first.acceptance is not None and second.acceptance is None
    assert (first.acceptance.role, first.acceptance.mass_limit_kg) == ("engineer", 9000.0)
    assert (first.acceptance.date, first.acceptance.valid_until) == (dt.date(2026, 11, 1), None)
    assert (second.id, second.kind) == ("b", "surface")
    assert first.geometry.equals(shapes[0]) and isinstance(second.geometry, Polygon)


def test_geojson_may_name_the_coordinates_of_the_site(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE.replace("local", "EPSG:3007"))
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007", transform=north_up(150_000, 6_400_010, 0.5, 0.5))
    member = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::3007"}}
    outline = feature(polygon(150_000, 6_400_000, 150_020, 6_400_010))
    (folder / "boundary.geojson").write_text(geojson(outline, crs=member))
    assert read_site(folder).crs == "EPSG:3007"


def test_heights_in_metres_beside_the_coordinates_of_the_site(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", toml=SITE.replace("local", "EPSG:26918"))
    place = north_up(500_000, 4_000_010, CELL_M, CELL_M)
    write_levels(folder / "levels.tif", slope(), crs="EPSG:26918+5703", transform=place)
    outline = feature(polygon(500_000, 4_000_000, 500_020, 4_000_010))
    (folder / "boundary.geojson").write_text(geojson(outline))
    assert read_site(folder).ground.x_min == 500_000.25


def test_two_layers_may_use_the_same_id(tmp_path: Path) -> None:
    toml = SITE + '[layers]\nwalkways = "w.geojson"\nareas = "a.geojson"\n'
    row = geojson(feature(polygon(1, 1, 2, 2), id="north"))
    site = read_site(write_folder(tmp_path / "site", toml=toml, files={"w.geojson": row, "a.geojson": row}))
    assert site.walkways[0].id == site.areas[0].id == "north"


def test_links_within_the_folder_are_followed(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    (folder / "surveys").mkdir()
    (folder / "levels.tif").rename(folder / "surveys" / "november.tif")
    (folder / "levels.tif").symlink_to("surveys/november.tif")
    assert read_site(folder).ground.z.shape == (20, 40)


def test_days_of_a_geopackage(tmp_path: Path) -> None:
    import pandas

    toml = SITE + '[layers]\nsurfaces = {file = "site.gpkg", layer = "ground"}\n'
    toml += 'walkways = {file = "site.gpkg", layer = "paths"}\n'
    folder = write_folder(tmp_path / "site", toml=toml)
    day = pandas.to_datetime(["2026-11-01"])
    frame = geopandas.GeoDataFrame(ROWS[:1], geometry=[box(1, 1, 2, 2)]).assign(accepted_on=day)
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        frame.to_file(folder / "site.gpkg", layer="ground")
        frame[["id", "geometry"]].to_file(folder / "site.gpkg", layer="paths")
    site = read_site(folder)
    assert site.surfaces[0].acceptance is not None and site.surfaces[0].acceptance.date == dt.date(2026, 11, 1)
    assert site.walkways[0].id == "a" and site.layers_given == {"surfaces", "walkways"}


def test_an_empty_layer_is_a_layer_given(tmp_path: Path) -> None:
    site = read_rows("obstacles", folder=tmp_path / "site")
    assert site.obstacles == () and site.layers_given == {"obstacles"}


def test_reading_twice_gives_the_same_site(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    first, second = read_site(folder), read_site(folder)
    assert first.inputs == second.inputs and np.array_equal(first.ground.z, second.ground.z)
    assert first.boundary.equals_exact(second.boundary, 0.0)


def test_readings_put_the_levels_right(tmp_path: Path) -> None:
    """One reading pulls its own place by s^2 / (s^2 + sigma^2) of what it lies off, farther ones by exp(-d / c) of
    that; two far apart do not meet.
    """
    taken = {"sigma_m": 0.001, "taken_on": "2026-11-09", "taken_by": "surveyor"}
    rows = [feature(point(4.25, 6.25), id="r1", level_m=50.1725, **taken)]  # 5 mm over 50 + 0.0425 + 0.125
    rows.append(feature(point(19.25, 1.25), id="r2", level_m=50.2165, **taken))  # 1 mm below 50 + 0.1925 + 0.025
    before = read_site(write_folder(tmp_path / "bare")).ground
    folder = with_layer("readings", geojson(*rows), folder=tmp_path / "site")
    site = read_site(folder)
    ground = site.ground
    assert ground.surveyed is not None and np.array_equal(ground.surveyed, before.z)
    pull = 0.003**2 / (0.003**2 + 0.001**2)
    for x, y, apart_m, beyond_m in ((4.25, 6.25, 0.0, 0.005), (6.25, 6.25, 2.0, 0.005), (19.25, 1.25, 0.0, -0.001)):
        row, col = round((y - ground.y_min) / 0.5), round((x - ground.x_min) / 0.5)
        rise_m = ground.z[row, col] - before.z[row, col]
        assert rise_m == pytest.approx(pull * beyond_m * math.exp(-apart_m / 2.0), abs=4e-6), (x, y)
    assert site.readings[0] == Reading("r1", Point(4.25, 6.25), 50.1725, 0.001, dt.date(2026, 11, 9), "surveyor")
    assert "readings" in site.layers_given
