"""The zone that a machine does not leave with its platform raised: its edge, and how rough the ground in it is."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
import shapely

from routeplan.recheck.case import Case
from routeplan.recheck.form import FORM_TOLERANCE_M, objection
from routeplan.recheck.ledger import Ledger
from routeplan.recheck.levels import DiscMaximum
from routeplan.recheck.stance import Stance
from routeplan.recheck.sweep import Sweep, parts_of
from routeplan.recheck.touch import near
from routeplan.recheck.track import Ints
from routeplan.recheck.wheels import swept_contacts, wheel_reach_m
from routeplan.route.model import Move, Objection

#: The line of the catalogue.
KIND = "elevated zone"
#: What people are told of it, and what that says of height and speed; how these are rounded.
KIND_OF_CONTROL = "elevated"
_UP, _SPEED = re.compile(r"(\d+(?:\.\d+)?) m up"), re.compile(r"(\d+(?:\.\d+)?(?:e-\d+)?) m/s")
_WRITTEN = 0.005


def offer_zone(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Offer how far body and wheels stay inside the zone, and how much rougher than it wheels meet the ground.

    Where the machine's origin is outside, so is the machine: a place may be stood at from beyond the edge. Else what
    leaves the zone comes over its edge.
    """
    if case.zone is None:
        return
    outline, rows = case.zone.geometry, stance.rows
    shapely.prepare(outline)
    within = shapely.covers(outline, shapely.points(case.track.x[rows], case.track.y[rows]))
    ledger.offer(KIND, rows, np.where(within, np.nan, -np.inf), value=-math.inf, limit=0.0)
    for box in case.configuration.boxes:
        for part in parts_of(box):
            swept = Sweep(case, stance, part)
            at = swept.near(outline.boundary, 0.0)
            if at.size:
                _inside(case, ledger, rows[at], swept.shapes(at))
    at = near(outline.boundary, case.track.x[rows], case.track.y[rows], wheel_reach_m(case))
    if at.size:
        for shapes in swept_contacts(case, stance, at):
            _inside(case, ledger, rows[at], np.array(shapes, dtype=object))
    _offer_rough(case, stance, ledger)


def _inside(case: Case, ledger: Ledger, rows: Ints, shapes: np.ndarray[tuple[int], np.dtype[np.object_]]) -> None:
    assert case.zone is not None
    outline = case.zone.geometry
    clear = np.where(shapely.covers(outline, shapes), shapely.distance(shapes, outline.boundary), -np.inf)
    ledger.offer(KIND, rows, clear, value=clear, limit=0.0)


def _offer_rough(case: Case, stance: Stance, ledger: Ledger) -> None:
    """Holes, bumps and steps that a tyre comes to, in the levels and among the defects, against the zone's largest."""
    assert case.zone is not None and case.zone.acceptance is not None
    most = case.zone.acceptance.smooth_to_m
    tyre = max(math.hypot(wheel.radius_m, wheel.width_m / 2) for wheel in case.machine.wheels)
    levels = case.levels
    met = DiscMaximum(levels.rough, **levels.place, reach_m=tyre + levels.cell_m).at(stance.hub_x, stance.hub_y)
    ledger.offer(KIND, stance.rows, most - met, value=met, limit=most)
    hubs = shapely.points(stance.hub_x, stance.hub_y)
    for defect in case.site.defects:
        size = max(defect.depth_m, defect.height_m)
        if size > most:
            meets = shapely.distance(hubs, defect.geometry) <= tyre
            ledger.offer(KIND, stance.rows, np.where(meets, most - size, np.nan), value=size, limit=most)


def raised_objections(move: Move, case: Case) -> Iterator[Objection]:
    """Who drives raised is told so before setting off: a control that says where, how high and how fast at most."""
    told = [one.text for one in move.controls if one.kind == KIND_OF_CONTROL and one.chainage_m < FORM_TOLERANCE_M]
    if case.zone is not None and not (told and all(_says(text, move, case) for text in told)):
        text = f"nobody is told before it sets off that it stays within elevated zone {case.zone.id} raised, how high"
        text += " and how fast at most"
        yield objection(KIND, move.poses[0], value=math.nan, limit=0.0, unit="m", text=text)


def _says(text: str, move: Move, case: Case) -> bool:
    """Whether a text names the zone, and no more height and no more speed than there may be."""
    assert case.zone is not None
    heights, speeds = _UP.findall(text), _SPEED.findall(text)
    return (
        f"elevated zone {case.zone.id} " in f"{text} "
        and bool(heights and speeds)
        and all(float(one) <= (move.platform_height_m or math.nan) + _WRITTEN for one in heights)
        and all(float(one) <= case.figure("travel_speed_mps") + _WRITTEN for one in speeds)
    )
