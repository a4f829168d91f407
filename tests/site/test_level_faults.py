"""Every fault that levels can have, as a GeoTIFF or as a CSV, is found, named and placed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from routeplan.site import ground as ground_module
from tests.site.folders import (
    SITE,
    faults_of,
    feature,
    geojson,
    north_up,
    only,
    polygon,
    slope,
    write_folder,
    write_levels,
)


def test_levels_in_other_coordinates(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    write_levels(folder / "levels.tif", slope(), crs="EPSG:3007")
    assert only(folder, "crs-mismatch").where == "levels.tif"


def test_levels_without_coordinates_in_a_site_that_names_some(tmp_path: Path) -> None:
    faults = faults_of(write_folder(tmp_path / "site", toml=SITE.replace("local", "EPSG:3007")))
    assert ("crs-missing", "levels.tif") in [(fault.code, fault.where) for fault in faults]


def test_levels_cut_short(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    write_levels(folder / "levels.tif", slope(), compress="deflate", tiled=True, blockxsize=16, blockysize=16)
    data = bytearray((folder / "levels.tif").read_bytes())
    data[len(data) // 2 :] = bytes(len(data) - len(data) // 2)
    (folder / "levels.tif").write_bytes(data)
    only(folder, "file-unreadable")


def holed(value: float) -> Any:
    z = slope()
    z[3, 4] = value
    return z


@pytest.mark.parametrize(
    ("z", "options", "code", "said"),
    [
        (slope(), {"transform": Affine(0.5, 0.01, 0, 0.01, -0.5, 10)}, "raster-rotated", "rotated"),
        (slope(), {"transform": Affine(0.5, 0, 0, 0, 0.5, 0)}, "raster-rotated", "north up"),
        (slope(), {"transform": north_up(0, 10, 0.5, 0.25)}, "raster-pixels-not-square", "0.5 x 0.25"),
        (np.stack([slope(), slope()]), {}, "raster-bands", "2 bands"),
        (slope()[:1], {}, "raster-too-small", "40 x 1"),
        (np.full_like(slope(), -9999), {"nodata": -9999}, "levels-nodata-everywhere", "nodata"),
        (np.full_like(slope(), np.nan), {}, "levels-nodata-everywhere", "nodata"),
        (holed(-9999.0), {}, "levels-absurd", "at 2.25 E 8.25 N"),
        (holed(np.inf), {}, "levels-absurd", "inf"),
        (holed(600.0), {}, "levels-spread", "600.0"),
        (
            slope()[:, :30],
            {},
            "levels-short-of-boundary",
            "50.0 m2 of the boundary (25.0%) bare, between 15.00 and 20.00 E",
        ),
    ],
)
def test_levels(tmp_path: Path, z: Any, options: dict[str, Any], code: str, said: str) -> None:
    folder = write_folder(tmp_path / "site")
    write_levels(folder / "levels.tif", z, **options)
    fault = only(folder, code)
    assert fault.where.startswith("levels.tif") and said in str(fault)


def test_levels_elsewhere_inside_the_boundary(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site", files={"boundary.geojson": geojson(feature(polygon(0, 0, 5, 5)))})
    z = slope()
    z[10:, :10] = np.nan
    write_levels(folder / "levels.tif", z)
    assert "inside the boundary" in only(folder, "levels-nodata-everywhere").what


def test_levels_in_feet(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    with rasterio.open(folder / "levels.tif", "r+") as target:
        target.units = ("ft",)
    assert '"ft"' in only(folder, "levels-unit").what


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_levels_that_do_not_say_where(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "site")
    write_levels(folder / "levels.tif", slope(), transform=Affine.identity())
    (folder / "levels.tfw").write_text("0.5\n0\n0\n-0.5\n0.25\n9.75\n")
    only(folder, "raster-no-place")


def test_levels_that_are_none(tmp_path: Path) -> None:
    only(write_folder(tmp_path / "site", files={"levels.tif": "II*\0"}), "file-unreadable")


def test_large_levels_are_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground_module, "LARGEST_CELLS", 40 * 20 - 1)
    assert "800 cells" in only(write_folder(tmp_path / "site"), "raster-too-large").what


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("a,b,c\n", "csv-layout", "x,y,z"),
        ("x,y,z\n0,0,1\n", "raster-too-small", "1 usable"),
        ("x,y,z\n0,0,1\n0,1,1\n0,2,1\n0,3,1\n", "raster-too-small", "share one x"),
        ("x,y,z\n0,0,1\n1,0,1\n0,2,1\n1,2,1\n", "raster-pixels-not-square", "1 x 2"),
        ("x,y,z\n0,0,1\n1,0,1\n2.3,0,1\n0,1,1\n", "csv-layout", "regular grid"),
        ("x,y,z\n0,0,1\n1,0,1\n0,1,1\n1,1,1\n1,1,2\n", "csv-layout", "twice"),
        ("x,y,z\n0,0,1\n40,0,1\n0,40,1\n40,40,\n0,80,a\n", "csv-layout", "line 6"),
    ],
)
def test_csv_levels(tmp_path: Path, text: str, code: str, said: str) -> None:
    toml = SITE.replace("levels.tif", "levels.csv")
    faults = faults_of(write_folder(tmp_path / "site", toml=toml, files={"levels.csv": text}))
    assert any(fault.code == code and said in str(fault) for fault in faults)
