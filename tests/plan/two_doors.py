"""A small invented site folder for changes: a wall with two doors, each in a named area, and moves on either side."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from tests.plan.yards import SHEET
from tests.site.folders import feature, geojson, point, polygon

EAST_M, NORTH_M, CELL_M = 26.0, 18.0, 0.5
ISSUED = "2026-11-24T12:00:00+00:00"
LATER = "2026-11-25T07:00:00+00:00"
DAY = "2026-12-01"
TOML = """\
format = "routeplan/site@1"
[site]
name = "Two doors (invented)"
revision = "T1"
invented = true
crs = "local"
boundary = "boundary.geojson"
[levels]
file = "levels.csv"
survey = "S1"
date = 2026-11-02
short_range_m = 0.0005
datum_m = 0.005
correlation_m = 3.0
smallest_hole_m = 0.05
[layers]
soffits = "none"
defects = "none"
walkways = "none"
overhead_lines = "none"
excavations = "none"
obstacles = "obstacles.geojson"
surfaces = "surfaces.geojson"
places = "places.geojson"
areas = "areas.geojson"
"""
MOVE = """\
[[moves]]
id = "{id}"
purpose = "{purpose}"
machine = "{machine}"
configuration = "stowed"
travel_mode = "ridden"
from = "{start}"
to = "{goal}"
on = {on}
wet = {wet}
"""
MACHINE = """\
[machines.{id}]
class = "slab-scissor-8m"
sheet_source = "a test"
[machines.{id}.sheet]
{sheet}
"""
#: Across the wall by the south door, back by it, and along the west side.
MOVES = (
    {"id": "M1", "purpose": "delivery", "machine": "SC", "start": "west", "goal": "east", "on": DAY, "wet": "true"},
    {"id": "M2", "purpose": "collection", "machine": "SC", "start": "east", "goal": "west", "on": "2026-12-08",
     "wet": "true"},
    {"id": "M3", "purpose": "relocation", "machine": "SD", "start": "west", "goal": "north-west", "on": DAY,
     "wet": "false"},
)  # fmt: skip


def figures(**other: float) -> str:
    """The sheet of a machine as TOML; ``other`` figures instead of its own."""
    return "\n".join(f"{name} = {value}" for name, value in {**SHEET, **other}.items())


def write_doors(
    folder: Path, *, closed: dict[str, str] | None = None, moves: Any = MOVES, workface: str = ""
) -> Path:
    """Write the folder; ``closed`` says on which days an area is closed, ``workface`` where machines work."""
    folder.mkdir(parents=True, exist_ok=True)
    x, y = np.meshgrid(np.arange(0.0, EAST_M + 0.1, CELL_M), np.arange(0.0, NORTH_M + 0.1, CELL_M))
    rows = "\n".join(f"{a:.2f},{b:.2f},100.0" for a, b in zip(x.ravel(), y.ravel(), strict=True))
    (folder / "levels.csv").write_text(f"x,y,z\n{rows}\n")
    accepted = {"accepted_by": "engineer", "accepted_on": "2026-11-02", "accepted_mass_kg": 50000}
    grips = {"friction_by": "a test", "friction_dry": 0.9, "friction_wet": 0.9}
    places = {"west": (4, 5), "east": (22, 5), "north-west": (6, 14)}
    dated = {name: {"closed": days} for name, days in (closed or {}).items()}
    drawn = {
        "boundary": [feature(polygon(0, 0, EAST_M, NORTH_M))],
        "surfaces": [feature(polygon(0, 0, EAST_M, NORTH_M), id="yard", **accepted, **grips)],
        "obstacles": [feature(polygon(12.9, a, 13.1, b), id=f"wall-{n}")
                      for n, (a, b) in enumerate(((0, 3), (7, 11), (15, 18)))],
        "places": [feature(point(*at), id=name, kind="workface" if name == workface else "parking", bearing_deg=90,
                           tolerance_m=0.1)
                   for name, at in places.items()],
        "areas": [feature(polygon(11, a, 15, b), id=name, title=f"{name} door", **dated.get(name, {}))
                  for name, a, b in (("south", 2.5, 7.5), ("north", 10.5, 15.5))],
    }  # fmt: skip
    for name, features in drawn.items():
        (folder / f"{name}.geojson").write_text(geojson(*features))
    machines = "".join(MACHINE.format(id=name, sheet=figures()) for name in ("SC", "SD"))
    (folder / "site.toml").write_text(TOML + "".join(MOVE.format(**move) for move in moves) + machines)
    return folder


def moves_of(folder: Path) -> dict[str, dict[str, Any]]:
    """The moves in the ``plan.json`` of a folder, by their ids."""
    document = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    return {move["id"]: move for move in document["moves"]}
