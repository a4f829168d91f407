"""The committed sample is what its generator makes, is small, and has no false defects where machines are to drive."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
import rasterio

from routeplan.plan.findings import findings
from routeplan.site.read import read_site
from tests import make_sample, sample_features


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sample")
    make_sample.write_site(folder)
    return folder


def test_the_same_files_come_out(made: Path) -> None:
    names = {path.name for path in made.iterdir()}
    assert names == {path.name for path in make_sample.SAMPLE.iterdir()}
    for name in sorted(names - {"levels.tif"}):
        assert (made / name).read_bytes() == (make_sample.SAMPLE / name).read_bytes(), name


def test_the_same_levels_come_out(made: Path) -> None:
    with rasterio.open(made / "levels.tif") as new, rasterio.open(make_sample.SAMPLE / "levels.tif") as old:
        assert new.transform == old.transform and new.nodata == old.nodata
        assert np.array_equal(new.read(1), old.read(1))


def test_nothing_is_written_beside_and_the_raster_is_small(made: Path) -> None:
    assert not list(made.glob("*.aux.xml"))
    assert sum(path.stat().st_size for path in make_sample.SAMPLE.iterdir()) < 1_500_000


def test_the_check_tells_of_the_pothole_in_nobodys_list() -> None:
    hollows = findings(read_site(make_sample.SAMPLE))["hazards"]["unlisted_hollows"]
    unlisted = [(x, y) for x, y, _, _, in_raster, listed in sample_features.POTHOLES if in_raster and not listed]
    assert len(hollows) == len(unlisted) == 1
    assert math.dist(hollows[0]["at"], unlisted[0]) < 0.5 and not hollows[0]["may_be_survey_error"]


def test_the_noise_is_what_the_survey_admits_to() -> None:
    """Its sigma is below the stated 2 mm, near neighbours err alike, and places 10 m apart do not."""
    noise = make_sample.survey_noise((800, 800))
    assert noise.std() == pytest.approx(make_sample.NOISE_SIGMA_M, rel=0.1)
    assert abs(noise.mean()) < 1e-4
    near, far = (np.corrcoef(noise[:, :-n].ravel(), noise[:, n:].ravel())[0, 1] for n in (1, 40))
    assert near > 0.95 and abs(far) < 0.1


def test_the_ramp_meets_both_yards() -> None:
    y = np.array([85.0, 97.0, 107.0, 115.0])
    assert make_sample.ramp_rise(y) == pytest.approx([0.0, 0.48, 1.28, sample_features.LEVEL_CHANGE_M])


def test_the_bank_meets_both_yards() -> None:
    assert make_sample.bank_rise(np.array([95.0, 104.2])) == pytest.approx([0.0, sample_features.LEVEL_CHANGE_M])


def test_invented_is_said_in_the_name_and_flag() -> None:
    text = (make_sample.SAMPLE / "site.toml").read_text(encoding="utf-8")
    assert "(invented)" in text and "invented = true" in text


def test_every_delivered_machine_is_collected() -> None:
    import tomllib

    moves = tomllib.loads((make_sample.SAMPLE / "site.toml").read_text(encoding="utf-8"))["moves"]
    for machine in {move["machine"] for move in moves}:
        own = [move for move in moves if move["machine"] == machine]
        assert [own[0]["purpose"], own[-1]["purpose"]] == ["delivery", "collection"]
        assert all(a["to"] == b["from"] and a["on"] <= b["on"] for a, b in zip(own, own[1:], strict=False))


def test_tables_are_read_back(made: Path) -> None:
    with (made / "places.csv").open(encoding="utf-8", newline="") as stream:
        assert len(list(csv.DictReader(stream))) == len(sample_features.PLACES)
    layer = json.loads((made / "obstacles.geojson").read_text(encoding="utf-8"))
    assert len(layer["features"]) == len(sample_features.BLOCKS) + len(sample_features.WALLS)
