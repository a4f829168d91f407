"""From a layer's rows to the site's values: obstacles, soffits, surfaces, defects and the rest, one builder each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol, TypeVar, get_args

from shapely.geometry import Polygon
from shapely.ops import unary_union

from routeplan.site.bearing_columns import bearing_of
from routeplan.site.columns import COLUMNS, HIGHEST_LEVEL_M, LOWEST_LEVEL_M, NARROWEST_M, WIDEST_M, Columns
from routeplan.site.elevated_zone import ElevatedZone, RaisedAcceptance
from routeplan.site.faults import Door, did_you_mean
from routeplan.site.friction_columns import friction_of
from routeplan.site.layers import RawFeature
from routeplan.site.model import (
    Acceptance,
    Area,
    Defect,
    DefectKind,
    Excavation,
    Obstacle,
    Place,
    Soffit,
    Surface,
    Walkway,
)
from routeplan.site.outlines import longest_side_m, single_point, widened
from routeplan.site.proof_columns import proof_of

#: Width of a kerb whose row gives none, metres: precast kerbs are 125 to 150 mm wide (common practice, no source).
KERB_WIDTH_M = 0.15

#: How far from a place the machine's origin may stand when the row does not say: one cell of the default grid, metres.
PLACE_TOLERANCE_M = 0.25

ANY_SHAPE = ("Polygon", "LineString", "Point")
AREA_OR_LINE = ("Polygon", "LineString")

_DEFECT_SHAPES: Mapping[str, tuple[str, ...]] = {
    "pothole": ("Polygon", "Point"),
    "kerb": AREA_OR_LINE,
    "sill": AREA_OR_LINE,
    "cover": ("Polygon", "Point"),
    "plate": ("Polygon", "Point"),
    "trench": AREA_OR_LINE,
}


def _width_m(columns: Columns) -> float | None:
    """Return the row's width across, metres."""
    return columns.number("width_m", low=NARROWEST_M, high=WIDEST_M)


def obstacles(raw: RawFeature, door: Door) -> tuple[Obstacle, ...]:
    """Obstacles of a row; an empty ``top_m`` means taller than any machine."""
    columns = Columns(raw, door.faults)
    top_m = columns.number("top_m", low=LOWEST_LEVEL_M, high=HIGHEST_LEVEL_M)
    kind = columns.text("kind") or "obstacle"
    return tuple(
        Obstacle(name, outline, kind, top_m)
        for name, outline in widened(raw, width_m=_width_m(columns), kinds=ANY_SHAPE, door=door)
    )


def soffits(raw: RawFeature, door: Door) -> tuple[Soffit, ...]:
    """Soffits of a row. A level stands at the middle of the whole row and is carried along the fall to each part."""
    columns = Columns(raw, door.faults)
    level_m = columns.number("level_m", low=LOWEST_LEVEL_M, high=HIGHEST_LEVEL_M)
    clear_m = columns.number("clear_m", low=0.0, high=200.0, above=True)
    if (raw.columns.get("level_m") is None) == (raw.columns.get("clear_m") is None):
        said = "neither level_m nor clear_m" if raw.columns.get("level_m") is None else "both level_m and clear_m"
        door.faults.add("soffit-level", raw.where, f"it has {said}", "give its level, or its clear height, not both")
        return ()
    fall_x = columns.number("fall_x", low=-1.0, high=1.0) or 0.0
    fall_y = columns.number("fall_y", low=-1.0, high=1.0) or 0.0
    if clear_m is not None and (fall_x or fall_y):
        door.faults.add(
            "soffit-level",
            raw.where,
            "it has a clear height and a fall",
            "give level_m with the fall; a clear height already follows the ground",
        )
    sigma_m = columns.number("sigma_m", low=0.0, high=10.0, above=True)
    outlines = widened(raw, width_m=_width_m(columns), kinds=AREA_OR_LINE, door=door)
    if level_m is None and clear_m is None or not outlines:
        return ()
    middle = unary_union([outline for _, outline in outlines]).centroid

    def level_of(outline: Polygon) -> float | None:
        if level_m is None:
            return None
        part = outline.centroid
        return float(level_m + fall_x * (part.x - middle.x) + fall_y * (part.y - middle.y))

    kind, survey = columns.text("kind") or "soffit", columns.text("survey")
    return tuple(
        Soffit(name, outline, kind, level_of(outline), clear_m, fall_x, fall_y, sigma_m, survey)
        for name, outline in outlines
    )


def surfaces(raw: RawFeature, door: Door) -> tuple[Surface, ...]:
    """Surfaces of a row, accepted when the row says by which role, when, and up to which mass; what they bear, and how
    tyres grip them.
    """
    columns = Columns(raw, door.faults)
    role, day = columns.text("accepted_by"), columns.day("accepted_on")
    mass_kg = columns.number("accepted_mass_kg", low=0.0, high=200_000.0, above=True)
    until = columns.day("accepted_until")
    said = [raw.columns.get(name) for name in ("accepted_by", "accepted_on", "accepted_mass_kg")]
    acceptance = None
    if role and day and mass_kg:
        acceptance = Acceptance(role, day, mass_kg, until)
        if until and until < day:
            door.faults.add(
                "acceptance-backwards", raw.where, f"accepted on {day} until {until}", "write the later day last"
            )
    elif any(value is not None for value in said) and any(value is None for value in said) or (until and not any(said)):
        door.faults.add(
            "acceptance-incomplete",
            raw.where,
            "its acceptance is told in part",
            "give accepted_by, accepted_on and accepted_mass_kg, or none of them",
        )
    kind, bearing = columns.text("kind") or "surface", bearing_of(raw, columns, door.faults)
    friction = friction_of(raw, columns, door.faults)
    return tuple(
        Surface(name, outline, kind, acceptance, bearing, friction)
        for name, outline in widened(raw, width_m=None, kinds=("Polygon",), door=door)
    )


def defects(raw: RawFeature, door: Door) -> tuple[Defect, ...]:
    """Defects of a row; an area's width is its longer side, or the row's when that is more."""
    columns = Columns(raw, door.faults)
    if raw.columns.get("kind") is None:
        door.faults.add("value-missing", raw.where, "it has no kind", f"write one of {', '.join(get_args(DefectKind))}")
        return ()
    kind: Any = columns.text("kind")
    if kind is None:
        return ()
    if kind not in get_args(DefectKind):
        door.faults.add(
            "unknown-value",
            raw.where,
            f"kind = {kind!r} is not a kind of defect",
            did_you_mean(str(kind), get_args(DefectKind)),
        )
        return ()
    needs_depth, needs_height = kind == "pothole", kind in {"kerb", "sill"}
    depth_m = columns.number(
        "depth_m", low=0.0, high=20.0, required=f"give it in metres, a {kind} needs one" if needs_depth else ""
    )
    height_m = columns.number(
        "height_m", low=0.0, high=2.0, required=f"give it in metres, a {kind} needs one" if needs_height else ""
    )
    if (needs_depth and height_m) or (needs_height and depth_m):
        other, mend = ("height_m", "a kerb or sill") if needs_depth else ("depth_m", "a pothole")
        door.faults.add(
            "defect-mixed", raw.where, f"it is a {kind} and has a {other}", f"leave it empty, and draw {mend} beside it"
        )
    width_m = _width_m(columns)
    if width_m is None and kind == "kerb":
        width_m = KERB_WIDTH_M
    outlines, proof = widened(raw, width_m=width_m, kinds=_DEFECT_SHAPES[kind], door=door), proof_of(raw, door.faults)
    if (needs_depth and depth_m is None) or (needs_height and height_m is None):
        return ()
    drawn = raw.geometry is not None and raw.geometry.geom_type in {"Polygon", "MultiPolygon"}

    def across_m(outline: Polygon) -> float:
        return max(longest_side_m(outline), width_m or 0.0) if drawn or width_m is None else width_m

    return tuple(
        Defect(name, kind, outline, across_m(outline), depth_m or 0.0, height_m or 0.0, columns.text("state"), proof)
        for name, outline in outlines
    )


def walkways(raw: RawFeature, door: Door) -> tuple[Walkway, ...]:
    """Walkways of a row."""
    columns = Columns(raw, door.faults)
    kind = columns.text("kind") or "walkway"
    return tuple(
        Walkway(name, outline, kind)
        for name, outline in widened(raw, width_m=_width_m(columns), kinds=AREA_OR_LINE, door=door)
    )


def excavations(raw: RawFeature, door: Door) -> tuple[Excavation, ...]:
    """Excavations of a row."""
    set_back_m = Columns(raw, door.faults).number(
        "set_back_m", low=0.0, high=WIDEST_M, required="give the distance wheels keep from its edge, metres"
    )
    outlines = widened(raw, width_m=None, kinds=("Polygon",), door=door)
    return () if set_back_m is None else tuple(Excavation(name, outline, set_back_m) for name, outline in outlines)


def areas(raw: RawFeature, door: Door) -> tuple[Area, ...]:
    """Named areas of a row with their closures."""
    columns = Columns(raw, door.faults)
    closures, title = columns.spans("closed"), columns.text("title") or raw.id or ""
    return tuple(
        Area(name, title, outline, closures)
        for name, outline in widened(raw, width_m=None, kinds=("Polygon",), door=door)
    )


def elevated_zones(raw: RawFeature, door: Door) -> tuple[ElevatedZone, ...]:
    """Zones of a row for travel with the platform raised; accepted as a whole, or by nobody."""
    columns = Columns(raw, door.faults)
    role, day, until = columns.text("accepted_by"), columns.day("accepted_on"), columns.day("accepted_until")
    mass_kg = columns.number("accepted_mass_kg", low=0.0, high=200_000.0, above=True)
    height_m = columns.number("platform_height_m", low=0.0, high=60.0, above=True)
    smooth_m = columns.number("smooth_to_m", low=0.0, high=0.2)
    names = COLUMNS["elevated_zones"][1:]
    told = [name for name in names if raw.columns.get(name) is not None]
    if told and len(told) < len(names):
        door.faults.add(
            "acceptance-incomplete", raw.where, "its acceptance is told in part", f"give {', '.join(names)}, or none"
        )
    if day and until and until < day:
        door.faults.add(
            "acceptance-backwards", raw.where, f"accepted on {day} until {until}", "write the later day last"
        )
    word = None
    if role and day and until and mass_kg and height_m and smooth_m is not None:
        word = RaisedAcceptance(role, day, until, mass_kg, height_m, smooth_m)
    return tuple(
        ElevatedZone(name, outline, word)
        for name, outline in widened(raw, width_m=None, kinds=("Polygon",), door=door)
    )


def places(raw: RawFeature, door: Door) -> tuple[Place, ...]:
    """The place of a row."""
    columns = Columns(raw, door.faults)
    bearing_deg = columns.number("bearing_deg", low=0.0, high=360.0)
    tolerance_m = columns.number("tolerance_m", low=0.0, high=10.0, above=True)
    point = single_point(raw, door=door)
    if point is None:
        return ()
    return (
        Place(
            raw.id or "",
            columns.text("kind") or "place",
            columns.text("title") or raw.id or "",
            point,
            None if bearing_deg is None else bearing_deg % 360.0,
            PLACE_TOLERANCE_M if tolerance_m is None else tolerance_m,
        ),
    )


class Named(Protocol):
    """What every value of a layer has."""

    @property
    def id(self) -> str:
        """Its id, numbered where its row has several parts."""


Value = TypeVar("Value", bound=Named)

Builder = Callable[[RawFeature, Door], tuple[Value, ...]]


def build(rows: tuple[RawFeature, ...], builder: Builder[Value], *, door: Door) -> tuple[Value, ...]:
    """Build a layer's values, in the file's order; a row without an id and two rows with the same id are faults.

    Parameters
    ----------
    rows
        Rows of one layer.
    builder
        One of the functions above.
    door
        Faults and repairs.
    """
    seen: set[str] = set()
    values: list[Value] = []
    for raw in rows:
        if raw.id is None:
            door.faults.add(
                "id-missing", raw.where, "it has no id", "give every feature an id that people on site know"
            )
        Columns(raw, door.faults).text("id")
        built = builder(raw, door)
        values.extend(built)
        if raw.id is not None:
            ids = [raw.id, *(value.id for value in built)]
            twice = next((name for name in ids if name in seen), None)
            if twice is not None:
                door.faults.add(
                    "duplicate-id", raw.where, f'the id "{twice}" is used twice in this layer', "rename one of them"
                )
            seen.update(ids)
    return tuple(values)
