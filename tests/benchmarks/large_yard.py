"""An invented yard of four million cells: 500 m by 500 m, stacks, an area in each cross aisle."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import Affine

from tests.plan.two_doors import MACHINE, MOVE, TOML, figures
from tests.site.folders import feature, geojson, point, polygon

SIDE_M, CELL_M = 500.0, 0.5
DAY = "2026-12-01"
MOVES = (
    {"id": "M1", "purpose": "delivery", "machine": "SC", "start": "gate", "goal": "north-east"},
    {"id": "M2", "purpose": "relocation", "machine": "SC", "start": "north-east", "goal": "south-east"},
    {"id": "M3", "purpose": "collection", "machine": "SC", "start": "south-east", "goal": "gate"},
    {"id": "M4", "purpose": "delivery", "machine": "SD", "start": "gate", "goal": "west"},
)
PLACES = {"gate": (10, 10), "north-east": (480, 480), "south-east": (480, 20), "west": (15, 240)}


def write_large_yard(folder: Path) -> Path:
    """Write the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    nodes = round(SIDE_M / CELL_M)
    y, x = np.mgrid[0:nodes, 0:nodes] * CELL_M
    z = (100.0 + 0.2 * np.sin(x / 60.0) * np.cos(y / 80.0)).astype(np.float32)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": nodes, "width": nodes}
    transform = Affine(CELL_M, 0.0, 0.0, 0.0, -CELL_M, SIDE_M)
    with rasterio.open(folder / "levels.tif", "w", transform=transform, **profile) as raster:
        raster.write(z[::-1], 1)
    accepted = {"accepted_by": "engineer", "accepted_on": "2026-11-02", "accepted_mass_kg": 50000}
    grips = {"friction_by": "a benchmark", "friction_dry": 0.9, "friction_wet": 0.9}
    yard, aisles = polygon(0, 0, SIDE_M, SIDE_M), (100, 200, 300, 400)
    stacks = [(a + 5, b, a + 15, b + 90) for a in aisles for b in (5, 105, 205, 305, 405)]
    drawn = {
        "boundary": [feature(yard)], "surfaces": [feature(yard, id="yard", **accepted, **grips)],
        "obstacles": [feature(polygon(*stack), id=f"stack-{n}") for n, stack in enumerate(stacks)],
        "places": [feature(point(*at), id=name, kind="parking", bearing_deg=90, tolerance_m=0.2)
                   for name, at in PLACES.items()],
        "areas": [feature(polygon(a + 4, b - 6, a + 16, b + 6), id=f"aisle-{a}-{b}", title=f"Aisle {a}, {b}")
                  for a in aisles for b in (100, 200, 300, 400)],
    }  # fmt: skip
    for name, features in drawn.items():
        (folder / f"{name}.geojson").write_text(geojson(*features))
    head = TOML.replace("Two doors", "Large yard").replace("levels.csv", "levels.tif")
    moves = "".join(MOVE.format(**move, on=DAY, wet="true") for move in MOVES)
    machines = "".join(MACHINE.format(id=name, sheet=figures()) for name in ("SC", "SD"))
    (folder / "site.toml").write_text(head + moves + machines)
    return folder
