"""A static plan as SVG: a window of the drawing at a round scale on paper, readable with scripts off and printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString, Polygon

from routeplan.report.markup import escape
from routeplan.report.shapes import Bounds, Layer, Line, Position, Shape
from routeplan.report.spread import spread

#: One unit of the plan is this long on paper, metres; the width fits an A4 sheet upright with margins of 10 mm.
UNIT_M = 0.00025
WIDTH_UNITS = 760
HEIGHT_UNITS = 430
#: Below the picture: scale bar, scale and north arrow, where they hide nothing.
_STRIP_UNITS = 34
_MARGIN_UNITS = 26
#: Round scales, one to so many.
_SCALES = (
    50, 100, 200, 250, 300, 400, 500, 600, 750, 1000, 1250, 1500, 2000, 2500, 3000,
    4000, 5000, 7500, 10_000, 20_000, 50_000,
)  # fmt: skip
#: Outlines may leave their course by a tenth of a millimetre on paper, in units.
_TOLERANCE_UNITS = 0.4
#: Marks of a move, which give way to one another in this order, the last first.
_KEPT_APART = ("end", "governing", "objection", "miss", "stop", "watch")
_TEXT_UNITS, _GLYPH_UNITS = 10.0, 6.4
_WAY_UNITS = 6.0
_KEPT_CLEAR_UNITS = 11.0
#: An obstacle drawn smaller than this is not named: a row of columns would hide what it stands under.
_NAMED_UNITS = 9.0
#: Marks whose label gives way last stand first.
_LABEL_ORDER = (
    "route", "end", "governing", "miss", "objection", "zone", "closed", "soffit", "place", "hazard", "obstacle",
    "excavation",
)  # fmt: skip

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Window:
    """The piece of the site that a plan shows: its north-west corner, size in units and the scale denominator."""

    west: float
    north: float
    width: float
    height: float
    scale: int

    @property
    def metres_per_unit(self) -> float:
        """Metres on site that one unit of the plan stands for."""
        return UNIT_M * self.scale

    def shows(self, shape: Shape) -> bool:
        """Return whether a shape may lie in the window, going by its extent."""
        points = [self.units(point) for part in shape.parts for ring in part for point in ring]
        xs, ys = zip(*points, strict=True)
        return bool(min(xs) <= self.width and max(xs) >= 0.0 and min(ys) <= self.height and max(ys) >= 0.0)

    def units(self, point: Position) -> Position:
        """Return a site position in units from the top left corner."""
        return ((point[0] - self.west) / self.metres_per_unit, (self.north - point[1]) / self.metres_per_unit)


def fitted(
    bounds: Bounds, *, width: float = WIDTH_UNITS, height: float = HEIGHT_UNITS, snug: bool = False
) -> Window:
    """Return the window with the bounds in its middle, at the largest round scale that holds them with a margin.

    Parameters
    ----------
    width, height
        Of the picture, units; a ``snug`` one is no higher than what it holds.
    """
    west, south, east, north = bounds
    wide, high = width - 2 * _MARGIN_UNITS, height - 2 * _MARGIN_UNITS
    needed = max((east - west) / wide, (north - south) / high) / UNIT_M
    scale = next((step for step in _SCALES if step >= needed), math.ceil(needed / 10_000) * 10_000)
    metres = UNIT_M * scale
    if snug:
        height = min(height, (north - south) / metres + 2 * _MARGIN_UNITS)
    return Window(
        (west + east - width * metres) / 2.0,
        (south + north + height * metres) / 2.0,
        float(width),
        float(height),
        scale,
    )


def plan_svg(
    layers: Iterable[Layer], window: Window, *, ident: str, title: str, description: str, across: str = ""
) -> str:
    """Return an inline SVG of the layers inside the window.

    Parameters
    ----------
    ident
        Prefix of the ids inside; unique on the page, ASCII letters, digits and hyphens.
    title, description
        What the picture is, and what it says, for those who do not see it.
    across
        Words over the whole picture, for one that nobody may drive by.
    """
    shapes = [shape for layer in layers for shape in layer.shapes]
    high = window.height + _STRIP_UNITS
    outlines = [_outline(shape, window) for shape in shapes if shape.kind != "mark"]
    marks = _placed([shape for shape in shapes if shape.kind == "mark"], window)
    return "".join(
        (
            f'<svg class="plan" role="img" aria-labelledby="{ident}-t {ident}-d" '
            f'viewBox="0 0 {window.width:g} {high:g}" width="{window.width:g}" height="{high:g}">',
            f'<title id="{ident}-t">{escape(title)}</title><desc id="{ident}-d">{escape(description)}</desc>',
            f'<clipPath id="{ident}-c"><rect width="{window.width:g}" height="{window.height:g}"/></clipPath>',
            f'<g clip-path="url(#{ident}-c)">',
            *outlines,
            *(_leader(shape, at, window) for shape, at in marks),
            *(_mark(shape, at) for shape, at in marks),
            *_labels(shapes, marks, window),
            _across(across, window),
            "</g>",
            _furniture(window),
            f'<rect class="frame" width="{window.width:g}" height="{window.height:g}"/></svg>',
        )
    )


def _across(words: str, window: Window) -> str:
    if not words:
        return ""
    x, y = window.width / 2.0, window.height / 2.0
    size = min(90.0, 1.4 * window.width / len(words))
    text = f'x="{x:g}" y="{y:g}" font-size="{size:.0f}" transform="rotate(-12 {x:g} {y:g})">{escape(words)}</text>'
    return f'<text class="across halo" {text}<text class="across" {text}'


def _inside(point: Position, window: Window) -> bool:
    return 0.0 <= point[0] <= window.width and 0.0 <= point[1] <= window.height


def _outline(shape: Shape, window: Window) -> str:
    """Return an area or line as one path, cut to the window and simplified to what paper shows."""
    pieces = []
    for part in shape.parts:
        rings = [[window.units(point) for point in ring] for ring in part]
        course = LineString(rings[0]) if shape.kind == "line" else Polygon(rings[0], rings[1:])
        if not course.intersects(shapely.box(0.0, 0.0, window.width, window.height)):
            continue
        cut = shapely.clip_by_rect(
            course.simplify(_TOLERANCE_UNITS), -9.0, -9.0, window.width + 9.0, window.height + 9.0
        )
        for piece in getattr(cut, "geoms", (cut,)):
            rings_kept = (piece,) if shape.kind == "line" else (piece.exterior, *piece.interiors)
            pieces += [
                _path(tuple(ring.coords), closed=shape.kind == "area") for ring in rings_kept if not ring.is_empty
            ]
    return f'<path class="s-{shape.style}" d="{"".join(pieces)}"/>' if pieces else ""


def _path(course: Line, *, closed: bool) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (course[:-1] if closed else course))
    return f"M{points}{'Z' if closed else ''}"


def _placed(marks: Sequence[Shape], window: Window) -> list[tuple[Shape, Position]]:
    """Return the marks in the window and where they are drawn: those of a move never hide one another."""
    spots = {shape: window.units(shape.parts[0][0][0]) for shape in marks}
    spots = {shape: at for shape, at in spots.items() if _inside(at, window)}
    moved = sorted(
        (shape for shape in spots if shape.style in _KEPT_APART), key=lambda one: _KEPT_APART.index(one.style)
    )
    apart = spread([spots[shape] for shape in moved], (window.width, window.height))
    spots.update(zip(moved, apart, strict=True))
    return list(spots.items())


def _leader(shape: Shape, at: Position, window: Window) -> str:
    """Return the line from a mark that was set aside to its place."""
    x, y = window.units(shape.parts[0][0][0])
    if (x, y) == at:
        return ""
    return f'<path class="leader" d="M{at[0]:.1f},{at[1]:.1f}L{x:.1f},{y:.1f}m-2,0h4m-2-2v4"/>'


def _mark(shape: Shape, at: Position) -> str:
    return (
        f'<g class="m-{shape.style}" transform="translate({at[0]:.1f} {at[1]:.1f})"><use href="#m-{shape.style}"/>'
        f'<text class="in">{escape(shape.mark)}</text></g>'
    )


def _labels(shapes: Sequence[Shape], marks: Sequence[tuple[Shape, Position]], window: Window) -> Iterable[str]:
    """Yield the labels that fit: none over another, none over a mark, those that matter most first.

    Names of the site never lie on the way, what belongs to the move only where there is no other room.
    """
    taken, drawn = [_round(at) for _, at in marks], dict(marks)
    ways = [box for shape in shapes if shape.style.startswith("way") for box in _along(shape, window)]
    placed = [(shape, drawn.get(shape) or _label_spot(shape, window)) for shape in sorted(shapes, key=_label_rank)]
    for shape, at in placed:
        if at is None or not shape.label:
            continue
        x, y = at
        wide = _GLYPH_UNITS * len(shape.label) / 2.0
        offsets = (
            (
                *((0.0, 20.0), (0.0, -15.0), (wide + 14.0, 4.0), (-wide - 14.0, 4.0)),
                *((wide + 14.0, 16.0), (-wide - 14.0, 16.0), (wide + 14.0, -9.0), (-wide - 14.0, -9.0)),
            )
            if shape.kind == "mark"
            else ((0.0, 3.5), (0.0, 16.0), (0.0, -9.0))
        )
        if shape.kind != "mark":
            x = min(max(x, wide + 4.0), window.width - wide - 4.0)
        spots = [(x + dx, y + dy) for dx, dy in offsets]
        found = _free(spots, wide, [*taken, *ways], window)
        if found is None and _label_rank(shape) < _LABEL_ORDER.index("soffit"):
            found = _free(spots, wide, taken, window)
        if found is not None:
            taken.append(_text_box(found, wide))
            spot = f'x="{found[0]:.1f}" y="{found[1]:.1f}"'
            text = f"{spot}>{escape(shape.label)}</text>"
            # Two texts, for what prints the sheets paints no outline under a text.
            yield f'<text class="label halo" {text}<text class="label l-{shape.style}" {text}'


def _free(spots: Iterable[Position], wide: float, taken: Sequence[Box], window: Window) -> Position | None:
    """Return the first spot at which a label is not cut and lies over nothing taken."""
    boxes = ((spot, _text_box(spot, wide)) for spot in spots)
    free = (spot for spot, box in boxes if _fits(box, window) and not any(_overlap(box, other) for other in taken))
    return next(free, None)


def _text_box(spot: Position, wide: float) -> Box:
    return (spot[0] - wide, spot[1] - _TEXT_UNITS, spot[0] + wide, spot[1] + 3.0)


def _along(way: Shape, window: Window) -> Iterable[Box]:
    """Yield boxes along a way, for names that must not hide it."""
    course = LineString([window.units(point) for part in way.parts for point in part[0]]).segmentize(_WAY_UNITS)
    for x, y in course.coords:
        if _inside((x, y), window):
            yield (x - _WAY_UNITS / 2.0, y - _WAY_UNITS / 2.0, x + _WAY_UNITS / 2.0, y + _WAY_UNITS / 2.0)


def _label_spot(shape: Shape, window: Window) -> Position | None:
    """Return where a label belongs, in units: inside what the window shows of its area; ``None`` for no label."""
    if not shape.label or shape.label_at is None:
        return None
    spot = window.units(shape.label_at)
    if shape.kind == "mark":
        return spot
    rings = [Polygon([window.units(point) for point in part[0]]) for part in shape.parts]
    west, south, east, north = shapely.total_bounds(rings)
    if shape.style.startswith("obstacle") and max(east - west, north - south) < _NAMED_UNITS:
        return None
    if _inside(spot, window):
        return spot
    pieces = [shapely.clip_by_rect(ring.buffer(0.0), 0.0, 0.0, window.width, window.height) for ring in rings]
    widest = max(pieces, key=lambda piece: piece.area)
    return None if widest.is_empty else (widest.representative_point().x, widest.representative_point().y)


def _label_rank(shape: Shape) -> int:
    ranks = (rank for rank, style in enumerate(_LABEL_ORDER) if shape.style.startswith(style))
    return next(ranks, len(_LABEL_ORDER))


def _round(centre: Position) -> Box:
    return (
        centre[0] - _KEPT_CLEAR_UNITS,
        centre[1] - _KEPT_CLEAR_UNITS,
        centre[0] + _KEPT_CLEAR_UNITS,
        centre[1] + _KEPT_CLEAR_UNITS,
    )


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _fits(box: Box, window: Window) -> bool:
    return box[0] >= 2.0 and box[1] >= 2.0 and box[2] <= window.width - 2.0 and box[3] <= window.height - 2.0


def _furniture(window: Window) -> str:
    """Return the scale bar, the scale in words and the north arrow."""
    longest_m = 130.0 * window.metres_per_unit
    power = 10.0 ** math.floor(math.log10(longest_m))
    bar_m = next(step * power for step in (5.0, 2.0, 1.0) if step * power <= longest_m)
    wide, top = bar_m / window.metres_per_unit, window.height + 14.0
    half = wide / 2.0
    return (
        f'<g class="furniture"><path d="M10,{top:.1f}h{half:.2f}v6h-{half:.2f}Z" class="dark"/>'
        f'<path d="M{10 + half:.2f},{top:.1f}h{half:.2f}v6h-{half:.2f}Z" class="light"/>'
        f'<text x="10" y="{top + 16:.1f}">0</text>'
        f'<text x="{10 + wide:.1f}" y="{top + 16:.1f}" class="mid">{bar_m:g} m</text>'
        f'<text x="{wide + 40:.1f}" y="{top - 2:.1f}">1 : {window.scale} when printed at 100 %</text>'
        f'<path d="M{window.width - 460:.1f},{top + 10:.1f}v8h400v-8" class="ruler"/>'
        f'<text x="{window.width - 260:.1f}" y="{top + 15:.1f}" class="mid">100 mm on paper, or do not measure</text>'
        f'<g transform="translate({window.width - 18:.1f} {top + 4:.1f})"><path d="M0-13L6 10 0 5-6 10Z" class="dark"/>'
        '<text x="-10" y="4" class="last">grid N</text></g></g>'
    )
