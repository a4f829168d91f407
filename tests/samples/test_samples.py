"""Each committed sample is what its generator makes, is small, is marked invented, and its moves hang together."""

from __future__ import annotations

import csv
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
import rasterio

from tests.samples import SAMPLES
from tests.samples.writing import Sample, survey_noise


@pytest.fixture(scope="module", params=sorted(SAMPLES))
def sample(request: pytest.FixtureRequest) -> Sample:
    return SAMPLES[request.param]


@pytest.fixture(scope="module")
def made(sample: Sample, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp(sample.name)
    sample.write(folder)
    return folder


def test_each_folder_of_samples_has_its_generator() -> None:
    assert {sample.folder for sample in SAMPLES.values()} == set(next(iter(SAMPLES.values())).folder.parent.iterdir())


def test_the_same_files_come_out(sample: Sample, made: Path) -> None:
    names = {path.name for path in made.iterdir()}
    assert names == {path.name for path in sample.folder.iterdir()}
    for name in sorted(names - {"levels.tif"}):
        assert (made / name).read_bytes() == (sample.folder / name).read_bytes(), name


def test_the_same_levels_come_out(sample: Sample, made: Path) -> None:
    with rasterio.open(made / "levels.tif") as new, rasterio.open(sample.folder / "levels.tif") as old:
        assert new.transform == old.transform and new.nodata == old.nodata
        assert np.array_equal(new.read(1), old.read(1))


def test_nothing_is_written_beside_and_the_raster_is_small(sample: Sample, made: Path) -> None:
    assert not list(made.glob("*.aux.xml"))
    assert sum(path.stat().st_size for path in sample.folder.iterdir()) < 1_500_000


def test_the_noise_is_what_the_survey_admits_to(sample: Sample) -> None:
    """Its sigma is below the stated one, near neighbours err alike, and places 10 m apart do not."""
    stated = tomllib.loads((sample.folder / "site.toml").read_text(encoding="utf-8"))["levels"]["short_range_m"]
    noise = survey_noise((800, 800), seed=sample.name, sigma_m=sample.noise_sigma_m)
    assert noise.std() == pytest.approx(sample.noise_sigma_m, rel=0.1) and noise.std() < stated
    assert abs(noise.mean()) < 1e-4
    near, far = (np.corrcoef(noise[:, :-n].ravel(), noise[:, n:].ravel())[0, 1] for n in (1, 40))
    assert near > 0.95 and abs(far) < 0.1


def test_invented_is_said_in_the_name_and_flag(sample: Sample) -> None:
    text = (sample.folder / "site.toml").read_text(encoding="utf-8")
    assert "(invented)" in text and "invented = true" in text


def test_tables_are_read_back(sample: Sample, made: Path) -> None:
    with (made / "places.csv").open(encoding="utf-8", newline="") as stream:
        assert len(list(csv.DictReader(stream))) == len(sample.places)
    for name, layer in sample.layers.items():
        assert json.loads((made / f"{name}.geojson").read_text(encoding="utf-8"))["features"] == layer
