"""A hand-made site of 250 x 200 m with everything on it, and a plan of six moves with every verdict. All invented."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import math
from collections.abc import Sequence

import numpy as np
from shapely.geometry import LineString, Point, Polygon, box

from routeplan.route.model import (
    CAUTIONS,
    Check,
    CheckVerdict,
    Conditions,
    Control,
    FileRecord,
    Hold,
    Move,
    MoveVerdict,
    NearMiss,
    Objection,
    Plan,
    Pose,
    Refused,
    SectionRow,
    Zone,
)
from routeplan.site.model import (
    Acceptance,
    Area,
    Contact,
    Defect,
    Excavation,
    Ground,
    LineCorridor,
    Obstacle,
    Place,
    Site,
    Soffit,
    Surface,
    Walkway,
)
from tests.worlds import ALL_LAYERS, GOOD_SURVEY, ROUGH, boom, scissor

#: A false origin, as a projected grid would have.
EAST, NORTH = 4000.0, 7000.0
#: Names that try to be more than names.
NASTY = (
    "</script><script>window.bad=1</script>",
    "${alert(1)} `x` \\u003c \\' \\\\",
    "<img src=x onerror=\"window.bad=1\"> & 'quoted'",
    "gate \u202e2 etag\u202c \U0001f6a7 \u2028 end",
)
ISSUED = "2026-11-30T07:30:00Z"
KINDS = (
    ("gradeability", "deg", 14.0),
    ("side slope", "deg", 11.3),
    ("combined slope", "1", 1.0),
    ("ground strike", "m", 0.01),
    ("side clearance", "m", 0.1),
    ("head gap", "m", 0.3),
    ("overhead clearance", "m", 0.5),
    ("bounce rise", "m", 0.3),
    ("basket swing", "m", 0.2),
    ("step", "m", 0.06),
    ("kerb angle", "deg", 15.0),
    ("kerb side slope", "deg", 3.0),
    ("surface acceptance", "m", 0.0),
    ("ground load", "kN", 20.0),
    ("grip", "1", 0.5),
    ("covers, plates and trenches", "m", 0.0),
    ("excavation edge", "m", 2.0),
    ("overhead lines", "m", 0.0),
    ("line clearance", "m", 0.0),
    ("closed areas", "m", 0.0),
    ("walkways", "m", 0.0),
    ("turning", "m", 4.2),
    ("levels known", "1", 1.0),
    ("survey resolution", "m", 0.3),
    ("set-up tilt", "deg", 1.8),
    ("tail swing", "m", 0.5),
    ("elevated zone", "m", 1000.0),
)


def at(x: float, y: float) -> tuple[float, float]:
    """Site coordinates of a point of the sketch."""
    return (EAST + x, NORTH + y)


def area(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    """A rectangle of the sketch."""
    return box(*at(x0, y0), *at(x1, y1))


def ground() -> Ground:
    """A yard that falls 1.5 %, a ramp of 9 %, a bank of 14 % and one of 24 %, and a corner that nobody surveyed."""
    cell_m = 0.5
    x = np.arange(501) * cell_m
    y = np.arange(401)[:, None] * cell_m
    z = 10.0 - 0.015 * x + 0.0 * y
    z = z + np.clip((y - 120.0) * 0.09, 0.0, 2.25)
    z = z + np.clip((x - 200.0) * 0.14, 0.0, 2.8) * (y < 90.0)
    z = z + np.clip((x - 20.0) * 0.24, 0.0, 4.0) * (y > 175.0) * (x < 60.0)
    z[370:, 440:] = np.nan
    return Ground(z, EAST, NORTH, cell_m, GOOD_SURVEY)


@functools.cache
def site() -> Site:
    """The whole site."""
    accepted = Acceptance("temporary works coordinator", dt.date(2026, 11, 20), 12_000.0, dt.date(2026, 12, 20))
    holes = [(62.0, 41.0), (71.0, 47.0), (120.5, 60.0), (150.0, 133.0), (155.0, 137.0)]
    defects = tuple(
        Defect(f"H{index}", "pothole", Point(at(*spot)).buffer(0.3), 0.6, 0.055 + 0.01 * index, 0.0, "open")
        for index, spot in enumerate(holes, 1)
    )
    rack = LineString([at(90.0, 20.0), at(90.0, 170.0)]).buffer(4.0, cap_style="flat")
    return Site(
        name="Heron Basin pump house (invented)",
        revision="P07",
        crs="local",
        invented=True,
        boundary=Polygon([at(0, 0), at(250, 0), at(250, 160), at(220, 200), at(0, 200)]),
        ground=ground(),
        obstacles=(
            Obstacle("pump house", area(110, 75, 165, 110), "building", None),
            Obstacle("stack 1", area(30, 60, 48, 72), "laydown", 12.4),
            Obstacle("stack 2", area(30, 80, 48, 92), "laydown", 11.65),
            Obstacle("crane base", area(180, 130, 190, 140), "concrete", 11.2),
            *(Obstacle(f"col {n}", area(85.5, 18 + 15 * n, 86.1, 18.6 + 15 * n), "column", None) for n in range(1, 10)),
            *(
                Obstacle(f"col {n + 20}", area(93.9, 18 + 15 * n, 94.5, 18.6 + 15 * n), "column", None)
                for n in range(1, 10)
            ),
        ),
        soffits=(
            Soffit(
                "rack low bay", rack.intersection(area(0, 20, 250, 60)), "pipe rack", 12.15, None, 0.0, 0.0, 0.01, "S2"
            ),
            Soffit(
                "rack high bay",
                rack.intersection(area(0, 60, 250, 120)),
                "pipe rack",
                15.6,
                None,
                0.0,
                0.01,
                0.01,
                "S2",
            ),
            Soffit(NASTY[2], rack.intersection(area(0, 120, 250, 170)), "cable tray", 13.4, None, 0.0, 0.0, None, None),
            Soffit("canopy", area(165, 84, 173, 100), "canopy", None, 3.05, 0.0, 0.0, 0.01, "S1"),
        ),
        surfaces=(
            Surface("stone yard", area(2, 2, 248, 118), "crushed stone", accepted, friction=ROUGH),
            Surface("upper slab", area(2, 118, 230, 172), "concrete", accepted, friction=ROUGH),
            Surface("soft corner", area(196, 2, 248, 30), "made ground", None),
        ),
        defects=(
            *defects,
            Defect("K1", "kerb", LineString([at(100, 112), at(175, 112)]).buffer(0.06), 0.12, 0.0, 0.1, None),
            Defect("S1", "sill", LineString([at(165, 90), at(165, 94)]).buffer(0.05), 0.1, 0.0, 0.02, "proven"),
            Defect("MH4", "cover", area(132, 44, 132.9, 44.9), 0.9, 0.0, 0.0, "proven"),
            Defect(
                "TR2",
                "trench",
                LineString([at(170, 20), at(190, 60)]).buffer(0.4),
                0.8,
                0.9,
                0.0,
                "backfilled and untested",
            ),
            Defect(NASTY[0], "plate", area(175, 62, 177, 63.2), 1.2, 0.0, 0.025, NASTY[1]),
        ),
        walkways=(Walkway("W1", LineString([at(0, 30), at(250, 34)]).buffer(1.2), "pedestrian"),),
        line_corridors=(LineCorridor("11 kV", LineString([at(240, 0), at(240, 165)]).buffer(6.0), 6.0),),
        excavations=(Excavation("EX1", area(205, 95, 225, 115), 2.0),),
        areas=(
            Area(
                "north-bay", "North bay pour", area(100, 140, 140, 170), ((dt.date(2026, 12, 1), dt.date(2026, 12, 3)),)
            ),
            Area("yard-b", NASTY[1], area(10, 50, 56, 100), ()),
        ),
        places={
            place.id: place
            for place in (
                Place("gate-2", "gate", "Gate 2", Point(at(8, 12)), 90.0, 0.5),
                Place("bay-3", "workface", "Bay 3", Point(at(178, 92)), 270.0, 0.3),
                Place("slab-e", "workface", NASTY[3], Point(at(205, 150)), None, 0.3),
                Place("north", "workface", "North wall", Point(at(120, 165)), 0.0, 0.3),
                Place("park", "parking", "Plant park", Point(at(20, 130)), None, 1.0),
                Place("refuge", "refuge", "Refuge A", Point(at(70, 100)), None, 1.0),
            )
        },
        machines={"SC12": scissor("SC12"), "TB26": boom("TB26")},
        contacts=(Contact("access coordinator", "Access 1"), Contact("rescue", "Rescue 2")),
        layers_given=ALL_LAYERS,
    )


def drive(*corners: tuple[float, float], step_m: float = 0.1, back_from: int | None = None) -> tuple[Pose, ...]:
    """Poses along rounded corners; from corner ``back_from`` on the machine drives backwards."""
    rounded = _rounded([at(*corner) for corner in corners])
    course = LineString(rounded)
    turn_m = course.project(Point(at(*corners[back_from]))) if back_from is not None else math.inf
    chainages = [step_m * n for n in range(int(course.length / step_m) + 1)]
    poses = []
    for chainage_m in chainages:
        here, ahead = course.interpolate(chainage_m), course.interpolate(min(chainage_m + 0.05, course.length))
        behind = course.interpolate(max(chainage_m - 0.05, 0.0))
        bearing = math.degrees(math.atan2(ahead.x - behind.x, ahead.y - behind.y)) % 360.0
        gear = -1 if chainage_m > turn_m else 1
        poses.append(
            Pose(
                here.x,
                here.y,
                (bearing + (180.0 if gear < 0 else 0.0)) % 360.0,
                gear,
                "ridden",
                "front",
                "stowed",
                0.5,
                chainage_m,
            )
        )
    return tuple(poses)


def _rounded(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Cut corners three times, so that a sketch becomes a course a machine could take."""
    for _ in range(4):
        cut = [points[0]]
        for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
            cut += [(0.75 * x0 + 0.25 * x1, 0.75 * y0 + 0.25 * y1), (0.25 * x0 + 0.75 * x1, 0.25 * y0 + 0.75 * y1)]
        points = [*cut, points[-1]]
    return list(points)


def checks(poses: Sequence[Pose], *, worst: tuple[str, CheckVerdict, float] | None = None) -> tuple[Check, ...]:
    """A row for every kind of check, one of them with another verdict and margin."""
    rows = []
    for number, (kind, unit, limit) in enumerate(KINDS):
        verdict: CheckVerdict = "pass"
        margin = 0.31 * (limit or 4.0) + 0.0007 * number
        if worst is not None and worst[0] == kind:
            _, verdict, margin = worst
        spot = poses[(number + 1) * len(poses) // (len(KINDS) + 2)]
        value = limit - margin if unit != "m" or kind in ("bounce rise", "basket swing", "step") else limit + margin
        rows.append(
            Check(
                kind,
                verdict,
                value,
                limit,
                margin,
                unit,
                0.004,
                3.1,
                spot.chainage_m,
                (spot.x, spot.y),
                "docs/method.md 7",
                ("class figure track_m = 0.70",) if verdict == "not proven" else (),
            )
        )
    return tuple(rows)


def move(
    move_id: str,
    verdict: MoveVerdict,
    start: str,
    goal: str,
    poses: tuple[Pose, ...],
    *,
    machine: str = "TB26",
    reason: str = "",
    made: tuple[Check, ...] = (),
    reversals: int = 0,
) -> Move:
    """A move of a length that its poses say; without poses nothing was measured."""
    length_m = poses[-1].chainage_m if poses else math.nan
    return Move(
        id=move_id,
        purpose="delivery",
        machine=machine,
        configuration="stowed",
        start=start,
        goal=goal,
        on="2026-12-01",
        verdict=verdict,
        reason=reason,
        length_m=length_m,
        cost_m=length_m * 1.1,
        lattice_cost_m=length_m * 1.1,
        best_possible_m=length_m,
        bound=1.1 if poses else math.nan,
        poses=poses,
        checks=made,
        controls=(),
        holds=(),
        zones=(),
        reversals=reversals,
        refused=None,
        legs=(),
        nearest_misses=(),
        section=section(poses),
    )


def section(poses: Sequence[Pose]) -> tuple[SectionRow, ...]:
    """A row for every half metre: under something from 20 m to 30 m, beside something from 40 m to 45 m, on ground that
    claims what it bears from 50 m to 55 m.
    """
    rows = []
    for pose in poses[::5]:
        at_m = pose.chainage_m
        head = 1.2 - 0.1 * (at_m - 20.0) if 20.0 <= at_m < 30.0 else math.nan
        load = 7.29 if 50.0 <= at_m < 55.0 else math.nan
        body = 0.3 if 40.0 <= at_m < 45.0 else math.nan
        rows.append(SectionRow(at_m, 10.0, 1.5, -0.4, 9.0, 4.39, head, 0.2, 0.2999, body, load, pose.v_max_mps))
    return tuple(rows)


def zone(kind: str, x: float, y: float, value: float, limit: float, unit: str, text: str) -> Zone:
    """Wheels at a place, basket a boom's length ahead of it."""
    wheels = tuple(area(x - 1.5, y - 1.3, x + 1.5, y + 1.3).exterior.coords)[:-1]
    basket = tuple(area(x + 5.0, y - 1.2, x + 7.0, y + 1.2).exterior.coords)[:-1]
    return Zone(kind, 60.0, 63.0, value, limit, unit, wheels, basket, text)  # type: ignore[arg-type]


@functools.cache
def moves() -> tuple[Move, ...]:
    """One move of every verdict, and a refused one."""
    clear = drive((8, 12), (60, 14), (78, 105), (100, 118), (176, 118), (190, 106), (186, 92), (178, 92))
    crossing = drive((8, 12), (60, 20), (76, 60), (76, 112), (60, 128), (20, 130), (32, 134), back_from=5)
    under = drive((8, 12), (40, 40), (80, 48), (104, 52), (150, 58), (182, 76), (178, 92))
    open_way = drive((178, 92), (188, 108), (170, 118), (110, 124), (104, 150), (120, 165))
    spot = crossing[400]
    return (
        move("D1", "pass", "gate-2", "bay-3", clear, made=checks(clear), reason="every check is proven"),
        dataclasses.replace(
            move(
                "D2",
                "pass with controls",
                "gate-2",
                "park",
                crossing,
                machine="SC12",
                reversals=1,
                made=checks(crossing, worst=("walkways", "pass with controls", 0.0)),
                reason="the body passes over walkway W1 with a marshal",
            ),
            holds=(Hold(12.0, at(20, 13), "Stop short of walkway W1. Wait for the marshal."),),
            controls=(
                Control("walkway", 12.4, "Marshal stops people on walkway W1."),
                Control("ground", 55.0, NASTY[0]),
                Control("speed", math.nan, "Creep speed for the whole way."),
            ),
        ),
        dataclasses.replace(
            move(
                "D3",
                "not proven",
                "bay-3",
                "north",
                open_way,
                made=checks(open_way, worst=("head gap", "not proven", 0.034)),
                reason="head gap rests on a soffit without a sigma",
            ),
            on="2026-12-04",
            zones=(
                zone("bounce", 150, 119, 0.27, 0.3, "m", "hole H4 under the rear wheel lifts the basket"),
                zone("low gap", 118, 121, 0.05, 0.3, "m", "cable tray over the basket"),
                zone("slope", 104, 140, 5.1, 11.3, "deg", "crossfall of the ramp"),
            ),
        ),
        dataclasses.replace(
            move(
                "D4",
                "fail",
                "gate-2",
                "bay-3",
                (),
                reason="the second opinion refused the route",
                made=checks(under, worst=("overhead clearance", "fail", -0.412)),
            ),
            refused=Refused(
                under,
                (
                    Objection(
                        "overhead clearance",
                        90.0,
                        (under[900].x, under[900].y),
                        0.088,
                        0.5,
                        "m",
                        "under the rack's low bay",
                    ),
                    Objection(
                        "bounce rise",
                        71.0,
                        (under[700].x, under[700].y),
                        0.51,
                        0.3,
                        "m",
                        "hole H2 within 3 m of a wheel",
                    ),
                ),
            ),
        ),
        dataclasses.replace(
            move(NASTY[3], "no route", "gate-2", "slab-e", (), reason=f"nothing passes {NASTY[1]}"),
            nearest_misses=(
                NearMiss("side clearance", at(176, 128), 412.0, "between the crane base and the kerb"),
                NearMiss("excavation edge", at(203, 118), 87.2, NASTY[2]),
            ),
        ),
        dataclasses.replace(
            move("D6", "search limit", "park", "north", (), reason="4,000,000 states were looked at"),
            holds=(Hold(1.0, (spot.x, spot.y), "Nothing to drive yet."),),
        ),
    )


def plan(*, planned: tuple[Move, ...] | None = None) -> Plan:
    """The plan of the site."""
    world, chosen = site(), planned if planned is not None else moves()
    return Plan(
        software="routeplan 0.1.0",
        issued=ISSUED,
        valid_until="2026-12-07T18:00:00Z",
        revision="R1",
        supersedes=None,
        status="draft",
        conditions=Conditions(on="2026-12-01"),
        site_name=world.name,
        site_revision=world.revision,
        crs=world.crs,
        invented=True,
        inputs=(FileRecord("site.toml", "0" * 64),),
        grid={"cell_m": 0.25, "headings": 16},
        confidence_route=0.95,
        k_by_move={item.id: 3.1 for item in chosen if item.poses},
        machines=world.machines,
        moves=chosen,
        not_checked=("Wind.", "Ground bearing below the surface.", "Other plant at the same time."),
        cautions=CAUTIONS,
    )
