"""Reads the generic classes and builds a machine from a class plus the sheet's and the tape's own figures."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from routeplan.errors import BadInput, Fault
from routeplan.machine.fit import clashes
from routeplan.machine.model import BasketEnd, Figure, Machine, Steering, Tag
from routeplan.machine.shape import Axle, Kind, configurations, wheels

#: What a name's last part says of its unit.
UNITS = {
    "kg": "kg", "m": "m", "m2": "m2", "pct": "%", "deg": "deg", "mps": "m/s", "mps2": "m/s2", "kn": "kN", "kpa": "kPa",
    "s": "s",
}  # fmt: skip

#: Kinds that have a figure, where not all of them do.
ONLY_KINDS: Mapping[str, frozenset[Kind]] = {
    "height_folded_m": frozenset({"scissor"}),
    "platform_floor_m": frozenset({"scissor", "mast", "boom"}),
    "basket_overhang_m": frozenset({"mast", "boom"}),
    "basket_length_m": frozenset({"mast", "boom"}),
    "basket_width_m": frozenset({"mast", "boom"}),
    "tail_overhang_m": frozenset({"mast", "boom"}),
    "chassis_top_m": frozenset({"mast", "boom"}),
    "boom_top_m": frozenset({"boom"}),
    "bounce_period_s": frozenset({"scissor", "mast", "boom"}),
    "bounce_damping_pct": frozenset({"scissor", "mast", "boom"}),
    "turntable_xi_m": frozenset({"boom"}),
    "tail_swing_radius_m": frozenset({"boom"}),
    "outrigger_load_max_kn": frozenset({"block"}),
    **dict.fromkeys(
        (
            "elevated_height_max_m", "elevated_speed_mps", "elevated_step_m", "elevated_clearance_m",
            "elevated_bounce_period_s", "elevated_bounce_damping_pct", "elevated_axle_follows",
        ),
        frozenset[Kind]({"scissor", "mast"}),
    ),
}
#: Figures that a machine on tracks has instead of a wheelbase and what wheel loads come from.
TRACK_ONLY = frozenset({"track_contact_m", "track_pressure_max_kpa"})
WHEEL_ONLY = frozenset({
    "wheelbase_m", "wheel_load_max_kn", "rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m",
    "brakes_front", "brakes_rear", "drives_front", "drives_rear",
})  # fmt: skip
#: Figures of one way of steering.
ONLY_STEERING: Mapping[str, Steering] = {
    "turn_radius_outside_coordinated_m": "coordinated",
    "crab_angle_deg": "crab",
}
#: Figures of machines that steer themselves.
STEERING_ONLY = frozenset({"turn_radius_outside_m", "turn_radius_inside_m", "pivots"})

SPEC_KEYS = ("class", "sheet_source", "sheet", "measured")


@dataclass(frozen=True)
class FigureKind:
    """A figure that machines have: its title, unit, and the bounds beyond which a value is a slip of the pen."""

    name: str
    title: str
    unit: str
    least: float
    most: float


@dataclass(frozen=True)
class MachineClass:
    """A generic class: its shape in words and its figures, none of them a machine's own.

    Parameters
    ----------
    kind
        What is built on the chassis: a scissor's platform over all of it, a mast, a boom, or one block.
    contact
        What stands on the ground.
    steering
        Every way of steering that machines of this class have, the first the ordinary one.
    ridden
        Whether the operator rides on the platform; otherwise the machine is driven, pushed or towed from beside it.
    basket_end
        The end over which the basket is stowed.
    slews
        Whether what stands on the chassis turns about an upright axis.
    """

    id: str
    title: str
    kind: Kind
    contact: Literal["wheels", "tracks"]
    steering: tuple[Steering, ...]
    oscillating_axle: Axle | None
    basket_end: BasketEnd | None
    ridden: bool
    slews: bool
    figures: Mapping[str, Figure]


@cache
def _document() -> Mapping[str, Any]:
    """Parse ``classes.toml`` once."""
    return tomllib.loads(files("routeplan.machine").joinpath("classes.toml").read_text(encoding="utf-8"))


@cache
def read_figure_kinds() -> Mapping[str, FigureKind]:
    """Return every figure this program knows, in printed order."""
    return {
        name: FigureKind(name, row["title"], UNITS.get(name.rsplit("_", 1)[-1], ""), row["least"], row["most"])
        for name, row in _document()["figures"].items()
    }


@cache
def read_classes() -> Mapping[str, MachineClass]:
    """Return the generic machine classes by id."""
    order = list(read_figure_kinds())

    def read(class_id: str, row: Mapping[str, Any]) -> MachineClass:
        return MachineClass(
            id=class_id,
            title=row["title"],
            kind=row["kind"],
            contact=row["contact"],
            steering=tuple(row["steering"]),
            oscillating_axle=None if row["oscillating_axle"] == "none" else row["oscillating_axle"],
            basket_end=None if row["basket_end"] == "none" else row["basket_end"],
            ridden=row["ridden"],
            slews=row["slews"],
            figures={
                name: Figure(name, float(cell["value"]), cell["tag"], cell["source"])
                for name, cell in sorted(row["figures"].items(), key=lambda item: order.index(item[0]))
            },
        )

    return {class_id: read(class_id, row) for class_id, row in _document()["classes"].items()}


def _near(name: str, known: tuple[str, ...]) -> str:
    """Return a mend that names the nearest known word."""
    close = get_close_matches(name, known, n=1, cutoff=0.6)
    return f"did you mean {close[0]}?" if close else f"one of: {', '.join(known)}"


def find_class(class_id: object, *, where: str) -> MachineClass:
    """Return a class by id.

    Raises
    ------
    BadInput
        There is no such class.
    """
    classes = read_classes()
    if isinstance(class_id, str) and class_id in classes:
        return classes[class_id]
    what = "no class given" if class_id is None else f"unknown machine class {class_id!r}"
    raise BadInput([Fault("unknown-class", where, what, _near(str(class_id), tuple(classes)))])


def _number_fault(name: str, value: object, *, where: str) -> Fault | None:
    """Return what is wrong with one figure's value, ``None`` when nothing is."""
    kind = read_figure_kinds()[name]
    unit = f" {kind.unit}" if kind.unit else ""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        return Fault("not-a-number", where, f"{name} = {value!r} is no number", f"give a number{unit}")
    if not kind.least <= value <= kind.most:
        bounds = f"between {kind.least:g} and {kind.most:g}{unit}"
        return Fault("absurd-figure", where, f"{name} = {value!r}{unit} is not {bounds}", "check unit and point")
    return None


def _own_figures(
    spec: Mapping[str, Any], table: Tag, source: str, known: tuple[str, ...], *, where: str, faults: list[Fault]
) -> Iterator[Figure]:
    """Yield the figures of the table ``sheet`` or ``measured``; what is wrong goes to ``faults``."""
    place = f"{where}.{table}"
    rows = spec.get(table, {})
    if not isinstance(rows, Mapping):
        faults.append(Fault("wrong-type", place, "not a table of figures", f"write [{table}] with figure = number"))
        return
    for name, value in rows.items():
        if name not in known:
            faults.append(Fault("unknown-figure", place, f"this class has no figure {name!r}", _near(name, known)))
            continue
        fault = _number_fault(name, value, where=place)
        if fault is None:
            yield Figure(name, float(value), table, source)
        else:
            faults.append(fault)


def _spec_faults(spec: Mapping[str, Any], *, where: str) -> Iterator[Fault]:
    """Yield what is wrong with a specification apart from its class and its figures."""
    for key in spec:
        if key not in SPEC_KEYS:
            yield Fault("unknown-key", where, f"unknown key {key!r}", _near(key, SPEC_KEYS))
    source = spec.get("sheet_source")
    if source is not None and not isinstance(source, str):
        yield Fault("wrong-type", where, f"sheet_source = {source!r} is not text", "name the sheet they come from")
    elif spec.get("sheet") and not (source or "").strip():
        yield Fault("source-missing", where, "sheet figures without sheet_source", "name the sheet they come from")
    sheet, measured = spec.get("sheet"), spec.get("measured")
    if isinstance(sheet, Mapping) and isinstance(measured, Mapping):
        for name in sorted(set(sheet) & set(measured)):
            yield Fault("given-twice", where, f"{name} is given by the sheet and as measured", "keep one of them")


def applicable_figures(machine_class: MachineClass) -> tuple[str, ...]:
    """Return the names of the figures that a machine of this class has, in printed order."""
    left_out = {name for name, kinds in ONLY_KINDS.items() if machine_class.kind not in kinds}
    left_out |= {name for name, mode in ONLY_STEERING.items() if mode not in machine_class.steering}
    left_out |= WHEEL_ONLY if machine_class.contact == "tracks" else TRACK_ONLY
    if "towed" in machine_class.steering:
        left_out |= STEERING_ONLY
    if machine_class.oscillating_axle is None:
        left_out |= {"oscillation_stop_deg", "elevated_axle_follows"}
    return tuple(name for name in read_figure_kinds() if name not in left_out)


def build_machine(machine_id: str, spec: Mapping[str, Any], *, where: str) -> Machine:
    """Build a machine from its class and its own figures; a figure of its own replaces the class's.

    Parameters
    ----------
    machine_id
        The site's name for it.
    spec
        ``{"class": id, "sheet_source": text, "sheet": {figure: number}, "measured": {figure: number}}``; units as the
        figures' names say. A figure left out keeps the class's value and tag, on which no pass may rest.
    where
        Table that ``spec`` was read from, for messages, e.g. ``"site.toml [machines.SC12]"``.

    Raises
    ------
    BadInput
        All faults: unknown class, key or figure, no number, absurd value, figures that clash, a sheet without a source.

    Examples
    --------
    >>> machine = build_machine("SC8", {"class": "slab-scissor-8m"}, where="example")
    >>> machine.wheelbase_m, machine.figures["mass_kg"].trusted
    (1.85, False)
    """
    faults = list(_spec_faults(spec, where=where))
    try:
        machine_class = find_class(spec.get("class"), where=where)
    except BadInput as error:
        raise BadInput([*faults, *error.faults]) from None
    known = applicable_figures(machine_class)
    source = str(spec.get("sheet_source", "")).strip()
    own = [
        *_own_figures(spec, "sheet", source, known, where=where, faults=faults),
        *_own_figures(spec, "measured", "measured on the machine", known, where=where, faults=faults),
    ]
    figures = {**machine_class.figures, **{figure.name: figure for figure in own}}
    figures = {name: figures[name] for name in known if name in figures}
    if not faults:
        faults = clashes(figures, kind=machine_class.kind, basket_end=machine_class.basket_end, where=where)
    if faults:
        raise BadInput(faults)
    return _assemble(machine_id, machine_class, figures, missing=tuple(name for name in known if name not in figures))


def _assemble(
    machine_id: str, machine_class: MachineClass, figures: Mapping[str, Figure], *, missing: tuple[str, ...]
) -> Machine:
    """Put wheels and configurations to checked figures."""
    values = {name: figure.value for name, figure in figures.items()}
    return Machine(
        id=machine_id,
        class_id=machine_class.id,
        title=machine_class.title,
        figures=figures,
        wheels=wheels(
            values,
            steered=not {"skid", "towed"} & set(machine_class.steering),
            oscillating=machine_class.oscillating_axle,
        ),
        configurations=configurations(
            values, kind=machine_class.kind, basket_end=machine_class.basket_end, ridden=machine_class.ridden
        ),
        slews=machine_class.slews,
        missing=missing,
    )
