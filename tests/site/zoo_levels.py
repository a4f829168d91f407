"""The zoo: levels as a GeoTIFF or as a CSV that are none, lie elsewhere, or are in other units."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio.transform import Affine

from tests.site.broken import Broken, csv_levels, levels
from tests.site.folders import CELL_M, NORTH_M, SITE, feature, geojson, north_up, polygon, slope, write_levels


def holed(value: float) -> Any:
    """Levels of which one is something else."""
    z = slope()
    z[3, 4] = value
    return z


def claiming(width: int, height: int, tile: int) -> Any:
    """Write a GeoTIFF whose header claims a size, without any level behind it."""

    def then(folder: Path) -> None:
        place = north_up(0.0, NORTH_M, CELL_M, CELL_M)
        size = {"width": width, "height": height, "count": 1, "dtype": "float32", "transform": place}
        tiles = {"tiled": True, "blockxsize": tile, "blockysize": tile, "sparse_ok": True, "compress": "deflate"}
        rasterio.open(folder / "levels.tif", "w", driver="GTiff", BIGTIFF="YES", **size, **tiles).close()

    return then


def told(**values: Any) -> Any:
    """Write into the header of the levels."""

    def then(folder: Path) -> None:
        with rasterio.open(folder / "levels.tif", "r+") as target:
            for name, value in values.items():
                setattr(target, name, (value,))

    return then


def cut_short(folder: Path) -> None:
    """Zero the second half of the levels."""
    path = folder / "levels.tif"
    write_levels(path, slope(), compress="deflate", tiled=True, blockxsize=16, blockysize=16)
    half = path.stat().st_size // 2
    os.truncate(path, half)
    os.truncate(path, 2 * half)


def unplaced(folder: Path) -> None:
    """Leave the place of the levels to a world file."""
    write_levels(folder / "levels.tif", slope(), transform=Affine.identity())
    (folder / "levels.tfw").write_text("0.5\n0\n0\n-0.5\n0.25\n9.75\n")


def elsewhere(folder: Path) -> None:
    """Give levels beside the boundary only."""
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(0, 0, 5, 5))))
    z = slope()
    z[10:, :10] = np.nan
    write_levels(folder / "levels.tif", z)


GRID = SITE.replace("local", "EPSG:26918")


def on_a_grid(folder: Path, crs: str | None) -> None:
    """Put the sound folder onto a UTM grid."""
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(500_000, 4_000_000, 500_020, 4_000_010))))
    write_levels(folder / "levels.tif", slope(), crs=crs, transform=north_up(500_000, 4_000_010, CELL_M, CELL_M))


ANIMALS = (
    Broken("levels that are binary junk", """
levels.tif
  - the file is not what its ending says
    mend: export it again [file-unreadable]
""", files={"levels.tif": b"\x89PNG\r\n\x1a\n" + bytes(100)}),
    Broken("levels of which only the first bytes are left", """
levels.tif
  - is damaged: it cannot be read to its end
    mend: export it again [file-unreadable]
""", files={"levels.tif": "II*\0"}),
    Broken("levels cut short", """
levels.tif
  - is damaged: it cannot be read to its end
    mend: export it again [file-unreadable]
""", then=cut_short),
    Broken("levels that claim 1,000,000 x 1,000,000 cells", """
levels.tif
  - has 1,000,000,000,000 cells, at most 400,000,000 are read
    mend: cut it to the site, or make the cells larger [raster-too-large]
""", then=claiming(1_000_000, 1_000_000, 16384)),
    Broken("levels in tiles far larger than themselves", """
levels.tif
  - has tiles of 32,768 x 32,768 cells
    mend: export it in smaller tiles [raster-too-large]
""", then=claiming(40, 20, 32768)),
    levels("levels rotated", slope(), """
levels.tif
  - is rotated, sheared or not north up
    mend: export one band, north up, with square pixels [raster-rotated]
""", transform=Affine(0.5, 0.01, 0, 0.01, -0.5, 10)),
    levels("levels upside down", slope(), """
levels.tif
  - is rotated, sheared or not north up
    mend: export one band, north up, with square pixels [raster-rotated]
""", transform=Affine(0.5, 0, 0, 0, 0.5, 0)),
    levels("levels in pixels that are not square", slope(), """
levels.tif
  - has pixels of 0.5 x 0.25 m
    mend: export one band, north up, with square pixels [raster-pixels-not-square]
""", transform=north_up(0, 10, 0.5, 0.25)),
    levels("levels beyond the earth", slope(), """
levels.tif
  - says that it lies beyond the earth
    mend: export it again with its place [raster-no-place]
""", transform=north_up(1e300, 10, 0.5, 0.5)),
    levels("levels at no place at all", slope(), """
levels.tif
  - says that it lies beyond the earth
    mend: export it again with its place [raster-no-place]
""", transform=north_up(math.nan, 10, 0.5, 0.5)),
    levels("levels 10,000 km apart", slope(), """
levels.tif
  - its levels stand 1e+07 m apart
    mend: give them every 0.001 to 1000 m; check the units [levels-spacing]
""", transform=north_up(0, 10, 1e7, 1e7)),
    Broken("levels that do not say where", """
levels.tif
  - does not say where it lies
    mend: export it with its georeference inside (no world file) [raster-no-place]
""", then=unplaced),
    levels("levels in two bands", np.stack([slope(), slope()]), """
levels.tif
  - has 2 bands
    mend: export one band, north up, with square pixels [raster-bands]
"""),
    levels("levels in one row", slope()[:1], """
levels.tif
  - has 40 x 1 cells
    mend: give at least 2 x 2 cells [raster-too-small]
"""),
    levels("levels that are complex numbers", slope().astype(np.complex64), """
levels.tif
  - its levels are of the kind complex64
    mend: export them as real numbers [levels-unit]
"""),
    Broken("levels in feet", """
levels.tif
  - its levels are in "ft"
    mend: export the levels in metres [levels-unit]
""", then=told(units="ft")),
    Broken("levels scaled to nothing", """
levels.tif
  - its levels are to be scaled by 0 and moved by nan
    mend: export the levels in metres [levels-unit]
""", then=told(scales=0.0, offsets=math.nan)),
    levels("levels that are all nodata", np.full_like(slope(), -9999), """
levels.tif
  - holds no level at all
    mend: export it again; check its nodata value [levels-nodata-everywhere]
""", nodata=-9999),
    levels("levels that are all NaN", np.full_like(slope(), np.nan), """
levels.tif
  - holds no level at all
    mend: export it again; check its nodata value [levels-nodata-everywhere]
"""),
    Broken("nodata under the whole site", """
levels.tif
  - there is no level inside the boundary
    mend: check that levels and boundary share their coordinates [levels-nodata-everywhere]
""", then=elsewhere),
    levels("a nodata value that nobody named", holed(-9999.0), """
levels.tif
  - at 2.25 E 8.25 N: 1 level(s) such as -9999 m
    mend: levels lie from -500 to 9000 m; name the nodata value in the file [levels-absurd]
"""),
    levels("an infinite level", holed(np.inf), """
levels.tif
  - at 2.25 E 8.25 N: 1 level(s) such as inf m
    mend: levels lie from -500 to 9000 m; name the nodata value in the file [levels-absurd]
"""),
    levels("a peak", holed(600.0), """
levels.tif
  - inside the boundary the levels run from 50.0 to 600.0 m
    mend: at most 500 m apart is believed; look for nodata values and wrong units [levels-spread]
"""),
    levels("levels short of the boundary", slope()[:, :30], """
levels.tif
  - the levels leave 50.0 m2 of the boundary (25.0%) bare, between 15.00 and 20.00 E, 0.00 and 10.00 N
    mend: give levels for the whole boundary (cells without data are allowed: they are not driven on), or
          shrink it [levels-short-of-boundary]
"""),
    levels("levels of a real system in a local site", slope(), """
levels.tif
  - the file is in EPSG:3007, the site in "local"
    mend: export the file in the local grid without a coordinate system, or name that system in site.toml
          [crs-mismatch]
""", crs="EPSG:3007"),
    levels("a local grid in feet", slope(), """
levels.tif
  - the file counts in "foot", not metres
    mend: export it in metres [crs-unit]
""", crs='LOCAL_CS["yard", UNIT["foot", 0.3048]]'),
    Broken("levels that name no system in a site that does", """
levels.tif
  - the file names no known coordinate system
    mend: export it with EPSG:26918 stated [crs-missing]
""", toml=GRID, then=lambda f: on_a_grid(f, None)),
    Broken("levels in another system than the site", """
levels.tif
  - the file is in EPSG:26917, the site in EPSG:26918
    mend: reproject the file to EPSG:26918 [crs-mismatch]
""", toml=GRID, then=lambda f: on_a_grid(f, "EPSG:26917")),
    Broken("heights in feet in a system of metres", """
levels.tif
  - its levels are in "us survey foot"
    mend: export the levels in metres [levels-unit]
""", toml=GRID, then=lambda f: on_a_grid(f, "EPSG:26918+6360")),
    csv_levels("a CSV of levels with other columns", "a,b,c\n", """
levels.csv
  - its first line is 'a, b, c'
    mend: name the columns x,y,z [csv-layout]
"""),
    csv_levels("a CSV of levels with a column twice", "x,y,z,Z\n0,0,1,2\n", """
levels.csv
  - two columns are called "z"
    mend: name each column once [csv-layout]
"""),
    csv_levels("a CSV of levels with tabs", "x\ty\tz\n0\t0\t1\n", """
levels.csv
  - its columns are separated by tabs
    mend: use commas and decimal points: choose the comma as separator when the spreadsheet opens and saves it
          [csv-layout]
"""),
    csv_levels("a CSV of one level", "x,y,z\n0,0,1\n", """
levels.csv
  - has 1 usable node(s)
    mend: give at least 2 x 2 nodes [raster-too-small]
"""),
    csv_levels("a CSV of levels in a row", "x,y,z\n0,0,1\n0,1,1\n0,2,1\n0,3,1\n", """
levels.csv
  - all its nodes share one x
    mend: give at least 2 x 2 nodes [raster-too-small]
"""),
    csv_levels("a CSV of levels that are not square", "x,y,z\n0,0,1\n1,0,1\n0,2,1\n1,2,1\n", """
levels.csv
  - its nodes stand 1 x 2 m apart
    mend: give a square grid [raster-pixels-not-square]
"""),
    csv_levels("a CSV of levels off the grid", "x,y,z\n0,0,1\n1,0,1\n2.3,0,1\n0,1,1\n", """
levels.csv
  - its nodes do not stand on a regular grid along x: line 3 fits the others worst
    mend: have them made into a square grid, x,y,z of each node or a GeoTIFF, by whoever surveyed them: what
          lies between spot levels would be a guess here [levels-irregular]
"""),
    csv_levels("a CSV that gives a level twice", "x,y,z\n0,0,1\n1,0,1\n0,1,1\n1,1,1\n1,1,2\n", """
levels.csv
  - gives a level twice for the same node, in lines 5 and 6
    mend: give each node once [csv-layout]
"""),
    csv_levels(
        "a CSV of levels with words, and short", "x,y,z\n0,0,1\n10,0,1\n0,10,1\n10,10,\n0,5,low\n1e400,5,1\n", """
levels.csv
  - line 6: 2 line(s) from here on are not a place on earth and a level
    mend: give x, y and z with decimal points; leave z empty where it is unknown [csv-layout]
  - the levels leave 50.0 m2 of the boundary (25.0%) bare, between 15.00 and 20.00 E, 0.00 and 10.00 N
    mend: give levels for the whole boundary (cells without data are allowed: they are not driven on), or
          shrink it [levels-short-of-boundary]
"""
    ),
    csv_levels("a CSV with an infinite level", "x,y,z\n0,0,inf\n20,0,1\n0,20,1\n20,20,1\n", """
levels.csv
  - at 0.00 E 0.00 N: 1 level(s) such as inf m
    mend: levels lie from -500 to 9000 m; name the nodata value in the file [levels-absurd]
"""),
    csv_levels(
        "a CSV of levels a micrometre apart", "x,y,z\n0,0,1\n0.000001,0,1\n0,0.000001,1\n0.000001,0.000001,1\n", """
levels.csv
  - its levels stand 1e-06 m apart
    mend: give them every 0.001 to 1000 m; check the units [levels-spacing]
"""
    ),
    csv_levels("a CSV that spans the earth", "x,y,z\n0,0,1\n1,0,1\n0,1,1\n1,1,1\n20000000,20000000,1\n", """
levels.csv
  - spans 400,000,040,000,001 cells, at most 400,000,000 are read
    mend: cut it to the site [raster-too-large]
"""),
)
