"""Plans made up for tests: a small one by hand, and any plan at all for property tests."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from routeplan.machine.read import build_machine
from routeplan.route.model import (
    CAUTIONS,
    MOVE_VERDICTS,
    Check,
    Conditions,
    Control,
    FileRecord,
    Hold,
    Leg,
    Measurement,
    Move,
    NearMiss,
    Objection,
    Plan,
    Pose,
    Refused,
    Zone,
)
from tests.worlds import scissor

#: Where the small plan starts: a point that EPSG:3006 has on land.
EAST_M, NORTH_M = 674_000.0, 6_580_000.0


def straight(count: int = 60) -> tuple[Pose, ...]:
    """Poses due east, 50 mm apart."""
    return tuple(
        Pose(EAST_M + 0.05 * i, NORTH_M, 90.0, 1, "ridden", "front", "stowed", 1.0, 0.05 * i) for i in range(count)
    )


def check(**changes: Any) -> Check:
    """A side slope that passes."""
    good = Check("side slope", "pass", 2.0, 11.3, 9.3, "deg", 0.2, 2.3, 1.0, (EAST_M + 1, NORTH_M), "invented sheet")
    return replace(good, **changes)


def move(move_id: str = "M1", **changes: Any) -> Move:
    """A drivable move with one of everything."""
    triangle = ((EAST_M, NORTH_M), (EAST_M + 1, NORTH_M), (EAST_M, NORTH_M + 1))
    good = Move(
        id=move_id,
        purpose="delivery",
        machine="SC",
        configuration="stowed",
        start="gate",
        goal="bay",
        on="2026-12-01",
        verdict="pass with controls",
        reason="one walkway is crossed",
        length_m=2.95,
        cost_m=3.0,
        lattice_cost_m=3.1,
        best_possible_m=2.9,
        bound=1.04,
        poses=straight(),
        checks=(
            check(),
            check(kind="walkways", verdict="pass with controls"),
            check(
                kind="survey resolution", verdict="not proven", value=math.nan, limit=math.nan, margin=math.nan,
                sigma=math.nan, place=(math.nan, math.nan), assumed=("nobody said",),
                settled_by=(Measurement("other", "", (math.nan, math.nan), math.nan, math.nan, False, "nobody said"),),
            ),
        ),
        controls=(Control("marshal", 1.0, "traffic marshal at the crossing"),),
        holds=(Hold(0.9, (EAST_M + 0.9, NORTH_M), "stop until the marshal says go"),),
        zones=(Zone("slope", 0.5, 1.5, 2.0, 11.3, "deg", triangle, triangle[::-1], "crossfall"),),
        reversals=0,
        refused=None,
        legs=(Leg("gate", "bay", 2.95, 3.0, "pass", ("north",), ("kerb-1",), 0.0, 2.95, "ridden"),),
        nearest_misses=(NearMiss("side clearance", (EAST_M, NORTH_M), 12.0, "stack-3"),),
    )  # fmt: skip
    return replace(good, **changes)


def refused_move() -> Move:
    """A move whose route the second opinion refused."""
    objection = Objection("side slope", 1.0, (EAST_M + 1, NORTH_M), 12.0, 11.3, "deg", "too steep across")
    unknown = dict.fromkeys(("length_m", "cost_m", "lattice_cost_m", "best_possible_m", "bound"), math.nan)
    return move("M2", verdict="fail", poses=(), refused=Refused(straight(), (objection,)), **unknown)


def plan(*moves: Move, **changes: Any) -> Plan:
    """A plan of the moves given, or of a drivable and a refused one."""
    machine = build_machine("SC", {"class": "slab-scissor-8m", "measured": {"mass_kg": 2310.5}}, where="test")
    good = Plan(
        software="routeplan test",
        issued="2026-12-01T08:00:00+01:00",
        valid_until="2026-12-08T18:00:00+01:00",
        revision="R1",
        supersedes=None,
        status="draft",
        conditions=Conditions(closed=("north",), on="2026-12-01"),
        site_name="Test yard Åö😀 \u2028 (invented)",
        site_revision="T1",
        crs="EPSG:3006",
        invented=True,
        inputs=(FileRecord("site.toml", "0" * 64),),
        grid={"cell_m": 0.25, "headings": 16, "primitives_sha256": "1" * 64},
        confidence_route=0.95,
        k_by_move={"M1": 2.3},
        machines={"SC": machine, "World": scissor("World")},
        moves=moves or (move(), refused_move()),
        not_checked=("gusts",),
        cautions=CAUTIONS,
    )
    return replace(good, **changes)


_NUMBER = st.floats(-1e7, 1e7) | st.just(math.nan)
_PLACE = st.tuples(_NUMBER, _NUMBER)
_TEXT = st.text(max_size=8)
_RING = st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), min_size=3, max_size=4).map(tuple)
_GOOD_NUMBER = st.floats(-1e7, 1e7)

_MEASUREMENTS = st.builds(
    Measurement,
    what=st.sampled_from(["figure", "layer", "accuracy", "overhead", "level", "other", "nothing"]),
    name=_TEXT, place=_PLACE, level_m=_NUMBER, sigma_m=_NUMBER, fewest=st.booleans(), text=_TEXT,
)  # fmt: skip
_CHECKS = st.builds(
    Check,
    kind=_TEXT,
    verdict=st.sampled_from(["pass", "pass with controls", "not proven", "fail"]),
    value=_NUMBER, limit=_NUMBER, margin=_GOOD_NUMBER, sigma=_NUMBER, k=_NUMBER, chainage_m=_NUMBER,
    unit=_TEXT, place=_PLACE, source=_TEXT,
    assumed=st.lists(_TEXT, max_size=2).map(tuple),
    settled_by=st.lists(_MEASUREMENTS, max_size=2).map(tuple),
)  # fmt: skip

_POSES = st.lists(
    st.builds(
        Pose,
        x=_GOOD_NUMBER, y=_GOOD_NUMBER, bearing_deg=st.floats(0, 360, exclude_max=True),
        gear=st.sampled_from([-1, 0, 1]), travel_mode=_TEXT, steer=_TEXT, regime=_TEXT,
        v_max_mps=st.floats(0, 10), chainage_m=st.floats(0, 1e5),
    ),
    max_size=3,
).map(tuple)  # fmt: skip

_REFUSED = st.builds(
    Refused,
    poses=_POSES,
    objections=st.lists(
        st.builds(
            Objection, kind=_TEXT, chainage_m=_NUMBER, place=_PLACE, value=_NUMBER, limit=_NUMBER, unit=_TEXT,
            text=_TEXT,
        ),
        min_size=1,
        max_size=2,
    ).map(tuple),
)

_MOVES = st.builds(
    replace,
    st.just(move()),
    id=_TEXT,
    verdict=st.sampled_from(MOVE_VERDICTS),
    on=st.none() | _TEXT,
    length_m=_NUMBER, cost_m=_NUMBER, lattice_cost_m=_NUMBER, best_possible_m=_NUMBER, bound=st.floats(1, 100),
    poses=_POSES,
    checks=st.lists(_CHECKS, max_size=3).map(tuple),
    zones=st.lists(
        st.builds(
            Zone, kind=st.sampled_from(["bounce", "slope", "low gap"]), chainage_from_m=_NUMBER, chainage_to_m=_NUMBER,
            value=_NUMBER, limit=_NUMBER, unit=_TEXT, ground=_RING, basket=_RING, text=_TEXT,
        ),
        max_size=2,
    ).map(tuple),
    refused=st.none() | _REFUSED,
)  # fmt: skip

#: Any plan; its machines are the small plan's.
PLANS = st.builds(
    replace,
    st.just(plan()),
    moves=st.lists(_MOVES, max_size=3).map(tuple),
    supersedes=st.none() | _TEXT,
    grid=st.dictionaries(_TEXT, st.none() | st.booleans() | _GOOD_NUMBER | _TEXT | st.tuples(_TEXT), max_size=3),
    k_by_move=st.dictionaries(_TEXT, _NUMBER, max_size=2),
    site_name=_TEXT,
)
