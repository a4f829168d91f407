"""The picture of a machine from its side, to one scale both ways: whole for one row, and the rows as data for a script.

Everything is in centimetres: ahead to the right, up to the top. What does not change from row to row is drawn once; the
script puts the rest anew, from the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from routeplan.report.markup import escape, plain
from routeplan.report.side_things import Overhead
from routeplan.report.side_view import STEP_M, Rig, SideRow, SideView, Top

#: The picture is never shown narrower, nor made lower, than this, nor its letters smaller than so many pixels.
_NARROWEST_PX, _LOWEST_PX, _LETTERS_PX = 330.0, 200.0, 12.0
#: Of a letter's size: how wide letters are at most, and how far apart lines stand.
_WIDE, _LINE = 0.62, 1.15
#: How thick an underside is drawn, for nobody gave more of it than that, cm; the script draws as much.
_RIM_CM = 24
#: What is hatched of a hole whose depth nobody knows, cm.
_HATCHED_CM = 40
_SAID = (
    "Seen from its right side, front to the right, one scale both ways. Ground along the machine's middle line, a "
    "level every quarter metre; hatched where not known."
)


def side_figure(index: int, view: SideView, tightest: int) -> str:
    """Return the picture of one row with its words as HTML; a script puts other rows into it.

    Parameters
    ----------
    index
        Place of the move in the plan, from 1.
    tightest
        Which row.
    """
    one, ident = view.rows[tightest], f"side-{index}"
    x, y, wide, high = _box(view)
    words = " ".join(one.words)
    rigs = "".join(_rig(number, view, number == one.rig) for number in range(len(view.rigs)))
    return (
        f'<figure class="side"><p class="gap" aria-live="polite" aria-atomic="true"><b>{escape(gap_text(one))}</b> '
        f'<span class="where">at {one.row.chainage_m:.1f} m, the tightest place</span></p>'
        f'<svg class="side-view" role="img" aria-labelledby="{ident}-t {ident}-d" viewBox="{x} {y} {wide} {high}" '
        f'font-size="{_letters_cm(view):.0f}" data-letters="{_LETTERS_PX:g}" preserveAspectRatio="xMidYMid meet">'
        f'<title id="{ident}-t">The machine from its side, to scale</title><desc id="{ident}-d">{escape(words)}</desc>'
        f"{_pattern(ident, view)}"
        f'<g class="over" fill="url(#{ident}-o)">{"".join(map(_overhead, _over_shapes(view, one)))}</g>'
        f'<path class="unknown" fill="url(#{ident}-h)" d="{_unknown(view, one)}"/>'
        f'<path class="ground" d="{_ground(view, one)}"/>'
        f'<g class="below">{"".join(_below(shape, ident) for shape in _below_shapes(one))}</g>'
        f'<g class="lean" transform="{_lean(view, one)}">{rigs}</g>'
        f'<g class="spare">{_spare(one)}</g><g class="letters">{"".join(map(_letter, _labels(view, one)))}</g>'
        f"{_scale_bar(view)}</svg>"
        f'<figcaption><span class="side-words">{escape(words)}</span> <span class="how">{escape(_SAID)}'
        f"{escape(_head_words(view))}</span></figcaption></figure>"
    )


def side_data(view: SideView) -> dict[str, Any]:
    """Return the rows as the script draws them, in whole centimetres, their words by number."""
    words: dict[str, int] = {}
    rows = []
    for one in view.rows:
        told = [words.setdefault(plain(text), len(words)) for text in one.words]
        spare = 0 if one.spare is None else [_cm(one.spare.at_m), _cm(one.spare.from_m), _cm(one.spare.to_m)]
        rows.append([
            _steps(one), _over_shapes(view, one), _below_shapes(one), _labels(view, one), spare,
            words.setdefault(gap_text(one), len(words)), told, one.rig, _pitch(one),
        ])  # fmt: skip
    return {
        "from": _cm(view.from_m), "step": _cm(STEP_M), "low": _cm(view.low_m), "middle": _cm(view.middle_m),
        "rows": rows, "words": list(words),
    }  # fmt: skip


def gap_text(one: SideRow) -> str:
    """Return what stands over the picture: the row's own figure overhead, or that nothing is near."""
    if not math.isfinite(one.row.head_m):
        return one.words[0].removesuffix(".")
    return f"{one.figure} {'to spare ' if one.row.head_m >= 0.0 else ''}overhead"


def _cm(value_m: float) -> int | None:
    return round(100.0 * value_m) if math.isfinite(value_m) else None


def _box(view: SideView) -> tuple[int, int, int, int]:
    west, east, low, high = (round(100.0 * value) for value in (view.from_m, view.to_m, view.low_m, view.high_m))
    return west, -high, east - west, high - low


def _letters_cm(view: SideView) -> float:
    """How high letters stand where the picture is shown smallest."""
    _, _, wide, high = _box(view)
    return _LETTERS_PX * max(wide / _NARROWEST_PX, high / _LOWEST_PX)


def _pitch(one: SideRow) -> float:
    return round(one.row.pitch_deg, 1) if math.isfinite(one.row.pitch_deg) else 0.0


def _lean(view: SideView, one: SideRow) -> str:
    return f"rotate({-_pitch(one):g} {_cm(view.middle_m)} 0)"


def _steps(one: SideRow) -> list[int | None]:
    """Levels of the ground, each as the step from the last known one; nothing where not known."""
    last, steps = 0, list[int | None]()
    for value in one.ground_m.tolist():
        level = _cm(value)
        steps.append(None if level is None else level - last)
        last = last if level is None else level
    return steps


def _runs(one: SideRow, *, known: bool) -> list[tuple[int, int]]:
    """First and last sample of each run between neighbours that are both known, or of which one is not."""
    flags = [math.isfinite(value) for value in one.ground_m.tolist()]
    runs = list[tuple[int, int]]()
    for n, (here, then) in enumerate(zip(flags, flags[1:], strict=False)):
        if (here and then) != known:
            continue
        if runs and runs[-1][1] == n:
            runs[-1] = (runs[-1][0], n + 1)
        else:
            runs.append((n, n + 1))
    return runs


def _ground(view: SideView, one: SideRow) -> str:
    at, bottom, paths = _cm(view.from_m) or 0, -(_cm(view.low_m) or 0), []
    step, levels = _cm(STEP_M) or 0, one.ground_m.tolist()
    for first, last in _runs(one, known=True):
        line = "".join(f"L{at + step * n} {-(_cm(levels[n]) or 0)}" for n in range(first, last + 1))
        paths.append(f"M{at + step * first} {bottom}{line}L{at + step * last} {bottom}Z")
    return "".join(paths)


def _unknown(view: SideView, one: SideRow) -> str:
    at, bottom, step = _cm(view.from_m) or 0, -(_cm(view.low_m) or 0), _cm(STEP_M) or 0
    return "".join(
        f"M{at + step * first} {bottom}V0H{at + step * last}V{bottom}Z" for first, last in _runs(one, known=False)
    )


def _over_shapes(view: SideView, one: SideRow) -> list[list[Any]]:
    """Kind, where it begins and ends, and how high it hangs at both; what is not known hangs at the picture's top."""
    return [
        [piece.kind.replace(" ", "-"), _cm(piece.from_m), _cm(piece.to_m), *map(_cm, _hung(view, piece))]
        for piece in one.over
    ]


def _hung(view: SideView, piece: Overhead) -> tuple[float, float]:
    top_m = view.high_m
    if piece.kind == "kept out":
        return 0.0, 0.0
    return tuple(min(low, top_m) if math.isfinite(low) else top_m for low in (piece.low_from_m, piece.low_to_m))  # type: ignore[return-value]


def _overhead(shape: Sequence[Any]) -> str:
    kind, west, east, low, then = shape
    above = f"V{-then - _RIM_CM}L{west} {-low - _RIM_CM}" if kind != "kept-out" else f"V-2000H{west}"
    return f'<path class="{kind}" d="M{west} {-low}L{east} {-then}{above}Z"/>'


def _below_shapes(one: SideRow) -> list[list[Any]]:
    """Look, where it begins and ends, the ground beside it, and its bottom or top."""
    shapes = []
    for thing in one.below:
        edge = _cm(thing.edge_m)
        if edge is None:
            continue
        bottom = _cm(thing.bottom_m)
        look = "deep-unknown" if bottom is None else "raised" if bottom > edge else "hole" if bottom < edge else "flush"
        shapes.append([
            look if thing.under else f"{look} between", _cm(thing.from_m), _cm(thing.to_m), edge,
            edge - _HATCHED_CM if bottom is None else bottom,
        ])  # fmt: skip
    return shapes


def _below(shape: Sequence[Any], ident: str) -> str:
    look, west, east, edge, bottom = shape
    fill = f' fill="url(#{ident}-h)"' if look.startswith("deep-unknown") else ""
    return f'<path class="{look}"{fill} d="M{west} {-edge}V{-bottom}H{east}V{-edge}"/>'


def _rig(number: int, view: SideView, shown: bool) -> str:
    """A machine upright: what must be kept free, boxes, wheels or tracks, and whoever rides."""
    rig = view.rigs[number]
    boxes = "".join(
        f'<path class="{"occupied" if box.occupied else "body"}" '
        f'd="{_rectangle(_along(box.ring), box.bottom_m, box.top_m)}"/>'
        for box in rig.body.boxes
    )
    kept = "".join(map(_kept, rig.tops))
    hidden = "" if shown else ' display="none"'
    return f'<g class="rig" data-rig="{number}"{hidden}>{kept}{boxes}{_wheels(view)}{_person(view, rig)}</g>'


def _kept(top: Top) -> str:
    rim = _rectangle((top.from_m, top.to_m), top.height_m, top.height_m + top.kept_m)
    return f'<path class="kept" d="{rim}"/>'


def _along(ring: Sequence[tuple[float, float]]) -> tuple[float, float]:
    xi = [point[0] for point in ring]
    return min(xi), max(xi)


def _rectangle(along: tuple[float, float], low_m: float, high_m: float) -> str:
    return f"M{_cm(along[0])} {-(_cm(low_m) or 0)}H{_cm(along[1])}V{-(_cm(high_m) or 0)}H{_cm(along[0])}Z"


def _wheels(view: SideView) -> str:
    if view.machine.tracks:
        radius = _cm(view.machine.wheels[0].radius_m) or 0
        track = view.machine.tracks[1]
        west, east = _cm(track.xi_from_m) or 0, _cm(track.xi_to_m) or 0
        return (
            f'<rect class="wheel" x="{west - radius}" y="{-2 * radius}" width="{east - west + 2 * radius}" '
            f'height="{2 * radius}" rx="{radius}"/>'
        )
    near = [wheel for wheel in view.machine.wheels if wheel.eta_m < 0.0]
    return "".join(
        f'<circle class="wheel" cx="{_cm(one.xi_m)}" cy="{-(_cm(one.radius_m) or 0)}" r="{_cm(one.radius_m)}"/>'
        f'<circle class="hub" cx="{_cm(one.xi_m)}" cy="{-(_cm(one.radius_m) or 0)}" r="8"/>'
        for one in near
    )


def _person(view: SideView, rig: Rig) -> str:
    """Whoever rides, in the middle of the basket: only the height is a figure, and the head may be anywhere on it."""
    if not rig.ridden:
        return ""
    basket, tall, head = rig.body.basket, _cm(view.head_m) or 0, 13
    x, floor = _cm(basket.xi_m) or 0, -(_cm(basket.floor_height_m) or 0)
    west, east = map(_cm, _along(basket.ring))
    hips, hands, shoulders = (floor - round(share * tall) for share in (0.45, 0.5, 0.8))
    return (
        f'<path class="head-height" d="M{west} {floor - tall}H{east}"/>'
        f'<g class="person"><circle cx="{x}" cy="{floor - tall + head}" r="{head}"/>'
        f'<path d="M{x} {floor - tall + 2 * head}V{hips}L{x - 12} {floor}M{x} {hips}L{x + 12} {floor}'
        f'M{x - 20} {hands}L{x} {shoulders}L{x + 20} {hands}"/></g>'
    )


def _head_words(view: SideView) -> str:
    ridden = any(rig.ridden for rig in view.rigs)
    head = f" A rider's head is taken {view.head_m:.2f} m over the floor, anywhere on it." if ridden else ""
    return f"{head} Light outlines are what must be kept free."


def _spare(one: SideRow) -> str:
    if one.spare is None or one.spare.to_m <= one.spare.from_m:
        return ""
    at, low, high = _cm(one.spare.at_m), _cm(one.spare.from_m) or 0, _cm(one.spare.to_m) or 0
    return f'<path class="arrow" d="{_arrow(at or 0, low, high)}"/>'


def _arrow(at: int, low: int, high: int) -> str:
    """A line with a bar at both ends."""
    return f"M{at - 12} {-low}h24M{at - 12} {-high}h24M{at} {-low}V{-high}"


def _labels(view: SideView, one: SideRow) -> list[list[Any]]:
    """Text, place, whether it ends there, how far down in sizes of letters, look; lines give way to one another."""
    west, top, wide, high = _box(view)
    letters, east, shown = _letters_cm(view), west + wide, list[list[Any]]()
    taken: list[tuple[float, float, float]] = [(east - 130.0, east, top + high - letters)]  # the scale bar

    def put(text: str, from_cm: float, to_cm: float, at_cm: float, turn: int, look: str) -> None:
        """Beside its thing, or as many lines off as it takes in the picture; ``turn`` is -1 where it gives way up."""
        width = letters * _WIDE * len(text)
        ends = max(from_cm, west) + width > east
        x = min(to_cm, east) - 6 if ends else max(from_cm, west) + 6
        begin = x - width if ends else x
        first = 0.9 if turn > 0 else -0.35

        def free(lines: float) -> bool:
            y = at_cm + letters * lines
            inside = top + 0.8 * letters <= y <= top + high - 0.2 * letters
            return inside and not any(
                begin < right and left < begin + width and abs(y - other) < letters for left, right, other in taken
            )

        tried = [first + turn * _LINE * number for number in (0, 1, 2, 3, -1, -2, -3)]
        lines = next(filter(free, tried), first)
        taken.append((begin, begin + width, at_cm + letters * lines))
        shown.append([plain(text), round(x), round(at_cm), int(ends), round(lines, 2), look])

    if one.spare is not None and one.spare.to_m > one.spare.from_m:
        middle = -50.0 * (one.spare.from_m + one.spare.to_m) + 0.35 * letters
        at = 100.0 * one.spare.at_m
        put(one.figure, at + 8, at - 8, middle + 0.35 * letters, -1, "figure")
    for piece in one.over:
        low = min(_hung(view, piece))
        out = piece.kind == "kept out" or -100.0 * low - _RIM_CM - letters * _LINE < top
        at = float(top) if out else -100.0 * low - _RIM_CM
        put(piece.label, 100 * piece.from_m, 100 * piece.to_m, at, 1 if out else -1, "over")
    for thing in one.below:
        low = min((value for value in (thing.edge_m, thing.bottom_m) if math.isfinite(value)), default=0.0)
        put(thing.label, 100 * thing.from_m, 100 * thing.to_m, -100.0 * low, 1, "under")
    return shown


def _letter(label: Sequence[Any]) -> str:
    text, x, y, ends, lines, look = label
    anchor = ' text-anchor="end"' if ends else ""
    return f'<text class="{look}" x="{x}" y="{y}" dy="{lines:g}em"{anchor}>{escape(text)}</text>'


def _scale_bar(view: SideView) -> str:
    west, top, wide, high = _box(view)
    x, y = west + wide - 115, top + high - 12
    return (
        f'<g class="bar"><path d="M{x} {y}h100M{x} {y - 8}v16M{x + 100} {y - 8}v16"/>'
        f'<text x="{x + 50}" y="{y}" dy="-.4em" text-anchor="middle">1 m</text></g>'
    )


def _pattern(ident: str, view: SideView) -> str:
    """The hatches of what nobody knows and of what hangs overhead, as coarse as the letters; no colour tells them."""
    size = _letters_cm(view)
    return (
        f'<pattern id="{ident}-h" width="{size:.0f}" height="{size:.0f}" patternUnits="userSpaceOnUse">'
        f'<rect width="100%" height="100%" fill="#fff"/><path d="M0 0l{size:.0f} {size:.0f}M{size:.0f} 0L0 {size:.0f}" '
        f'stroke="#333" stroke-width="{size / 12:.1f}"/></pattern>'
        f'<pattern id="{ident}-o" width="{size / 2:.0f}" height="{size / 2:.0f}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="100%" height="100%" fill="#efe8f7"/>'
        f'<path d="M0 0v{size:.0f}" stroke="#45206a" stroke-width="{size / 4:.1f}"/></pattern>'
    )
