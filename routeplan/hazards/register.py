"""What a verdict may rest on: the rule, what nobody vouches for, and what no check of the catalogue looks at."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable

from routeplan.hazards.catalogue import TAIL, TILT, CheckKind
from routeplan.hazards.set_up import tilt_limits
from routeplan.machine.model import Machine
from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.machine.read import ONLY_STEERING
from routeplan.machine.shape import CONFIGURATIONS
from routeplan.route.model import CheckVerdict
from routeplan.site.model import Site

#: Figures that shape the body of machines that have them; every check of the body rests on them too.
_SHAPE = (
    "front_overhang_m",
    "rear_overhang_m",
    "basket_overhang_m",
    "basket_length_m",
    "basket_width_m",
    "tail_overhang_m",
    "boom_top_m",
    "chassis_top_m",
)
#: What rests on these rests on levels: where wheels stand, and how far the body then leans.
_ON_LEVELS = frozenset({"wheel_radius_m", "length_m"})
#: How a figure is got that is on no plate.
_MEASURED_BY = {
    "bounce_period_s": "rock the stowed basket by hand, count its cycles in ten seconds and divide ten by them",
    "bounce_damping_pct": "rock the stowed basket by hand, count its cycles until it swings half as far and divide "
    "eleven by them",
    "brake_mps2": "load it, drive it on level dry ground and brake: half the square of its speed over the distance "
    "that it then takes",
}
_PLATE = "read it from the machine's plate or sheet"
#: Why a survey proves nothing.
ASSUMED = "the accuracy of the levels is assumed: state the survey's own"


#: What the catalogue does not hold yet; printed on every output.
NOT_CHECKED: tuple[str, ...] = (
    "Covers and plates by calculation: who proved one says what a wheel may weigh on it, and nothing else is driven "
    "over. Wheel loads on ground of which the site claims nothing: a competent person's acceptance stands alone there. "
    "Rain beyond what the site says that wet ground bears, and ruts that grow with every pass.",
    "Grip where wheels are turned hard or one hangs in the air, and on ice, mud or leaves that nobody told of.",
    "Overhead lines beyond what the site tells of them: who owns them, whether they are live, and swing outside their "
    "corridors.",
    "With the platform raised: wind, side forces, an extended deck, and grip of one axle; of booms nothing is planned "
    "raised.",
    "At the workface: outriggers and how far they level; what boom and basket reach, and what hangs over the circle of "
    "the tail; a tilt sensor that turns with the turntable, for its limits are held along and across the chassis.",
    "Basket bounce of a machine that changes its speed more than once within one ringing, or stands on tyres softer "
    "than 1 MN/m an axle: speed limits hold for a steady speed with one stop.",
    "Other plant and traffic, lighting, weather, rescue, charging, permits and training.",
)


def verdict(margin: float, sigma: float, k: float) -> CheckVerdict:
    """The verdict rule: proven, failed, or not proven; an unknown margin is not proven.

    >>> verdict(0.05, 0.01, 3.0), verdict(0.02, 0.01, 3.0), verdict(-0.05, 0.01, 3.0), verdict(math.nan, 0.0, 3.0)
    ('pass', 'not proven', 'fail', 'not proven')
    """
    if math.isnan(margin) or math.isnan(sigma):
        return "not proven"
    if margin >= k * sigma:
        return "pass"
    return "fail" if margin < -k * sigma else "not proven"


def figures_of(line: CheckKind, machine: Machine) -> tuple[str, ...]:
    """The figures that a check of a machine rests on: those of the tilt limits that hold; of a tail, if any slews."""
    if line.kind == TAIL and not machine.slews:
        return ()
    if line.kind == TILT:
        held = tilt_limits(machine)
        return tuple(name for name in line.figures if not name.startswith("tilt_") or name in held)
    return line.figures


def doubts(
    line: CheckKind, site: Site, machine: Machine, configurations: Iterable[str] = (), steers: Container[str] = ()
) -> tuple[str, ...]:
    """Why a check cannot be a pass whatever its margin: figures, layers and surveys that nobody vouches for.

    ``configurations`` and ``steers`` are those driven in; each may rest on figures of its own.
    """
    found: list[str] = []
    rests_on = figures_of(line, machine)
    shape = [name for name in _SHAPE if name in machine.figures] if "length_m" in rests_on else []
    if line.surveyed and "oscillation_stop_deg" in machine.figures:
        shape.append("oscillation_stop_deg")
    if {"length_m", "height_m"} & set(rests_on):
        shape += [name for chosen in configurations for name in CONFIGURATIONS.get(chosen, ())]
    if line.kind == "turning":
        shape += [name for name, steer in ONLY_STEERING.items() if steer in steers]
    figures = [*rests_on, *shape]
    if machine.tracks:
        found += [UNDER_TRACKS] if _ON_LEVELS & set(rests_on) else []
        figures = ["track_contact_m" if name == "wheelbase_m" else name for name in figures]
    found += [doubt for doubt in (figure_doubt(name, machine) for name in figures) if doubt]
    found += [layer_doubt(name) for name in line.layers if name not in site.layers_given]
    if line.surveyed and site.ground.accuracy.assumed:
        found.append(ASSUMED)
    return tuple(found)


def figure_doubt(name: str, machine: Machine) -> str:
    """Why a figure proves nothing, and how it is got; empty where it is the machine's own."""
    figure = machine.figures.get(name)
    if figure is None:
        return f"{name} is missing: {_MEASURED_BY.get(name, _PLATE)}"
    own = figure.name  # a machine raised goes by other figures in the places of those of the same one lowered
    return "" if figure.trusted else f"{own} is a {figure.tag} figure: {_MEASURED_BY.get(own, _PLATE)}"


def layer_doubt(name: str) -> str:
    """Why a layer that nobody gave proves nothing."""
    return f"layer {name} not given: nobody said what is there"
