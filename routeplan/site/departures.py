"""The values of ``site.toml`` against its keys; every departure becomes a fault that says where it is."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from routeplan.site.faults import Faults, Unreadable, did_you_mean, shortened
from routeplan.site.schema import CHOICES, FORMAT, HIRED, TABLES, SiteFile

#: Tables and lists in one another; the documented keys need four.
_DEEPEST = 20

#: What a faulty key reads as while the rest of the folder is checked; such a site is never handed out.
_SITE: Mapping[str, Any] = {"name": "?", "revision": "?", "crs": "local", "boundary": "?"}
_LEVELS: Mapping[str, Any] = {"file": "?", "survey": "?", "short_range_m": 1.0, "datum_m": 1.0, "correlation_m": 1.0}
_STAND_INS: Mapping[tuple[str, ...], Any] = {
    ("format",): FORMAT,
    ("site",): _SITE,
    ("levels",): _LEVELS,
    **{("site", name): value for name, value in _SITE.items()},
    **{("levels", name): value for name, value in _LEVELS.items()},
    ("moves", "id"): "?",
    ("moves", "purpose"): "delivery",
    ("moves", "travel_mode"): "ridden",
}


@dataclass(frozen=True)
class Understood:
    """What could be understood of ``site.toml``; only whole when there was no fault.

    Parameters
    ----------
    file
        Its keys; a key at fault is left out or holds a stand-in.
    untold
        Keys of files, of the coordinate system and of machines that are at fault: nothing can be concluded from them.
    """

    file: SiteFile
    untold: frozenset[tuple[str, ...]]


def parse(values: Mapping[str, Any], *, faults: Faults) -> Understood | None:
    """Check the values of ``site.toml``.

    Parameters
    ----------
    values
        The decoded TOML.
    faults
        Where every departure goes.

    Returns
    -------
    Understood or None
        What could be understood, so that the rest of the folder is checked too; None when that is too little.
    """
    try:
        return Understood(SiteFile.model_validate(values), frozenset())
    except ValidationError as error:
        items = error.errors(include_url=False)
    for item in items:
        _note(item, values, faults)
    untold: set[tuple[str, ...]] = set()
    rest = _understood(values, items, untold)
    try:
        return Understood(SiteFile.model_validate(rest), frozenset(untold))
    except ValidationError:
        return None


def _understood(values: Mapping[str, Any], items: Iterable[Any], untold: set[tuple[str, ...]]) -> dict[str, Any]:
    """Return the values with every faulty place left out, or with a stand-in where a section cannot do without it."""
    rest: dict[str, Any] = copy.deepcopy(dict(values))
    dropped: dict[str, set[int]] = {"moves": set(), "contacts": set()}
    for item in items:
        loc: tuple[Any, ...] = item["loc"]
        keys = tuple(part for part in loc if isinstance(part, str))
        if keys[0] in dropped and len(loc) > 1 and keys not in _STAND_INS and item["type"] != "extra_forbidden":
            dropped[keys[0]].add(loc[1])
            continue
        if keys[0] == "hire":
            loc = loc[:1]  # nothing else rests on it
        elif item["type"] == "extra_forbidden":
            if keys[0] == "layers":
                untold.add(("layers", "places"))  # the key may have been meant for it
        elif keys[0] in {"site", "levels", "layers", "machines", "overhead_lines"}:
            loc = loc[:2]  # a file name is a table of its own, and a machine is not mended key by key
            untold.add(keys[:2])
        stand_in = _STAND_INS.get(tuple(part for part in loc if isinstance(part, str)))
        _replace(rest, loc, f"number {loc[1] + 1}" if keys == ("moves", "id") else stand_in)
    for name, numbers in dropped.items():
        if numbers:
            rest[name] = [value for number, value in enumerate(rest[name]) if number not in numbers]
    return rest


def _replace(values: dict[str, Any], loc: tuple[Any, ...], stand_in: Any) -> None:
    """Put a stand-in at a place of the values; leave the key out where there is none."""
    holder: Any = values
    for part in loc[:-1]:
        if isinstance(holder, dict) and part not in holder:
            return  # the table that held it has gone already
        holder = holder[part]
    if not isinstance(holder, dict):
        return  # so has this one, a stand-in is in its place
    if stand_in is not None:
        holder[loc[-1]] = copy.deepcopy(stand_in)
    else:
        holder.pop(loc[-1], None)


_MENDS = {
    "string_type": "write text in quotes",
    "float_type": "write digits with a decimal point, without quotes or a unit",
    "int_type": "write a whole number without quotes",
    "bool_type": "write true or false without quotes",
    "tuple_type": "write [[{key}]] in double brackets, once for each",
    "model_type": "write it as a table, [{key}] in single brackets",
    "dict_type": "write it as a table, [{key}] in single brackets",
}

#: What the checker of types says, in words for people.
_SAID = {
    "string_type": "is not text",
    "string_too_short": "is empty",
    "string_too_long": "is longer than {max_length} characters",
    "string_pattern_mismatch": "is blank, or not one line of text",
    "float_type": "is not a number",
    "int_type": "is not a whole number",
    "bool_type": "is neither true nor false",
    "date_type": "is not a day",
    "tuple_type": "is not a list of tables",
    "model_type": "is not a table",
    "dict_type": "is not a table",
    "finite_number": "is not a finite number",
    "greater_than": "is not above {gt:g}",
    "greater_than_equal": "is below {ge:g}",
    "less_than": "is not below {lt:g}",
    "less_than_equal": "is above {le:g}",
    "multiple_of": "is not a multiple of {multiple_of:g}",
}
_RANGES = ("greater_than", "less_than", "finite_number", "multiple_of", "string_too")


def _note(item: Any, values: Mapping[str, Any], faults: Faults) -> None:
    """Turn one departure into a fault."""
    loc: tuple[str | int, ...] = item["loc"]
    kind, given = item["type"], item.get("input")
    if loc[-1] == "[key]":  # the name of a machine
        loc, given = loc[:-2], loc[-2]
    keys = tuple(part for part in loc if isinstance(part, str))
    where, said = _where(loc, values), f"{shown(given)} {_SAID.get(kind, '').format(**item.get('ctx', {}))}"
    if kind == "extra_forbidden":
        section = TABLES[keys[:2] if keys[:2] == HIRED else keys[:-1]]
        known = [field.alias or name for name, field in section.model_fields.items()]
        faults.add("unknown-key", where, f'"{keys[-1]}" is not a key of this table', did_you_mean(keys[-1], known))
    elif kind == "missing":
        faults.add("missing-key", where, "this key is required", _missing_mend(keys))
    elif kind == "literal_error":
        code = "travel-mode-unknown" if keys[-1] == "travel_mode" else "unknown-value"
        choices = CHOICES.get(keys)
        mend = did_you_mean(str(given), choices) if choices else f"write {item['ctx']['expected']}"
        faults.add(code, where, f"{shown(given)} is not a choice", mend)
    elif kind.startswith("date"):
        faults.add("bad-date", where, f"{shown(given)} is not a day", "write the day without quotes, as in 2026-11-02")
    elif kind.startswith(_RANGES):
        faults.add("out-of-range", where, said, "docs/site-folder.md lists what this key may hold")
    elif kind == "string_pattern_mismatch":
        faults.add("text-unfit", where, said, "write one line of plain text")
    elif keys[0] == "layers" and len(keys) == 2 or keys == ("site", "boundary"):
        mend = 'name it: "..." or {file = "...", layer = "..."}'
        faults.add("wrong-type", where, f"{shown(given)} is not a file", mend)
    else:
        listed = keys in {("moves",), ("contacts",)}
        mend = _MENDS.get("tuple_type" if listed else kind, "docs/site-folder.md lists what this key may hold")
        faults.add("wrong-type", where, said, mend.format(key=".".join(keys)))


def shown(value: Any) -> str:
    """Return a value of a TOML file for people, at a length that can be read.

    >>> shown("3 mm"), shown(True), shown({})
    ('"3 mm"', 'true', 'a table')
    """
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{shortened(value, 60)}"'
    return value.isoformat() if isinstance(value, dt.date | dt.time) else str(value)


def _missing_mend(keys: tuple[str, ...]) -> str:
    """Return the mend for a missing key."""
    if keys[:1] == ("levels",) and keys[-1].endswith("_m"):
        return "give the survey's figure; if nobody knows it, give a careful guess and write assumed = true"
    if keys == ("format",):
        return f'write format = "{FORMAT}" at the top'
    return "add it as docs/site-folder.md describes"


def _where(loc: tuple[str | int, ...], values: Mapping[str, Any]) -> str:
    """Return the place of a key for people: ``site.toml, moves D1, travel_mode``."""
    words: list[str] = []
    value: Any = values
    for part in loc:
        value = value[part] if (isinstance(value, Mapping) and part in value) or isinstance(part, int) else None
        if isinstance(part, int):
            name = value.get("id") if isinstance(value, Mapping) else None
            words[-1] += f" {name}" if isinstance(name, str) else f" number {part + 1}"
        else:
            words.append(part)
    return ", ".join(["site.toml", *words])


def check_values(values: Mapping[str, Any]) -> None:
    """Refuse values that no site needs and that others choke on: deep nests, whole numbers beyond 64 bits.

    Raises
    ------
    Unreadable
        There is one.
    """
    waiting: list[tuple[Any, int]] = [(values, 0)]
    while waiting:
        value, depth = waiting.pop()
        if depth > _DEEPEST:
            raise Unreadable("toml-syntax", f"its tables and lists lie more than {_DEEPEST} deep", "write it flatter")
        if isinstance(value, int) and abs(value) >= 2**63:
            raise Unreadable("toml-syntax", "it holds a whole number of more than 64 bits", "correct the number")
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        waiting += [(one, depth + 1) for one in inner]
