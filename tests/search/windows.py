"""Small windows of site drawn from a seed, each with the lattice of a small machine on it. All invented."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from routeplan.hazards.arrays import KINDS, WALKWAY
from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Basket, Box, Configuration, Machine
from routeplan.plan.steer import turn_radius_m
from routeplan.search.anchors import STILL, Anchor, check_motions
from routeplan.search.lattice import CheckedLattice
from routeplan.search.motions import Motions, solve_motions
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    Excavation,
    GridSpec,
    LineCorridor,
    Obstacle,
    Site,
    Soffit,
    Surface,
    Thresholds,
    Walkway,
)  # fmt: skip
from tests.worlds import ROUGH, flat_site, four_wheels, machine, ring, scissor

#: Spacing of the lattice and of the levels, m.
NODE_M, CELL_M = 0.5, 0.25
DAY = dt.date(2026, 12, 1)
ACCEPTED = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)
#: A tube and gaps small enough for such small windows.
LIMITS = Thresholds(lateral_tolerance_m=0.03, heading_tolerance_deg=0.5, body_gap_m=0.2, structure_clearance_m=0.05)


@dataclass(frozen=True, eq=False)
class Window:
    """A random window, its lattice, and starts and goals of ways over it (pose numbers of anchors)."""

    site: Site
    machine: Machine
    hazards: Hazards
    motions: Motions
    lattice: CheckedLattice
    asked: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]


def small_boom() -> Machine:
    """A boom 3.2 m long stowed on a chassis of 1.7 x 1.1 m, its basket ahead of an oscillating front axle."""
    figures = {
        "mass_kg": 2900.0, "length_m": 3.2, "width_m": 1.1, "height_m": 2.0, "wheelbase_m": 1.1, "track_m": 0.9,
        "wheel_radius_m": 0.3, "wheel_width_m": 0.2, "contact_area_m2": 0.02, "turn_radius_outside_m": 2.3,
        "turn_radius_inside_m": 0.8, "gradeability_basket_uphill_pct": 35.0, "gradeability_basket_downhill_pct": 25.0,
        "side_slope_pct": 20.0, "ground_clearance_m": 0.2, "step_limit_m": 0.1, "platform_floor_m": 0.4,
        "front_overhang_m": 0.3, "rear_overhang_m": 0.3, "basket_overhang_m": 1.5, "tail_overhang_m": 0.2,
        "basket_length_m": 0.7, "basket_width_m": 1.0, "oscillation_stop_deg": 6.0, "pivots": 0.0,
    }  # fmt: skip
    basket = ring(1.9, -0.5, 2.6, 0.5)
    boxes = (
        Box("chassis", ring(-0.3, -0.55, 1.4, 0.55), 0.2, 0.9),
        Box("turntable and tail", ring(-0.6, -0.55, 0.9, 0.55), 0.9, 2.0),
        Box("boom", ring(0.9, -0.2, 1.9, 0.2), 0.5, 1.5),
        Box("basket", basket, 0.25, 1.5, occupied=True),
    )
    footprint = ring(-0.6, -0.55, 2.6, 0.55)
    stowed = Configuration("stowed", boxes, Basket(2.25, 0.0, 0.4, "front", basket), 2900.0, footprint)
    wheels = four_wheels(wheelbase_m=1.1, track_m=0.9, radius_m=0.3, width_m=0.2, oscillating="front")
    return machine("SB", figures, wheels, stowed)


MACHINES = (scissor(pivots=1.0), scissor(), small_boom())


@dataclass(frozen=True, eq=False)
class _Draft:
    """A window of so many metres a side, being drawn."""

    rng: np.random.Generator
    side_m: float

    def shape(self, smallest_m: float, largest_m: float) -> Polygon:
        """A rectangle somewhere, square to the lattice or not."""
        x, y = self.rng.uniform(0.0, self.side_m, 2)
        width_m, height_m = self.rng.uniform(smallest_m, largest_m, 2)
        drawn = box(x, y, x + width_m, y + height_m)
        return affinity.rotate(drawn, self.rng.uniform(0.0, 90.0)) if self.rng.random() < 0.5 else drawn

    def some(self, most: int, likely: float = 1.0) -> range:
        """None, one, up to ``most``."""
        return range(int(self.rng.integers(0, most + 1)) if self.rng.random() < likely else 0)

    def levels(self) -> NDArray[np.float64]:
        """Tilted ground with a bank, a little noise and a hole."""
        rng, n = self.rng, round(self.side_m / CELL_M) + 1
        x, y = np.meshgrid(np.arange(n) * CELL_M, np.arange(n) * CELL_M)
        z = rng.uniform(-0.05, 0.05) * x + rng.uniform(-0.05, 0.05) * y
        z += rng.choice([0.0, 0.0, 0.08, 0.14]) * np.clip(x - rng.uniform(2.0, 6.0), 0.0, 2.0)
        z += rng.normal(0.0, rng.choice([0.0, 0.0, 0.001]), x.shape)
        at = rng.uniform(0.0, self.side_m, 2)
        hole = np.hypot(x - at[0], y - at[1]) < rng.uniform(0.0, 0.4)
        levels: NDArray[np.float64] = z - hole * rng.choice([0.0, 0.02, 0.06])
        if rng.random() < 0.1:
            levels[tuple(rng.integers(0, n, 2))] = np.nan
        return levels

    def layers(self) -> dict[str, Any]:
        """Some of everything, by the names of ``Site``'s fields."""
        rng = self.rng
        yard = Surface("yard", box(0.0, 0.0, self.side_m, self.side_m), "stone", ACCEPTED, friction=ROUGH)
        soft = tuple(Surface(f"soft{i}", self.shape(0.5, 1.5), "clay", None) for i in self.some(1, 0.3))
        tops = [None, -1.0, 0.1]
        return {
            "surfaces": (yard, *soft),
            "obstacles": tuple(
                Obstacle(f"o{i}", self.shape(0.1, 1.5), "block", tops[int(rng.integers(0, 3))])
                for i in self.some(2, 0.8)
            ),
            "soffits": tuple(
                Soffit(f"s{i}", self.shape(0.5, 3.0), "beam", None, rng.uniform(2.6, 4.2), 0.0, 0.0, 0.05, "S1")
                for i in self.some(2, 0.6)
            ),
            "defects": (
                *(Defect(f"h{i}", "pothole", Point(rng.uniform(0.0, self.side_m, 2)).buffer(0.2), 0.4,
                         rng.uniform(0.01, 0.05), 0.0, None) for i in self.some(1, 0.4)),
                *(Defect(f"k{i}", "kerb", self.shape(0.1, 1.0), 0.3, 0.0, rng.uniform(0.01, 0.04), None)
                  for i in self.some(1, 0.4)),
                *(Defect(f"c{i}", "cover", self.shape(0.1, 0.5), 0.6, 0.0, 0.0, None) for i in self.some(1, 0.5)),
            ),
            "walkways": tuple(Walkway(f"w{i}", self.shape(0.5, 3.0), "site") for i in self.some(2)),
            "line_corridors": tuple(LineCorridor(f"l{i}", self.shape(0.2, 0.8), 1.0) for i in self.some(1, 0.2)),
            "excavations": tuple(Excavation(f"e{i}", self.shape(0.2, 0.6), 0.2) for i in self.some(1, 0.2)),
            "areas": tuple(Area(f"a{i}", "Area", self.shape(0.3, 1.2), ((DAY, DAY),)) for i in self.some(1, 0.2)),
        }  # fmt: skip


def lattice_of(site: Site, machine: Machine, *, closer: bool = False) -> CheckedLattice:
    """The lattice of a machine that is ridden over a site, on its day, with a closer look at the ground or without."""
    terrain, radius_m = build_terrain(site.ground, site.grid), turn_radius_m(machine)
    motions = solve_motions(
        headings=16, cell_m=terrain.cell_m * terrain.stride, radius_m=radius_m, pivots=machine.value("pivots") == 1.0,
        pivot_arm_m=math.hypot(machine.wheelbase_m, machine.track_m / 2),
    )  # fmt: skip
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain
    ).on(DAY, travel_m=motions.travel_m)  # fmt: skip
    return CheckedLattice(site, hazards.closer() if closer else hazards, motions)


def standing(lattice: CheckedLattice, poses: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the machine may stand at poses (n, 3: x, y, heading), as the search looks at them."""
    pieces = np.broadcast_to(STILL[0], (len(poses), *STILL[0].shape))
    margins, _ = check_motions(lattice.hazards, np.ascontiguousarray(poses), pieces, brief=True)
    blocking = np.delete(margins[:, :KINDS], WALKWAY, axis=1)
    return np.asarray(blocking.min(axis=1) >= 0.0)


def _anchors(rng: np.random.Generator, lattice: CheckedLattice) -> tuple[int, ...]:
    """A place on a node with every heading or one, or off the nodes, where the machine may stand; none if unlucky."""
    grid, headings = lattice.grid, lattice.motions.headings
    off_m, every = rng.choice([(0.0, True), (0.0, False), (0.25, False)])
    for _ in range(100):
        row, col = rng.integers(1, grid.rows - 1), rng.integers(1, grid.cols - 1)
        x = grid.x0 + col * grid.cell_m + rng.uniform(-off_m, off_m)
        heading = float(rng.uniform(-math.pi, math.pi) if off_m else rng.choice(headings))
        tried = headings if every else np.array([heading])
        poses = np.column_stack([np.broadcast_to([x, grid.y0 + row * grid.cell_m], (len(tried), 2)), tried])
        good = poses[standing(lattice, poses)].tolist()
        if good:
            return tuple(lattice.add_anchor(Anchor(*pose)) for pose in good)
    return ()


def draw(seed: int, *, ways: int = 3, closer: bool = False) -> Window:
    """A window of up to 20 x 20 nodes with 16 headings, and some ways asked for over it; see ``lattice_of``."""
    rng = np.random.default_rng(seed)
    machine = MACHINES[seed % len(MACHINES)]
    draft = _Draft(rng, NODE_M * int(rng.integers(14, 20)))
    site = flat_site(
        draft.side_m, draft.side_m, z=draft.levels(), cell_m=CELL_M, thresholds=LIMITS, grid=GridSpec(NODE_M, 16),
        **draft.layers(),
    )  # fmt: skip
    lattice = lattice_of(site, machine, closer=closer)
    asked = [(_anchors(rng, lattice), _anchors(rng, lattice)) for _ in range(ways)]
    return Window(
        site, machine, lattice.hazards, lattice.motions, lattice, tuple(pair for pair in asked if all(pair))
    )  # fmt: skip
