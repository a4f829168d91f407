"""The legend: every look that occurs on the page, beside its words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from routeplan.report.markup import escape
from routeplan.report.plan_svg import Window
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer, Shape

_WORDS: dict[str, str] = {
    "boundary": "Site boundary",
    "surface": "Ground accepted by a competent person",
    "surface-open": "Ground without an acceptance: not driven on",
    "slope-5": "Slope of the clean ground, 5 % or more",
    "slope-8": "Slope of the clean ground, 8 % or more",
    "slope-12": "Slope of the clean ground, 12 % or more",
    "slope-20": "Slope of the clean ground, 20 % or more",
    "unknown": "Levels not known: not driven on",
    "area": "Named area",
    "closed": "Area closed for this move",
    "walkway": "Walkway: hold and marshal",
    "line-corridor": "Overhead line: no entry, or only as low as said",
    "excavation": "Excavation",
    "set-back": "Set-back of an excavation: no wheels",
    "obstacle": "Obstacle taller than any machine",
    "obstacle-low": "Obstacle with a top level",
    "soffit": "Underside overhead: level, or clear height",
    "hazard": "Ground hazard: P pothole, K kerb, S sill, C cover, L plate, T trench",
    "place": "Place, first letter of its kind",
    "band": "Ground swept by the machine",
    "way": "Way of the machine's origin, forwards, with arrows",
    "way-reverse": "Way driven backwards",
    "machine": "Machine at start, reversals and finish; the arrow is the chassis arrow",
    "end": "A start, Z finish",
    "stop": "Numbered stop",
    "watch": "Tight place, numbered with the stops",
    "governing": "Tightest place, or the check that fails or is open",
    "zone-bounce-ground": "Bounce: wheels here",
    "zone-bounce-basket": "Bounce: basket there",
    "zone-slope-ground": "Slope: wheels here",
    "zone-slope-basket": "Slope: basket there",
    "zone-low-gap-ground": "Low gap: wheels here",
    "zone-low-gap-basket": "Low gap: basket there",
    "refused": "Refused route: do not drive",
    "objection": "Objection of the second opinion",
    "miss": "Nearest miss: what blocks, and by how much",
}
_MARKS = {"hazard": "P", "place": "G", "end": "A", "stop": "1", "watch": "2", "governing": "!"} | dict.fromkeys(
    ("objection", "miss"), "1"
)
_LINES = ("way", "way-reverse", "refused")

#: Short words for what a sheet's plan shows without a label of its own.
_KEY: dict[str, str] = {
    "band": "swept ground",
    "way-reverse": "backwards",
    "stop": "stop",
    "watch": "tight place",
    "governing": "tightest, or open",
    "refused": "refused route",
    "objection": "objection",
    "miss": "nearest miss",
    "soffit": "underside overhead",
    "walkway": "walkway",
    "surface-open": "not accepted",
    "unknown": "level not known",
    "slope-5": "slope 5 %",
    "slope-8": "slope 8 %",
    "slope-12": "slope 12 %",
    "slope-20": "slope 20 %",
    "zone-bounce-ground": "bounce",
    "zone-slope-ground": "slope zone",
    "zone-low-gap-ground": "low gap",
    "closed": "closed",
    "line-corridor": "overhead line",
    "set-back": "set-back",
    "obstacle-low": "low obstacle",
}


def key(layers: Sequence[Layer], window: Window) -> str:
    """Return the short key of a sheet: what its plan shows, as rows of swatch and words."""
    used = {shape.style for layer in layers for shape in layer.shapes if window.shows(shape)}
    rows = "".join(f"<li>{_swatch(style)}{words}</li>" for style, words in _KEY.items() if style in used)
    shown = [shape for layer in layers for shape in layer.shapes if shape.kind == "mark" and window.shows(shape)]
    hazards = f"<li>Triangles: {_letters(shown, 'hazard')}</li>" if "hazard" in used else ""
    places = f"; {_letters(shown, 'place')}" if "place" in used else ""
    return f'<ul class="key" aria-hidden="true">{rows}{hazards}<li>Squares: A start, Z finish{places}</li></ul>'


def _letters(marks: Iterable[Shape], style: str) -> str:
    """Return what the letters in marks of a look stand for, as HTML."""
    kinds = {(shape.mark, dict(shape.details)["Kind"]) for shape in marks if shape.style == style}
    return ", ".join(f"{escape(letter)} {escape(kind)}" for letter, kind in sorted(kinds))


def legend(base: Sequence[Layer], drawings: Sequence[MoveDrawing]) -> str:
    """Return the legend of what occurs, in a fixed order."""
    layers: Iterable[Layer] = (*base, *(layer for drawing in drawings for layer in drawing.layers))
    used = {shape.style for layer in layers for shape in layer.shapes}
    rows = "".join(
        f"<li>{_swatch(style)}<span>{escape(words)}</span></li>" for style, words in _WORDS.items() if style in used
    )
    return f'<details class="legend" open><summary>Legend</summary><ul>{rows}</ul></details>'


def _swatch(style: str) -> str:
    if style in _MARKS:
        inner = (
            f'<g class="m-{style}" transform="translate(22 14)"><use href="#m-{style}"/>'
            f'<text class="in">{_MARKS[style]}</text></g>'
        )
    elif style in _LINES:
        inner = f'<path class="s-{style}" d="M2,14H42"/>'
    else:
        inner = f'<path class="s-{style}" d="M3,3H41V25H3Z"/>'
    return f'<svg viewBox="0 0 44 28" width="44" height="28" aria-hidden="true" focusable="false">{inner}</svg>'
