"""What every test runs under: property tests that a busy machine does not fail, and the same cases each time in CI."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "routeplan", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=bool(os.environ.get("CI"))
)
settings.load_profile("routeplan")


@pytest.fixture(scope="session", autouse=True)
def tiles_of_their_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Commands keep tiles for these tests only, not in the cache of whoever runs them."""
    from routeplan.plan import tiles

    store = tiles.Store(tmp_path_factory.mktemp("tiles"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tiles, "user_store", lambda: store)
        yield
