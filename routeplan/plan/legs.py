"""A driven way cut where people know it: at stops, hold points, doors, gates, ramp ends and narrow gaps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from routeplan.plan.covered import Covered, Thing
from routeplan.plan.portals import Portal, crossings
from routeplan.plan.profile import Judged, Profile, checks_of
from routeplan.route.model import MOVE_VERDICTS, Control, Leg, MoveVerdict, Pose

#: Legs shorter than this are part of the next one, m.
SHORTEST_M = 2.0


@dataclass(frozen=True, eq=False)
class Driven:
    """A way with all that its legs are judged by.

    Parameters
    ----------
    stops
        Chainage and name of every place that the way stands at, start and goal included, in driving order.
    turned
        The same of where the machine is turned end for end.
    """

    found: Profile
    stops: Sequence[tuple[float, str]]
    turned: Sequence[tuple[float, str]]
    controls: Sequence[Control]
    cost_m: float
    judged: Judged
    configuration: str


def _cuts(driven: Driven, portals: Sequence[Portal]) -> list[tuple[float, str]]:
    """Chainages and names of where legs end and begin, those of the way's own ends included."""
    poses = driven.found.poses
    changes = [b.chainage_m for a, b in pairwise(poses) if a.travel_mode != b.travel_mode]
    fixed = [*driven.stops, *((at, f"hold point {n}") for n, at in enumerate(changes, 1))]
    kept = list(fixed)
    kept += [cut for cut in driven.turned if all(abs(cut[0] - other) >= SHORTEST_M for other, _ in fixed)]
    for row, name in crossings(portals, poses):
        at = poses[row].chainage_m
        if all(abs(at - other) >= SHORTEST_M for other, _ in kept):
            kept.append((at, name))
    return sorted(kept, key=lambda cut: cut[0])


def _mode(poses: Sequence[Pose]) -> str:
    """Travel mode of a leg: at its very ends stand rows of its neighbours too."""
    return poses[len(poses) // 2].travel_mode


def _touched(driven: Driven, poses: Sequence[Pose]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Ids of the named areas and of the hazards that the body may touch on some rows."""
    site, machine, body = driven.judged.site, driven.judged.machine, driven.judged.hazards.body
    covered = Covered.of(poses, machine, driven.configuration, body)
    hazards: tuple[Thing, ...] = (
        *site.soffits, *site.defects, *site.walkways, *site.excavations, *site.line_corridors
    )  # fmt: skip
    return covered.met(site.areas), covered.met(hazards)


def _verdict(driven: Driven, part: Profile, from_m: float, to_m: float) -> MoveVerdict:
    """The worst of all checks on a part of the way, with the controls that stand on it."""
    shape = driven.judged.machine.configuration_in(driven.configuration, _mode(part.poses))
    checks = checks_of(part, driven.judged, {shape})
    worst: MoveVerdict = min((check.verdict for check in checks), key=MOVE_VERDICTS.index)
    held = any(from_m <= control.chainage_m <= to_m for control in driven.controls)
    return "pass with controls" if worst == "pass" and held else worst


def legs_of(driven: Driven, portals: Sequence[Portal]) -> Iterator[Leg]:
    """The legs of a way in driving order, each checked by itself; their lengths and costs add up to the way's."""
    found = driven.found
    whole = float(found.cost_m.sum())
    for (from_m, start), (to_m, goal) in pairwise(_cuts(driven, portals)):
        part = found.part(from_m, to_m)
        yield Leg(
            start, goal, to_m - from_m, driven.cost_m * float(part.cost_m.sum()) / whole,
            _verdict(driven, part, from_m, to_m), *_touched(driven, part.poses),
            chainage_from_m=from_m, chainage_to_m=to_m, travel_mode=_mode(part.poses),
        )  # fmt: skip
