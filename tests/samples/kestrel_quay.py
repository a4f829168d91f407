"""What stands, hangs and breaks off at Kestrel Quay, an invented yard: plain tables.

Every figure here is made up for demonstration. Coordinates are site metres, x east and y north.
"""

from __future__ import annotations

import numpy as np

from tests.samples.writing import XY, Array, Feature, Place, Row, Sample, area, area_features, line, rectangle

BASE_M, NORTH_FALL, EAST_FALL = 4.0, 0.012, 0.003
LEVEL_CHANGE_M = 1.6
WALL_NORTHING_M = 105.0
RAMP_EAST, RAMP_NORTH, RAMP_GRADE = (120.0, 150.0), (85.0, 115.0), 0.08
SAG_END_M, CREST_START_M = 12.0, 22.0
BANK_WEST_M, BANK_NORTH = 185.0, (95.0, 101.0, 102.64)
BANK_GRADE = (0.13, 0.5)
TRENCH = (149.7, 30.0, 150.3, 62.0)
EXCAVATION = (176.0, 36.0, 194.0, 54.0)
#: Half of what the survey admits to in ``site.toml``.
NOISE_SIGMA_M = 0.001

BOUNDARY: list[XY] = [(0, 0), (256, 0), (256, 196), (246, 206), (0, 206)]


def yard_level(x: float, y: float) -> float:
    """Level of the lower yard's plane, metres; the upper yard stands ``LEVEL_CHANGE_M`` higher."""
    return BASE_M + NORTH_FALL * y + EAST_FALL * x


def lower_top(x: float, y: float, height_m: float) -> float:
    """Top level of something standing in the lower yard."""
    return round(yard_level(x, y) + height_m, 2)


def upper_top(x: float, y: float, height_m: float) -> float:
    """Top level of something standing in the upper yard."""
    return round(yard_level(x, y) + LEVEL_CHANGE_M + height_m, 2)


#: (id, kind, south-west and north-east corner, top level or None when taller than any machine)
BLOCKS: list[tuple[str, str, tuple[float, float, float, float], float | None]] = [
    ("stack-quay", "stack", (202, 46, 210, 62), lower_top(206, 54, 1.8)),
    ("stack-north", "stack", (42, 86, 56, 96), lower_top(49, 91, 1.5)),
    ("stack-south", "laydown", (112, 6, 132, 16), lower_top(122, 11, 1.2)),
    ("stack-upper-1", "stack", (108, 128, 124, 136), upper_top(116, 132, 2.2)),
    ("stack-upper-2", "laydown", (108, 160, 130, 172), upper_top(119, 166, 1.4)),
    ("crane-base", "crane base", (196.5, 146.5, 203.5, 153.5), None),
    ("cabins", "cabins", (224, 158, 246, 170), upper_top(235, 164, 5.2)),
    *((f"rack-column-{side}-{y}", "column", (x, y - 0.25, x + 0.5, y + 0.25), None)
      for side, x in (("west", 99.5), ("east", 106.0)) for y in (10, 30, 40, 50, 60, 70, 90, 100)),
    *((f"frame-column-{x}-{y}", "column", (x - 0.2, y - 0.2, x + 0.2, y + 0.2), None)
      for x in (150, 162, 174) for y in (164, 180)),
]

#: (id, kind, line, width_m, top level or None)
WALLS: list[tuple[str, str, list[XY], float, float | None]] = [
    ("retaining-wall-west", "retaining wall", [(0, 105), (120, 105)], 0.6, upper_top(60, 105, 1.3)),
    ("retaining-wall-east", "retaining wall", [(150, 105), (185, 105)], 0.6, upper_top(167, 105, 1.3)),
    ("ramp-wall-west", "ramp wall", [(120, 85), (120, 115)], 0.4, upper_top(120, 115, 1.2)),
    ("ramp-wall-east", "ramp wall", [(150, 85), (150, 115)], 0.4, upper_top(150, 115, 1.2)),
    ("bank-wall", "wing wall", [(185, 95), (185, 105)], 0.4, upper_top(185, 105, 1.2)),
    ("barrier-south-w", "barrier", [(33.6, 6), (33.6, 40)], 0.2, lower_top(33.6, 40, 1.1)),
    ("barrier-south-e", "barrier", [(36.9, 6), (36.9, 40)], 0.2, lower_top(36.9, 40, 1.1)),
    ("barrier-north-w", "barrier", [(33.6, 68), (33.6, 100)], 0.2, lower_top(33.6, 100, 1.1)),
    ("barrier-north-e", "barrier", [(36.9, 68), (36.9, 100)], 0.2, lower_top(36.9, 100, 1.1)),
    ("shed-west", "building", [(30, 135), (30, 175)], 0.3, None),
    ("shed-east", "building", [(90, 135), (90, 175)], 0.3, None),
    ("shed-north", "building", [(30, 175), (90, 175)], 0.3, None),
    ("shed-south-1", "building", [(30, 135), (56, 135)], 0.3, None),
    ("shed-south-2", "building", [(64, 135), (90, 135)], 0.3, None),
]


def rack_bay(name: str, south: float, north: float, clear_m: float) -> Feature:
    """One bay of the pipe rack; its soffit is surveyed as a level in the middle of the bay."""
    level = round(yard_level(103.0, (south + north) / 2.0) + clear_m, 3)
    return (f"rack-{name}", rectangle(99.0, south, 107.0, north),
            {"kind": "pipe rack", "level_m": level, "fall_y": NORTH_FALL, "sigma_m": 0.005, "survey": "S1"})


#: (id, ring, properties)
SOFFITS: list[Feature] = [
    rack_bay("south-bay", 10, 30, 4.90),
    rack_bay("bay-2", 30, 40, 3.60),
    rack_bay("bay-3", 40, 50, 3.60),
    rack_bay("low-bay", 50, 60, 2.75),
    rack_bay("bay-5", 60, 70, 3.60),
    rack_bay("north-bay", 70, 90, 5.80),
    rack_bay("stub", 90, 104, 3.20),
    ("shed-roof", rectangle(30, 135.4, 90, 175),
     {"kind": "roof", "clear_m": 6.40, "sigma_m": 0.010, "survey": "S1"}),
    ("shed-door-head", rectangle(56, 134.6, 64, 135.4),
     {"kind": "door head", "clear_m": 4.60, "sigma_m": 0.005, "survey": "S1"}),
    ("shed-canopy", rectangle(50, 127, 70, 134.6),
     {"kind": "canopy", "level_m": round(upper_top(60, 130.8, 4.70), 3), "fall_y": 0.03, "sigma_m": 0.008,
      "survey": "S1"}),
]

#: Steel beams between the frame's columns: (id, line, width_m, clear height)
BEAMS: list[tuple[str, list[XY], float, float]] = [
    ("beam-south", [(150, 164), (174, 164)], 0.4, 5.10),
    ("beam-north", [(150, 180), (174, 180)], 0.4, 5.10),
    ("beam-west", [(150, 164), (150, 180)], 0.4, 5.10),
    ("beam-mid", [(162, 164), (162, 180)], 0.4, 4.80),
    ("beam-east", [(174, 164), (174, 180)], 0.4, 5.10),
]

#: Round holes: (x, y, diameter_m, depth_m, in the raster, in the layer)
POTHOLES: list[tuple[float, float, float, float, bool, bool]] = [
    (58.0, 53.25, 0.9, 0.08, True, True),
    (95.0, 55.25, 0.6, 0.05, False, True),
    (112.0, 55.0, 0.8, 0.06, True, True),
    (72.0, 42.0, 0.7, 0.05, True, False),
    (165.0, 143.0, 0.7, 0.07, True, True),
    (228.0, 132.0, 0.6, 0.05, True, True),
]

#: Other defects as rows of ``defects.csv``.
DEFECTS: list[Row] = [
    {"id": "kerb-west", "kind": "kerb", "wkt": "LINESTRING (78 36, 78 64)", "width_m": 0.15, "height_m": 0.10},
    {"id": "kerb-upper", "kind": "kerb", "wkt": "LINESTRING (136 176, 136 188)", "width_m": 0.15, "height_m": 0.10},
    {"id": "sill-shed", "kind": "sill", "wkt": "LINESTRING (56.15 135, 63.85 135)", "width_m": 0.15,
     "height_m": 0.02},
    {"id": "cover-1", "kind": "cover", "x": 46.0, "y": 40.0, "width_m": 0.7, "state": "proven"},
    {"id": "cover-2", "kind": "cover", "x": 168.0, "y": 66.0, "width_m": 0.7, "state": "proven"},
    {"id": "cover-3", "kind": "cover", "x": 104.0, "y": 124.0, "width_m": 0.6},
    {"id": "trench-drain", "kind": "trench", "wkt": "LINESTRING (150 30, 150 62)", "width_m": 0.6, "depth_m": 1.2,
     "state": "open"},
    {"id": "trench-old", "kind": "trench", "wkt": "LINESTRING (215 112, 215 122)", "width_m": 0.5,
     "state": "backfilled and untested"},
    {"id": "plate-1", "kind": "plate", "wkt": "POLYGON ((149 44, 151 44, 151 48, 149 48, 149 44))", "width_m": 2.0,
     "height_m": 0.02, "state": "plated"},
]

ACCEPTED: Row = {"accepted_by": "temporary works coordinator", "accepted_on": "2026-11-20",
                 "accepted_until": "2027-01-31"}

STONE: Row = {
    "kind": "compacted stone", "accepted_mass_kg": 20000, "friction_by": "drag test", "friction_dry": 0.65,
    "friction_wet": 0.55,
} | ACCEPTED

#: The soft patch is a hole in the lower yard's acceptance, and a surface of its own that nobody accepted.
SOFT_PATCH = rectangle(214, 6, 250, 30)
#: (id, ring, holes, properties)
SURFACES: list[tuple[str, list[XY], list[list[XY]], Row]] = [
    ("yard-lower", rectangle(0, 0, 256, 97), [SOFT_PATCH], STONE),
    ("yard-middle", rectangle(0, 93, 256, 117), [], STONE),
    ("yard-upper-south", rectangle(0, 113, 256, 135), [], STONE),
    ("yard-upper-east", rectangle(90, 133, 256, 206), [], STONE),
    ("shed-slab", rectangle(30, 133, 90, 175), [], {
        "kind": "concrete slab", "accepted_mass_kg": 8000, "friction_by": "drag test", "friction_dry": 0.75,
        "friction_wet": 0.5, "loose": "rust scale", "friction_loose": 0.45,
    } | ACCEPTED),
    ("soft-patch", SOFT_PATCH, [], {"kind": "made ground"}),
]

WALKWAYS: list[Feature] = [
    ("footway-lower-south", rectangle(34, 6, 36.5, 40), {"kind": "footway"}),
    ("crossing-lower", rectangle(34, 40, 36.5, 68), {"kind": "crossing"}),
    ("footway-lower-north", rectangle(34, 68, 36.5, 100), {"kind": "footway"}),
    ("footway-upper", rectangle(96, 126, 98, 186), {"kind": "footway"}),
    ("crossing-upper", rectangle(96, 107, 98, 126), {"kind": "crossing"}),
]

AREAS: list[Feature] = [
    ("north-bay", rectangle(94, 66, 112, 96),
     {"title": "North bay, pipe lifting", "closed": "2026-12-14/2026-12-16"}),
    ("crane-slew", rectangle(188, 138, 212, 162),
     {"title": "Crane slew", "closed": "2026-12-03/2026-12-04; 2026-12-10/2026-12-11"}),
]

#: (id, line, corridor_m to each side)
LINES: list[tuple[str, list[XY], float]] = [("overhead-line-1", [(0, 199), (256, 199)], 8.0)]
EXCAVATIONS: list[Feature] = [("pit-1", rectangle(*EXCAVATION), {"set_back_m": 3.0})]

PLACES: list[Place] = [
    ("gate-1", "gate", "West gate, lower yard", 6.0, 52.0, None, 0.5),
    ("dropoff-1", "drop-off", "Drop-off inside the west gate", 18.0, 52.0, 90.0, 0.25),
    ("pickup-1", "drop-off", "Collection bay, lower yard", 18.0, 70.0, None, 0.5),
    ("gate-2", "gate", "North-west gate, upper yard", 6.0, 120.0, None, 0.5),
    ("pickup-2", "drop-off", "Collection bay, upper yard", 20.0, 120.0, None, 0.5),
    ("rack-1", "workface", "Pipe rack, north bay", 103.0, 76.0, 0.0, 0.25),
    ("quay-east", "workface", "Quay steel, east", 228.0, 60.0, None, 0.5),
    ("bank-foot", "workface", "Foot of the bank", 236.0, 82.0, None, 0.5),
    ("bank-top", "workface", "Head of the bank", 238.0, 118.0, None, 0.5),
    ("shed-door", "door", "Shed, south door", 60.0, 135.0, 0.0, 0.25),
    ("shed-1", "workface", "Inside the shed", 60.0, 158.0, None, 0.5),
    ("frame-1", "workface", "Steel frame, west bay", 156.0, 172.0, None, 0.5),
    ("crane-1", "workface", "Crane base, west side", 184.0, 150.0, None, 0.5),
    ("ramp-foot", "ramp end", "Foot of the ramp", 135.0, 82.0, 0.0, 0.5),
    ("ramp-head", "ramp end", "Head of the ramp", 135.0, 117.0, 0.0, 0.5),
    ("parking-1", "parking", "Parking and charging", 62.0, 20.0, 90.0, 0.5),
    ("refuge-1", "refuge", "Muster point, lower yard", 12.0, 90.0, None, 0.5),
]


def ramp_rise(y: Array) -> Array:
    """Rise of the ramp above the lower yard's plane: a sag curve, a straight and a crest curve, metres."""
    along = np.clip(y - RAMP_NORTH[0], 0.0, RAMP_NORTH[1] - RAMP_NORTH[0])
    sag, crest, grade = SAG_END_M, CREST_START_M, RAMP_GRADE
    top = RAMP_NORTH[1] - RAMP_NORTH[0] - crest
    past = np.clip(along - crest, 0.0, None)
    return np.where(
        along < sag,
        grade * along**2 / (2.0 * sag),
        grade * (sag / 2.0 + np.minimum(along, crest) - sag) + grade * (past - past**2 / (2.0 * top)),
    )


def bank_rise(y: Array) -> Array:
    """Rise of the bank above the lower yard's plane, metres."""
    foot, knee, head = BANK_NORTH
    lower, upper = BANK_GRADE
    return lower * np.clip(y - foot, 0.0, knee - foot) + upper * np.clip(y - knee, 0.0, head - knee)


def surface(x: Array, y: Array) -> Array:
    """Level of the ground, metres."""
    wall = np.where(y >= WALL_NORTHING_M, LEVEL_CHANGE_M, 0.0)
    on_ramp = (x >= RAMP_EAST[0]) & (x <= RAMP_EAST[1])
    rise = np.where(x >= BANK_WEST_M, bank_rise(y), np.where(on_ramp, ramp_rise(y), wall))
    z: Array = BASE_M + NORTH_FALL * y + EAST_FALL * x + rise
    for east, north, diameter, depth, in_raster, _ in POTHOLES:
        if in_raster:
            z = np.where(np.hypot(x - east, y - north) <= diameter / 2.0, z - depth, z)
    for (x0, y0, x1, y1), depth in ((TRENCH, 1.2), (EXCAVATION, 2.0)):
        z = np.where((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1), z - depth, z)
    return z


def _obstacles() -> list[Row]:
    """Blocks as areas, walls as lines with a width."""
    blocks = [
        area({"id": name, "kind": kind, "top_m": top}, rectangle(*corners)) for name, kind, corners, top in BLOCKS
    ]
    walls = [
        line({"id": name, "kind": kind, "width_m": width, "top_m": top}, points)
        for name, kind, points, width, top in WALLS
    ]
    return blocks + walls


def _soffits() -> list[Row]:
    """Areas overhead, and the frame's beams as lines with a width."""
    return area_features(SOFFITS) + [
        line({"id": name, "kind": "beam", "width_m": width, "clear_m": clear, "sigma_m": 0.01, "survey": "S1"}, points)
        for name, points, width, clear in BEAMS
    ]


def _listed_potholes() -> list[Row]:
    """The potholes that the defect list holds."""
    return [
        {"id": f"pothole-{number}", "kind": "pothole", "x": x, "y": y, "width_m": width, "depth_m": depth,
         "state": "open"}
        for number, (x, y, width, depth, _, listed) in enumerate(POTHOLES, start=1)
        if listed
    ]


SAMPLE = Sample(
    name="kestrel_quay",
    bounds=(0.0, 0.0, 256.0, 206.0),
    surface=surface,
    noise_sigma_m=NOISE_SIGMA_M,
    boundary=BOUNDARY,
    layers={
        "obstacles": _obstacles(),
        "soffits": _soffits(),
        "surfaces": [area({"id": name} | more, outer, *holes) for name, outer, holes, more in SURFACES],
        "walkways": area_features(WALKWAYS),
        "areas": area_features(AREAS),
        "excavations": area_features(EXCAVATIONS),
        "overhead_lines": [line({"id": name, "corridor_m": corridor}, points) for name, points, corridor in LINES],
    },
    defects=_listed_potholes() + DEFECTS,
    places=PLACES,
)
