"""The zoo: outlines that cannot be, layers that are no GeoJSON, and layers in other coordinates than the site."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
from shapely.geometry import box

from tests.site.broken import Broken, rows, text
from tests.site.folders import BOW_TIE, SITE, feature, geojson, line, north_up, point, polygon, slope, write_levels

SQUARE = polygon(1, 1, 2, 2)


def two(first: dict[str, Any], second: dict[str, Any]) -> dict[str, Any]:
    """Two areas as one geometry."""
    return {"type": "MultiPolygon", "coordinates": [first["coordinates"], second["coordinates"]]}


def of_system(name: str, site: str, suffix: str, crs: str | None, faults: str) -> Broken:
    """Give obstacles in another system than the site's."""
    toml = f'{SITE.replace("local", site)}[layers]\nobstacles = "stock.{suffix}"\n'

    def then(folder: Path) -> None:
        frame = geopandas.GeoDataFrame({"id": ["a"]}, geometry=[box(17.1, 62.4, 17.2, 62.5)], crs=crs)
        frame.to_file(folder / f"stock.{suffix}")
        if site != "local":
            on_its_grid(folder)

    return Broken(name, faults, toml=toml, then=then)


def on_its_grid(folder: Path, **members: Any) -> None:
    """Put levels and boundary onto the Swedish grid."""
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007", transform=north_up(150_000, 6_400_010, 0.5, 0.5))
    outline = feature(polygon(150_000, 6_400_000, 150_020, 6_400_010))
    (folder / "boundary.geojson").write_text(geojson(outline, **members))


def boundary(name: str, *features: dict[str, Any], faults: str) -> Broken:
    """Give the site another boundary."""
    return Broken(name, faults, files={"boundary.geojson": geojson(*features)})


def named(code: str) -> Any:
    """Name a coordinate system in the boundary of a site in EPSG:3007."""
    return lambda folder: on_its_grid(folder, crs={"type": "name", "properties": {"name": f"urn:ogc:def:crs:{code}"}})


SWEDISH = SITE.replace("local", "EPSG:3007")

ANIMALS = (
    rows(
        "outlines that are none",
        "obstacles",
        feature(BOW_TIE, id="crossed"),
        feature(None, id="undrawn"),
        feature({"type": "Polygon", "coordinates": []}, id="empty"),
        feature({"type": "Polygon", "coordinates": "x"}, id="words"),
        feature({"type": "Knot", "coordinates": [1, 1]}, id="knot"),
        feature(line((1, 1), (1, 1)), id="dot", width_m=1),
        feature(point(1e300, 1), id="far", width_m=1),
        feature({"type": "GeometryCollection", "geometries": [SQUARE]}, id="bag"),
        faults="""
obstacles.geojson
  - feature far: a coordinate is larger than the earth
    mend: draw it again [coordinates-absurd]
  - feature empty: it has no geometry that can be read
    mend: draw it, or delete the row [geometry-empty]
  - feature undrawn: it has no geometry that can be read
    mend: draw it, or delete the row [geometry-empty]
  - feature crossed, at 4.00 E 4.00 N: the outline is invalid: Self-intersection
    mend: draw it again, or write repair = "make_valid" to have it mended and listed [geometry-invalid]
  - feature dot, at 1.00 E 1.00 N: the outline is invalid: Too few points in geometry component
    mend: draw it again [geometry-invalid]
  - feature bag: it is a GeometryCollection
    mend: this layer takes an area or a line or a point [geometry-type]
  - feature knot: its geometry is none that GeoJSON knows
    mend: draw it again [geometry-unreadable]
  - feature words: its geometry is none that GeoJSON knows
    mend: draw it again [geometry-unreadable]
""",
    ),
    text(
        "coordinates that are no numbers",
        "obstacles",
        "geojson",
        geojson(
            feature(point(77, 1), id="a", width_m=1),
            feature(point(88, 1), id="b", width_m=1),
            feature(point(99, 1), id="c", width_m=1),
        )
        .replace("77", "NaN")
        .replace("88", "-Infinity")
        .replace("99", "1e400"),
        """
obstacles.geojson
  - feature a: a coordinate is NaN or infinite
    mend: draw it again [coordinates-not-finite]
  - feature b: a coordinate is NaN or infinite
    mend: draw it again [coordinates-not-finite]
  - feature c: a coordinate is NaN or infinite
    mend: draw it again [coordinates-not-finite]
""",
    ),
    rows(
        "the same id twice",
        "obstacles",
        feature(SQUARE, id="a"),
        feature(SQUARE, id="a"),
        feature(two(polygon(3, 1, 4, 2), polygon(5, 1, 6, 2)), id="b"),
        feature(SQUARE, id="b#2"),
        feature(SQUARE),
        faults="""
obstacles.geojson
  - feature a: the id "a" is used twice in this layer
    mend: rename one of them [duplicate-id]
  - feature b#2: the id "b#2" is used twice in this layer
    mend: rename one of them [duplicate-id]
  - feature number 5: it has no id
    mend: give every feature an id that people on site know [id-missing]
""",
    ),
    Broken(
        "the same ids twice, within layers and across them",
        """
s.geojson
  - feature a: the id "a" is used twice in this layer
    mend: rename one of them [duplicate-id]

w.geojson
  - feature a: the id "a" is used twice in this layer
    mend: rename one of them [duplicate-id]
""",
        toml=SITE + '[layers]\nwalkways = "w.geojson"\nsurfaces = "s.geojson"\n',
        files={name: geojson(feature(SQUARE, id="a"), feature(SQUARE, id="a")) for name in ("w.geojson", "s.geojson")},
    ),
    rows("everything elsewhere", "obstacles", feature(polygon(5e3, 1, 5e3 + 1, 2), id="a"), faults="""
obstacles.geojson
  - everything in it lies more than 1 km from the site, such as at 5000.50 E 1.50 N
    mend: give it the site's coordinates: east first, then north [layer-elsewhere]
"""),
    rows("a corner that lost its decimal point", "surfaces", feature(polygon(1, 1, 12345, 2), id="a"), faults="""
surfaces.geojson
  - 1 of its features reach more than 1 km from the site, such as one at 12345.00 E 1.00 N
    mend: correct that corner, it may have lost its decimal point in a spreadsheet; or cut the feature to the
          site [layer-elsewhere]
"""),
    boundary("a boundary of no areas", faults="""
boundary.geojson
  - it holds 0 features
    mend: give the boundary as one area [boundary-one]
"""),
    boundary("a boundary of two areas", feature(polygon(0, 0, 9, 9)), feature(polygon(9, 0, 18, 9)), faults="""
boundary.geojson
  - it holds 2 features
    mend: give the boundary as one area [boundary-one]
"""),
    boundary("a boundary of two parts", feature(two(polygon(0, 0, 1, 1), polygon(2, 2, 3, 3))), faults="""
boundary.geojson
  - it has 2 parts
    mend: give the boundary as one area [boundary-one]
"""),
    boundary("a boundary that is a line", feature(line((0, 0), (20, 10))), faults="""
boundary.geojson
  - feature number 1: it is a LineString
    mend: this layer takes an area [geometry-type]
"""),
    text("half a GeoJSON", "obstacles", "geojson", '{"type": "FeatureCollection",\n"features": [', """
obstacles.geojson
  - is not JSON: line 2, column 14: Expecting value
    mend: export it again as GeoJSON [file-unreadable]
"""),
    text("JSON that is no GeoJSON", "obstacles", "geojson", '{"type": "Topology"}', """
obstacles.geojson
  - is not a GeoJSON FeatureCollection
    mend: export it again as GeoJSON [file-unreadable]
"""),
    text("features that are none", "obstacles", "geojson", '{"type": "FeatureCollection", "features": 3}', """
obstacles.geojson
  - its features are not a list of objects
    mend: export it again as GeoJSON [file-unreadable]
"""),
    text("JSON nested without end", "obstacles", "geojson", "[" * 100_000, """
obstacles.geojson
  - is not JSON: a number or a nest of lists in it is far too long
    mend: export it again as GeoJSON [file-unreadable]
"""),
    text("JSON with a number of five thousand digits", "obstacles", "geojson", "1" + "0" * 5000, """
obstacles.geojson
  - is not JSON: a number or a nest of lists in it is far too long
    mend: export it again as GeoJSON [file-unreadable]
"""),
    text("GeoJSON in another encoding", "obstacles", "geojson", '{"type": "Ö"}'.encode("latin-1"), """
obstacles.geojson
  - is not UTF-8 text: byte 0xD6 in line 1
    mend: save it as UTF-8 [not-utf-8]
"""),
    text(
        "a name twice in one object",
        "obstacles",
        "geojson",
        geojson(feature(SQUARE, id="a", top_m=55, TOP=51)).replace("TOP", "top_m"),
        """
obstacles.geojson
  - the name "top_m" stands twice in one object
    mend: keep one of them [column-twice]
""",
    ),
    of_system("a Shapefile of a real system in a local site", "local", "shp", "EPSG:3007", """
stock.shp
  - the file is in EPSG:3007, the site in "local"
    mend: export the file in the local grid without a coordinate system, or name that system in site.toml
          [crs-mismatch]
"""),
    of_system("a GeoPackage of a real system in a local site", "local", "gpkg", "EPSG:3007", """
stock.gpkg
  - the file is in EPSG:3007, the site in "local"
    mend: export the file in the local grid without a coordinate system, or name that system in site.toml
          [crs-mismatch]
"""),
    of_system("a Shapefile that names no system in a site that does", "EPSG:3007", "shp", None, """
stock.shp
  - the file names no known coordinate system
    mend: export it with EPSG:3007 stated [crs-missing]
"""),
    of_system("a GeoPackage that names no system in a site that does", "EPSG:3007", "gpkg", None, """
stock.gpkg
  - the file names no known coordinate system
    mend: export it with EPSG:3007 stated [crs-missing]
"""),
    of_system("a GeoPackage in another system than the site", "EPSG:3007", "gpkg", "EPSG:3008", """
stock.gpkg
  - the file is in EPSG:3008, the site in EPSG:3007
    mend: reproject the file to EPSG:3007 [crs-mismatch]
"""),
    of_system("a Shapefile in degrees", "EPSG:3007", "shp", "EPSG:4326", """
stock.shp
  - the file is in EPSG:4326, the site in EPSG:3007
    mend: reproject the file to EPSG:3007 [crs-mismatch]
"""),
    Broken("GeoJSON that names another system", """
boundary.geojson
  - the file is in EPSG:3008, the site in EPSG:3007
    mend: reproject the file to EPSG:3007 [crs-mismatch]
""", toml=SWEDISH, then=named("EPSG::3008")),
    Broken("GeoJSON that names degrees", """
boundary.geojson
  - the file is in OGC:CRS84, the site in EPSG:3007
    mend: reproject the file to EPSG:3007 [crs-mismatch]
""", toml=SWEDISH, then=named("OGC:1.3:CRS84")),
    Broken("GeoJSON that names nonsense", """
boundary.geojson
  - the file names no known coordinate system
    mend: export it with EPSG:3007 stated [crs-missing]
""", toml=SWEDISH, then=named("nonsense")),
    Broken(
        "degrees in a site of metres",
        """
boundary.geojson
  - every coordinate looks like degrees, but the site is in EPSG:3007
    mend: export it with coordinates in EPSG:3007 [crs-mismatch]
""",
        toml=SWEDISH,
        then=lambda f: write_levels(f / "levels.tif", slope(), crs="EPSG:3007"),
    ),
)
