"""A plan as a document of plain JSON values, and back; one table says where the two differ in names.

Fields go under their own names. NaN, the only unknown in memory, is ``null`` in the document. Keys that a reader does
not know are ignored, so that the format can grow; keys that it needs and does not find are faults, all at once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from routeplan.errors import BadInput, Fault
from routeplan.machine.model import Basket, Configuration, Figure, Machine, Wheel
from routeplan.route.model import Leg, Move, Plan, Pose, SectionRow

FORMAT = "routeplan/plan@1"

#: Names in the document, where they are not the field's own.
NAMES: Mapping[type, Mapping[str, str]] = {
    Move: {"start": "from", "goal": "to"},
    Leg: {"start": "from", "goal": "to"},
    Machine: {"class_id": "class"},
    Wheel: {"xi_m": "xi", "eta_m": "eta"},
    Basket: {"xi_m": "xi", "eta_m": "eta"},
}
#: Values that stand under their own key do not repeat it.
KEYED_BY: Mapping[type, str] = {Machine: "id", Configuration: "id", Figure: "name"}
#: Fields of a plan that the document groups.
GROUPED: Mapping[str, tuple[str, str]] = {
    "site_name": ("site", "name"),
    "site_revision": ("site", "revision"),
    "crs": ("site", "crs"),
    "inputs": ("site", "inputs"),
    "confidence_route": ("confidence", "route"),
    "k_by_move": ("confidence", "k_by_move"),
}
ORIGIN = (
    "on the ground under the middle of the axle that does not steer, or in the middle between the tracks; "
    "xi forward along the chassis arrow, eta left"
)
#: Fields that are written as columns and rows.
TABLES: Mapping[str, type[Pose] | type[SectionRow]] = {"poses": Pose, "section": SectionRow}
MEND = "write the plan again with this program"


class _Bad:
    """Stands for a value that could not be read; its fault is already noted."""


_BAD = _Bad()


@cache
def _hints(kind: type) -> Mapping[str, Any]:
    return get_type_hints(kind)


def _name(kind: type, field: str) -> str:
    return NAMES.get(kind, {}).get(field, field)


def _dataclass_document(value: Any, *, where: str) -> dict[str, Any]:
    kind = type(value)
    skipped = KEYED_BY.get(kind)
    document = {
        _name(kind, field.name): encoded(getattr(value, field.name), where=f"{where}.{field.name}")
        for field in fields(value)
        if field.name != skipped
    }
    return {"origin": ORIGIN, **document} if kind is Machine else document


def _as_it_is(value: Any) -> bool:
    """Whether a value is its own JSON value: rows of poses are hundreds of thousands of these."""
    kind = type(value)
    return kind is str or kind is int or (kind is float and math.isfinite(value))


def encoded(value: Any, *, where: str) -> Any:
    """Return JSON values for any value of a plan or a calendar."""
    if isinstance(value, float):
        if math.isinf(value):
            raise ValueError(f"{where} is infinite; a plan has no infinite numbers")
        return None if math.isnan(value) else value
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Mapping):
        return {key: encoded(item, where=f"{where}.{key}") for key, item in value.items()}
    if isinstance(value, tuple | list):
        if all(map(_as_it_is, value)):
            return list(value)
        return [encoded(item, where=f"{where}[{index}]") for index, item in enumerate(value)]
    document = _dataclass_document(value, where=where)
    for field, rows in TABLES.items():
        if field in document:
            document[field] = {"columns": list(rows._fields), "rows": document[field]}
    return document


def moves_from(documents: Any, *, source: str) -> tuple[Move, ...]:
    """Return the moves of a list of documents.

    Raises
    ------
    BadInput
        Any missing or wrong value: all of them.
    """
    decoder = _Decoder(source)
    moves = decoder.sequence((Move, ...), documents, "moves")
    if decoder.faults:
        raise BadInput(decoder.faults)
    return tuple(moves)


def to_document(plan: Plan) -> dict[str, Any]:
    """Return the document of a plan, without ``outputs`` and ``not_written``, which belong to its file.

    Raises
    ------
    ValueError
        A number is infinite.
    """
    document: dict[str, Any] = {"format": FORMAT}
    for field in fields(plan):
        found = encoded(getattr(plan, field.name), where=field.name)
        group, name = GROUPED.get(field.name, ("", field.name))
        (document.setdefault(group, {}) if group else document)[name] = found
    document["approvals"] = []
    return document


class _Decoder:
    """Builds values from a document by their declared types and notes every fault with its place."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.faults: list[Fault] = []

    def bad(self, where: str, what: str) -> _Bad:
        """Note a fault."""
        self.faults.append(Fault("plan-schema", f"{self.source}, {where or 'top'}", what, MEND))
        return _BAD

    def value(self, kind: Any, value: Any, where: str) -> Any:
        """Return a value of a declared type, ``_BAD`` when the document has none."""
        origin, arguments = get_origin(kind), get_args(kind)
        if kind is Any:
            return value
        if origin in (Union, UnionType):
            inner = next(argument for argument in arguments if argument is not NoneType)
            return None if value is None else self.value(inner, value, where)
        if origin is Literal:
            return value if value in arguments else self.bad(where, f"{value!r} is none of {', '.join(arguments)}")
        if origin is tuple:
            return self.sequence(arguments, value, where)
        if origin is not None and issubclass(origin, Mapping):
            return self.mapping(arguments[1], value, where)
        if is_dataclass(kind):
            return self.record(kind, value, where)  # type: ignore[arg-type]
        return self.scalar(kind, value, where)

    def scalar(self, kind: type, value: Any, where: str) -> Any:
        """Return text, a number or a truth value; ``null`` is the unknown number."""
        if kind is float:
            if value is None:
                return math.nan
            if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300:
                return float(value)
            return self.bad(where, f"{value!r} is not a finite number")
        if isinstance(value, kind) and not (kind is int and isinstance(value, bool)):
            return value
        return self.bad(where, f"{value!r} is not of type {kind.__name__}")

    def sequence(self, arguments: tuple[Any, ...], value: Any, where: str) -> Any:
        """Return a tuple, of any length or of a fixed one; tables come as columns and rows."""
        if arguments[0] in TABLES.values():
            return self.table(arguments[0], value, where)
        if not isinstance(value, list):
            return self.bad(where, "is not a list")
        kinds = (arguments[0],) * len(value) if arguments[-1] is Ellipsis else arguments
        if len(value) != len(kinds):
            return self.bad(where, f"has {len(value)} entries, not {len(kinds)}")
        pairs = enumerate(zip(kinds, value, strict=True))
        items = tuple(self.value(kind, item, f"{where}[{index}]") for index, (kind, item) in pairs)
        return _BAD if any(item is _BAD for item in items) else items

    def mapping(self, kind: Any, value: Any, where: str) -> Any:
        """Return a mapping; values that do not repeat their key get it back."""
        if not isinstance(value, dict):
            return self.bad(where, "is not an object")
        key_field = KEYED_BY.get(kind) if isinstance(kind, type) else None

        def whole(key: str, item: Any) -> Any:
            return {**item, key_field: key} if key_field and isinstance(item, dict) else item

        items = {key: self.value(kind, whole(key, item), f"{where}.{key}") for key, item in value.items()}
        return _BAD if any(item is _BAD for item in items.values()) else items

    def record(self, kind: type, value: Any, where: str) -> Any:
        """Return a dataclass from an object that has all its fields."""
        if not isinstance(value, dict):
            return self.bad(where, "is not an object")
        found: dict[str, Any] = {}
        for field, hint in _hints(kind).items():
            name = _name(kind, field)
            place = f"{where}.{name}".lstrip(".")
            found[field] = self.value(hint, value[name], place) if name in value else self.bad(place, "is missing")
        return _BAD if any(item is _BAD for item in found.values()) else kind(**found)

    def table(self, kind: Any, value: Any, where: str) -> Any:
        """Return rows of a table from columns, found by name, and rows."""
        table = value if isinstance(value, dict) else {}
        columns, rows, hints = table.get("columns"), table.get("rows"), _hints(kind)
        if not (isinstance(columns, list) and isinstance(rows, list)):
            return self.bad(where, "has no columns and rows")
        absent = [name for name in kind._fields if name not in columns]
        if absent:
            return self.bad(where, f"has no column {', '.join(absent)}")
        picked = [(columns.index(name), hints[name], name) for name in kind._fields]
        found = []
        for index, row in enumerate(rows):
            if not isinstance(row, list) or len(row) != len(columns):
                return self.bad(f"{where}.rows[{index}]", f"has not {len(columns)} entries")
            cells = [self.scalar(hint, row[at], f"{where}.rows[{index}].{name}") for at, hint, name in picked]
            if any(cell is _BAD for cell in cells):
                return _BAD
            found.append(kind(*cells))
        return tuple(found)


def _ungroup(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the document with the grouped fields of a plan back at the top, where they are there at all."""
    flat = dict(document)
    for field, (group, name) in GROUPED.items():
        inner = document.get(group)
        if isinstance(inner, dict) and name in inner:
            flat[field] = inner[name]
    return flat


def _loose_ends(plan: Plan, source: str) -> list[Fault]:
    """Return a fault for each move whose machine or configuration the plan does not describe."""
    faults = []
    for index, move in enumerate(plan.moves):
        machine = plan.machines.get(move.machine)
        if machine is None or move.configuration not in machine.configurations:
            what = f"machine {move.machine!r} in configuration {move.configuration!r} is not in this plan"
            faults.append(Fault("plan-schema", f"{source}, moves[{index}]", what, MEND))
    return faults


def from_document(document: Any, *, source: str) -> Plan:
    """Return the plan of a document.

    Parameters
    ----------
    document
        JSON values as ``to_document`` makes them.
    source
        What they were read from, for messages.

    Raises
    ------
    BadInput
        Another format, or any missing or wrong value: all of them.
    """
    found = document.get("format") if isinstance(document, dict) else None
    if found != FORMAT:
        what = f"format is {found!r}, not {FORMAT!r}"
        raise BadInput([Fault("plan-format", source, what, "give a plan.json that this program wrote")])
    decoder = _Decoder(source)
    plan = decoder.value(Plan, _ungroup(document), "")
    if not isinstance(plan, Plan):
        raise BadInput(decoder.faults)
    loose = _loose_ends(plan, source)
    if loose:
        raise BadInput(loose)
    return plan
