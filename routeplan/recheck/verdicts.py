"""Whether what a plan claims follows from what was found: one check, one row, and the move as a whole."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from routeplan.machine.model import Machine
from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.machine.shape import CONFIGURATIONS
from routeplan.recheck.case import Case
from routeplan.recheck.ledger import CATALOGUE, STEERED_BY, Instance, Ledger
from routeplan.recheck.sweep import Crossing
from routeplan.recheck.track import Floats
from routeplan.route.model import MOVE_VERDICTS, Check, Move, Objection

#: Float noise that is no reason to object, in metres or degrees.
NOISE = 1e-6
#: The check that rests on figures only where a surface under the wheels claims anything; the ledger then has why.
WHERE_CLAIMED = "ground load"
#: Checks of where a machine stands to work: elsewhere they rest on nothing; the ledger has why they are open.
SET_UP_TILT, TAIL_SWING = "set-up tilt", "tail swing"
#: Beyond this, in the unit of a check, a row may not tell of more to spare than is found: ten times what figures are
#: rounded by. Of all rows of both sample sites and of drawn sites none told of more than was found, most of less.
TOLD = 1e-4
#: Checks that the two opinions bound each in its own way, neither always by less; rows of the elevated zone tell how
#: far its edge is, the second opinion also how much smoother than asked for its ground is.
BOUNDED_APART = frozenset({"basket swing", "elevated zone"})
#: Checks whose negative margin leaves them open but never fails.
NEVER_FAILS = frozenset({"survey resolution"})

#: Figures of parts of the body: a check that rests on the length rests on these, where the machine has them.
BODY_PARTS = (
    "front_overhang_m",
    "rear_overhang_m",
    "chassis_top_m",
    "tail_overhang_m",
    "boom_top_m",
    "basket_overhang_m",
    "basket_length_m",
    "basket_width_m",
)

PASSES = frozenset({"pass", "pass with controls"})


def check_objections(move: Move, case: Case, ledger: Ledger) -> Iterator[Objection]:
    """Objections to the rows of a move, check by check."""
    for kind in CATALOGUE:
        rows = [row for row in move.checks if row.kind == kind]
        if not rows:
            yield _of_move(move, kind, "the plan has no row for this check")
        for row in rows:
            yield from _row_objections(move, row, case, ledger)
    for row in move.checks:
        if row.kind not in CATALOGUE:
            yield _of_move(move, row.kind, "the method has no such check")


def _row_objections(move: Move, row: Check, case: Case, ledger: Ledger) -> Iterator[Objection]:
    least: Instance | None
    if row.verdict in PASSES:
        for why in (*_anywhere(row.kind, case), *sorted(ledger.open.get(row.kind, ()))):
            yield _of_move(move, row.kind, f"claimed as {row.verdict}, but {why}")
        if not row.k >= ledger.k - NOISE:
            yield _of_move(move, row.kind, "its k is smaller than the confidence asked for", row.k, ledger.k)
        least = ledger.least_slack.get(row.kind)
        if least is not None and least.slack < -NOISE:
            yield _found(row, least)
        elif not math.isfinite(row.margin - row.sigma):
            yield _of_move(move, row.kind, f"claimed as {row.verdict}, but it tells no margin", row.margin)
    elif row.verdict == "not proven":
        least = ledger.least_margin.get(row.kind)
        if row.kind not in NEVER_FAILS and least is not None and least.margin < -NOISE:
            yield _found(row, least)
    else:
        yield _of_move(move, row.kind, "a failed check is on a route that is given to drive")
    yield from _more_than_found(row, ledger)


def _more_than_found(row: Check, ledger: Ledger) -> Iterator[Objection]:
    """A row that leaves more beyond k sigma than was found anywhere; what was looked at nowhere closely is not held."""
    least, basis = ledger.least_slack.get(row.kind), CATALOGUE[row.kind]
    if least is None or row.kind in BOUNDED_APART:
        return
    told = row.margin - (ledger.k * row.sigma if basis.surveyed else 0.0)
    if told > max(least.slack, 0.0) + TOLD:
        text = (
            f"it tells of {told:.4g} {basis.unit} to spare beyond k sigma, "
            f"site and machine leave {least.slack:.4g}"
        )
        yield Objection(row.kind, least.chainage_m, least.place, told, least.slack, basis.unit, text)


def _anywhere(kind: str, case: Case) -> Iterator[str]:
    """Why no pass may be given to a check, wherever the way leads."""
    if kind == WHERE_CLAIMED:
        yield from _layers_lacking(kind, case)
    elif kind not in (SET_UP_TILT, TAIL_SWING):
        yield from open_reasons(kind, case)


def tilt_figures(machine: Machine) -> frozenset[str]:
    """The figures of tilt that count: one for any direction leaves of the two axes what is the machine's own."""
    axes = {"tilt_side_deg", "tilt_long_deg"}
    if "tilt_any_deg" not in machine.figures:
        return frozenset({*axes, "tilt_sensor_tolerance_deg"})
    vouched = {name for name, figure in machine.figures.items() if figure.trusted}
    return frozenset({*(axes & vouched), "tilt_any_deg", "tilt_sensor_tolerance_deg"})


def open_reasons(kind: str, case: Case) -> Iterator[str]:
    """Why no pass may be given to a check here, whatever its margin."""
    basis = CATALOGUE[kind]
    parts = [name for name in BODY_PARTS if name in case.machine.figures] if "length_m" in basis.figures else []
    if basis.surveyed and "oscillation_stop_deg" in case.machine.figures:
        parts.append("oscillation_stop_deg")
    if "length_m" in basis.figures or "height_m" in basis.figures:
        parts += [name for chosen in case.configurations for name in CONFIGURATIONS.get(chosen, ())]
    if kind == "turning":
        parts += [STEERED_BY[steer] for steer in case.steers if steer in STEERED_BY]
    figures = [*basis.figures, *parts]
    if kind == SET_UP_TILT:
        counts = tilt_figures(case.machine)
        figures = [name for name in figures if name in counts or not name.startswith("tilt_")]
    if case.machine.tracks:
        figures = [name.replace("wheelbase_m", "track_contact_m") for name in figures]
        if "wheel_radius_m" in figures or "length_m" in figures:  # the body leans as the levels have it
            yield f"the machine stands on tracks: {UNDER_TRACKS}"
    for name in figures:
        figure = case.machine.figures.get(name)
        if figure is None:
            yield f"{name} is missing"
        elif not figure.trusted:
            yield f"{name} is a {figure.tag} figure"
    yield from _layers_lacking(kind, case)
    if basis.surveyed and case.site.ground.accuracy.assumed:
        yield "the accuracy of the levels is assumed"


def _layers_lacking(kind: str, case: Case) -> Iterator[str]:
    for layer in CATALOGUE[kind].layers:
        if layer not in case.site.layers_given:
            yield f"the site does not give {layer}"


def _found(row: Check, least: Instance) -> Objection:
    unit = CATALOGUE[row.kind].unit
    short = least.slack if row.verdict in PASSES else least.margin
    asked = "k sigma" if row.verdict in PASSES and short < least.margin else "zero"
    text = f"claimed as {row.verdict}, but site and machine give {least.value:.4g} against {least.limit:.4g} {unit}"
    if math.isfinite(least.margin):
        text += f": a margin of {least.margin:.4g}, {-short:.2g} less than {asked}"
    return Objection(row.kind, least.chainage_m, least.place, least.value, least.limit, unit, text)


def _of_move(move: Move, kind: str, text: str, value: float = math.nan, limit: float = math.nan) -> Objection:
    start = (move.poses[0].x, move.poses[0].y) if move.poses else (math.nan, math.nan)
    unit = CATALOGUE[kind].unit if kind in CATALOGUE else ""
    return Objection(kind, 0.0, start, value, limit, unit, text)


def move_objections(move: Move, plan_k: float | None, ledger: Ledger) -> Iterator[Objection]:
    """Objections to the verdict of a move as a whole, to those of its legs together, and to its k."""
    worst = min((row.verdict for row in move.checks), key=MOVE_VERDICTS.index, default="fail")
    if MOVE_VERDICTS.index(move.verdict) > MOVE_VERDICTS.index(worst):
        yield _of_move(move, "verdict", f"the move is called {move.verdict}, its worst check is {worst}")
    if move.verdict == "not proven" and move.legs and all(leg.verdict in PASSES for leg in move.legs):
        yield _of_move(move, "verdict", "the move is not proven, and each of its legs is called proven")
    if move.verdict == "pass" and move.controls:
        yield _of_move(move, "verdict", f"the move is called pass, and asks for {len(move.controls)} controls")
    if plan_k is None or math.isnan(plan_k):
        yield _of_move(move, "confidence", "the plan does not say its k", math.nan, ledger.k)
    elif plan_k < ledger.k - NOISE:
        yield _of_move(move, "confidence", "k is smaller than the confidence asked for", plan_k, ledger.k)


def walkway_objections(move: Move, case: Case, ledger: Ledger, crossings: Sequence[Crossing]) -> Iterator[Objection]:
    """A body over a walkway needs "pass with controls" at best, and for each crossing a hold point at or before it.

    A hold counts for one crossing only: it lies behind the one before. Standing clear for less than the machine's
    length is still the same crossing.
    """
    steps: dict[str, set[int]] = {}
    for crossing in crossings:
        steps.setdefault(crossing.walkway, set()).update(crossing.steps)
    track = ledger.track
    length = float(np.ptp(np.array(case.configuration.footprint)[:, 0]))
    plain = any(check.kind == "walkways" and check.verdict == "pass" for check in move.checks)
    for walkway, found in sorted(steps.items()):
        after = -math.inf
        for first, last in _runs(sorted(found), track.chainage_m, length):
            row = min(first + 1, len(track.x) - 1)
            at, place = float(track.chainage_m[row]), (float(track.x[row]), float(track.y[row]))
            if plain:
                text = f"the body is over walkway {walkway}: not a plain pass"
                yield Objection("walkways", at, place, 0.0, 0.0, "m", text)
            if not any(after < hold.chainage_m <= at + NOISE for hold in move.holds):
                text = f"no hold point at or before a crossing of walkway {walkway}"
                yield Objection("walkways", at, place, math.nan, at, "m", text)
            elif not any(one.kind == "walkway" and after < one.chainage_m <= at + NOISE for one in move.controls):
                text = f"nobody is told to hold people back at a crossing of walkway {walkway}"
                yield Objection("walkways", at, place, math.nan, at, "m", text)
            after = float(track.chainage_m[last])


def _runs(steps: Sequence[int], chainage_m: Floats, gap_m: float) -> Iterator[tuple[int, int]]:
    """First and last of each run of steps, runs less than a gap apart taken together."""
    first = last = -1
    for step in steps:
        if first >= 0 and chainage_m[step] - chainage_m[last] >= gap_m:
            yield first, last
            first = step
        first = step if first < 0 else first
        last = step
    if first >= 0:
        yield first, last
