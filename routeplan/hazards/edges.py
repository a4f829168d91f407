"""The site's vector layers as a soup of edges with a bucket index, and as bits of what each node stands in."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from routeplan.hazards.arrays import (
    E_BOUNDARY,
    E_CLOSED,
    E_COVER,
    E_EXCAVATION,
    E_FOOTPRINT,
    E_LINES,
    E_OBSTACLE,
    E_UNACCEPTED,
    E_WALKWAY,
    LAST_BODY_EDGE,
    Bits,
    Bytes,
    Floats,
    Floats32,
    Ints,
)
from routeplan.hazards.bearing import Patch, limit_kn
from routeplan.hazards.terrain import Terrain
from routeplan.hazards.wheel_loads import STEP_FACTOR, level_kn
from routeplan.machine.model import Configuration, Machine
from routeplan.site.model import Area, Defect, Excavation, Obstacle, Site, Surface

BUCKET_M = 4.0
#: Defects that nothing drives over, but for covers and plates that are proven, and trenches under these.
BLOCKING_DEFECTS = frozenset({"cover", "plate", "trench"})


@dataclass(frozen=True)
class Layer:
    """One geometry to keep clear of: its kind of edge, extra distance wanted, top level, and whether outside is the
    bad side.
    """

    kind: int
    geometry: BaseGeometry
    extra_m: float = 0.0
    top_m: float = math.inf
    outside: bool = False


@dataclass(frozen=True, eq=False)
class EdgeIndex:
    """Edges ``(n, 6)`` and kinds ``(n,)``, and their buckets as CSR."""

    edges: Floats
    kinds: Bytes
    bucket_start: Ints
    bucket_edges: Ints
    bucket_rows: int
    bucket_cols: int


@dataclass(frozen=True, eq=False)
class EdgeSoup:
    """Edges, and per node the bits it stands in and how far edges are.

    ``low`` (rows, cols) marks the nodes within the buckets' reach of an obstacle that a body might pass over.
    """

    index: EdgeIndex
    inside: Bits
    body_far: Floats32
    wheel_far: Floats32
    low: NDArray[np.bool_]


def accepted_on(
    surface: Surface, machine: Machine, configuration: Configuration, day: dt.date | None, *, wet: bool
) -> bool:
    """Whether a competent person's acceptance covers this machine on this day, which may be ``wet``.

    It does not where what is claimed of wheels there is less than one of its wheels carries standing level.
    """
    word, claimed = surface.acceptance, surface.bearing
    if word is None or word.mass_limit_kg < configuration.mass_kg:
        return False
    if claimed is not None and level_kn(machine, configuration) > limit_kn(
        claimed, Patch.of(machine), 0.0, wet=wet
    ):
        return False
    if day is None:
        return word.valid_until is None
    return word.date <= day and (word.valid_until is None or day <= word.valid_until)


def accepted_ground(
    site: Site, machine: Machine, configuration: Configuration, day: dt.date | None, *, wet: bool
) -> BaseGeometry:
    """Where wheels may go: under a valid acceptance and under no surface without one."""
    good, bad = list[Polygon](), list[Polygon]()
    for surface in site.surfaces:
        (good if accepted_on(surface, machine, configuration, day, wet=wet) else bad).append(surface.geometry)
    return shapely.difference(shapely.union_all(good), shapely.union_all(bad)) if bad else shapely.union_all(good)


def driven_over(defect: Defect, machine: Machine, configuration: Configuration, day: dt.date | None) -> bool:
    """Whether a cover or plate is proven on this day to bear this machine; with a last day it is for no move without a
    day.
    """
    proof = defect.proof
    if proof is None or not proven_for(defect, machine, configuration):
        return False
    if day is None:
        return proof.valid_until is None
    return proof.date <= day and (proof.valid_until is None or day <= proof.valid_until)


def proven_for(defect: Defect, machine: Machine, configuration: Configuration) -> bool:
    """Whether a cover or plate is proven, on whatever days, to carry twice what any wheel of this machine does standing
    level.

    Not where nobody knows what its wheels carry, and not under tracks: they touch more than their edges are looked at.
    """
    proof = defect.proof
    if proof is None or machine.tracks:
        return False
    return STEP_FACTOR * level_kn(machine, configuration) <= proof.limit.wheel_kn


def kept_off(site: Site, machine: Machine, configuration: Configuration, day: dt.date | None) -> BaseGeometry:
    """Covers, plates and trenches that no tyre touches."""
    shut = [defect for defect in site.defects if defect.kind in BLOCKING_DEFECTS]
    over = [defect for defect in shut if driven_over(defect, machine, configuration, day)]
    trenches = [defect for defect in shut if defect.kind == "trench"]
    others = [defect for defect in shut if defect.kind != "trench" and defect not in over]
    return shapely.union(_merged(others), shapely.difference(_merged(trenches), _merged(over)))


def layers_of(
    site: Site, machine: Machine, configuration: Configuration, *, day: dt.date | None, wet: bool
) -> Iterator[Layer]:
    """Everything a machine keeps clear of on this day."""
    yield Layer(E_BOUNDARY, site.boundary, outside=True)
    for obstacle in site.obstacles:
        yield Layer(E_OBSTACLE, obstacle.geometry, top_m=math.inf if obstacle.top_m is None else obstacle.top_m)
    # What wheels keep off is merged, for whether a place is inside is told by counting the outlines on the way to it.
    yield Layer(E_FOOTPRINT, _merged(site.obstacles))
    for corridor in (line for line in site.line_corridors if line.height is None):
        yield Layer(E_LINES, corridor.geometry)
    for area in site.areas:
        if area.closed_on(day):
            yield Layer(E_CLOSED, area.geometry)
    for walkway in site.walkways:
        yield Layer(E_WALKWAY, walkway.geometry)
    yield Layer(E_UNACCEPTED, accepted_ground(site, machine, configuration, day, wet=wet), outside=True)
    yield Layer(E_COVER, kept_off(site, machine, configuration, day))
    for set_back_m in {excavation.set_back_m: None for excavation in site.excavations}:
        pits = _merged(pit for pit in site.excavations if pit.set_back_m == set_back_m)
        yield Layer(E_EXCAVATION, pits, extra_m=set_back_m)


def _merged(features: Iterable[Obstacle | Defect | Excavation]) -> BaseGeometry:
    return shapely.union_all([feature.geometry for feature in features])


def _rings(geometry: BaseGeometry) -> Iterator[Floats]:
    for part in shapely.get_parts(geometry):
        if isinstance(part, Polygon):
            for ring in (part.exterior, *part.interiors):
                yield shapely.get_coordinates(ring)


def _edges(layers: Iterable[Layer]) -> tuple[Floats, Bytes]:
    rows: list[Floats] = []
    kinds: list[int] = []
    for layer in layers:
        for ring in _rings(layer.geometry):
            n = len(ring) - 1
            more = np.broadcast_to([layer.extra_m, layer.top_m], (n, 2))
            rows.append(np.hstack([ring[:-1], ring[1:], more]))
            kinds += [layer.kind] * n
    return np.concatenate(rows), np.array(kinds, np.uint8)


def _buckets(edges: Floats, terrain: Terrain, reach_m: float) -> tuple[Ints, Ints, int, int]:
    """Edges within reach of each bucket (their own extra distance included), as CSR."""
    height, width = (np.array(terrain.level.shape) - 1) * terrain.cell_m
    n_rows, n_cols = math.ceil(height / BUCKET_M) + 1, math.ceil(width / BUCKET_M) + 1
    tree = shapely.STRtree(shapely.linestrings(edges[:, :4].reshape(-1, 2, 2)))
    r, c = np.meshgrid(np.arange(n_rows), np.arange(n_cols), indexing="ij")
    west, south = terrain.x0 + c.ravel() * BUCKET_M, terrain.y0 + r.ravel() * BUCKET_M
    squares = shapely.box(west, south, west + BUCKET_M, south + BUCKET_M)
    bucket, edge = tree.query(squares, predicate="dwithin", distance=reach_m + float(edges[:, 4].max()))
    order = np.lexsort((edge, bucket))
    start = np.searchsorted(bucket[order], np.arange(n_rows * n_cols + 1))
    return start.astype(np.int64), edge[order].astype(np.int64), n_rows, n_cols


def _inside(layers: Iterable[Layer], terrain: Terrain) -> Bits:
    rows, cols = terrain.level.shape
    x = terrain.x0 + np.arange(cols) * terrain.cell_m
    y = terrain.y0 + np.arange(rows) * terrain.cell_m
    bits = np.zeros((rows, cols), np.uint16)
    for layer in layers:
        bit = np.uint16(1 << layer.kind)
        within = np.zeros((rows, cols), bool)
        if not layer.geometry.is_empty:
            west, south, east, north = layer.geometry.bounds
            c = slice(np.searchsorted(x, west), np.searchsorted(x, east, side="right"))
            r = slice(np.searchsorted(y, south), np.searchsorted(y, north, side="right"))
            shapely.prepare(layer.geometry)
            within[r, c] = shapely.contains_xy(layer.geometry, *np.meshgrid(x[c], y[r]))
        bits[~within if layer.outside else within] |= bit
    return bits


def _far(layers: Iterable[Layer], terrain: Terrain) -> Floats32:
    """Distance from each node to the nearest outline, extra distance included, rounded down by what marking nodes may
    add.
    """
    rows, cols = terrain.level.shape
    outlines = [layer.geometry.buffer(layer.extra_m).boundary for layer in layers if not layer.geometry.is_empty]
    if not outlines:
        return np.full((rows, cols), 1e6, np.float32)
    points = shapely.get_coordinates(shapely.segmentize(np.array(outlines), terrain.cell_m / 2))
    c = np.clip(np.round((points[:, 0] - terrain.x0) / terrain.cell_m).astype(int), 0, cols - 1)
    r = np.clip(np.round((points[:, 1] - terrain.y0) / terrain.cell_m).astype(int), 0, rows - 1)
    free = np.ones((rows, cols), bool)
    free[r, c] = False
    distance: Floats = ndimage.distance_transform_edt(free, sampling=terrain.cell_m)
    return np.maximum(distance - terrain.cell_m, 0.0).astype(np.float32)


def index_edges(terrain: Terrain, layers: Iterable[Layer], reach_m: float) -> EdgeIndex:
    """Index the layers for the kernels; ``reach_m`` is how far from a motion's middle an edge may concern it."""
    edges, kinds = _edges(layers)
    return EdgeIndex(edges, kinds, *_buckets(edges, terrain, reach_m))


@dataclass(frozen=True, eq=False)
class ClosedBesides:
    """What areas that are closed besides others mean at each node: whether it lies in one, and how far its outline is.

    Distances are never too large. In the ``windows``, rows and columns about each area, they are as ``EdgeSoup`` has
    them; elsewhere they are the reach asked for.
    """

    inside: NDArray[np.bool_]
    far: Floats32
    windows: tuple[tuple[slice, slice], ...]

    @classmethod
    def of(cls, areas: Iterable[Area], terrain: Terrain, reach_m: float) -> ClosedBesides:
        """Of the areas that were not closed before."""
        layers = [Layer(E_CLOSED, area.geometry) for area in areas]
        far, windows = np.full(terrain.level.shape, reach_m, np.float32), list[tuple[slice, slice]]()
        for layer in layers:
            about = terrain.window(layer.geometry, reach_m + 2.0 * terrain.cell_m)  # distances are rounded down
            if far[about].size:
                far[about] = np.minimum(far[about], _far([layer], terrain.part(about)))
                windows.append(about)
        return cls(_inside(layers, terrain) != 0, far, tuple(windows))


def build_edges(terrain: Terrain, layers: Iterable[Layer], reach_m: float) -> EdgeSoup:
    """Index the layers and mark the nodes; see ``index_edges``."""
    layers = list(layers)
    body_far, wheel_far = (
        _far([layer for layer in layers if (layer.kind > LAST_BODY_EDGE) == wheels], terrain)
        for wheels in (False, True)
    )
    low = np.zeros(terrain.level.shape, bool)
    for layer in layers:
        if layer.kind == E_OBSTACLE and math.isfinite(layer.top_m):
            rr, cc, _ = terrain.nodes_within(layer.geometry, reach_m)
            low[rr, cc] = True
    return EdgeSoup(index_edges(terrain, layers, reach_m), _inside(layers, terrain), body_far, wheel_far, low)
