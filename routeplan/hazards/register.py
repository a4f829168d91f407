"""The catalogue of checks: what each is called, in which unit, on which figures and layers it rests
(docs/method.md 7).
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable
from dataclasses import dataclass

from routeplan.hazards import arrays
from routeplan.machine.model import Machine
from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.machine.read import ONLY_STEERING
from routeplan.machine.shape import CONFIGURATIONS
from routeplan.route import CheckVerdict
from routeplan.site.model import Site

_RATINGS = ("gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct")
_WHEELS = ("wheelbase_m", "track_m", "wheel_radius_m", "wheel_width_m")
_CONTACTS = ("wheelbase_m", "track_m", "wheel_width_m")
_PLAN = ("length_m", "width_m")
_TURN = ("turn_radius_outside_m", "wheelbase_m", "front_overhang_m", "width_m", "pivots")
#: Figures that shape the body of machines that have them; every check of the body rests on them too.
_SHAPE = (
    "front_overhang_m",
    "rear_overhang_m",
    "basket_overhang_m",
    "basket_length_m",
    "basket_width_m",
    "tail_overhang_m",
    "boom_top_m",
    "chassis_top_m",
)
#: What rests on these rests on levels: where wheels stand, and how far the body then leans.
_ON_LEVELS = frozenset({"wheel_radius_m", "length_m"})
METHOD = "docs/method.md"


@dataclass(frozen=True)
class CheckKind:
    """One line of the catalogue.

    ``index`` is its place in the kernels' margins, -1 for a check made outside them. ``surveyed`` says that its sigma
    comes from the survey of the levels.
    """

    kind: str
    index: int
    unit: str
    figures: tuple[str, ...]
    layers: tuple[str, ...] = ()
    surveyed: bool = False
    source: str = f"{METHOD} 7"


CATALOGUE: tuple[CheckKind, ...] = (
    CheckKind("gradeability", arrays.GRADE, "deg", (*_RATINGS, *_WHEELS), surveyed=True, source="the machine's sheet"),
    CheckKind(
        "side slope",
        arrays.SIDE_SLOPE,
        "deg",
        ("side_slope_pct", *_WHEELS),
        surveyed=True,
        source="the machine's sheet",
    ),
    CheckKind("combined slope", arrays.COMBINED, "1", (*_RATINGS, "side_slope_pct", *_WHEELS), surveyed=True),
    CheckKind("ground strike", arrays.STRIKE, "m", ("ground_clearance_m", "length_m", *_WHEELS), surveyed=True),
    CheckKind("side clearance", arrays.CLEARANCE, "m", _PLAN, ("obstacles",), source="EN ISO 13854 / EN 349; site"),
    CheckKind(
        "head gap",
        arrays.HEAD,
        "m",
        ("platform_floor_m", "length_m", *_WHEELS),
        ("soffits",),
        True,
        "EN ISO 13854 / EN 349; site",
    ),
    CheckKind(
        "overhead clearance",
        arrays.OVERHEAD,
        "m",
        ("height_m", *_PLAN, *_WHEELS),
        ("soffits",),
        True,
        "EN ISO 13854 / EN 349; site",
    ),
    CheckKind(
        "bounce rise", arrays.BOUNCE, "m", (*_WHEELS, "platform_floor_m", "length_m"), ("defects",), True,
        f"{METHOD} 6; site limit",
    ),
    CheckKind("step", arrays.STEP, "m", ("step_limit_m", *_WHEELS), ("defects",), source="the machine's sheet"),
    CheckKind(
        "surface acceptance",
        arrays.ACCEPTANCE,
        "m",
        ("mass_kg", *_CONTACTS),
        ("surfaces",),
        source="the site's acceptance",
    ),
    CheckKind("covers, plates and trenches", arrays.COVERS, "m", _CONTACTS, ("defects",)),
    CheckKind(
        "excavation edge",
        arrays.EXCAVATION,
        "m",
        _CONTACTS,
        ("excavations",),
        source="the site's set-back",
    ),
    CheckKind("overhead lines", arrays.LINES, "m", _PLAN, ("overhead_lines",)),
    CheckKind("closed areas", arrays.CLOSED, "m", _PLAN),
    CheckKind("walkways", arrays.WALKWAY, "m", _PLAN, ("walkways",)),
    CheckKind("turning", -1, "m", _TURN, source="the machine's sheet"),
    CheckKind("levels known", arrays.LEVELS, "1", ()),
    CheckKind(
        "survey resolution",
        -1,
        "m",
        ("wheel_radius_m", "wheelbase_m"),
        source=f"{METHOD} 7; smallest hole the survey shows",
    ),
)

#: What the catalogue does not hold yet; printed on every output.
NOT_CHECKED: tuple[str, ...] = (
    "Wheel loads, bearing pressure, covers, plates and slabs by calculation: covers, plates and trenches "
    "are not driven "
    "over, and ground only where a competent person has accepted it.",
    "Grip and stopping distance on slopes.",
    "Approach to overhead lines by height and voltage: their corridors are not entered.",
    "Driving with the platform raised, and set-up or slewing at the workface.",
    "Basket bounce as a motion in time: a fixed allowance stands for it, at stowed travel speed.",
    "The angle at which a kerb is met.",
    "Other plant and traffic, lighting, weather, rescue, charging, permits and training.",
)


def by_kind(kind: str) -> CheckKind:
    """The catalogue's line of a kind; ``KeyError`` when there is none."""
    return {line.kind: line for line in CATALOGUE}[kind]


def verdict(margin: float, sigma: float, k: float) -> CheckVerdict:
    """The verdict rule: proven, failed, or not proven; an unknown margin is not proven.

    >>> verdict(0.05, 0.01, 3.0), verdict(0.02, 0.01, 3.0), verdict(-0.05, 0.01, 3.0), verdict(math.nan, 0.0, 3.0)
    ('pass', 'not proven', 'fail', 'not proven')
    """
    if math.isnan(margin) or math.isnan(sigma):
        return "not proven"
    if margin >= k * sigma:
        return "pass"
    return "fail" if margin < -k * sigma else "not proven"


def doubts(
    line: CheckKind, site: Site, machine: Machine, configurations: Iterable[str] = (), steers: Container[str] = ()
) -> tuple[str, ...]:
    """Why a check cannot be a pass whatever its margin: figures, layers and surveys that nobody vouches for.

    ``configurations`` and ``steers`` are those driven in; each may rest on figures of its own.
    """
    found: list[str] = []
    shape = [name for name in _SHAPE if name in machine.figures] if "length_m" in line.figures else []
    if line.surveyed and "oscillation_stop_deg" in machine.figures:
        shape.append("oscillation_stop_deg")
    if {"length_m", "height_m"} & set(line.figures):
        shape += [name for chosen in configurations for name in CONFIGURATIONS.get(chosen, ())]
    if line.kind == "turning":
        shape += [name for name, steer in ONLY_STEERING.items() if steer in steers]
    figures = [*line.figures, *shape]
    if machine.tracks:
        found += [UNDER_TRACKS] if _ON_LEVELS & set(line.figures) else []
        figures = ["track_contact_m" if name == "wheelbase_m" else name for name in figures]
    for name in figures:
        figure = machine.figures.get(name)
        if figure is None:
            found.append(f"{name} is missing: read it from the machine's plate or sheet")
        elif not figure.trusted:
            found.append(f"{name} is a {figure.tag} figure: read it from the machine's plate or sheet")
    found += [
        f"layer {name} not given: nobody said what is there" for name in line.layers if name not in site.layers_given
    ]
    if line.surveyed and site.ground.accuracy.assumed:
        found.append("the accuracy of the levels is assumed: state the survey's own")
    return tuple(found)
