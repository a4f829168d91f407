"""Values that a route is made of: poses, checks, moves and the plan. No behaviour beyond what the values say.

Bearings are grid bearings of the chassis arrow in degrees clockwise from grid north; a kernel's heading is radians
anticlockwise from east. Margins are >= 0 when good, in the unit of their limit, rounded against the user.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from routeplan.machine.model import Machine

CheckVerdict = Literal["pass", "pass with controls", "not proven", "fail"]
MoveVerdict = Literal["pass", "pass with controls", "not proven", "fail", "no route", "search limit"]
#: The figures of a recorded thing that a person can measure on a walk.
Measured = Literal["depth", "width", "height", "level", "clear height"]

#: What an open check may wait for.
Wanted = Literal["figure", "layer", "accuracy", "overhead", "level", "other", "nothing"]

#: From worst to best, as printed.
MOVE_VERDICTS: tuple[MoveVerdict, ...] = (
    "no route", "search limit", "fail", "not proven", "pass with controls", "pass",
)  # fmt: skip


def heading_rad(bearing_deg: float) -> float:
    """Heading in radians anticlockwise from east, in (-pi, pi], for a grid bearing.

    >>> round(heading_rad(0.0), 6), round(heading_rad(90.0), 6)
    (1.570796, 0.0)
    """
    angle = math.radians(90.0 - bearing_deg)
    return math.atan2(math.sin(angle), math.cos(angle))


def bearing_deg(heading: float) -> float:
    """Grid bearing in degrees, in [0, 360), for a heading in radians anticlockwise from east.

    >>> bearing_deg(0.0)
    90.0
    """
    return (90.0 - math.degrees(heading)) % 360.0 % 360.0


class Pose(NamedTuple):
    """One row of a route; the columns of ``poses`` in ``plan.json``."""

    x: float
    y: float
    bearing_deg: float
    gear: int
    travel_mode: str
    steer: str
    regime: str
    v_max_mps: float
    chainage_m: float


class SectionRow(NamedTuple):
    """What a stretch of a way is like, from a chainage to the next row's; columns of ``section`` in ``plan.json``.

    Parameters
    ----------
    level_m, pitch_deg, roll_deg
        Where it leans most: level at mid-wheelbase, front up, left side up.
    grade_deg, side_deg, head_m, strike_m, bounce_m, body_m
        Least to spare: to the steepest grade and side slope, under what is overhead, under the chassis, to the bounce
        limit, to either side; NaN where nothing is near.
    load_kn
        Least to spare of what the ground lets a wheel carry; NaN where nothing is claimed of it, or nobody knows.
    v_max_mps
        The lowest speed limit within half a metre.
    """

    chainage_m: float
    level_m: float
    pitch_deg: float
    roll_deg: float
    grade_deg: float
    side_deg: float
    head_m: float
    strike_m: float
    bounce_m: float
    body_m: float
    load_kn: float
    v_max_mps: float


@dataclass(frozen=True)
class Measurement:
    """One thing to measure or say that, with the others of its check, settles what is open.

    Parameters
    ----------
    what, name
        A figure of the machine, a layer of the site, the accuracy of the survey, a soffit or line, a spot level; or
        something else, or nothing that helps. The name is that of the figure, layer or feature.
    place
        Where; NaN where it has no place.
    level_m
        Of a spot level, what the plan has there; NaN of others.
    sigma_m
        Standard deviation that is enough, metres; NaN where that says nothing.
    fewest
        Of spot levels, whether no smaller set of places under the wheels settles it; else false.
    text
        In words.
    """

    what: Wanted
    name: str
    place: tuple[float, float]
    level_m: float
    sigma_m: float
    fewest: bool
    text: str


@dataclass(frozen=True)
class Check:
    """One line of the catalogue for one move: the governing (worst) instance along the route.

    ``value``, ``limit``, ``margin``, ``sigma``, ``k`` are NaN when the check could not be made; it is then not proven
    and ``assumed`` says why. ``assumed`` lists every assumption, class figure and missing figure the verdict rests on;
    ``settled_by`` what, measured all together, settles an open check.
    """

    kind: str
    verdict: CheckVerdict
    value: float
    limit: float
    margin: float
    unit: str
    sigma: float
    k: float
    chainage_m: float
    place: tuple[float, float]
    source: str
    assumed: tuple[str, ...] = ()
    settled_by: tuple[Measurement, ...] = ()


@dataclass(frozen=True)
class Control:
    """Something people must do for the verdict to hold, and where along the route."""

    kind: str
    chainage_m: float
    text: str


@dataclass(frozen=True)
class Hold:
    """A point where the machine stops until somebody says go."""

    chainage_m: float
    place: tuple[float, float]
    text: str


@dataclass(frozen=True)
class Zone:
    """A stretch of a move where a hazard bites, linked to where the basket then is.

    ``kind`` is ``bounce``, ``slope`` or ``low gap``. ``ground`` is the outline under the wheels, ``basket`` the outline
    the basket then sweeps, both as rings of site coordinates.
    """

    kind: Literal["bounce", "slope", "low gap"]
    chainage_from_m: float
    chainage_to_m: float
    value: float
    limit: float
    unit: str
    ground: tuple[tuple[float, float], ...]
    basket: tuple[tuple[float, float], ...]
    text: str


End = Literal["basket end", "arrow end"]
Orientation = Literal["uphill", "downhill", "level"]
Facing = Literal["leading", "trailing"]


@dataclass(frozen=True)
class Stand:
    """How a machine stands and goes on a stretch of a way.

    ``end`` is what the words speak of: the basket's end, or that of the chassis arrow where a platform lies over the
    whole chassis. ``orientation`` is how that end lies on the slope along the machine, whichever way it drives;
    ``facing`` is whether it leads or trails, whatever the slope.
    """

    chainage_from_m: float
    chainage_to_m: float
    end: End
    orientation: Orientation
    facing: Facing


@dataclass(frozen=True)
class Leg:
    """A part of a move between two nodes of the site graph, checked by itself.

    ``start`` and ``goal`` are places of the site, or words for a hold point or a narrow gap. ``areas`` and ``hazards``
    are what the body may touch, driving tolerance included.
    """

    start: str
    goal: str
    length_m: float
    cost_m: float
    verdict: MoveVerdict
    areas: tuple[str, ...]
    hazards: tuple[str, ...]
    chainage_from_m: float
    chainage_to_m: float
    travel_mode: str


@dataclass(frozen=True)
class NearMiss:
    """Where a way would have gone on: what blocks, where, and by how much (mm short of what is needed)."""

    kind: str
    place: tuple[float, float]
    short_mm: float
    text: str


@dataclass(frozen=True)
class Objection:
    """One thing the second opinion does not accept."""

    kind: str
    chainage_m: float
    place: tuple[float, float]
    value: float
    limit: float
    unit: str
    text: str


@dataclass(frozen=True)
class StopNumber:
    """What a person who walks the route measures at one place, and the reading that stops the move.

    Parameters
    ----------
    feature, what
        Id of a defect or soffit, and which figure of it.
    recorded_m
        What the site has, as the site gives it.
    last_good_m
        The deepest, widest, highest or lowest reading that leaves every check of the move as good as it is, a whole
        number of millimetres from what is recorded; a reading beyond it stops the move.
    stops
        The checks that then are worse than they are.
    chainage_m, place
        Where on the way the first of them is.
    """

    feature: str
    what: Measured
    recorded_m: float
    last_good_m: float
    stops: tuple[str, ...]
    chainage_m: float
    place: tuple[float, float]


@dataclass(frozen=True)
class Refused:
    """A route the second opinion refused: its poses, kept apart from what people drive, and the objections."""

    poses: tuple[Pose, ...]
    objections: tuple[Objection, ...]


@dataclass(frozen=True)
class Conditions:
    """What the plan assumed of the day, beyond what the site folder says.

    Parameters
    ----------
    closed, opened
        Ids of areas that are closed, or open, whatever their dates.
    added
        Names of files beside the plan whose hazards were added.
    wet
        Whether no move waits for dry ground.
    on
        Day of issue where some move has no day of its own: what is accepted or proven later counts for none.
    machines
        By the id of a machine that was ordered: the one delivered, or the name of the file beside the plan that has its
        figures.
    """

    closed: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    wet: bool = False
    on: str | None = None
    machines: Mapping[str, str] = field(default_factory=dict)

    @property
    def files(self) -> tuple[str, ...]:
        """Names of files beside the plan that it was made for."""
        return (*self.added, *(new for new in self.machines.values() if new.endswith(".toml")))


@dataclass(frozen=True)
class Move:
    """One planned move. ``poses`` is empty when there is nothing that may be driven (no route, search limit, refused).

    ``bound`` is ``max(1, cost_m / best_possible_m)`` rounded up; NaN figures mean "no route to measure". ``via`` are
    the stops of a round, in driving order, between ``start`` and ``goal``. ``platform_height_m`` is how high the
    platform's floor is raised while it travels, ``None`` when it travels lowered. ``stands`` are orientation and facing
    from its start to its end. ``under`` is
    what held when ``best_possible_m`` was found, every area then closed among it: the move holds where no more is open.
    ``valid_until`` is the last day before a dated change touches what its body covers, ``None`` where none does.
    """

    id: str
    purpose: str
    machine: str
    configuration: str
    start: str
    goal: str
    on: str | None
    verdict: MoveVerdict
    reason: str
    length_m: float
    cost_m: float
    lattice_cost_m: float
    best_possible_m: float
    bound: float
    poses: tuple[Pose, ...]
    checks: tuple[Check, ...]
    controls: tuple[Control, ...]
    holds: tuple[Hold, ...]
    zones: tuple[Zone, ...]
    reversals: int
    refused: Refused | None
    legs: tuple[Leg, ...]
    nearest_misses: tuple[NearMiss, ...]
    via: tuple[str, ...] = ()
    platform_height_m: float | None = None
    stands: tuple[Stand, ...] = ()
    under: Conditions = Conditions()
    valid_until: str | None = None
    section: tuple[SectionRow, ...] = ()


@dataclass(frozen=True)
class FileRecord:
    """A file by relative posix path and sha256."""

    path: str
    sha256: str


@dataclass(frozen=True)
class Plan:
    """All moves of a site at one moment; written to ``plan.json`` by ``planfile``."""

    software: str
    issued: str
    valid_until: str | None
    revision: str
    supersedes: str | None
    status: Literal["draft", "issued"]
    conditions: Conditions
    site_name: str
    site_revision: str
    crs: str
    invented: bool
    inputs: tuple[FileRecord, ...]
    grid: Mapping[str, Any]
    confidence_route: float
    k_by_move: Mapping[str, float]
    machines: Mapping[str, Machine]
    moves: tuple[Move, ...]
    not_checked: tuple[str, ...]
    cautions: tuple[str, ...]


#: Printed on every output that people act on.
CAUTIONS: tuple[str, ...] = (
    "Planning aid only. It does not claim stability, certify ground or replace a competent person.",
    "The machine's manual and the site's own rules come first.",
    "A competent person walks the route, decides, and signs before the machine moves.",
    "What is not known is not a pass: open checks are settled by measurement, not by this sheet.",
    "Void when the ground, the overheads, the machine, the drawing or the weather has changed since it was issued.",
)
