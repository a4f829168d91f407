"""Small invented site folders for what is measured and fed back: a level lane under one door head."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from routeplan.machine.read import build_machine
from routeplan.plan.whole import plan_site
from routeplan.route.model import Check, Measurement, Move, Plan
from routeplan.site.model import Site
from routeplan.site.read import read_site
from tests.site.folders import feature, geojson, point, polygon

EAST_M, NORTH_M, CELL_M = 24.0, 3.0, 0.25
ISSUED = "2026-11-24T12:00:00+00:00"
CLASS = "slab-scissor-8m"
#: The class's figures taken for the machine's own (invented), but those that the tests turn on.
_FIGURES = build_machine("", {"class": CLASS}, where="").figures
SHEET: Mapping[str, float] = {name: one.value for name, one in _FIGURES.items()} | {
    "bounce_period_s": 0.3, "bounce_damping_pct": 20.0, "travel_speed_mps": 0.5,
    "creep_speed_mps": 0.2, "brakes_front": 1.0, "brakes_rear": 1.0, "drives_front": 1.0, "drives_rear": 1.0,
    "brake_mps2": 8.0, "tilt_sensor_tolerance_deg": 0.2,
}  # fmt: skip
TOML = """\
format = "routeplan/site@1"
[site]
name = "Lane (invented)"
revision = "T1"
invented = true
crs = "local"
boundary = "boundary.geojson"
[levels]
file = "levels.csv"
survey = "S1"
date = 2026-11-02
short_range_m = 0.006
datum_m = 0.005
correlation_m = 3.0
smallest_hole_m = 0.05
{assumed}
[layers]
{layers}
[[moves]]
id = "M1"
purpose = "delivery"
machine = "SC"
configuration = "stowed"
travel_mode = "ridden"
from = "west"
to = "east"
[machines.SC]
class = "{machine_class}"
sheet_source = "a test"
[machines.SC.sheet]
{sheet}
"""
LAYERS = ("obstacles", "defects", "walkways", "overhead_lines", "excavations", "soffits")


def write_yard(
    folder: Path, *, rise: float = 0.0, falls: float = 0.0, sheet: Mapping[str, float] = SHEET,
    soffits: Iterable[dict[str, Any]] = (), readings: Iterable[tuple[float, float, float, float]] = (),
    without: str = "", assumed: bool = False, kind: str = "parking", bands: Iterable[dict[str, Any]] = (),
    defects: Iterable[dict[str, Any]] = (),
) -> Path:  # fmt: skip
    """Write a lane that rises to the east by ``rise`` and falls to the south by ``falls``; readings are x, y, level and
    sigma, bands what is said of the ground across the middle of it.
    """
    folder.mkdir(exist_ok=True)
    x, y = np.meshgrid(np.arange(0.0, EAST_M + 0.1, CELL_M), np.arange(0.0, NORTH_M + 0.1, CELL_M))
    z = 100.0 + x * rise + (y - NORTH_M / 2) * falls
    rows = "\n".join(f"{a:.2f},{b:.2f},{c:.9f}" for a, b, c in zip(x.ravel(), y.ravel(), z.ravel(), strict=True))
    (folder / "levels.csv").write_text(f"x,y,z\n{rows}\n")
    yard = polygon(0, 0, EAST_M, NORTH_M)
    accepted = {"accepted_by": "engineer", "accepted_on": "2026-11-02", "accepted_mass_kg": 50000}
    grips: dict[str, Any] = {"friction_by": "a test", "friction_dry": 0.9, "friction_wet": 0.9}
    drawn = {
        "boundary": [feature(yard)],
        "surfaces": [feature(yard, id="yard", **accepted, **grips),
                     *(feature(polygon(11.9, 0, 12.1, NORTH_M), id="band", **accepted, **grips | said)
                       for said in bands)],
        "defects": list(defects),
        "places": [feature(point(x, 1.5), id=name, kind=kind, bearing_deg=90, tolerance_m=0.1)
                   for name, x in (("west", 6), ("east", 18))],
        "soffits": list(soffits),
        "readings": [feature(point(x, y), id=f"r{n}", level_m=level, sigma_m=sigma, taken_on="2026-11-09",
                             taken_by="surveyor") for n, (x, y, level, sigma) in enumerate(readings)],
    }  # fmt: skip
    for name, features in drawn.items():
        (folder / f"{name}.geojson").write_text(geojson(*features))
    said = {name: "none" for name in LAYERS if name != without} | {
        name: f"{name}.geojson" for name in ("surfaces", "places", "soffits", "defects", "readings") if drawn[name]
    }
    layers = "\n".join(f"{name} = {json.dumps(file)}" for name, file in said.items())
    figures = "\n".join(f"{name} = {value}" for name, value in sheet.items())
    toml = TOML.format(layers=layers, sheet=figures, machine_class=CLASS, assumed="assumed = true" if assumed else "")
    (folder / "site.toml").write_text(toml)
    return folder


def door_head(gap_m: float, sigma_m: float | None = 0.002) -> dict[str, Any]:
    """A soffit across the lane that leaves the operator's head so much beyond the 0.30 m wanted."""
    told = {} if sigma_m is None else {"sigma_m": sigma_m}
    level_m = 100.0 + SHEET["platform_floor_m"] + 2.0 + 0.3 + gap_m
    return feature(polygon(11.9, 0, 12.1, NORTH_M), id="head", level_m=level_m, survey="S1", **told)


def planned(folder: Path, **options: Any) -> tuple[Site, Plan]:
    """The yard, read from its folder, and its plan."""
    site = read_site(write_yard(folder, **options))
    return site, plan_site(site, issued=ISSUED)


def row(plan: Plan, kind: str) -> Check:
    """A check of the one move."""
    (move,) = plan.moves
    return next(check for check in move.checks if check.kind == kind)


def open_kinds(move: Move) -> dict[str, tuple[Measurement, ...]]:
    """The checks of a move that are not proven, and what would settle each."""
    return {check.kind: check.settled_by for check in move.checks if check.verdict == "not proven"}


def fed_back(found: Iterable[Measurement], off_m: float = 0.0) -> list[tuple[float, float, float, float]]:
    """The spot levels among some measurements as they would be read, ``off_m`` from what the plan has."""
    return [(*one.place, one.level_m + off_m, one.sigma_m) for one in found if one.what == "level"]
