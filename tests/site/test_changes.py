"""A site after a change: which areas are closed, or open against its own dates, and where it may be wet."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest
from shapely.geometry import box

from routeplan.errors import BadInput
from routeplan.site.changes import changed
from routeplan.site.model import Area
from tests import worlds

DAY = dt.date(2026, 12, 1)
BAY = box(10.0, 10.0, 20.0, 20.0)
SITE = worlds.flat_site(
    areas=(Area("dated", "bay", BAY, ((DAY, DAY),)), Area("never", "bay", BAY, ())),
    moves=(dataclasses.replace(worlds.wanted("SC", "A", "B"), wet=False),),
)


@pytest.mark.parametrize(
    ("closed", "opened", "shut", "reopened"),
    [
        ((), (), {"dated"}, set()),
        (("never",), (), {"dated", "never"}, set()),
        (("dated",), (), {"dated"}, set()),
        ((), ("dated",), set(), {"dated"}),
        ((), ("never",), {"dated"}, set()),
    ],
)
def test_areas_closed_and_opened(
    closed: tuple[str, ...], opened: tuple[str, ...], shut: set[str], reopened: set[str]
) -> None:
    """Open against its dates is what has dates only: people are told to make sure of it."""
    site = changed(SITE, closed=closed, opened=opened, wet=False)
    assert {area.id for area in site.areas if area.closed_on(DAY)} == shut
    assert {area.id for area in site.areas if area.reopened} == reopened


def test_what_is_closed_is_closed_on_every_day() -> None:
    site = changed(SITE, closed=("dated",), opened=(), wet=False)
    for day in (None, dt.date.min, DAY + dt.timedelta(days=1), dt.date.max):
        assert site.areas[0].closed_on(day)


def test_rain_is_rain_for_every_move_and_dries_none() -> None:
    rained = changed(SITE, closed=(), opened=(), wet=True)
    assert rained.moves[0].wet and not SITE.moves[0].wet
    assert changed(rained, closed=(), opened=(), wet=False).moves[0].wet


def test_what_is_not_there_or_is_to_be_both_is_a_fault() -> None:
    with pytest.raises(BadInput) as raised:
        changed(SITE, closed=("east", "dated"), opened=("dated", "west"), wet=False)
    assert [fault.code for fault in raised.value.faults] == ["area-both", "area-unknown", "area-unknown"]
