"""Small sites drawn from a seed, with everything on them that a check looks at. All invented."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from routeplan.hazards.prepare import Hazards, prepare
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.profile import turn_radius_m
from routeplan.search.lattice import CheckedLattice
from routeplan.search.motions import Motions, solve_motions
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    Excavation,
    LineCorridor,
    Obstacle,
    Site,
    Soffit,
    Surface,
    Walkway,
)  # fmt: skip
from tests.worlds import boom, flat_site, scissor

EAST_M, NORTH_M = 48.0, 36.0
CELL_M = 0.25
DAY = dt.date(2026, 12, 1)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A random site, a machine on it and its lattice."""

    site: Site
    machine: Machine
    hazards: Hazards
    motions: Motions
    lattice: CheckedLattice


def _levels(rng: np.random.Generator) -> NDArray[np.float64]:
    x, y = np.meshgrid(np.arange(0.0, EAST_M + CELL_M / 2, CELL_M), np.arange(0.0, NORTH_M + CELL_M / 2, CELL_M))
    steep = rng.choice([0.01, 0.06])
    z = rng.uniform(-steep, steep) * x + rng.uniform(-steep, steep) * y
    z += rng.normal(0.0, rng.choice([0.0, 0.001, 0.003]), x.shape)
    ramp = rng.uniform(5.0, 25.0)
    z += rng.choice([0.0, 0.1, 0.2]) * np.clip(x - ramp, 0.0, 5.0)
    hole = np.hypot(x - rng.uniform(5, 30), y - rng.uniform(5, 25)) < rng.uniform(0.2, 0.6)
    levels: NDArray[np.float64] = z - hole * rng.uniform(0.0, 0.2)
    return levels


def _square(rng: np.random.Generator, largest_m: float) -> Polygon:
    x, y = rng.uniform(2.0, EAST_M - 4.0), rng.uniform(2.0, NORTH_M - 4.0)
    return box(x, y, x + rng.uniform(0.2, largest_m), y + rng.uniform(0.2, largest_m))


def _round(rng: np.random.Generator, radius_m: float) -> Polygon:
    return Point(rng.uniform(4.0, EAST_M - 4.0), rng.uniform(4.0, NORTH_M - 4.0)).buffer(radius_m, quad_segs=3)


def random_site(rng: np.random.Generator) -> Site:
    """Ground with a ramp and a hole, and up to two of everything."""
    z = _levels(rng)
    tops = (None, 0.05, 0.2)
    accepted = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)
    yard = Surface("yard", box(1.0, 1.0, EAST_M - 1.0, NORTH_M - 1.0), "stone", accepted)
    surfaces = (yard, Surface("soft", _square(rng, 4.0), "clay", None)) if rng.random() < 0.5 else (yard,)

    def some(most: int) -> range:
        return range(int(rng.integers(0, most + 1)))

    def top(shape: Polygon) -> float | None:
        above = tops[int(rng.integers(0, 3))]
        row, col = round(shape.centroid.y / CELL_M), round(shape.centroid.x / CELL_M)
        return None if above is None else float(z[row, col]) + above

    obstacles = []
    for i in some(3):
        shape = _square(rng, 3.0)
        obstacles.append(Obstacle(f"o{i}", shape, "block", top(shape)))
    return flat_site(
        EAST_M, NORTH_M, z=z, surfaces=surfaces, obstacles=tuple(obstacles),
        soffits=tuple(
            Soffit(f"s{i}", _square(rng, 5.0), "beam", None, rng.uniform(2.2, 4.5), 0.0, 0.0, 0.01, "S1")
            for i in some(2)
        ),
        defects=(
            *(Defect(f"p{i}", "pothole", _round(rng, 0.2), 0.4, rng.uniform(0.01, 0.1), 0.0, "open") for i in some(1)),
            *(Defect(f"k{i}", "kerb", _square(rng, 0.6), 0.3, 0.0, rng.uniform(0.01, 0.1), None) for i in some(1)),
            *(Defect(f"c{i}", "cover", _round(rng, 0.3), 0.6, 0.0, 0.0, None) for i in some(1)),
        ),
        walkways=tuple(Walkway(f"w{i}", _square(rng, 3.0), "site") for i in some(2)),
        line_corridors=tuple(LineCorridor(f"l{i}", _square(rng, 2.0), 1.0) for i in some(1)),
        excavations=tuple(Excavation(f"e{i}", _square(rng, 2.0), 1.0) for i in some(1)),
        areas=tuple(Area(f"a{i}", "Area", _square(rng, 3.0), ((DAY, DAY),)) for i in some(1)),
    )  # fmt: skip


def draw(seed: int) -> Drawn:
    """A random site with a scissor (even seeds, it pivots) or a boom (odd ones), ridden."""
    rng = np.random.default_rng(seed)
    site = random_site(rng)
    machine = scissor(pivots=1.0) if seed % 2 == 0 else boom()
    terrain = build_terrain(site.ground, site.grid)
    radius_m = turn_radius_m(machine)
    motions = solve_motions(
        headings=16, cell_m=terrain.cell_m * terrain.stride, radius_m=radius_m, pivots=machine.value("pivots") == 1.0,
        pivot_arm_m=math.hypot(machine.wheelbase_m, machine.track_m / 2),
    )  # fmt: skip
    hazards = prepare(
        site, machine, configuration="stowed", travel_mode="ridden", day=DAY, k=3.0, terrain=terrain,
        travel_m=motions.travel_m,
    )  # fmt: skip
    return Drawn(site, machine, hazards, motions, CheckedLattice(site, hazards, motions, radius_m))
