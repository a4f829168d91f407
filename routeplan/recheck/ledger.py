"""What the second opinion found: for each check the instance that governs, and what a verdict on it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from routeplan.recheck.track import Ints, Track

Floats = NDArray[np.float64]

_SLOPE = ("wheelbase_m", "track_m", "wheel_radius_m", "wheel_width_m")
_TYRES = ("wheelbase_m", "track_m", "wheel_width_m")
_GRADE = ("gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct", *_SLOPE)
_SIDE = ("side_slope_pct", *_SLOPE)
_PLAN = ("length_m", "width_m")
_TILT = ("tilt_side_deg", "tilt_long_deg", "tilt_any_deg", "tilt_sensor_tolerance_deg")
_TAIL = ("tail_swing_radius_m", "turntable_xi_m", "chassis_top_m", "height_m")
_WEIGHED = ("mass_kg", "rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m", "wheel_load_max_kn")
_HELD = ("brakes_front", "brakes_rear", "drives_front", "drives_rear", "brake_mps2")
#: How a basket bounces, and how fast and slowly the machine is driven.
BOUNCE_FIGURES = ("bounce_period_s", "bounce_damping_pct")
SPEED_FIGURES = ("travel_speed_mps", "creep_speed_mps")


@dataclass(frozen=True)
class Basis:
    """What a pass of one check rests on.

    Parameters
    ----------
    unit
        Of its margin.
    figures
        Machine figures by name.
    layers
        Layers of the site that must be given or declared empty.
    surveyed
        Whether its sigma comes from the accuracy of the levels.
    """

    unit: str
    figures: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()
    surveyed: bool = False


#: What a way of steering rests on besides, where it is driven in.
STEERED_BY: Mapping[str, str] = MappingProxyType(
    {"coordinated": "turn_radius_outside_coordinated_m", "crab": "crab_angle_deg"}
)

#: Every check of the method, with what it rests on.
CATALOGUE: Mapping[str, Basis] = MappingProxyType(
    {
        "gradeability": Basis("deg", _GRADE, surveyed=True),
        "side slope": Basis("deg", _SIDE, surveyed=True),
        "combined slope": Basis("1", tuple(dict.fromkeys(_GRADE + _SIDE)), surveyed=True),
        "ground strike": Basis("m", ("ground_clearance_m", "length_m", *_SLOPE), surveyed=True),
        "side clearance": Basis("m", _PLAN, ("obstacles",)),
        "head gap": Basis("m", ("platform_floor_m", "length_m", *_SLOPE), ("soffits",), surveyed=True),
        "overhead clearance": Basis("m", ("height_m", *_PLAN, *_SLOPE), ("soffits",), surveyed=True),
        "bounce rise": Basis("m", (*_SLOPE, "platform_floor_m", "length_m"), ("defects",), surveyed=True),
        "basket swing": Basis(
            "m",
            (*BOUNCE_FIGURES, *SPEED_FIGURES, *_SLOPE, "platform_floor_m", "height_m", *_PLAN),
            ("defects", "soffits", "overhead_lines"),
            surveyed=True,
        ),
        "step": Basis("m", ("step_limit_m", *_SLOPE), ("defects",)),
        "kerb angle": Basis("deg", _SLOPE, ("defects",)),
        "kerb side slope": Basis("deg", _SLOPE, ("defects",), surveyed=True),
        "surface acceptance": Basis("m", ("mass_kg", *_TYRES), ("surfaces",)),
        "ground load": Basis("kN", (*_WEIGHED, *_SLOPE), ("surfaces",), surveyed=True),
        "grip": Basis("1", (*_HELD, "travel_speed_mps", *_SLOPE), ("surfaces",), surveyed=True),
        "covers, plates and trenches": Basis("m", _TYRES, ("defects",)),
        "excavation edge": Basis("m", _TYRES, ("excavations",)),
        "overhead lines": Basis("m", _PLAN, ("overhead_lines",)),
        "line clearance": Basis(
            "m", ("height_m", "platform_floor_m", *_PLAN, *_SLOPE), ("overhead_lines",), surveyed=True
        ),
        "closed areas": Basis("m", _PLAN),
        "walkways": Basis("m", _PLAN, ("walkways",)),
        "turning": Basis("m", ("turn_radius_outside_m", "wheelbase_m", "front_overhang_m", "width_m", "pivots")),
        "levels known": Basis("1"),
        "survey resolution": Basis("m", ("wheel_radius_m", "wheelbase_m")),
        "set-up tilt": Basis("deg", (*_TILT, *_SLOPE), surveyed=True),
        "elevated zone": Basis("m"),
        "tail swing": Basis("m", (*_TAIL, *_SLOPE), ("obstacles", "walkways")),
    }
)


@dataclass(frozen=True)
class Instance:
    """One place on the route where a check was made. ``slack`` is the margin less k sigma."""

    slack: float
    margin: float
    value: float
    limit: float
    chainage_m: float
    place: tuple[float, float]


class Ledger:
    """Keeps, for every check, the instance with the least slack and the one with the least margin.

    Parameters
    ----------
    track
        The samples that rows of an offer refer to.
    k
        Of the move.
    """

    def __init__(self, track: Track, k: float) -> None:
        self.track, self.k = track, k
        self.least_slack: dict[str, Instance] = {}
        self.least_margin: dict[str, Instance] = {}
        #: Reasons found on the way for which a check cannot be a pass.
        self.open: dict[str, set[str]] = {}
        #: First sample at which the body is under each line that is passed under.
        self.under_lines: dict[str, int] = {}

    def offer(
        self,
        kind: str,
        rows: Ints,
        margin: Floats,
        *,
        value: Floats | float,
        limit: Floats | float,
        sigma: Floats | float = 0.0,
    ) -> None:
        """Offer instances; the first axis of ``margin`` goes with ``rows``, NaN is a check that was not made there."""
        if not margin.size:
            return
        slack = np.where(np.isnan(margin), np.inf, margin - self.k * np.nan_to_num(sigma))
        for kept, least in ((self.least_slack, slack), (self.least_margin, np.where(np.isnan(margin), np.inf, margin))):
            at = int(np.argmin(least))
            if np.isposinf(least.flat[at]):
                continue
            where = np.unravel_index(at, margin.shape)
            row = rows[where[0]]
            found = Instance(
                slack=float(slack[where]),
                margin=float(margin[where]),
                value=float(np.broadcast_to(value, margin.shape)[where]),
                limit=float(np.broadcast_to(limit, margin.shape)[where]),
                chainage_m=float(self.track.chainage_m[row]),
                place=(float(self.track.x[row]), float(self.track.y[row])),
            )
            if kind not in kept or self._rank(found, kept is self.least_slack) < self._rank(
                kept[kind], kept is self.least_slack
            ):
                kept[kind] = found

    @staticmethod
    def _rank(found: Instance, by_slack: bool) -> float:
        return found.slack if by_slack else found.margin

    def leave_open(self, kind: str, why: str) -> None:
        """Note a reason for which a check of this move cannot be a pass."""
        self.open.setdefault(kind, set()).add(why)
