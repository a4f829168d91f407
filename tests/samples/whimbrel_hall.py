"""What stands, hangs and lies in the way in Whimbrel Hall, an invented hall: plain tables.

Every figure here is made up for demonstration. Coordinates are site metres, x east and y north.
"""

from __future__ import annotations

import numpy as np

from tests.samples.writing import XY, Array, Feature, Place, Row, Sample, area, area_features, line, rectangle

FLOOR_M = 20.0
#: Half of what the survey admits to in ``site.toml``.
NOISE_SIGMA_M = 0.0005
#: The slab lies in bays of this size, each with a gully in its middle that the floor falls to.
BAY_EAST_M, BAY_NORTH_M, FALL_TO_GULLY_M = 11.0, 9.5, 0.015
BAYS_EAST, BAYS_NORTH = 4, 3
GULLY_M = 0.3
#: The apron lies lower than the hall, with a ramp up to the loading door.
RAMP_EAST, RAMP_RISE_M, APRON_FALL = (-7.0, -1.0), 0.25, 0.01

BOUNDARY: list[XY] = [(0, 0), (44, 0), (44, 28.5), (0, 28.5), (0, 21), (-14, 21), (-14, 9), (0, 9)]


def surface(x: Array, y: Array) -> Array:
    """Level of the floor and the apron, metres."""
    aside = np.maximum(
        np.abs(x % BAY_EAST_M - BAY_EAST_M / 2) / (BAY_EAST_M / 2),
        np.abs(y % BAY_NORTH_M - BAY_NORTH_M / 2) / (BAY_NORTH_M / 2),
    )
    foot, head = RAMP_EAST
    apron = RAMP_RISE_M * (np.clip(x, foot, head) - head) / (head - foot) + APRON_FALL * (np.minimum(x, foot) - foot)
    level: Array = FLOOR_M + np.where(x > 0.0, FALL_TO_GULLY_M * (aside - 1.0), apron)
    return level


#: (id, kind, south-west and north-east corner, height above the floor or None when taller than any machine)
BLOCKS: list[tuple[str, str, tuple[float, float, float, float], float | None]] = [
    ("hoist-shaft", "hoist shaft", (12, 26.3, 17, 28.2), None),
    ("stack-south", "laydown", (24, 3.5, 28, 7), 1.2),
    ("crates-north", "crates", (20, 24, 24, 27), 2.0),
    ("machine-base", "machine base", (14.5, 11.5, 18, 16), 0.4),
    ("chiller", "chiller", (35, 26.8, 39, 28), None),
    ("air-handler", "air handler", (41.5, 19.4, 43.5, 21.2), None),
    ("shelves-store", "shelves", (34.5, 0.4, 42, 1.4), None),
    *((f"column-{x}-{y:.0f}", "column", (x - 0.2, y - 0.2, x + 0.2, y + 0.2), None)
      for x in (11, 22) for y in (9.5, 19)),
]

#: (id, kind, line, width_m, height above the floor or None)
WALLS: list[tuple[str, str, list[XY], float, float | None]] = [
    ("wall-south", "outer wall", [(0, 0.15), (44, 0.15)], 0.3, None),
    ("wall-north", "outer wall", [(0, 28.35), (44, 28.35)], 0.3, None),
    ("wall-east", "outer wall", [(43.85, 0), (43.85, 28.5)], 0.3, None),
    ("wall-west-1", "outer wall", [(0.15, 0), (0.15, 12)], 0.3, None),
    ("wall-west-2", "outer wall", [(0.15, 18), (0.15, 28.5)], 0.3, None),
    ("wall-rooms-1", "inner wall", [(33, 0), (33, 3.4)], 0.2, None),
    ("wall-rooms-2", "inner wall", [(33, 6), (33, 10.5)], 0.2, None),
    ("wall-rooms-3", "inner wall", [(33, 14.5), (33, 22.85)], 0.2, None),
    ("wall-rooms-4", "inner wall", [(33, 24.55), (33, 28.5)], 0.2, None),
    ("wall-store", "inner wall", [(33, 9.5), (44, 9.5)], 0.2, None),
    ("wall-plant", "inner wall", [(33, 19), (44, 19)], 0.2, None),
    ("hoist-rail-west", "guard rail", [(12, 22), (12, 26.3)], 0.1, 1.1),
    ("hoist-rail-east", "guard rail", [(17, 22), (17, 26.3)], 0.1, 1.1),
    ("hoist-rail-south-1", "guard rail", [(12, 22), (13, 22)], 0.1, 1.1),
    ("hoist-rail-south-2", "guard rail", [(16, 22), (17, 22)], 0.1, 1.1),
    *((f"barrier-{name}-{side}", "barrier", [(x, south), (x, north)], 0.1, 1.1)
      for name, south, north in (("south", 0.3, 11.0), ("north", 19.0, 28.2))
      for side, x in (("west", 6.8), ("east", 8.2))),
]

SURVEYED: Row = {"sigma_m": 0.003, "survey": "H1"}

#: (id, ring, properties)
SOFFITS: list[Feature] = [
    ("loading-door-head", rectangle(0, 12, 0.3, 18), {"kind": "door head", "clear_m": 4.50} | SURVEYED),
    ("store-door-head", rectangle(32.9, 3.4, 33.1, 6), {"kind": "door head", "clear_m": 3.80} | SURVEYED),
    ("bay-door-head", rectangle(32.9, 10.5, 33.1, 14.5), {"kind": "door head", "clear_m": 4.00} | SURVEYED),
    ("plant-door-head", rectangle(32.9, 22.85, 33.1, 24.55), {"kind": "door head", "clear_m": 2.10} | SURVEYED),
    ("store-ceiling", rectangle(33.1, 0.3, 43.7, 9.4), {"kind": "ceiling", "clear_m": 4.20} | SURVEYED),
    ("plant-ceiling", rectangle(33.1, 19.1, 43.7, 28.2), {"kind": "ceiling", "clear_m": 3.60} | SURVEYED),
    # Off a drawing: nobody measured it, so nobody said how far off it may be.
    ("duct-bay", rectangle(33.1, 15.8, 43.7, 16.6), {"kind": "air duct", "clear_m": 3.90}),
]

#: Roof beams over the lines of columns: (id, line, width_m, level above the floor)
BEAMS: list[tuple[str, list[XY], float, float]] = [
    ("beam-west", [(11, 0.3), (11, 28.2)], 0.4, 5.60),
    ("beam-east", [(22, 0.3), (22, 28.2)], 0.4, 5.20),
    ("beam-south", [(0.3, 9.5), (32.9, 9.5)], 0.3, 4.90),
    ("beam-north", [(0.3, 19), (32.9, 19)], 0.3, 3.75),
]

SILLS: list[Row] = [
    {"id": "sill-store", "kind": "sill", "wkt": "LINESTRING (33 3.4, 33 6)", "width_m": 0.10, "height_m": 0.02},
]

ACCEPTED: Row = {"accepted_by": "temporary works coordinator", "accepted_on": "2026-11-19",
                 "accepted_until": "2027-02-26"}
BRUSHED: Row = ACCEPTED | {"friction_by": "pendulum test", "friction_dry": 0.7, "friction_wet": 0.5}
FLOATED: Row = ACCEPTED | {"friction_by": "pendulum test", "friction_dry": 0.6, "friction_wet": 0.4, "loose": "dust",
                           "friction_loose": 0.45}
#: The hoist landing lies over the slab, and takes less.
SURFACES: list[Feature] = [
    ("apron", rectangle(-14, 9, 0.3, 21), {"kind": "concrete apron", "accepted_mass_kg": 20000} | BRUSHED),
    ("hall-slab", rectangle(0, 0, 44, 28.5), {"kind": "concrete slab", "accepted_mass_kg": 9000} | FLOATED),
    ("hoist-landing", rectangle(12, 22, 17, 26.3), {"kind": "suspended slab", "accepted_mass_kg": 2500} | FLOATED),
]

WALKWAYS: list[Feature] = [
    ("footway-south", rectangle(6.9, 0.3, 8.1, 11), {"kind": "footway"}),
    ("crossing-dock", rectangle(6.9, 11, 8.1, 19), {"kind": "crossing"}),
    ("footway-north", rectangle(6.9, 19, 8.1, 28.2), {"kind": "footway"}),
]

#: Nobody is to be left behind the aisle when its screed is laid.
AREAS: list[Feature] = [
    ("east-aisle", rectangle(26, 8, 32, 26), {"title": "East aisle, screed", "closed": "2026-12-14/2026-12-18"}),
    ("dock", rectangle(-8, 9, 0, 21), {"title": "Dock and its ramp"}),
]

PLACES: list[Place] = [
    ("gate-1", "gate", "Yard gate, west", -13.0, 15.0, None, 0.5),
    ("dock-1", "drop-off", "Drop-off on the apron", -10.5, 15.0, 90.0, 0.25),
    ("ramp-foot", "ramp end", "Foot of the dock ramp", -7.5, 15.0, 90.0, 0.5),
    ("ramp-head", "ramp end", "Head of the dock ramp", -0.5, 15.0, 90.0, 0.5),
    ("loading-door", "door", "Loading door", 0.15, 15.0, 90.0, 0.25),
    ("plant-door", "door", "Plant room door, 2.10 m high", 33.0, 23.7, 90.0, 0.25),
    ("bay-door", "door", "Test bay door, 4.0 m wide", 33.0, 12.5, 90.0, 0.25),
    ("store-door", "door", "Store door, 2.6 m wide, with sill", 33.0, 4.7, 90.0, 0.25),
    ("plant-1", "workface", "Plant room", 40.0, 24.0, None, 0.5),
    ("bay-1", "workface", "Test bay, at the door", 37.0, 12.5, None, 0.5),
    ("bay-2", "workface", "Test bay, beyond the duct", 40.0, 17.4, None, 0.5),
    ("store-1", "workface", "Store", 38.5, 6.5, None, 0.5),
    ("hoist-1", "hoist landing", "Hoist landing", 14.5, 23.8, 0.0, 0.25),
    ("parking-1", "parking", "Parking and charging", 14.0, 3.0, 90.0, 0.5),
    ("refuge-1", "refuge", "Muster point", -12.0, 19.5, None, 0.5),
]


def _top_m(x: float, y: float, height_m: float | None) -> float | None:
    """Top level of something that stands on the floor."""
    return None if height_m is None else round(float(surface(np.array(x), np.array(y))) + height_m, 2)


def _obstacles() -> list[Row]:
    """Blocks as areas, walls, rails and barriers as lines with a width."""
    blocks = [
        area({"id": name, "kind": kind, "top_m": _top_m(corners[0], corners[1], height)}, rectangle(*corners))
        for name, kind, corners, height in BLOCKS
    ]
    walls = [
        line({"id": name, "kind": kind, "width_m": width, "top_m": _top_m(*points[0], height)}, points)
        for name, kind, points, width, height in WALLS
    ]
    return blocks + walls


def _beams() -> list[Row]:
    return [
        line({"id": name, "kind": "beam", "width_m": width, "level_m": FLOOR_M + above} | SURVEYED, points)
        for name, points, width, above in BEAMS
    ]


def _gullies() -> list[Row]:
    """A gully's grating in the middle of each bay of the slab."""
    middles = [
        ((column + 0.5) * BAY_EAST_M, (row + 0.5) * BAY_NORTH_M)
        for column in range(BAYS_EAST) for row in range(BAYS_NORTH)
    ]  # fmt: skip
    return [
        {"id": f"gully-{number}", "kind": "cover", "x": x, "y": y, "width_m": GULLY_M}
        for number, (x, y) in enumerate(middles, start=1)
    ]


SAMPLE = Sample(
    name="whimbrel_hall",
    bounds=(-14.0, 0.0, 44.0, 28.5),
    surface=surface,
    noise_sigma_m=NOISE_SIGMA_M,
    boundary=BOUNDARY,
    layers={
        "obstacles": _obstacles(),
        "soffits": area_features(SOFFITS) + _beams(),
        "surfaces": area_features(SURFACES),
        "walkways": area_features(WALKWAYS),
        "areas": area_features(AREAS),
    },
    defects=_gullies() + SILLS,
    places=PLACES,
)
