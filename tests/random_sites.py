"""Small sites drawn from a seed, with everything on them that a check looks at. All invented."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from routeplan.hazards.prepare import Hazards, encounter
from routeplan.hazards.terrain import build_terrain
from routeplan.machine.model import Machine
from routeplan.plan.steer import turn_radius_m
from routeplan.search.lattice import CheckedLattice
from routeplan.search.motions import Motions, solve_motions
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    DefectKind,
    Excavation,
    GridSpec,
    LineCorridor,
    Obstacle,
    Place,
    Site,
    Soffit,
    Surface,
    Thresholds,
    Walkway,
)  # fmt: skip
from tests.worlds import GOOD_SURVEY, ROUGH, boom, flat_site, place, scissor, wanted

EAST_M, NORTH_M = 48.0, 36.0
CELL_M = 0.25
DAY = dt.date(2026, 12, 1)
ACCEPTED = Acceptance("temporary works coordinator", dt.date(2026, 11, 1), 50_000.0)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A random site, a machine on it and its lattice."""

    site: Site
    machine: Machine
    hazards: Hazards
    motions: Motions
    lattice: CheckedLattice


@dataclass(frozen=True, eq=False)
class Yard:
    """A yard whose corner is the origin, and the generator that draws what is on it.

    ``turned`` turns the shapes; ``kept`` is what they are drawn clear of, if ten tries will do.
    """

    rng: np.random.Generator
    east_m: float = EAST_M
    north_m: float = NORTH_M
    cell_m: float = CELL_M
    turned: bool = False
    kept: BaseGeometry = field(default_factory=Polygon)

    def clear(self, shape: Callable[[], Polygon]) -> Polygon:
        """A shape clear of what is kept, if ten tries will do."""
        drawn = shape()
        for _ in range(10):
            if not drawn.intersects(self.kept):
                break
            drawn = shape()
        return drawn

    def some(self, most: int) -> range:
        """None, one, up to ``most``."""
        return range(int(self.rng.integers(0, most + 1)))

    def square(self, largest_m: float) -> Polygon:
        """A rectangle somewhere."""

        def shape() -> Polygon:
            x, y = self.rng.uniform(2.0, self.east_m - 4.0), self.rng.uniform(2.0, self.north_m - 4.0)
            drawn = box(x, y, x + self.rng.uniform(0.2, largest_m), y + self.rng.uniform(0.2, largest_m))
            return affinity.rotate(drawn, self.rng.uniform(0.0, 90.0)) if self.turned else drawn

        return self.clear(shape)

    def round(self, radius_m: float) -> Polygon:
        """A dozen corners on a circle somewhere."""

        def shape() -> Polygon:
            x, y = self.rng.uniform(4.0, self.east_m - 4.0), self.rng.uniform(4.0, self.north_m - 4.0)
            return Point(x, y).buffer(radius_m, quad_segs=3)

        return self.clear(shape)

    def levels(self, *, ramps: tuple[float, ...] = (0.0, 0.1, 0.2), rough: float = 1.0) -> NDArray[np.float64]:
        """Tilted ground with a ramp, and with noise and a hole, both scaled by ``rough``."""
        rng = self.rng
        nodes = (np.arange(0.0, side + self.cell_m / 2, self.cell_m) for side in (self.east_m, self.north_m))
        x, y = np.meshgrid(*nodes)
        steep = rng.choice([0.01, 0.06])
        z = rng.uniform(-steep, steep) * x + rng.uniform(-steep, steep) * y
        z += rng.normal(0.0, rough * rng.choice([0.0, 0.001, 0.003]), x.shape)
        ramp = rng.uniform(0.1, 0.5) * self.east_m
        z += rng.choice(ramps) * np.clip(x - ramp, 0.0, 5.0)
        at = rng.uniform(0.1, 0.7) * self.east_m, rng.uniform(0.1, 0.7) * self.north_m
        hole = np.hypot(x - at[0], y - at[1]) < rng.uniform(0.2, 0.6)
        levels: NDArray[np.float64] = z - hole * rough * rng.uniform(0.0, 0.2)
        return levels

    def level_at(self, z: NDArray[np.float64], shape: Polygon) -> float:
        """Level at the node nearest to the middle of a shape."""
        return float(z[round(shape.centroid.y / self.cell_m), round(shape.centroid.x / self.cell_m)])

    def obstacles(self, z: NDArray[np.float64], most: int) -> tuple[Obstacle, ...]:
        """Blocks, some of them low."""
        found = []
        for i in self.some(most):
            above = (None, 0.05, 0.2)[int(self.rng.integers(0, 3))]
            shape = self.square(3.0)
            found.append(Obstacle(f"o{i}", shape, "block", None if above is None else self.level_at(z, shape) + above))
        return tuple(found)

    def ground_layers(self) -> dict[str, Any]:
        """What wheels and bodies keep off, up to two of everything."""
        rng = self.rng
        return {
            "defects": (
                *(Defect(f"p{i}", "pothole", self.round(0.2), 0.4, rng.uniform(0.01, 0.1), 0.0, "open")
                  for i in self.some(1)),
                *(Defect(f"k{i}", "kerb", self.square(0.6), 0.3, 0.0, rng.uniform(0.01, 0.1), None)
                  for i in self.some(1)),
                *(Defect(f"c{i}", "cover", self.round(0.3), 0.6, 0.0, 0.0, None) for i in self.some(1)),
            ),
            "walkways": tuple(Walkway(f"w{i}", self.square(3.0), "site") for i in self.some(2)),
            "line_corridors": tuple(LineCorridor(f"l{i}", self.square(2.0), 1.0) for i in self.some(1)),
            "excavations": tuple(Excavation(f"e{i}", self.square(2.0), 1.0) for i in self.some(1)),
            "areas": tuple(Area(f"a{i}", "Area", self.square(3.0), ((DAY, DAY),)) for i in self.some(1)),
        }  # fmt: skip


def random_site(rng: np.random.Generator) -> Site:
    """Ground with a ramp and a hole, and up to two of everything."""
    yard = Yard(rng)
    z = yard.levels()
    stone = Surface("yard", box(1.0, 1.0, EAST_M - 1.0, NORTH_M - 1.0), "stone", ACCEPTED, friction=ROUGH)
    surfaces = (stone, Surface("soft", yard.square(4.0), "clay", None)) if rng.random() < 0.5 else (stone,)
    obstacles = yard.obstacles(z, 3)
    soffits = tuple(
        Soffit(f"s{i}", yard.square(5.0), "beam", None, rng.uniform(2.2, 4.5), 0.0, 0.0, 0.01, "S1")
        for i in yard.some(2)
    )
    return flat_site(
        EAST_M, NORTH_M, z=z, surfaces=surfaces, obstacles=obstacles, soffits=soffits, **yard.ground_layers()
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
    hazards = encounter(
        site, machine, configuration="stowed", travel_mode="ridden", k=3.0, terrain=terrain
    ).on(DAY, travel_m=motions.travel_m)  # fmt: skip
    return Drawn(site, machine, hazards, motions, CheckedLattice(site, hazards, motions))


#: A long lever throws the basket at the least roughness: roughness for the long machines is scaled by this.
LONG = 0.25
#: Machines of the small sites, in turn.
FLEET = (
    scissor(pivots=1.0), boom(), scissor(), boom(oscillating=None), scissor(pivots=1.0), boom(oscillating="rear"),
)  # fmt: skip


def _soffit(yard: Yard, z: NDArray[np.float64], name: str, shape: Polygon, clear_m: float) -> Soffit:
    """A soffit as a clear height, as a level, or as one that slopes; now and then without an accuracy."""
    rng = yard.rng
    how, sigma = int(rng.integers(0, 3)), None if rng.random() < 0.1 else rng.choice([0.002, 0.01])
    survey = rng.choice(["S1", "S2"])
    if how == 0:
        return Soffit(name, shape, "beam", None, clear_m, 0.0, 0.0, sigma, survey)
    fall = rng.uniform(-0.1, 0.1, 2) if how == 2 else (0.0, 0.0)
    return Soffit(
        name, shape, "beam", yard.level_at(z, shape) + clear_m, None, float(fall[0]), float(fall[1]), sigma, survey
    )


def _gate(yard: Yard, z: NDArray[np.float64], machine: Machine) -> dict[str, Any]:
    """A wall across the yard with a gap, and something in the gap that is close to what the machine can pass."""
    rng = yard.rng
    x, y = rng.uniform(0.4, 0.6) * yard.east_m, rng.uniform(0.25, 0.75) * yard.north_m
    half = 0.5 * machine.value("width_m") + rng.uniform(0.4, 1.6)
    thick = rng.uniform(0.1, 1.0)
    top = None if rng.random() < 0.7 else float(np.nanmax(z)) + 0.1
    walls = tuple(
        Obstacle(name, box(x, south, x + thick, north), "wall", top)
        for name, south, north in (("south", -1.0, y - half), ("north", y + half, yard.north_m + 1.0))
    )
    across = box(x - rng.uniform(0.0, 1.0), y - half, x + thick + rng.uniform(0.0, 1.0), y + half)
    low = LONG if machine.value("length_m") > 5.0 else 1.0
    step = low * machine.value("step_limit_m")
    what = int(rng.integers(0, 5))
    if what == 0:
        tall = max(machine.value("height_m") + 0.1, machine.value("platform_floor_m") + 2.3)
        return {"obstacles": walls, "soffits": (_soffit(yard, z, "gate", across, tall + rng.uniform(0.0, 0.6)),)}
    if what == 1:
        kinds: tuple[DefectKind, ...] = ("kerb", "sill")
        kind, high = kinds[int(rng.integers(0, 2))], step * rng.uniform(0.3, 1.1)
        return {"obstacles": walls, "defects": (Defect("gate", kind, across, 0.3, 0.0, high, None),)}
    if what == 2:
        hole = Point(x + rng.uniform(-1.0, 1.0), y + rng.uniform(-half, half)).buffer(0.25, quad_segs=4)
        deep = low * rng.uniform(0.005, 0.06)
        return {"obstacles": walls, "defects": (Defect("gate", "pothole", hole, 0.5, deep, 0.0, "open"),)}
    if what == 3:
        return {"obstacles": walls, "walkways": (Walkway("gate", across, "site"),)}
    return {"obstacles": walls}


def _bumpy(yard: Yard, z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Now and then a hump that a belly may meet, a bank across, or a patch that nobody surveyed."""
    rng = yard.rng
    x, y = np.meshgrid(np.arange(z.shape[1]) * yard.cell_m, np.arange(z.shape[0]) * yard.cell_m)
    at = rng.uniform(0.3, 0.7) * yard.east_m, rng.uniform(0.1, 0.9) * yard.north_m
    far = np.hypot(x - at[0], y - at[1])
    what = int(rng.integers(0, 8))
    if what == 0:
        z = z + rng.uniform(0.02, 0.3) * np.exp(-((far / rng.uniform(0.4, 1.5)) ** 2))
    elif what == 1:
        z = z + rng.uniform(0.02, 0.08) * np.exp(-(((x - at[0]) / rng.uniform(0.4, 1.5)) ** 2))
    elif what == 2:
        z = np.where(far < rng.uniform(0.3, 2.0), np.nan, z)
    return z


def _merged(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    return {name: (*one.get(name, ()), *other.get(name, ())) for name in {**one, **other}}


def _layers(yard: Yard, machine: Machine) -> dict[str, Any]:
    """Ground and layers of a small site, by the names of ``Site``'s fields, ``z`` for the levels."""
    rng = yard.rng
    long = LONG if machine.value("length_m") > 5.0 else 1.0
    z = yard.levels(ramps=(0.0, 0.0, 0.0, 0.04, 0.08), rough=long * rng.choice([0.0, 0.0, 0.3, 0.6]))
    outline = box(0.0, 0.0, yard.east_m, yard.north_m)
    surfaces = [Surface("yard", outline, "stone", ACCEPTED, friction=ROUGH)]
    if rng.random() < 0.3:
        surfaces.append(Surface("soft", yard.square(4.0), "clay", None))
    if rng.random() < 0.3:
        old = replace(ACCEPTED, valid_until=DAY - dt.timedelta(days=int(rng.integers(0, 2))))
        surfaces.append(Surface("old", yard.square(4.0), "fill", old))
    layers = {name: drawn if rng.random() < 0.5 else () for name, drawn in yard.ground_layers().items()}
    layers["obstacles"] = yard.obstacles(z, 2)
    layers["soffits"] = tuple(
        _soffit(yard, z, f"s{i}", yard.square(5.0), rng.uniform(2.2, 4.5)) for i in yard.some(2)
    )
    barred: tuple[DefectKind, ...] = ("trench", "plate")
    layers["defects"] += tuple(
        Defect(f"t{i}", barred[int(rng.integers(0, 2))], yard.square(1.5), 0.5, 0.5, 0.0, "open")
        for i in yard.some(1)
    )
    if rng.random() < 0.25:
        layers = _merged(layers, _gate(yard, z, machine))
    return {**layers, "surfaces": tuple(surfaces), "z": _bumpy(yard, z)}


def _ends(rng: np.random.Generator, machine: Machine, east_m: float, north_m: float) -> tuple[Place, Place]:
    """Places in the west and the east of a yard, each with or without a bearing, on the lattice or off it."""
    edge = 0.5 * machine.value("length_m") + 1.0
    ahead = max(xi for xi, _ in machine.configurations["stowed"].footprint) + 1.0
    west, east = rng.uniform(3.0, 5.0), east_m - ahead - rng.uniform(0.0, 3.0)
    bearings = [float(rng.uniform(60.0, 120.0)) if rng.random() < 0.3 else None for _ in "we"]
    y = rng.uniform(edge, north_m - edge, 2)
    return place("west", float(west), float(y[0]), bearings[0]), place("east", float(east), float(y[1]), bearings[1])


def small_site(seed: int) -> Site:
    """A small site with one machine and one move from west to east, everything on it drawn from the seed."""
    rng = np.random.default_rng(seed)
    machine = FLEET[seed % len(FLEET)]
    large = machine.value("length_m") > 5.0
    east_m, north_m = (44.0, 32.0) if large else (30.0, 24.0)
    ends = _ends(rng, machine, east_m, north_m)
    kept = unary_union([end.point.buffer(7.0 if large else 3.0) for end in ends])
    yard = Yard(rng, east_m, north_m, float(rng.choice([0.25, 0.25, 0.5])), bool(rng.random() < 0.5), kept)
    mode = "beside_rails_up" if not large and rng.random() < 0.3 else "ridden"
    asked = replace(wanted(machine.id, "west", "east", travel_mode=mode), on=DAY if rng.random() < 0.8 else None)
    limits = Thresholds(
        lateral_tolerance_m=float(rng.choice([0.05, 0.15])), heading_tolerance_deg=float(rng.choice([0.5, 2.0])),
        ground_clearance_m=float(rng.choice([0.01, 0.03])), tip_participation=float(rng.choice([1.0, 1.6])),
    )  # fmt: skip
    survey = replace(
        GOOD_SURVEY, short_range_m=float(rng.choice([0.0005, 0.001, 0.003])), assumed=bool(rng.random() < 0.1)
    )
    return flat_site(
        east_m, north_m, machines=(machine,), places=ends, moves=(asked,), cell_m=yard.cell_m, accuracy=survey,
        thresholds=limits, grid=GridSpec(cell_m=0.5 if large else 0.25), **_layers(yard, machine),
    )  # fmt: skip


def bare(site: Site) -> Site:
    """The same yard, machine and move on level ground with nothing on it."""
    whole = Surface("yard", site.boundary, "stone", ACCEPTED, friction=ROUGH)
    ground = replace(site.ground, z=np.zeros_like(site.ground.z))
    return replace(
        site, ground=ground, surfaces=(whole,), obstacles=(), soffits=(), defects=(), walkways=(), line_corridors=(),
        excavations=(), areas=(),
    )  # fmt: skip
