"""What a site is: one frozen value, read and validated once, in site metres (x easting, y northing, z level).

Every geometry is a shapely geometry in the site's own coordinates. ``None`` marks what the site folder does not say;
NaN marks an unknown level. Unknown is never a pass: hazards treat both as reasons to block or to leave a check open.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from routeplan.machine.model import Machine
from routeplan.site.bearing import Bearing, Proof
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.friction import Friction
from routeplan.site.hire import Hire
from routeplan.site.reading import Reading

TravelMode = Literal["ridden", "beside_rails_up", "beside_rails_folded"]
#: A move may leave the travel mode to the planner, which then changes it at hold points.
ModeWanted = Literal["ridden", "beside_rails_up", "beside_rails_folded", "any"]
Purpose = Literal["delivery", "collection", "relocation"]
Regime = Literal["stowed", "elevated"]
DefectKind = Literal["pothole", "kerb", "sill", "cover", "plate", "trench"]


@dataclass(frozen=True)
class Accuracy:
    """How good a survey is.

    Parameters
    ----------
    short_range_m
        Standard deviation of one level against its near neighbours (relative), metres.
    datum_m
        Standard deviation of the survey as a whole, metres; cancels in slopes, adds in full between two surveys.
    correlation_m
        Distance over which short-range errors are alike; rho(d) = exp(-d / correlation_m).
    smallest_hole_m
        Plan size of the smallest hole the survey would show; ``None`` when nobody said.
    survey
        Its name: levels and soffits of the same survey share a datum error.
    date
        Day of the survey, ``None`` when nobody said.
    assumed
        True when the accuracy is a guess: every check that rests on it is then not proven.
    """

    short_range_m: float
    datum_m: float
    correlation_m: float
    smallest_hole_m: float | None
    survey: str
    date: dt.date | None
    assumed: bool


@dataclass(frozen=True, eq=False)
class Ground:
    """Levels at the nodes of a square grid, bilinear between nodes.

    Parameters
    ----------
    z
        ``(rows, cols)`` float64 levels in metres, row 0 the southernmost; NaN where unknown.
    x_min, y_min
        Site coordinates of node ``[0, 0]``, metres.
    cell_m
        Node spacing, metres.
    accuracy
        How good the levels are.
    surveyed
        Levels as surveyed where readings have put ``z`` right, ``None`` where ``z`` is what was surveyed.
    """

    z: NDArray[np.float64]
    x_min: float
    y_min: float
    cell_m: float
    accuracy: Accuracy
    surveyed: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Obstacle:
    """Something the body must keep clear of; ``top_m`` is its top level, ``None`` when taller than any machine."""

    id: str
    geometry: Polygon
    kind: str
    top_m: float | None


@dataclass(frozen=True)
class Soffit:
    """The underside of something overhead.

    Parameters
    ----------
    level_m
        Level at the geometry's centroid; ``None`` when given as a clear height instead.
    clear_m
        Clear height above the ground below it, point by point; ``None`` when given as a level.
    fall_x, fall_y
        Change of level per metre east and north (a sloping soffit), from the centroid.
    sigma_m
        Standard deviation of the level or clear height; ``None`` leaves every gap under it not proven.
    survey
        Survey that measured it; the datum error cancels when it is the survey of the levels.
    """

    id: str
    geometry: Polygon
    kind: str
    level_m: float | None
    clear_m: float | None
    fall_x: float
    fall_y: float
    sigma_m: float | None
    survey: str | None


@dataclass(frozen=True)
class Acceptance:
    """A competent person's word that a surface carries a machine: role, day, largest gross mass, last day of
    validity.
    """

    role: str
    date: dt.date
    mass_limit_kg: float
    valid_until: dt.date | None = None


@dataclass(frozen=True)
class Surface:
    """A piece of ground; driven on only where its ``acceptance`` covers the machine's mass on the day.

    ``bearing`` is what the site claims of wheels on it; ``None`` when it claims nothing and the acceptance decides.
    ``friction`` is how tyres grip it; ``None`` when nobody said.
    """

    id: str
    geometry: Polygon
    kind: str
    acceptance: Acceptance | None
    bearing: Bearing | None = None
    friction: Friction | None = None


@dataclass(frozen=True)
class Defect:
    """A point, line or area where the ground breaks off: a hole, a step, a cover, a plate, a trench.

    ``geometry`` is always a polygon in plan (points and lines are given their width on reading).
    ``depth_m`` lowers, ``height_m`` raises a wheel; both zero for a flush cover. ``width_m`` is the size across.
    ``state`` is the trade's word: open, plated, backfilled and untested, proven, resurfaced; ``None`` if nobody said.
    ``proof`` is what lets wheels over a cover or plate, whose ``height_m`` is that of its lip; ``None`` lets none.
    """

    id: str
    kind: DefectKind
    geometry: Polygon
    width_m: float
    depth_m: float
    height_m: float
    state: str | None
    proof: Proof | None = None


@dataclass(frozen=True)
class Walkway:
    """Where people walk; a body over it makes a hold point with a traffic marshal."""

    id: str
    geometry: Polygon
    kind: str


@dataclass(frozen=True)
class SafetyDistance:
    """How far from a line everything stays, m, by a table that the site names: for this voltage, whom and what it
    speaks of, and where it is published.
    """

    voltage_kv: float
    distance_m: float
    scope: str
    source: str


@dataclass(frozen=True)
class LineHeight:
    """How low a line hangs.

    ``level_m`` is the level of the lowest conductor where it hangs lowest, as measured; NaN where it was measured above
    ground that nobody knows. ``sag_m`` is how much lower it may come (heat, ice, load). ``sigma_m`` and ``survey`` are
    those of the measurement, as for a soffit.
    """

    level_m: float
    sag_m: float
    sigma_m: float | None
    survey: str | None


@dataclass(frozen=True)
class LineCorridor:
    """The ground under an overhead line.

    Parameters
    ----------
    geometry
        What is drawn, grown by ``corridor_m`` and by the safety distance.
    corridor_m
        How far to each side the site wants it kept clear: where conductors hang and swing.
    safety
        ``None`` where nobody named a table or a voltage.
    height
        ``None`` where nobody measured one or there is no safety distance: then nothing enters; else what stays as far
        below may pass.
    """

    id: str
    geometry: Polygon
    corridor_m: float
    safety: SafetyDistance | None = None
    height: LineHeight | None = None

    @property
    def distance_m(self) -> float:
        """The safety distance, 0 where there is none."""
        return 0.0 if self.safety is None else self.safety.distance_m


@dataclass(frozen=True)
class Excavation:
    """An open excavation; wheels keep ``set_back_m`` from its outline."""

    id: str
    geometry: Polygon
    set_back_m: float


@dataclass(frozen=True)
class Area:
    """A named area and the spans of days, both ends included, on which it is closed.

    ``reopened`` where it is taken as open against its own dates.
    """

    id: str
    title: str
    geometry: Polygon
    closures: tuple[tuple[dt.date, dt.date], ...]
    reopened: bool = False

    def closed_on(self, day: dt.date | None) -> bool:
        """Whether the area is closed on a day; with no day, whether it ever is."""
        if day is None:
            return bool(self.closures)
        return any(first <= day <= last for first, last in self.closures)


@dataclass(frozen=True)
class Place:
    """A gate, drop-off, workface, door, ramp end, parking or refuge.

    ``bearing_deg`` is the grid bearing of the chassis arrow (clockwise from grid north), ``None`` when any will do.
    ``tolerance_m`` is how far the machine's origin may stand from the point.
    """

    id: str
    kind: str
    title: str
    point: Point
    bearing_deg: float | None
    tolerance_m: float


@dataclass(frozen=True)
class MoveWanted:
    """One move the site asks for; ``via`` are places to stop at on the way, in order.

    ``wet`` is false where it is made on dry ground only.
    ``regime`` is how it is to travel; elevated, its platform's floor is ``platform_height_m`` above the ground.
    """

    id: str
    purpose: Purpose
    machine: str
    configuration: str
    travel_mode: ModeWanted
    start: str
    goal: str
    on: dt.date | None
    via: tuple[str, ...] = ()
    wet: bool = True
    regime: Regime = "stowed"
    platform_height_m: float | None = None


@dataclass(frozen=True)
class Thresholds:
    """The site's own limits; the defaults and their sources stand in ``docs/site-folder.md``.

    ``tip_participation`` is how much livelier the basket is than a rigid boom (worst of the range 1 to 1.6, value from
    memory). Gaps: EN ISO 13854 / EN 349 (head 300 mm, body 500 mm, which a slewing tail keeps too),
    as listed at app.auva.at/Lexikon/Topic/SafetyDistances.
    The rest is common practice, no source.
    """

    head_gap_m: float = 0.30
    body_gap_m: float = 0.50
    structure_clearance_m: float = 0.10
    tail_gap_m: float = 0.50
    ground_clearance_m: float = 0.01
    head_height_m: float = 2.00
    lateral_tolerance_m: float = 0.15
    heading_tolerance_deg: float = 2.0
    bounce_limit_m: float = 0.30
    kerb_angle_deg: float = 15.0
    kerb_side_slope_deg: float = 3.0
    tip_participation: float = 1.6
    route_confidence: float = 0.95
    stopping_distance_m: float = 3.0
    reaction_s: float = 1.0
    reading_sigma_m: float = 0.002


@dataclass(frozen=True)
class GridSpec:
    """The planner's lattice: cell size in metres and number of headings."""

    cell_m: float = 0.25
    headings: int = 16


@dataclass(frozen=True)
class Contact:
    """Somebody to call, as a role and a call sign; never a name."""

    role: str
    call_sign: str


@dataclass(frozen=True)
class InputFile:
    """A file the site was read from: path relative to the site folder (posix) and sha256."""

    path: str
    sha256: str


@dataclass(frozen=True, eq=False)
class Site:
    """Everything the site folder says.

    ``layers_given`` names the layers that the folder gives or declares to be empty; a check on a layer that is neither
    is not proven. ``repairs`` lists what ``repair = "make_valid"`` changed. ``crs`` is ``"local"`` or an authority code
    such as
    ``"EPSG:3007"`` whose axes are metres. ``invented`` marks demonstration data and is printed on every output.
    """

    name: str
    revision: str
    crs: str
    invented: bool
    boundary: Polygon
    ground: Ground
    obstacles: tuple[Obstacle, ...] = ()
    soffits: tuple[Soffit, ...] = ()
    surfaces: tuple[Surface, ...] = ()
    defects: tuple[Defect, ...] = ()
    walkways: tuple[Walkway, ...] = ()
    line_corridors: tuple[LineCorridor, ...] = ()
    excavations: tuple[Excavation, ...] = ()
    areas: tuple[Area, ...] = ()
    readings: tuple[Reading, ...] = ()
    elevated_zones: tuple[ElevatedZone, ...] = ()
    places: Mapping[str, Place] = field(default_factory=dict)
    machines: Mapping[str, Machine] = field(default_factory=dict)
    moves: tuple[MoveWanted, ...] = ()
    contacts: tuple[Contact, ...] = ()
    hire: Mapping[str, Hire] = field(default_factory=dict)
    thresholds: Thresholds = Thresholds()
    grid: GridSpec = GridSpec()
    inputs: tuple[InputFile, ...] = ()
    layers_given: frozenset[str] = frozenset()
    repairs: tuple[str, ...] = ()
