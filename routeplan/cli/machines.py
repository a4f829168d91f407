"""``routeplan machines``: the generic machine classes and what each of their figures rests on."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from routeplan.errors import ExitStatus

if TYPE_CHECKING:
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


def _classes_text(classes: Iterable[MachineClass]) -> str:
    """One line a class."""
    head = ("class", *TABLE_FIGURES)
    rows = [(one.id, *(f"{one.figures[name].value:g}" for name in TABLE_FIGURES)) for one in classes]
    return _columns([head, *rows], right=frozenset(range(1, len(head))))


def _class_text(one: MachineClass) -> str:
    """One line a figure."""
    from routeplan.machine.read import read_figure_kinds

    kinds = read_figure_kinds()
    rows = [
        (figure.name, f"{figure.value:g}", kinds[figure.name].unit, figure.tag, figure.source)
        for figure in one.figures.values()
    ]
    basket = f"basket stowed over the {one.basket_end} end" if one.basket_end else "platform over the whole chassis"
    axle = f"{one.oscillating_axle} axle oscillates" if one.oscillating_axle else "no oscillating axle"
    head = f"{one.id}: {one.title}\n{one.kind}; the {one.steering} axle steers; {axle}; {basket}"
    return head + "\n\n" + _columns([("figure", "value", "unit", "tag", "source"), *rows], right=frozenset({1}))


def _class_json(one: MachineClass) -> dict[str, Any]:
    """One class as JSON values."""
    return {
        "title": one.title,
        "kind": one.kind,
        "steering": one.steering,
        "oscillating_axle": one.oscillating_axle,
        "basket_end": one.basket_end,
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
