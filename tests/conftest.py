"""What every test runs under: property tests that a busy machine does not fail, and the same cases each time in CI."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "routeplan", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=bool(os.environ.get("CI"))
)
settings.load_profile("routeplan")
