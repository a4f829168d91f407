"""``routeplan machines``: the generic machine classes and what each of their figures rests on."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from routeplan.errors import ExitStatus

if TYPE_CHECKING:
    from routeplan.machine.model import Machine
    from routeplan.machine.read import MachineClass

CAUTION = (
    "Class figures are round ranges of the trade. They never make a pass: put the figures of the machine's own sheet\n"
    "into site.toml, and measure what the sheet leaves out."
)
#: Figures that tell classes apart at a glance.
TABLE_FIGURES = ("mass_kg", "length_m", "width_m", "height_m", "wheelbase_m", "turn_radius_outside_m")


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "machines", help="the generic machine classes, each figure with unit, tag and source", description=CAUTION
    )
    parser.add_argument("id", nargs="?", metavar="ID", help="one class, with every figure")
    parser.add_argument("--json", action="store_true", help="print JSON")


def _columns(rows: Iterable[tuple[str, ...]], *, right: frozenset[int]) -> str:
    """Lay rows out in columns as wide as their widest cell; the columns in ``right`` are set flush right."""
    table = list(rows)
    widths = [max(len(cell) for cell in column) for column in zip(*table, strict=True)]

    def line(row: tuple[str, ...]) -> str:
        cells = (
            cell.rjust(width) if index in right else cell.ljust(width)
            for index, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        return "  ".join(cells).rstrip()

    return "\n".join(map(line, table))


def _machine(one: MachineClass) -> Machine:
    """A machine on the class's figures alone."""
    from routeplan.machine.read import build_machine

    return build_machine(one.id, {"class": one.id}, where="routeplan machines")


def _not_modelled(one: MachineClass) -> list[str]:
    """What of a class is not modelled, in words, what stands in the way of any route first."""
    from routeplan.machine.modelled import UNDER_TRACKS, not_driven, not_modelled

    machine = _machine(one)
    why = not_modelled(machine) or (UNDER_TRACKS if machine.tracks else None)
    return [*([f"its moves are not proven: {why}"] if why else []), *not_driven(machine)]


def _configurations(one: MachineClass) -> dict[str, dict[str, Any]]:
    """Each configuration with who may ride and with the figures that it rests on besides those of ``stowed``."""
    from routeplan.machine.modelled import not_ridden
    from routeplan.machine.shape import CONFIGURATIONS

    machine = _machine(one)
    return {
        name: {
            "ridden": not_ridden(machine, name) is None,
            "basket_end": configuration.basket.end,
            "rests_on": list(CONFIGURATIONS[name]),
        }
        for name, configuration in machine.configurations.items()
    }


def _classes_text(classes: Iterable[MachineClass]) -> str:
    """One line a class."""
    head = ("class", *TABLE_FIGURES, "not modelled")

    def cell(one: MachineClass, name: str) -> str:
        return f"{one.figures[name].value:g}" if name in one.figures else "-"

    rows = [(one.id, *(cell(one, name) for name in TABLE_FIGURES), "; ".join(_not_modelled(one))) for one in classes]
    return _columns([head, *rows], right=frozenset(range(1, len(head) - 1)))


def _figures_text(one: MachineClass) -> str:
    """One line a figure, then one for each that a machine of the class has and the class does not give."""
    from routeplan.machine.read import read_figure_kinds

    kinds = read_figure_kinds()
    rows: list[tuple[str, ...]] = [
        (figure.name, f"{figure.value:g}", kinds[figure.name].unit, figure.tag, figure.source)
        for figure in one.figures.values()
    ]
    rows += [(name, "-", kinds[name].unit, "missing", "only a machine's own will do") for name in _machine(one).missing]
    return _columns([("figure", "value", "unit", "tag", "source"), *rows], right=frozenset({1}))


def _class_text(one: MachineClass) -> str:
    """Shape and steering in words, one line a configuration, what is not modelled, one line a figure."""
    axle = f"{one.oscillating_axle} axle oscillates" if one.oscillating_axle else "no oscillating axle"
    platform = f"basket stowed over the {one.basket_end} end" if one.basket_end else "platform over the whole chassis"
    body = "one body over the outline" if one.kind == "block" else platform
    kind = f"{one.kind} on {one.contact}; {axle}; {body}; {'slews' if one.slews else 'does not slew'}"
    lines = [f"{one.id}: {one.title}", kind, f"steering: {', '.join(one.steering)}"]
    for name, found in _configurations(one).items():
        rider = "ridden or driven from beside" if found["ridden"] else "nobody rides on the platform"
        over = f"; basket over the {found['basket_end']} end" if found["basket_end"] else ""
        also = f"; rests also on {', '.join(found['rests_on'])}" if found["rests_on"] else ""
        lines.append(f"configuration {name}: {rider}{over}{also}")
    lines += [f"not modelled: {text}" for text in _not_modelled(one)]
    return "\n".join(lines) + "\n\n" + _figures_text(one)


def _class_json(one: MachineClass) -> dict[str, Any]:
    """One class as JSON values."""
    return {
        "title": one.title,
        "kind": one.kind,
        "contact": one.contact,
        "steering": list(one.steering),
        "oscillating_axle": one.oscillating_axle,
        "basket_end": one.basket_end,
        "slews": one.slews,
        "configurations": _configurations(one),
        "not_modelled": _not_modelled(one),
        "missing": list(_machine(one).missing),
        "figures": {
            figure.name: {"value": figure.value, "tag": figure.tag, "source": figure.source}
            for figure in one.figures.values()
        },
    }


def run(args: argparse.Namespace) -> ExitStatus:
    """Print the classes, or one of them with every figure."""
    from routeplan.machine.read import find_class, read_classes

    classes = read_classes()
    chosen = list(classes.values()) if args.id is None else [find_class(args.id, where="routeplan machines")]
    if args.json:
        import json

        document = {"classes": {one.id: _class_json(one) for one in chosen}, "caution": CAUTION.replace("\n", " ")}
        print(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        print(_classes_text(chosen) if args.id is None else _class_text(chosen[0]))
        print(f"\n{CAUTION}")
    return ExitStatus.OK
