"""What a machine is: wheels, bodies, basket and figures, each figure with its unit, tag and source.

The machine frame has its origin on the ground under the middle of the axle that does not steer (in front steer; of a
tracked machine, in the middle between its tracks); ``xi`` runs forward along the chassis arrow (towards the steered
axle), ``eta`` to the left, ``zeta`` up. Lengths are metres.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Tag = Literal["sheet", "class", "memory", "measured"]
BasketEnd = Literal["front", "rear"]
#: ``front``: one axle steers; ``coordinated``: both, against each other; ``crab``: both alike, the bearing stays;
#: ``pivot``: on the spot; ``skid``: one side faster than the other; ``towed``: by another vehicle; ``road``: on roads.
Steering = Literal["front", "coordinated", "crab", "pivot", "skid", "towed", "road"]

#: Tags a verdict may rest on. A figure with another tag leaves every check that uses it not proven.
TRUSTED_TAGS: frozenset[str] = frozenset({"sheet", "measured"})


@dataclass(frozen=True)
class Figure:
    """One figure of a machine; ``name`` ends in its unit (``mass_kg``, ``gradeability_basket_uphill_pct``)."""

    name: str
    value: float
    tag: Tag
    source: str

    @property
    def trusted(self) -> bool:
        """Whether a pass may rest on this figure."""
        return self.tag in TRUSTED_TAGS


@dataclass(frozen=True)
class Wheel:
    """A wheel: hub position in the machine frame, rolling radius and tyre width.

    ``steered`` and ``oscillating`` are properties of its axle and differ: an axle may be either, both or neither.
    ``steered`` speaks of front steer; which other ways of steering a machine has is its class's to say.
    """

    name: Literal["front_left", "front_right", "rear_left", "rear_right"]
    xi_m: float
    eta_m: float
    radius_m: float
    width_m: float
    steered: bool
    oscillating: bool
    contact_area_m2: float


@dataclass(frozen=True)
class Track:
    """A track on the ground: from ``xi_from_m`` forward to ``xi_to_m``, ``width_m`` across about ``eta_m``."""

    name: Literal["left", "right"]
    xi_from_m: float
    xi_to_m: float
    eta_m: float
    width_m: float


@dataclass(frozen=True)
class Box:
    """An upright prism of the envelope: a convex ring in the machine frame between two heights above the ground.

    Parameters
    ----------
    ring
        At least three ``(xi, eta)`` corners, anticlockwise, convex, not closed.
    bottom_m, top_m
        Heights above the plane through the wheel contacts.
    occupied
        Whether a person rides inside (basket, platform): the gaps that keep a body from being crushed apply.
    """

    name: str
    ring: tuple[tuple[float, float], ...]
    bottom_m: float
    top_m: float
    occupied: bool = False


@dataclass(frozen=True)
class Basket:
    """Where the operator stands: the basket's middle, its floor height, and which end of the chassis it lies over.

    ``end`` is relative to the chassis arrow; ``None`` for a platform over the whole chassis (scissor lifts), whose
    gradeability then goes by the chassis arrow as if the basket were at the front.
    ``ring`` is the floor's outline in the machine frame, on which the operator's head can be anywhere.
    """

    xi_m: float
    eta_m: float
    floor_height_m: float
    end: BasketEnd | None
    ring: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Configuration:
    """Turntable, extension, rails and axles in one stated position; it fixes boxes, basket, footprint and mass."""

    id: str
    boxes: tuple[Box, ...]
    basket: Basket
    mass_kg: float
    footprint: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Machine:
    """A machine as planned with.

    Parameters
    ----------
    id
        The site's name for it.
    class_id, title
        The generic class it started from, and a title for people.
    figures
        Every figure by name. Hazards read figures only through this mapping so that each verdict can name its tags.
    wheels
        Front left, front right, rear left, rear right, in this order. "Front" is the end the chassis arrow points to.
        Of a machine with ``tracks`` they mark the ends of its tracks, of a trailer the front pair only marks its
        coupling: a trailer is not planned (``modelled.not_modelled``).
    configurations
        By id.
    slews
        Whether what stands on the chassis turns about an upright axis, its tail sweeping a circle.
    missing
        Names of figures that neither the sheet nor the class gives.
    """

    id: str
    class_id: str
    title: str
    figures: Mapping[str, Figure]
    wheels: tuple[Wheel, Wheel, Wheel, Wheel]
    configurations: Mapping[str, Configuration]
    slews: bool
    missing: tuple[str, ...] = ()

    def value(self, name: str) -> float:
        """Return a figure's value; ``KeyError`` when the machine has no such figure."""
        return self.figures[name].value

    def configuration_in(self, configuration: str, travel_mode: str) -> str:
        """The configuration that a travel mode is driven in: rails folded is the folded partner, where there is one."""
        folded = f"{configuration}_rails_folded"
        return folded if travel_mode == "beside_rails_folded" and folded in self.configurations else configuration

    @property
    def tracks(self) -> tuple[Track, ...]:
        """The left and the right track of a tracked machine; none where wheels stand on the ground."""
        if "track_contact_m" not in self.figures:
            return ()
        left, right, behind, _ = self.wheels
        return (
            Track("left", behind.xi_m, left.xi_m, left.eta_m, left.width_m),
            Track("right", behind.xi_m, right.xi_m, right.eta_m, right.width_m),
        )

    @property
    def ordinary_steer(self) -> Steering:
        """How it steers unless it is set to anything else."""
        return "skid" if self.tracks else "front"

    @property
    def wheelbase_m(self) -> float:
        """Distance between the axles."""
        return self.wheels[0].xi_m - self.wheels[2].xi_m

    @property
    def track_m(self) -> float:
        """Distance between the middles of the left and right tyres."""
        return self.wheels[0].eta_m - self.wheels[1].eta_m

    @property
    def crab_rad(self) -> float:
        """Largest angle between the chassis arrow and the direction of travel in crab steer; 0 without crab steer."""
        return math.radians(self.value("crab_angle_deg")) if "crab_angle_deg" in self.figures else 0.0
