"""How fast each row may be driven: so that the basket's swing keeps every gap (docs/method.md 6) and the machine stops
in time (12).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.arrays import (
    BOUNCE,
    HEAD,
    HEAD_PROVEN,
    OVERHEAD,
    OVERHEAD_PROVEN,
    UNDER_LINE,
    UNDER_LINE_PROVEN,
)
from routeplan.hazards.attitude import STANCE_STEP
from routeplan.hazards.prepare import Hazards
from routeplan.hazards.rebound import Swing, excess_bounds
from routeplan.hazards.rolling import allowed_for
from routeplan.hazards.sweep import FAR
from routeplan.hazards.tubes import DEFECT_REACH_M
from routeplan.machine.model import Machine
from routeplan.plan.grip import Gripped
from routeplan.plan.profile import NEAR_M, Profile
from routeplan.plan.ridden import Path, path_of, rides
from routeplan.plan.surer import Doubt, Surer
from routeplan.plan.swing import Swung, not_swung
from routeplan.route.model import Control, Hold, Pose

Floats = NDArray[np.float64]
#: Where a point has more room than its doubt and a swing of this, nobody asks how sure readings make it, m.
_SWINGS_M = 0.1
Left = Callable[[Floats | float], Swung]

#: Limits are whole multiples of this, m/s, but for travel and creep speed: what people are told is what is meant.
STEP_MPS = 0.01
#: Of stopping in time, which may ask for another limit on every row, multiples of this.
STOPPING_STEP_MPS = 0.05
#: A limit holds from so many fadings of a swing before where it is wanted; more are tried until every gap is kept.
FADINGS = (0.1, 0.3, 1.0, 3.0, 10.0)
#: Stretches of one limit nearer to each other than this are one, m: nobody changes speed for less.
TOGETHER_M = 3.0
#: Figures that a limit rests on.
FIGURES = ("bounce_period_s", "bounce_damping_pct", "travel_speed_mps", "creep_speed_mps")
_ASSUMED = "; not the machine's own: {}; read its plate, rock the basket and count its cycles in ten seconds"
_LATE = "from more it would not stop within {:.1f} m there"
_UNKNOWN = "Creep all the way{}: nobody knows how the basket bounces; not known of the machine: {}."


@dataclass(frozen=True, eq=False)
class Paced:
    """Rows with their limits, what people are told of them, and what the swing then leaves.

    ``thrown`` (n, 3: x, y, heading) is where even creep, by the best guess, keeps not every gap: nothing may then be
    given to drive. A machine of which the bounce is assumed is slowed down to creep at most.
    """

    poses: tuple[Pose, ...]
    controls: tuple[Control, ...]
    swung: Swung
    thrown: Floats = field(default_factory=lambda: np.empty((0, 3)))

    @property
    def too_fast(self) -> str:
        """Why nothing may be given to drive."""
        from_m = self.swung.chainage_m[self.swung.margin_m < 0.0][0]
        return f"even at creep speed the basket may bounce beyond a gap or its limit from {from_m:.1f} m on"


@dataclass(frozen=True, eq=False)
class Points:
    """Body points (n, 2: xi, eta), how far each may swing in each stretch of a profile, and by which kind of margin.

    ``room_m`` (n, stretches) is the best estimate.
    """

    places: Floats
    room_m: Floats
    kinds: tuple[int, ...]


def paced(
    found: Profile, machine: Machine, hazards: Hazards, k: float, holds: Iterable[Hold], gripped: Gripped,
    surer: Surer,
) -> Paced:  # fmt: skip
    """Give every row its speed limit; creep all the way where the machine does not say how its basket bounces.

    Parameters
    ----------
    hazards
        Of the ground of the whole site, with the largest sigmas of any stretch.
    k
        Sigmas that a check of the move must leave.
    gripped, surer
        What holds the machine on each row, and how sure readings make it.
    """
    missing = [name for name in FIGURES if name not in machine.figures]
    if missing:
        return _unknown(found.poses, machine, missing)
    figures = [machine.figures[name] for name in FIGURES]
    period, damping, travel, creep = (figure.value for figure in figures)
    assumed = [figure.name for figure in figures if not figure.trusted]
    swing = Swing(period, damping / 100.0, hazards.body.amplification / 2.0)
    path = path_of(found.poses, hazards.body, (hold.chainage_m for hold in holds))
    points = points_of(found, hazards, k)
    sigma_m = _sigmas(points, found, hazards, k, surer)
    left = _left(points, sigma_m, found, path, swing, hazards, k, bool(assumed))
    slowest = min(creep, travel)
    stopping = _stopping(gripped.fastest_mps(k), path, travel, slowest)
    limits = _limits(largest_kept(left, k, path, travel, slowest), stopping, path, swing, left, k)
    rows = zip(found.poses, _of_rows(limits, path), strict=True)
    poses = tuple(pose._replace(v_max_mps=limit) for pose, limit in rows)
    doubt = _ASSUMED.format(", ".join(assumed)) if assumed else ""
    swung = left(limits)
    thrown = path.poses[(swung.margin_m < 0.0) & (not assumed)]
    late = _LATE.format(gripped.site.thresholds.stopping_distance_m)
    causes = f"the basket bounces{doubt}", late
    return Paced(poses, tuple(_told(limits, stopping, path, travel, causes)), swung, thrown)


def _unknown(poses: tuple[Pose, ...], machine: Machine, missing: Sequence[str]) -> Paced:
    """Rows of a machine that does not say how its basket bounces, or how slowly it can go: as slow as is known."""
    speeds = [machine.value(name) for name in ("travel_speed_mps", "creep_speed_mps") if name in machine.figures]
    slowest = min(speeds, default=math.nan)
    most = "" if math.isnan(slowest) else f", no faster than {_down(slowest):.2f} m/s"
    told = Control("speed", 0.0, _UNKNOWN.format(most, ", ".join(missing)))
    return Paced(tuple(pose._replace(v_max_mps=slowest) for pose in poses), (told,), not_swung())


def _sigmas(points: Points, found: Profile, hazards: Hazards, k: float, surer: Surer) -> Floats:
    """Doubt of the room of points, ``(n, stretches)``: what readings make of it where there is not much room."""
    doubts = dict[int, Floats]()
    for kind in set(points.kinds):
        room = points.room_m[[mine == kind for mine in points.kinds]].min(axis=0)
        survey = np.full(len(room), hazards.sigma[kind])
        doubt = Doubt(kind, found.starts, found.ends, room, survey, np.zeros(len(room)))
        narrow = np.flatnonzero(room < k * survey + _SWINGS_M)
        doubts[kind] = survey.copy()
        doubts[kind][narrow] = surer.least(doubt.where(narrow), k)
    return np.stack([doubts[kind] for kind in points.kinds])


def _left(
    points: Points, sigma_m: Floats, found: Profile, path: Path, swing: Swing, hazards: Hazards, k: float, assumed: bool
) -> Left:
    """What limits of each step, or one limit all along, leave of every gap along a path."""
    room = least_over(points.room_m, found.along_m, path.chainage_m)
    sigma = -least_over(-sigma_m, found.along_m, path.chainage_m)
    ridden = list(rides(path, points.places, hazards))
    samples = np.arange(path.at_m.size)

    def left(limit: Floats | float) -> Swung:
        swung = np.max([excess_bounds(ride, swing, limit) for ride in ridden], axis=0)
        slack = room - swung - k * sigma
        worst = np.argmin(np.where(np.isnan(slack), -np.inf, slack), axis=0), samples
        x, y, _ = path.poses.T
        return Swung(path.chainage_m, x, y, room[worst], swung[worst], sigma[worst], assumed)

    return left


def points_of(found: Profile, hazards: Hazards, k: float) -> Points:
    """The corners of the basket's floor, and of each box and the head where they come under a soffit or a line.

    The doubt of what is overhead is taken off already. What a check leaves, and the excess that it allowed for at a
    point, is what that point may swing; the least over a box is taken for all of it. Only defects that count at every
    pose of a stretch are taken as allowed for.
    """
    body = hazards.body
    allowed = np.empty((len(found.starts), 2))
    allowed_for(hazards.world, body, found.starts, DEFECT_REACH_M - STANCE_STEP, allowed)
    parts = [(row[None, :2], row[None, 2:], BOUNCE, BOUNCE) for row in body.rows("basket")]
    tops = body.rows("tops")
    heads, boxes = tops[tops[:, 6] > 0.0], tops[tops[:, 6] == 0.0]
    for kind, proven, mine in (
        (HEAD, HEAD_PROVEN, heads), (OVERHEAD, OVERHEAD_PROVEN, boxes), (UNDER_LINE, UNDER_LINE_PROVEN, tops)
    ):  # fmt: skip
        if found.margins[:, kind].min() < FAR / 2:
            for zeta in np.unique(mine[:, 2]):
                box = mine[mine[:, 2] == zeta]
                parts.append((box[:, :2], box[:, 3:5], kind, proven))
    places, rooms, kinds = [], [], list[int]()
    for at, levers, kind, proven in parts:
        left = found.margins[:, proven]
        left = np.where(np.isfinite(left), left, found.margins[:, kind])
        excess = body.amplification * np.min(np.max(levers[:, :, None] * allowed.T, axis=1), axis=0)
        corners = np.unique([(xi, eta) for xi in _ends(at[:, 0]) for eta in _ends(at[:, 1])], axis=0)
        places.append(corners)
        rooms.append(np.broadcast_to(left + excess, (len(corners), len(left))))
        kinds += [kind] * len(corners)
    return Points(np.concatenate(places), np.concatenate(rooms), tuple(kinds))


def _ends(values: Floats) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def least_over(values: Floats, along_m: Floats, at_m: Floats) -> Floats:
    """Least of the values of the stretches that a chainage may lie in, ``(n, samples)``."""
    last = np.maximum(np.searchsorted(along_m[:-1], at_m + NEAR_M, side="right") - 1, 0)
    first = np.minimum(np.searchsorted(along_m[1:], at_m - NEAR_M), last)
    least = values[:, first]
    for more in range(1, int((last - first).max()) + 1):
        least = np.minimum(least, values[:, np.minimum(first + more, last)])
    return least


def _kept(left: Swung, k: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """At which samples every gap is kept for certain, and at which by the best guess."""
    return left.margin_m >= k * left.sigma_m, left.margin_m >= 0.0


def _tried(travel: float, creep: float, step_mps: float) -> Floats:
    """Speeds that a limit may be: creep speed, every whole step above it, and travel speed; rising."""
    steps = np.arange(math.floor(creep / step_mps) + 1, math.ceil(travel / step_mps)) * step_mps
    return np.unique([creep, *np.round(steps[(steps > creep) & (steps < travel)], 6), travel])


def largest_kept(left: Left, k: float, path: Path, travel: float, creep: float) -> Floats:
    """Largest speed tried at which each sample keeps its gaps, all the way there driven at it; creep if none does.

    A swing never falls as the speed grows, so that a speed keeps what all slower ones keep: it is found by bisection,
    for each stretch of samples that travel speed does not keep. What stretches have in common is tried once.
    """
    speeds = _tried(travel, creep, STEP_MPS)
    fast = ~_kept(left(travel), k)[0]
    wanted = np.where(fast, creep, travel)
    open_ = [(list(_runs(fast, path)), 0, speeds.size - 1)]
    while open_:
        runs, low, high = open_.pop()
        middle = (low + high) // 2
        if not runs or middle == low:
            continue
        kept, _ = _kept(left(float(speeds[middle])), k)
        slower = [run for run in runs if not kept[_within(fast, run)].all()]
        faster = [run for run in runs if run not in slower]
        for run in faster:
            wanted[_within(fast, run)] = speeds[middle]
        open_ += [(slower, low, middle), (faster, middle, high)]
    return wanted


def _within(fast: NDArray[np.bool_], run: tuple[int, int]) -> NDArray[np.intp]:
    """The samples of a stretch that ask for less than travel speed."""
    return run[0] + np.flatnonzero(fast[run[0] : run[1] + 1])


def _stopping(fastest: Floats, path: Path, travel: float, creep: float) -> Floats:
    """Largest speed tried from which the machine stops in time on each step, by what each row on to the next allows;
    creep if from none.
    """
    speeds = _tried(travel, creep, STOPPING_STEP_MPS)
    tried = speeds[np.maximum((~(speeds[:, None] > fastest)).sum(axis=0) - 1, 0)]
    found = np.full(path.at_m.size - 1, travel)
    first = np.maximum(np.searchsorted(path.at_m, path.rows_m + NEAR_M, side="right") - 1, 0)
    last = np.searchsorted(path.at_m, np.append(path.rows_m[1:], path.rows_m[-1]) - NEAR_M)
    for low, high, speed in zip(first.tolist(), last.tolist(), tried.tolist(), strict=True):
        here = slice(min(low, found.size - 1), max(high, low + 1))
        found[here] = np.minimum(found[here], speed)
    return _seldom(found, path)


def _seldom(steps: Floats, path: Path) -> Floats:
    """The same limits or less, none held for less than ``TOGETHER_M`` but the least of all about it."""
    steps = steps.copy()
    while True:
        cuts = np.flatnonzero(np.diff(steps)) + 1
        pieces = list(zip([0, *cuts], [*cuts, steps.size], strict=True))
        for (first, last), before, after in zip(pieces, [None, *pieces[:-1]], [*pieces[1:], None], strict=True):
            slower = [steps[piece[0]] for piece in (before, after) if piece and steps[piece[0]] < steps[first]]
            if slower and path.at_m[last] - path.at_m[first] < TOGETHER_M:
                steps[first:last] = max(slower)
                break
        else:
            return steps


def _limits(wanted: Floats, stopping: Floats, path: Path, swing: Swing, left: Left, k: float) -> Floats:
    """Limit of each step, m/s: what stopping in time leaves, and less wherever the samples ask for less, and far enough
    before, that every gap is kept.

    The least of all, driven all along, keeps what any limits keep.
    """
    least = min(float(wanted.min()), float(stopping.min()))
    sought = _kept(left(least), k)
    most = np.maximum(np.append(stopping[:1], stopping), np.append(stopping, stopping[-1:]))
    for fadings in FADINGS:
        limits = np.full(path.at_m.size, np.inf)
        for speed in np.unique(wanted[wanted < most]):
            reach = fadings * speed / (swing.damping * swing.omega)
            ahead = np.where(wanted == speed, path.at_m, np.inf)
            ahead = np.minimum.accumulate(ahead[::-1])[::-1]
            limits[ahead - path.at_m <= reach] = np.minimum(limits[ahead - path.at_m <= reach], speed)
        steps = np.minimum(np.minimum(limits[:-1], limits[1:]), stopping)
        for first, last in _runs(steps < stopping, path):
            steps[first : last + 1] = steps[first : last + 1].min()
        if all(np.all(kept >= wish) for kept, wish in zip(_kept(left(steps), k), sought, strict=True)):
            return np.asarray(steps)
    return np.full(path.at_m.size - 1, least)


def _runs(slow: NDArray[np.bool_], path: Path) -> Iterator[tuple[int, int]]:
    """First and last step of each stretch of slow ones, those near each other taken together."""
    found = np.flatnonzero(slow)
    if found.size:
        cuts = np.flatnonzero(path.at_m[found[1:]] - path.at_m[found[:-1] + 1] > TOGETHER_M)
        for part in np.split(found, cuts + 1):
            yield int(part[0]), int(part[-1])


def _of_rows(steps: Floats, path: Path) -> Sequence[float]:
    """Limit of each row: the least on the way to it from the row before, and on to the next."""
    ends = np.concatenate([path.rows_m[:1], path.rows_m, path.rows_m[-1:]])
    first = np.searchsorted(path.at_m, ends[:-2] + NEAR_M, side="right") - 1
    last = np.searchsorted(path.at_m, ends[2:] - NEAR_M) - 1
    return [float(steps[min(a, b, steps.size - 1) : max(b, a) + 1].min()) for a, b in zip(first, last, strict=True)]


def _told(
    steps: Floats, stopping: Floats, path: Path, travel: float, causes: tuple[str, str]
) -> Iterator[Control]:
    """What people are told of the limits, in plain words; ``causes`` are that of the swing and that of stopping."""
    for piece in np.split(np.arange(steps.size), np.flatnonzero(np.diff(steps)) + 1):
        speed = float(steps[piece[0]])
        if speed < travel:
            low, high = float(path.chainage_m[piece[0]]), float(path.chainage_m[piece[-1] + 1])
            between = f"between {math.floor(low)} m and {math.ceil(high)} m"
            bounces, late = np.any(stopping[piece] > speed), np.any(stopping[piece] <= speed)
            why = ", and ".join(cause for cause, holds in zip(causes, (bounces, late), strict=True) if holds)
            yield Control("speed", low, f"No faster than {_down(speed):.2f} m/s {between}, held steady: {why}.")


def _down(speed: float) -> float:
    """The speed in whole centimetres a second, never more."""
    return math.floor(round(100.0 * speed, 6)) / 100.0
