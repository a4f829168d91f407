"""What of a machine is not modelled, in words: why it cannot be planned, and what it cannot do in a configuration."""

from __future__ import annotations

from routeplan.machine.model import Machine, Steering
from routeplan.machine.read import ONLY_STEERING, applicable_figures, read_classes, read_figure_kinds

#: Ways of steering whose motions nobody has modelled.
NOT_MODELLED: frozenset[Steering] = frozenset({"towed", "road"})
#: Why no check of slopes, heights, bounce or the place of a leaning body is proven of a tracked machine: it is stood on
#: the levels at the ends of its tracks, as on wheels. A track also rides on what stands up between them, and rocks.
UNDER_TRACKS = "the ground between the ends of a track is not modelled"
#: Why nothing is said of the tilt that a machine works at which its outriggers level.
ON_OUTRIGGERS = "it works standing on outriggers: how far they level it is not modelled"


def steering(machine: Machine) -> tuple[Steering, ...]:
    """Return the ways of steering of a machine's class, the ordinary one first; none for a class that is not ours."""
    own = read_classes().get(machine.class_id)
    return () if own is None else own.steering


def not_modelled(machine: Machine) -> str | None:
    """Return why no route of a machine can be judged; ``None`` when it can.

    A machine with a reason is never planned: each of its moves, and each check of them, is not proven for this reason.

    >>> from routeplan.machine.read import build_machine
    >>> not_modelled(build_machine("TM", {"class": "trailer-boom-17m"}, where="example"))
    'steering not modelled: towed'
    """
    strange = [mode for mode in steering(machine) if mode in NOT_MODELLED]
    return f"steering not modelled: {', '.join(strange)}" if strange else None


def on_outriggers(machine: Machine) -> bool:
    """Return whether a machine works standing on outriggers instead of what it travels on.

    >>> from routeplan.machine.read import build_machine
    >>> on_outriggers(build_machine("SP", {"class": "tracked-spider-20m"}, where="example"))
    True
    """
    return "outrigger_load_max_kn" in machine.figures or "outrigger_load_max_kn" in machine.missing


def no_such_figure(machine: Machine, figure: str) -> str | None:
    """Return why nobody can give a figure that a check wants of a machine; ``None`` when its class has the figure.

    >>> from routeplan.machine.read import build_machine
    >>> no_such_figure(build_machine("SP", {"class": "tracked-spider-20m"}, where="example"), "length_m")
    >>> no_such_figure(build_machine("SP", {"class": "tracked-spider-20m"}, where="example"), "platform_floor_m")
    'this class of machine is modelled as one block, without platform_floor_m: no sheet can settle it'
    """
    own = read_classes().get(machine.class_id)
    if own is None or figure not in read_figure_kinds() or figure in applicable_figures(own):
        return None
    what = "as one block, " if own.kind == "block" else ""
    return f"this class of machine is modelled {what}without {figure}: no sheet can settle it"


def not_driven(machine: Machine) -> tuple[str, ...]:
    """Return the ways of steering of a machine's class that its routes cannot use, each with the figure that it lacks.

    >>> from routeplan.machine.read import build_machine
    >>> not_driven(build_machine("TB", {"class": "telescopic-boom-26m"}, where="example"))
    ('coordinated steering: not driven without turn_radius_outside_coordinated_m',)
    """
    return tuple(
        f"{mode} steering: not driven without {figure}"
        for figure, mode in ONLY_STEERING.items()
        if mode in steering(machine) and figure not in machine.figures
    )


def not_ridden(machine: Machine, configuration: str) -> str | None:
    """Return why nobody rides on a machine in one of its configurations; ``None`` when the operator may.

    >>> from routeplan.machine.read import build_machine
    >>> not_ridden(build_machine("SC", {"class": "slab-scissor-8m"}, where="example"), "stowed_rails_folded")
    'nobody rides with the rails folded: it is driven from beside'
    """
    if any(box.occupied for box in machine.configurations[configuration].boxes):
        return None
    if configuration == "stowed_rails_folded":
        return "nobody rides with the rails folded: it is driven from beside"
    return "nobody rides on the platform of this machine while it moves"
