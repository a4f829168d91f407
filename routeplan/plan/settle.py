"""What would settle the open checks of a way: the fewest figures, words and spot levels, and where (method.md 14)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import Point
from shapely.ops import nearest_points

from routeplan.hazards import arrays
from routeplan.hazards.catalogue import CATALOGUE, TILT, CheckKind
from routeplan.hazards.register import ASSUMED, figure_doubt, layer_doubt
from routeplan.hazards.set_up import ANY, SIDE, Lean
from routeplan.machine.model import Machine
from routeplan.machine.read import read_figure_kinds
from routeplan.plan.grip import GRIP
from routeplan.plan.ground_load import GROUND_LOAD, Laden
from routeplan.plan.profile import OVER, Judged, Profile, doubt_of, no_accuracy
from routeplan.plan.set_up import SetUp
from routeplan.plan.spots import MOST_READ, Question
from routeplan.plan.surer import BY_READINGS, EITHER, Doubt
from routeplan.plan.swing import SWING
from routeplan.route.model import Check, Measurement
from routeplan.site.ground import levels_at
from routeplan.site.model import Site

_NAN = math.nan
_NOWHERE = (_NAN, _NAN)
#: How many check points make an accuracy the survey's own (common practice, no source).
_CHECK_POINTS = 20


def settled(checks: Sequence[Check], found: Profile, judged: Judged) -> tuple[Check, ...]:
    """The rows of a move, each that is open with what settles it."""
    reasons = _reasons(judged.site, judged.machine)
    lines = {line.kind: line for line in CATALOGUE}
    return tuple(
        replace(row, settled_by=tuple(_settling(row, lines[row.kind], found, judged, reasons)))
        if row.verdict == "not proven"
        else row
        for row in checks
    )


def _settling(
    row: Check, line: CheckKind, found: Profile, judged: Judged, reasons: Mapping[str, Measurement]
) -> Iterator[Measurement]:
    """What all together settles a row: what its assumptions ask for, then what its margin does."""
    for text in row.assumed:
        said = reasons.get(text, Measurement("other", "", _NOWHERE, _NAN, _NAN, False, text))
        yield _overhead(said, line, found, judged) if said.what == "overhead" else said
    doubts = list(_doubts(line, found, judged))
    if judged.site.ground.accuracy.assumed or judged.machine.tracks or not math.isfinite(row.margin):
        return
    if any(doubt.margin.size for doubt in doubts):
        yield from _spot_levels(row, doubts, judged)


def _reasons(site: Site, machine: Machine) -> dict[str, Measurement]:
    """What is asked for by each reason that may leave a check open."""
    names = {*read_figure_kinds(), *machine.figures}
    figures = {figure_doubt(name, machine): ("figure", name) for name in names}
    layers = {layer_doubt(name): ("layer", name) for line in CATALOGUE for name in line.layers}
    over = {no_accuracy(f"soffit {one.id}"): ("overhead", one.id) for one in site.soffits}
    over |= {no_accuracy(f"line {one.id}"): ("overhead", one.id) for one in site.line_corridors}
    told = {text: Measurement(what, name, _NOWHERE, _NAN, _NAN, False, text)  # type: ignore[arg-type]
            for text, (what, name) in (figures | layers | over).items() if text}  # fmt: skip
    points = f"{ASSUMED}, from {_CHECK_POINTS} check points with a better instrument or more"
    return told | {ASSUMED: Measurement("accuracy", "", _NOWHERE, _NAN, _NAN, False, points)}


def _overhead(said: Measurement, line: CheckKind, found: Profile, judged: Judged) -> Measurement:
    """Where to measure what hangs over the way, and how well it has to be known for the margin to be proven."""
    if line.index not in OVER:
        return said
    doubt = doubt_of(line, found, judged.hazards)
    things = {one.id: one.geometry for one in judged.site.soffits}
    things |= {one.id: one.geometry for one in judged.site.line_corridors}
    rows = np.flatnonzero(np.isposinf(doubt.other))
    if not rows.size:
        return said
    known = doubt.where(rows)._replace(other=np.zeros(len(rows)))
    levels = judged.surer.along(known, judged.k)
    most = np.sign(known.margin) * (known.margin / judged.k) ** 2 - levels**2
    tight = rows[int(np.argmin(most))]
    spot = nearest_points(things[said.name], Point(found.starts[tight, :2]))[0]
    enough = math.sqrt(most.min()) if most.min() > 0.0 else _NAN
    return replace(said, place=(spot.x, spot.y), sigma_m=enough)


def _doubts(line: CheckKind, found: Profile, judged: Judged) -> Iterator[Doubt]:
    """The margins of a line that readings of the levels may settle, where they are open."""
    if line.index in BY_READINGS:
        doubt = doubt_of(line, found, judged.hazards)
        levels = judged.surer.along(doubt, judged.k)
        open_ = doubt.margin < judged.k * np.hypot(levels, doubt.other)
        yield doubt.where(np.flatnonzero(open_ & np.isfinite(doubt.other)))
    elif line.kind in (GRIP, GROUND_LOAD):
        for doubt in [judged.gripped.doubt()] if line.kind == GRIP else _laden(found, judged):
            yield doubt.where(np.flatnonzero(doubt.margin < judged.k * judged.surer.along(doubt, judged.k)))
    elif line.kind == SWING:
        yield _swung(found, judged)
    elif line.kind == TILT:
        for one in judged.come_to(found):
            for lean in one.leans:
                if abs(lean.margin) < judged.k * lean.sigma:
                    yield _tilted(one, lean)


def _laden(found: Profile, judged: Judged) -> Iterator[Doubt]:
    """What is left on each surface that claims anything."""
    driven = Laden.of(
        found.poses, site=judged.site, machine=judged.machine, hazards=judged.hazards,
        configurations=judged.gripped.shapes, wet=judged.wet,
    )  # fmt: skip
    return map(driven.doubt, driven.claims())


def _swung(found: Profile, judged: Judged) -> Doubt:
    """What the swing leaves on each stretch where that is open, as of the least sure point of the body."""
    swung, index = judged.swung, found.along_m[1:-1]
    margin, sigma = np.full(len(found.starts), np.inf), np.zeros(len(found.starts))
    for side in ("left", "right"):  # a sample between two stretches counts for both
        stretch = np.searchsorted(index, swung.chainage_m, side=side)
        np.minimum.at(margin, stretch, swung.margin_m)
        np.maximum.at(sigma, stretch, swung.sigma_m)
    survey = np.full(len(margin), judged.hazards.sigma[arrays.HEAD])
    doubt = Doubt(arrays.HEAD, found.starts, found.ends, margin, survey, np.zeros(len(margin)))
    return doubt.where(np.flatnonzero(margin < judged.k * sigma))


def _tilted(one: SetUp, lean: Lean) -> Doubt:
    pose = np.array([[one.at.x, one.at.y, one.at.heading]])
    kind = {SIDE: arrays.SIDE_SLOPE, ANY: EITHER}.get(lean.name, arrays.GRADE)
    return Doubt(kind, pose, pose, np.array([lean.margin]), np.array([lean.sigma]), np.zeros(1))


def _spot_levels(row: Check, doubts: Sequence[Doubt], judged: Judged) -> Iterator[Measurement]:
    """The spot levels that prove a row if they find what the plan has, or fail it where it is beyond its limit."""
    site, k = judged.site, judged.k
    sigma_m = site.thresholds.reading_sigma_m
    broken = [one.where(one.margin < 0.0) for one in doubts]
    beyond = [one._replace(margin=-one.margin) for one in broken if one.margin.size]
    asked = [_worst(beyond)] if beyond else list(doubts)
    spots = Question.of(judged.surer, asked, k, sigma_m).smallest()
    if spots is None:
        text = (
            f"no {MOST_READ} spot levels of {1000 * sigma_m:.3g} mm under its wheels settle it: the margin is too "
            "small, or open too far along. Survey the ground again, or change the way or what it is held against"
        )
        yield Measurement("nothing", "", row.place, _NAN, sigma_m, False, text)
        return
    end = "fails it" if beyond else "proves it"
    many = "the fewest" if spots.fewest else "few, maybe not the fewest"
    for n, (place, level_m) in enumerate(zip(spots.places, levels_at(site.ground, spots.places), strict=True), 1):
        text = (
            f"read the level of the ground, {n} of {len(spots.places)} places ({many}) that, read to "
            f"{1000 * sigma_m:.3g} mm and found as here, {end}"
        )
        yield Measurement("level", "", (float(place[0]), float(place[1])), float(level_m), sigma_m, spots.fewest, text)


def _worst(beyond: Sequence[Doubt]) -> Doubt:
    """The one stretch that is farthest beyond its limit: it alone has to fail."""
    worst = max(beyond, key=lambda one: float((one.margin / one.survey).max()))
    return worst.where(np.array([int(np.argmax(worst.margin))]))
