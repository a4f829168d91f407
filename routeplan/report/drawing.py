"""What is drawn of a site, once, for the page, the static plans and later sheets."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from shapely.geometry.base import BaseGeometry

from routeplan.report.contours import slope_outlines, unknown_outline
from routeplan.report.shapes import Details, Layer, Position, Shape, area, mark
from routeplan.report.wording import down, place_text, up
from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform
from routeplan.site.consistency import soffit_gaps
from routeplan.site.elevated_zone import ElevatedZone
from routeplan.site.friction import Friction
from routeplan.site.ground import levels_within
from routeplan.site.model import Area, Defect, Ground, LineCorridor, Obstacle, Place, Site, Soffit, Surface, Walkway
from routeplan.site.spans import span_words

#: Never under a wheel, whatever the state it is said to be in, unless it is proven.
_NOT_DRIVEN_OVER = ("cover", "plate", "trench")
_DEFECT_LETTERS = {"pothole": "P", "kerb": "K", "sill": "S", "cover": "C", "plate": "L", "trench": "T"}


def draw_site(site: Site) -> tuple[Layer, ...]:
    """Return everything the site shows by itself, lowest layer first."""
    return (
        _layer("ground", "Ground", (_surface(item) for item in site.surfaces)),
        _layer("slope", "Slope of the clean ground", _slopes(site)),
        _layer("unknown", "Levels not known", _unknown(site)),
        _layer("areas", "Named areas", (*map(_named_area, site.areas), *map(_elevated_zone, site.elevated_zones))),
        _walkways(site),
        _layer("lines", "Overhead lines", (_line(item) for item in site.line_corridors)),
        _layer(
            "excavations",
            "Excavations",
            (
                shape
                for item in site.excavations
                for shape in (
                    area("set-back", item.geometry.buffer(item.set_back_m, quad_segs=4)),
                    area(
                        "excavation",
                        item.geometry,
                        title=f"Excavation {item.id}",
                        label=f"excavation {item.id}",
                        details=(("Wheels keep away", f"{up(item.set_back_m, 2)} m"),),
                    ),
                )
            ),
        ),
        _layer("obstacles", "Obstacles", (_obstacle(item, site.ground) for item in site.obstacles)),
        _layer("soffits", "Soffits", (_soffit(item, site.ground) for item in sorted(site.soffits, key=_clear_m))),
        _layer("defects", "Ground hazards", (shape for item in site.defects for shape in _defect(item))),
        _layer("boundary", "Boundary", (area("boundary", site.boundary),)),
        _layer("places", "Places", (_place(item) for _, item in sorted(site.places.items()))),
    )


def _clear_m(item: Soffit) -> float:
    """What is clear under an underside as far as it is told: names of what hangs lowest are written first."""
    return math.inf if item.clear_m is None else item.clear_m


def _walkways(site: Site) -> Layer:
    rule = ("Rule", "hold point and marshal when a machine's body is over it")

    def details(item: Walkway) -> Details:
        return ("Kind", item.kind), rule

    return _layer(
        "walkways",
        "Walkways",
        (
            area("walkway", item.geometry, title=f"Walkway {item.id}", label=item.id, details=details(item))
            for item in site.walkways
        ),
    )


def defect_details(defect: Defect) -> Details:
    """Return a defect's figures in words; depth, height and width never look smaller than they are."""
    return (
        ("Kind", defect.kind),
        ("Depth", f"{up(defect.depth_m * 1000.0, 0)} mm"),
        ("Height", f"{up(defect.height_m * 1000.0, 0)} mm"),
        ("Width", f"{up(defect.width_m * 1000.0, 0)} mm"),
        ("State", defect.state if defect.state is not None else "nobody said"),
        ("Place", place_text(_middle(defect.geometry))),
    )


def _layer(layer_id: str, title: str, shapes: Iterable[Shape]) -> Layer:
    return Layer(layer_id, title, tuple(shape for shape in shapes if shape.parts))


def _middle(geometry: BaseGeometry) -> Position:
    inside = geometry.representative_point()
    return (inside.x, inside.y)


def _bears(ground: Bearing | None) -> Details:
    """What the site claims of wheels on a surface, each figure rounded against the user; none where it claims none."""
    match ground:
        case None:
            return ()
        case HardGround():
            text = f"{down(ground.wheel_kn, 1)} kN on one wheel"
        case Clay():
            text = f"clay of {down(ground.cu_kpa, 1)} kPa, safety {up(ground.factor, 2)}"
            text += f", ruts at {down(ground.rut_kpa, 0)} kPa"
        case Platform():
            below = ground.below
            if isinstance(below, Drained):
                weak = f"soil of {down(below.phi_deg, 1)} degrees"
            else:
                weak = f"{down(below, 0)} kPa"
            text = f"platform of {down(ground.thickness_m, 2)} m, at {down(ground.spread_deg, 1)} degrees, on {weak}"
    if isinstance(ground, Clay | Platform):
        text += "; wet: nobody said" if ground.wet is None else f"; wet {down(100.0 * ground.wet, 0)} % of it"
    return (("Bears", text), ("As told by", ground.role))


def _grips(said: Friction | None) -> Details:
    """Friction between tyres and a surface, each figure rounded down; none where nobody said."""
    if said is None:
        return ()
    states = [("dry", said.dry), ("wet", said.wet)]
    states += [(said.loose.name, said.loose.friction)] if said.loose is not None else []
    told = ", ".join(f"{down(value, 2)} {state}" for state, value in states if value is not None)
    return (("Friction", told), ("As measured by", said.role))


def _surface(surface: Surface) -> Shape:
    given = surface.acceptance
    if given is None:
        details: Details = (("Kind", surface.kind), ("Acceptance", "none: not driven on"))
        return area(
            "surface-open",
            surface.geometry,
            title=f"Surface {surface.id}",
            details=details,
            label=f"{surface.id}: not accepted",
        )
    until = str(given.valid_until) if given.valid_until is not None else "no last day stated"
    return area(
        "surface",
        surface.geometry,
        title=f"Surface {surface.id}",
        details=(
            ("Kind", surface.kind),
            ("Accepted by", given.role),
            ("Accepted on", str(given.date)),
            ("Largest gross mass", f"{down(given.mass_limit_kg, 0)} kg"),
            ("Valid until", until),
            *_bears(surface.bearing),
            *_grips(surface.friction),
        ),
    )


def _slopes(site: Site) -> Iterable[Shape]:
    for limit_pct, outline in slope_outlines(site.ground, site.boundary):
        yield area(
            f"slope-{limit_pct:.0f}",
            outline,
            title=f"Slope of the clean ground {limit_pct:.0f} % or more",
            label=f"{limit_pct:.0f} %",
        )


def _unknown(site: Site) -> Iterable[Shape]:
    yield area(
        "unknown",
        unknown_outline(site.ground, site.boundary),
        title="Levels not known",
        label="levels not known",
        details=(("Rule", "not driven on"),),
    )


def _named_area(item: Area) -> Shape:
    spans = "; ".join(map(span_words, item.closures)) or "none stated"
    return area(
        "area",
        item.geometry,
        title=f"Area {item.id}",
        label=item.title,
        details=(("Name", item.title), ("Closed", spans)),
    )


def _elevated_zone(item: ElevatedZone) -> Shape:
    word = item.acceptance
    details: Details = (("Rule", "accepted by nobody: no machine travels here with its platform raised"),)
    if word is not None:
        details = (
            ("Platform raised", f"floor up to {down(word.platform_height_m, 2)} m, machines of up to "
             f"{down(word.mass_limit_kg, 0)} kg"),
            ("Accepted by", f"{word.role}, from {word.date} to {word.valid_until}"),
            ("Largest hole, bump or step", f"{up(word.smooth_to_m * 1000.0, 0)} mm"),
        )  # fmt: skip
    label = f"elevated zone {item.id}"
    return area("area", item.geometry, title=f"Elevated zone {item.id}", label=label, details=details)


def _line(item: LineCorridor) -> Shape:
    details = [("Corridor kept clear", f"{up(item.corridor_m, 2)} m")]
    if item.safety is not None:
        given = item.safety
        details += [
            ("Voltage", f"{given.voltage_kv:g} kV"),
            ("Safety distance", f"{up(given.distance_m, 2)} m round that: {given.scope}; {given.source}"),
        ]
    rule = "no machine enters"
    if item.height is not None:
        low_m = item.height.level_m - item.height.sag_m
        sag = f"sag of {up(item.height.sag_m, 2)} m included"
        details.append(("Hangs no lower than", f"level {down(low_m, 2)} m, {sag}"))
        rule = f"passed under between goal posts, all below level {down(low_m - item.distance_m, 2)} m"
    return area(
        "line-corridor",
        item.geometry,
        title=f"Overhead line {item.id}",
        label=f"overhead line {item.id}",
        details=(*details, ("Rule", rule)),
    )


def _obstacle(item: Obstacle, ground: Ground) -> Shape:
    if item.top_m is None:
        top, label, style = "taller than any machine", item.id, "obstacle"
    else:
        top, style = f"level {up(item.top_m, 2)} m", "obstacle-low"
        label = f"{item.id}, top at level {up(item.top_m, 2)}\u00a0m"
        levels = levels_within(ground, item.geometry.buffer(ground.cell_m))
        if levels.size and not np.isnan(levels).any():
            height = f"up to {up(item.top_m - float(levels.min()), 2)} m high"
            top, label = f"{height}; {top}", f"{item.id}, {height}"
    return area(
        style, item.geometry, title=f"Obstacle {item.id}", label=label, details=(("Kind", item.kind), ("Top", top))
    )


def _soffit(item: Soffit, ground: Ground) -> Shape:
    if item.clear_m is not None:
        height, label = (
            f"{down(item.clear_m, 2)} m clear above the ground below",
            f"{item.id} clear {down(item.clear_m, 2)}\u00a0m",
        )
    elif item.level_m is not None:
        height, label = (
            f"level {down(item.level_m, 2)} m at its middle",
            f"{item.id}, underside at level {down(item.level_m, 2)}\u00a0m",
        )
        lowest_m = _lowest_clear_m(item, ground)
        if math.isfinite(lowest_m):
            height = f"{down(lowest_m, 2)} m clear at its lowest; {height}"
            label = f"{item.id} clear {down(lowest_m, 2)}\u00a0m"
    else:
        height, label = "not known", f"{item.id} height not known"
    sigma = (
        f"{up(item.sigma_m * 1000.0, 0)} mm" if item.sigma_m is not None else "nobody said: every gap under it is open"
    )
    details: Details = (
        ("Kind", item.kind),
        ("Underside", height),
        ("Standard deviation", sigma),
        ("Survey", item.survey if item.survey is not None else "nobody said"),
    )
    if item.fall_x or item.fall_y:
        fall = f"{item.fall_x * 100.0:+.1f} % to the east, {item.fall_y * 100.0:+.1f} % to the north"
        details += (("Rise", fall),)
    return area("soffit", item.geometry, title=f"Soffit {item.id}", label=label, details=details)


def _lowest_clear_m(item: Soffit, ground: Ground) -> float:
    """Return the smallest height of a soffit above the levels below it; NaN where one of them is not known."""
    gaps = soffit_gaps(item, ground)[1]
    known = not np.isnan(levels_within(ground, item.geometry)).any()
    return float(gaps.min()) if known and gaps.size else math.nan


def _defect(item: Defect) -> tuple[Shape, Shape]:
    title = f"{item.kind.capitalize()} {item.id}"
    outline = area(f"defect-{item.kind}", item.geometry)
    rule: Details = (("Rule", "no wheel on it, whatever its state"),) if item.kind in _NOT_DRIVEN_OVER else ()
    if item.proof is not None:
        limit = item.proof.limit
        proven = f"for {down(limit.wheel_kn, 1)} kN a wheel, by {limit.role} on {item.proof.date}"
        proven += f" until {item.proof.valid_until}" if item.proof.valid_until else ""
        rule = (("Rule", "wheels wholly on it or wholly off it"), ("Proven", proven))
    symbol = mark(
        "hazard",
        _middle(item.geometry),
        _DEFECT_LETTERS[item.kind],
        title=title,
        details=(*rule, *defect_details(item)),
        label=item.id,
    )
    return outline, symbol


def _place(item: Place) -> Shape:
    arrow = f"{item.bearing_deg:.0f} deg from grid north" if item.bearing_deg is not None else "any"
    return mark(
        "place",
        (item.point.x, item.point.y),
        "+" if item.kind == "refuge" else item.kind[:1].upper(),
        title=f"Place {item.id}",
        label=item.title or item.id,
        details=(
            ("Kind", item.kind),
            ("Name", item.title),
            ("Chassis arrow", arrow),
            ("Tolerance", f"{down(item.tolerance_m, 2)} m"),
            ("Place", place_text((item.point.x, item.point.y))),
        ),
    )
