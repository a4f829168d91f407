"""Broken site folders: spot levels that say too little, lie where nothing was surveyed, or contradict what is known."""

from __future__ import annotations

from typing import Any

from tests.site.broken import Broken, rows
from tests.site.folders import feature, line, point

#: A sound reading but for its place and level; the ground is 50 m, and rises 1 % to the east and 2 % to the north.
TAKEN: dict[str, Any] = {"sigma_m": 0.002, "taken_on": "2026-11-09", "taken_by": "surveyor"}
RIGHT_M = 50.16

ANIMALS: tuple[Broken, ...] = (
    rows(
        "readings that say too little, or are no spot levels",
        "readings",
        feature(point(4, 6), id="bare"),
        feature(point(5, 6), id="sure", level_m=50.17, **TAKEN | {"sigma_m": 0}),
        feature(point(6, 6), id="unread", level_m="50,18", **TAKEN),
        feature(point(7, 6), id="unday", level_m=50.19, **TAKEN | {"taken_on": "9.11.2026"}),
        feature(line((1, 1), (2, 2)), id="line", level_m=50.03, **TAKEN),
        faults="""
readings.geojson
  - feature unday: taken_on = '9.11.2026' is not a day
    mend: write it as in 2026-11-02; in a spreadsheet make the column text first, it rewrites days [bad-date]
  - feature line: it is a LineString
    mend: this layer takes a point [geometry-type]
  - feature sure: sigma_m = 0 is outside the sane range
    mend: give a value from 0.0001 to 1 [out-of-range]
  - feature bare: it has no level_m
    mend: give the level that was read [value-missing]
  - feature bare: it has no sigma_m
    mend: give its standard deviation against the survey's datum [value-missing]
  - feature bare: it has no taken_by
    mend: give the role of who took it [value-missing]
  - feature bare: it has no taken_on
    mend: give the day it was taken [value-missing]
  - feature unread: level_m = '50,18' is written with a comma
    mend: write digits with a decimal point, without a unit [wrong-type]
""",
    ),
    rows(
        "readings that contradict the survey, or come from before it, or from where it has nothing",
        "readings",
        feature(point(4, 6), id="high", level_m=RIGHT_M + 0.015, **TAKEN),
        feature(point(4, 6), id="near", level_m=RIGHT_M + 0.014, **TAKEN),
        feature(point(8, 6), id="low", level_m=RIGHT_M + 0.04 - 0.3, **TAKEN),
        feature(point(12, 6), id="old", level_m=RIGHT_M + 0.08, **TAKEN | {"taken_on": "2026-11-01"}),
        feature(point(21, 6), id="off", level_m=RIGHT_M + 0.17, **TAKEN),
        faults="""
readings.geojson
  - feature old, at 12.00 E 6.00 N: it was taken on 2026-11-01, before the survey of 2026-11-02
    mend: take it again: the ground may have changed since [reading-before-survey]
  - feature high, at 4.00 E 6.00 N: it lies 15 mm above what the survey would have
    mend: more than 4 standard deviations are no chance: another datum, a wrong place, or ground that has
          changed; where the survey is worse than it says, say so in short_range_m [reading-contradicts]
  - feature low, at 8.00 E 6.00 N: it lies 300 mm below what the survey would have
    mend: more than 4 standard deviations are no chance: another datum, a wrong place, or ground that has
          changed; where the survey is worse than it says, say so in short_range_m [reading-contradicts]
  - feature off, at 21.00 E 6.00 N: the survey has no level there
    mend: leave it out, or survey there: it cannot say how far off a survey is that is not there
          [reading-nowhere]
""",
    ),
    rows(
        "one place that is read twice, so that it would be twice as sure",
        "readings",
        feature(point(4, 6), id="one", level_m=RIGHT_M, **TAKEN),
        feature(point(4.004, 6), id="two", level_m=RIGHT_M, **TAKEN),
        feature(point(4.01, 6), id="beside", level_m=RIGHT_M, **TAKEN),
        faults="""
readings.geojson
  - feature two, at 4.00 E 6.00 N: its place is that of feature one
    mend: give one row for each place: read again with the same instrument it is no surer [reading-twice]
""",
    ),
    rows(
        "two readings side by side that contradict one another",
        "readings",
        feature(point(4, 6), id="one", level_m=RIGHT_M + 0.008, **TAKEN),
        feature(point(4.01, 6), id="two", level_m=RIGHT_M - 0.008, **TAKEN),
        feature(point(12, 6), id="far", level_m=RIGHT_M + 0.08, **TAKEN),
        faults="""
readings.geojson
  - feature two, at 4.01 E 6.00 N: it lies 14 mm below what the other readings would have
    mend: more than 4 standard deviations are no chance: another datum, a wrong place, or ground that has
          changed; where the survey is worse than it says, say so in short_range_m [reading-contradicts]
""",
    ),
)
