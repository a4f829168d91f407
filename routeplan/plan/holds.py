"""Where people stop a machine on its way, and what they do there."""

from __future__ import annotations

from collections.abc import Sequence, Set
from itertools import pairwise

from routeplan.hazards import arrays
from routeplan.machine.model import Configuration
from routeplan.plan.profile import NEAR_M, Profile
from routeplan.plan.steer import SET_TO, set_anew
from routeplan.route.model import Control, Hold

#: What people do where a machine goes on in another travel mode.
_CHANGES = {
    "ridden": "Stop, key out. Rails up and pinned; get on, clip on where the site asks for it, and drive on ridden.",
    "beside_rails_up": "Stop, key out. Get down and drive on from beside the machine, rails up.",
    "beside_rails_folded": "Stop, key out. Get down, fold the rails, and drive on from beside the machine.",
}


def holds_of(
    found: Profile, configuration: Configuration, begins: Set[str], stops: Sequence[tuple[float, str]] = ()
) -> tuple[tuple[Hold, ...], tuple[Control, ...]]:
    """Hold points before walkways, at stops (chainage, name) and where the travel mode changes, and what people do.

    ``begins`` are the modes that the machine may stand in: if there is another than the one it drives off in, that one
    is set there, for nobody knows what was done with the rails in between.
    Reversals and changes of steering are controls, not hold points.
    """
    xi = [corner[0] for corner in configuration.footprint]
    holds, controls = [], []
    for first, _ in found.runs(found.margins[:, arrays.WALKWAY] < 0.0, 0.25 * (max(xi) - min(xi))):
        clear = max(first - 1, 0)  # the whole stretch before the first that touches is clear of the walkway
        at = found.chainage_m(clear)
        holds.append(
            Hold(at, found.place(clear), "Stop. The traffic marshal closes the walkway and calls the machine on.")
        )
        controls.append(Control("walkway", at, "Traffic marshal holds people back while the body is over the walkway."))
    stood = (begins, *({pose.travel_mode} for pose in found.poses))
    for modes, pose in zip(stood, found.poses, strict=False):
        if modes != {pose.travel_mode}:
            holds.append(Hold(pose.chainage_m, (pose.x, pose.y), _CHANGES[pose.travel_mode]))
            controls.append(Control("travel mode", pose.chainage_m, _CHANGES[pose.travel_mode]))
    controls += [Control("steering", pose.chainage_m, SET_TO[pose.steer]) for pose in set_anew(found.poses)]
    for at, name in stops:
        here = next(pose for pose in found.poses if pose.chainage_m >= at - NEAR_M)
        holds.append(Hold(here.chainage_m, (here.x, here.y), f"Stop at {name}. Go on when the work there is done."))
    poses = [pose for pose in found.poses if pose.gear]
    for before, after in pairwise(poses):
        if before.gear != after.gear:
            way = "against" if after.gear < 0 else "along"
            controls.append(Control(
                "reversal", after.chainage_m, f"Stop and drive on {way} the chassis arrow, with a traffic "
                "marshal in sight."
            ))  # fmt: skip
    holds.sort(key=lambda hold: hold.chainage_m)
    return tuple(holds), tuple(sorted(controls, key=lambda control: control.chainage_m))
