"""What decides only together: a hole and a beam, twisted ground and how the axles hang. In search, second opinion and
on the map alike.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from shapely.geometry import box

from routeplan.machine.model import Machine
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import look
from routeplan.report.page import map_page
from routeplan.route.model import Conditions, Move, Plan
from routeplan.site.model import Defect, Site, Soffit, Thresholds
from tests.recheck.drives import certain, drive, kinds, move_of, opinion, yard_for
from tests.worlds import boom, flat_site, place, wanted

ISSUED = "2026-11-24T12:00:00+00:00"

#: A hole from side to side, 40 mm deep, and a beam 0.20 m higher than a head and its gap, 7.2 to 7.8 m beyond it: over
#: the basket when the rear wheels, and over the boom when the front wheels, meet the hole.
HOLE = Defect("H1", "pothole", box(14.0, -1.0, 14.6, 9.0), 0.6, 0.04, 0.0, None)
BEAM = Soffit("B1", box(21.2, -1.0, 21.8, 9.0), "beam", 3.00, None, 0.0, 0.0, 1e-9, "S1")


@cache
def planned(*, hole: bool, beam: bool) -> tuple[Plan, Move, Site]:
    """A boom along a lane too narrow for turning round; there is no way round, nor backwards."""
    site = flat_site(
        36.0, 8.0, machines=(boom(),), places=(place("w", 5.0, 4.0, 90.0), place("e", 27.0, 4.0, 90.0)),
        moves=(wanted("TB", "w", "e"),), defects=(HOLE,) if hole else (), soffits=(BEAM,) if beam else (),
        thresholds=Thresholds(bounce_limit_m=0.9),
    )  # fmt: skip
    plan = plan_site(site, issued=ISSUED)
    return plan, plan.moves[0], site


@pytest.mark.parametrize(("hole", "beam"), [(True, False), (False, True)])
def test_a_hole_and_a_beam_are_harmless_alone(hole: bool, beam: bool) -> None:
    _, move, _ = planned(hole=hole, beam=beam)
    assert move.verdict in ("pass", "pass with controls") and move.refused is None, move.reason


def test_together_they_are_forbidden_by_the_search() -> None:
    _, move, _ = planned(hole=True, beam=True)
    assert (move.verdict, move.poses) == ("no route", ())
    assert move.nearest_misses[0].kind == "head gap" and move.nearest_misses[0].short_mm > 0.0


def test_together_they_are_forbidden_by_the_second_opinion_metres_after_the_hole() -> None:
    """The way that is good with either is refused with both; where it is worst the head is far beyond the hole."""
    _, _, site = planned(hole=True, beam=True)
    for hole, beam in ((True, False), (False, True)):
        plan, move, own = planned(hole=hole, beam=beam)
        assert opinion(move, own) == ()
        found = next(one for one in opinion(move, site) if one.kind == "head gap")
        head_m = found.place[0] + 6.20  # the near end of the basket's floor
        assert head_m - HOLE.geometry.bounds[2] > 4.0 and found.value < found.limit


def test_together_they_stand_on_the_map() -> None:
    """Of the hole alone the map draws where the basket then is, metres ahead; of both, that nothing may be driven."""
    plan, move, _ = planned(hole=True, beam=False)
    zones = [zone for zone in move.zones if zone.kind == "bounce"]
    assert zones
    for zone in zones:
        ahead = np.mean(zone.basket, axis=0)[0] - np.mean(zone.ground, axis=0)[0]
        assert ahead > 3.0
    both, barred, site = planned(hole=True, beam=True)
    shown = map_page(both, site)
    assert barred.nearest_misses[0].text in shown and barred.nearest_misses[0].text not in map_page(plan, site)


def twisted(machine: Machine, soffit_m: float) -> tuple[Move, Site]:
    """A drive over ground that leans aside under the front axle alone while the basket is under a beam.

    It leans most 5.3 m before the beam, within two metres each way, and not at all along the middle line.
    """
    y, x = np.mgrid[0:121, 0:161] * 0.25
    z = (y - 15.0) * 0.06 * np.maximum(0.0, 1.0 - np.abs(x - 20.0) / 2.0)
    beam = Soffit("B1", box(24.9, 0.0, 25.3, 30.0), "beam", soffit_m, None, 0.0, 0.0, 1e-9, "S1")
    poses = drive(15.0, 15.0, 0.0, [(4.5, 0.0)], step_m=0.05)
    limits = Thresholds(lateral_tolerance_m=0.0, heading_tolerance_deg=0.0, bounce_limit_m=9.0)
    return move_of(poses, machine), certain(yard_for(poses, machine, z=z, soffits=(beam,), thresholds=limits))


def test_an_axle_that_hangs_in_a_pivot_and_one_that_does_not_decide() -> None:
    """Twisted ground rocks a rigid chassis and lifts a corner of its basket; an oscillating axle follows the ground.

    Who took the oscillating axle for a rigid one would refuse what holds, and who took the rigid chassis for its mean
    plane, as the oscillating one stands there, would accept what does not.
    """
    left_m = {}
    for axle in ("front", None):
        machine = boom(oscillating=axle)
        move, site = twisted(machine, 2.9)
        ledger = look(move, site=site, machine=machine, conditions=Conditions()).ledger
        left_m[axle] = ledger.least_margin["head gap"].margin
    assert left_m["front"] - left_m[None] > 0.02
    between = 2.9 - (left_m["front"] + left_m[None]) / 2.0
    for axle, refused in (("front", set()), (None, {"head gap", "basket swing"})):
        assert kinds(opinion(*twisted(boom(oscillating=axle), between))) == refused
