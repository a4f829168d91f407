"""What a check leaves to spare, in plain words and millimetres, and which check is the tightest of a move."""

from __future__ import annotations

import math

from routeplan.machine.model import Machine
from routeplan.machine.modelled import no_such_figure
from routeplan.report.wording import amount_text
from routeplan.route.model import Check, CheckVerdict, Move

#: Check verdicts from worst to best.
WORST_FIRST: tuple[CheckVerdict, ...] = ("fail", "not proven", "pass with controls", "pass")
#: What a check measures, so that "68 mm to spare" can be read on: between what and what.
BETWEEN: dict[str, str] = {
    "head gap": "above the operator's head",
    "overhead clearance": "above the machine",
    "side clearance": "to the side of the machine",
    "ground strike": "under the chassis",
    "bounce rise": "before the basket bounces too high",
    "basket swing": "before the basket swings too far",
    "step": "on the height of a kerb or sill",
    "kerb angle": "on how square-on a kerb or sill is met",
    "kerb side slope": "on the side slope where a kerb or sill is met",
    "gradeability": "on the steepest way up or down",
    "side slope": "on the side slope",
    "combined slope": "on both slopes together",
    "surface acceptance": "between a wheel and ground that nobody accepted",
    "ground load": "on what the ground lets a wheel carry",
    "grip": "on what holds the machine on a slope and stops it",
    "covers, plates and trenches": "between a wheel and a cover, plate or trench",
    "excavation edge": "between a wheel and the set-back of an excavation",
    "overhead lines": "between the machine and an overhead line's corridor",
    "line clearance": "between the machine and the safety distance below an overhead line",
    "closed areas": "between the machine and a closed area",
    "turning": "on the tightest turn",
    "set-up tilt": "before the tilt cut-out where it works",
    "tail swing": "beside the slewing tail where it works",
    "elevated zone": "between the machine and the edge of its elevated zone",
}
#: Margins of these say yes or no, or are used up on every way with a turn, or a limit of speed, in it: none is the
#: tightest.
_NO_MARGIN = ("walkways", "levels known", "turning", "survey resolution", "basket swing", "grip")
#: Whose limit is a most; the others' is a least.
_AT_MOST = (
    "gradeability", "side slope", "combined slope", "bounce rise", "basket swing", "step", "kerb angle",
    "kerb side slope", "ground load", "grip", "survey resolution", "set-up tilt",
)  # fmt: skip
#: Distances in plan are looked at no further than this, metres; where nothing is claimed of wheels this is left, kN,
#: and where nobody works, nothing slews, or nothing is raised, degrees and metres. Other margins are held to ten of
#: their unit.
_LOOKED = {
    "side clearance": 0.5,
    "surface acceptance": 0.5,
    "covers, plates and trenches": 0.5,
    "excavation edge": 0.5,
    "overhead lines": 0.5,
    "closed areas": 0.5,
    "walkways": 0.5,
    "ground load": 1000.0,
    "set-up tilt": 1000.0,
    "tail swing": 1000.0,
    "elevated zone": 1000.0,
}
#: What is said where a margin is no more than that.
_NOTHING = {
    "ground load": "nothing claimed", "set-up tilt": "not set up", "tail swing": "no tail sweeps",
    "elevated zone": "travels lowered",
}  # fmt: skip
_LOOKED_OTHERS = 10.0
#: A margin of this much is roomy, where the limit does not say: gaps between bodies, and under the chassis, metres.
_ROOMY_M, _ROOMY_BELOW_M = 0.5, 0.25
#: A turn with less than this to spare is one at full lock, metres.
_FULL_LOCK_M = 0.001
#: A limit of this unit is hardly used while so much of it is left.
_HARDLY_USED = {"m": 0.9}


def made(check: Check) -> bool:
    """Return whether the check has a margin at all."""
    return math.isfinite(check.margin)


def capped(check: Check) -> bool:
    """Return whether the margin is only known to be that much or more, as nothing was looked for further away."""
    return made(check) and check.margin >= _LOOKED.get(check.kind, _LOOKED_OTHERS)


def idle(check: Check) -> bool:
    """Return whether a check passes for want of anything near, or of anything to check: its figures tell nothing."""
    return check.verdict == "pass" and capped(check)


def _full_lock(check: Check) -> bool:
    """Return whether a turn is the tightest that the machine makes: its rounded figures would read as too tight."""
    return check.kind == "turning" and check.verdict == "pass" and 0.0 <= check.margin < _FULL_LOCK_M


def margin_text(check: Check) -> str:
    """Return what is left beyond the limit, or how much is missing; rounded against the user.

    Metres are given in millimetres, bare ratios in percent. A margin that nobody measured says so.
    """
    if not made(check):
        return "not made"
    if check.kind == "walkways":
        return "none crossed" if check.margin >= 0.0 else "crosses a walkway"
    if check.kind == "levels known" and check.margin >= 0.0:
        return "all known"
    if check.kind in _NOTHING and capped(check):
        return _NOTHING[check.kind]
    if _full_lock(check):
        return "as tight as it turns"
    amount = amount_text(check.margin, check.unit, upwards=False)
    if check.margin < 0.0:
        return f"{amount.removeprefix('-')} short"
    return f"{amount} or more" if capped(check) else amount


def spare_text(check: Check) -> str:
    """Return the margin as it stands in a sentence: ``68 mm to spare``."""
    text = margin_text(check)
    return f"{text} to spare" if text[0].isdigit() and not text.endswith("short") else text


def said(check: Check) -> str:
    """Return a check's verdict as a lead for its figures, so that an open or broken one is never read as a pass."""
    return {"fail": "Fails: ", "not proven": "Not proven: "}.get(check.verdict, "")


def figures_text(check: Check) -> str:
    """Return the value beside its limit, each rounded towards the other; nothing where the margin says it all."""
    known = math.isfinite(check.value) and math.isfinite(check.limit)
    if not known or check.limit == 0.0 or capped(check) or _full_lock(check):
        return ""
    at_most = check.kind in _AT_MOST
    value = amount_text(check.value, check.unit, upwards=at_most)
    limit = amount_text(check.limit, check.unit, upwards=not at_most)
    return f"{value}, at {'most' if at_most else 'least'} {limit}"


def rests_on(check: Check, machine: Machine) -> tuple[str, ...]:
    """Return what a check rests on; a missing figure that the machine's class does not have asks for a person instead.

    Nobody can read such a figure from a plate, and the site folder would refuse it.
    """
    return tuple(_askable(text, machine) for text in check.assumed)


def _askable(text: str, machine: Machine) -> str:
    figure, missing, _ = text.partition(" is missing")
    why = no_such_figure(machine, figure) if missing else None
    return f"{why}. The check stays open: a competent person settles it on site, machine and gap seen" if why else text


def idle_words(move: Move) -> str:
    """Return the checks that tell nothing but that they pass, in one sentence; nothing where each tells more."""
    kinds = sorted(check.kind for check in move.checks if idle(check))
    return f"Pass, with nothing near or nothing to check: {', '.join(kinds)}." if kinds else ""


def decisive(check: Check) -> tuple[int, bool, float, str]:
    """Return the key that sorts checks by how much they decide: worst verdict, real margins first, tightest first."""
    return (WORST_FIRST.index(check.verdict), not made(check) or check.kind in _NO_MARGIN, _share(check), check.kind)


def governing(move: Move) -> Check | None:
    """Return the check that decides the move: the worst, or else the tightest real margin; ``None`` without checks.

    A crossed walkway is a control, not a margin; it does not decide a move whose every check holds.
    """
    bad = [check for check in move.checks if check.verdict in ("fail", "not proven")]
    real = [check for check in move.checks if made(check) and check.kind not in _NO_MARGIN]
    return min(bad, key=decisive, default=None) or min(real, key=_share, default=None)


def biting(move: Move, from_m: float, to_m: float) -> Check | None:
    """Return the check that decides a stretch of a move, of those that are at their worst in it; ``None`` without."""
    here = [
        check
        for check in move.checks
        if made(check) and not capped(check) and check.kind not in _NO_MARGIN and from_m <= check.chainage_m <= to_m
    ]
    return min(here, key=decisive, default=None)


def _share(check: Check) -> float:
    """Return the margin as a share of what would be roomy; the smaller, the tighter.

    What hardly uses its limit (a slope less than half, a bounce or step less than a tenth) comes after real gaps.
    """
    if not made(check) or capped(check):
        return math.inf
    if check.kind == "ground strike":
        return check.margin / _ROOMY_BELOW_M
    if check.kind in _AT_MOST and check.limit > 0.0:
        share = check.margin / check.limit
        return share if share < _HARDLY_USED.get(check.unit, 0.5) else share + 1.0
    return check.margin / (_ROOMY_M if check.unit == "m" else 1.0)
