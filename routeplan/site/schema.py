"""The keys of ``site.toml``, their types and sane ranges; every departure becomes a fault that says where it is."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from routeplan.site.faults import Faults, did_you_mean
from routeplan.site.model import GridSpec, Purpose, Thresholds, TravelMode

FORMAT = "routeplan/site@1"

#: Written instead of a file name: the site declares that it has nothing of the kind.
DECLARED_NONE = "none"

Name = Annotated[str, Field(min_length=1, max_length=200)]


class Section(BaseModel):
    """A table of ``site.toml``: no key that is not documented, no silent change of type, no NaN."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class LayerRef(Section):
    """A vector file, and the layer in it when the file holds several."""

    file: Name
    layer: Name | None = None


def _as_table(value: Any) -> Any:
    """Read a bare file name as a table that names the file."""
    return {"file": value} if isinstance(value, str) else value


Source = Annotated[LayerRef, BeforeValidator(_as_table)]


class SiteSection(Section):
    """``[site]``: what the site is called and the coordinates it is drawn in."""

    name: Name
    revision: Name
    invented: bool = False
    crs: Name
    boundary: Source
    repair: Literal["no", "make_valid"] = "no"


class LevelsSection(Section):
    """``[levels]``: the file of levels and how good they are (standard deviations in metres)."""

    file: Name
    survey: Name
    date: dt.date | None = None
    short_range_m: Annotated[float, Field(gt=0.0, le=1.0)]
    datum_m: Annotated[float, Field(gt=0.0, le=10.0)]
    correlation_m: Annotated[float, Field(gt=0.0, le=1000.0)]
    smallest_hole_m: Annotated[float, Field(gt=0.0, le=10.0)] | None = None
    assumed: bool = False


class LayersSection(Section):
    """``[layers]``: a file for each layer, ``"none"``, or nothing when nobody said."""

    obstacles: Source | None = None
    soffits: Source | None = None
    surfaces: Source | None = None
    defects: Source | None = None
    walkways: Source | None = None
    areas: Source | None = None
    overhead_lines: Source | None = None
    excavations: Source | None = None
    places: Source | None = None


class GridSection(Section):
    """``[grid]``: the planner's lattice."""

    cell_m: Annotated[float, Field(ge=0.05, le=1.0)] = GridSpec.cell_m
    headings: Annotated[int, Field(ge=8, le=64, multiple_of=8)] = GridSpec.headings


class ThresholdsSection(Section):
    """``[thresholds]``: the site's own limits within sane ranges; defaults are those of `Thresholds`."""

    head_gap_m: Annotated[float, Field(ge=0.05, le=2.0)] = Thresholds.head_gap_m
    body_gap_m: Annotated[float, Field(ge=0.05, le=2.0)] = Thresholds.body_gap_m
    structure_clearance_m: Annotated[float, Field(ge=0.02, le=2.0)] = Thresholds.structure_clearance_m
    ground_clearance_m: Annotated[float, Field(ge=0.0, le=0.5)] = Thresholds.ground_clearance_m
    head_height_m: Annotated[float, Field(ge=1.5, le=2.5)] = Thresholds.head_height_m
    lateral_tolerance_m: Annotated[float, Field(ge=0.02, le=1.0)] = Thresholds.lateral_tolerance_m
    heading_tolerance_deg: Annotated[float, Field(ge=0.1, le=10.0)] = Thresholds.heading_tolerance_deg
    bounce_limit_m: Annotated[float, Field(ge=0.02, le=2.0)] = Thresholds.bounce_limit_m
    tip_participation: Annotated[float, Field(ge=1.0, le=3.0)] = Thresholds.tip_participation
    route_confidence: Annotated[float, Field(ge=0.8, lt=1.0)] = Thresholds.route_confidence


class MoveSection(Section):
    """``[[moves]]``: one move wanted."""

    id: Name
    purpose: Purpose
    machine: Name
    configuration: Name
    travel_mode: TravelMode
    start: Name = Field(alias="from")
    goal: Name = Field(alias="to")
    on: dt.date | None = None


class ContactSection(Section):
    """``[[contacts]]``: a role and a call sign, never a name."""

    role: Name
    call_sign: Name


class SiteFile(Section):
    """The whole of ``site.toml``. Machines are read by the machine reader and stay as they are here."""

    format: Literal["routeplan/site@1"]
    site: SiteSection
    levels: LevelsSection
    layers: LayersSection = LayersSection()
    grid: GridSection = GridSection()
    thresholds: ThresholdsSection = ThresholdsSection()
    machines: dict[str, dict[str, Any]] = {}
    moves: tuple[MoveSection, ...] = Field(default=(), strict=False)
    contacts: tuple[ContactSection, ...] = Field(default=(), strict=False)


#: The model behind each table, for the near key when one is mistyped; list positions left out.
_TABLES: dict[tuple[str, ...], type[Section]] = {
    (): SiteFile,
    ("site",): SiteSection,
    ("site", "boundary"): LayerRef,
    ("levels",): LevelsSection,
    ("layers",): LayersSection,
    ("grid",): GridSection,
    ("thresholds",): ThresholdsSection,
    ("moves",): MoveSection,
    ("contacts",): ContactSection,
    **{("layers", name): LayerRef for name in LayersSection.model_fields},
}

_CHOICES: Mapping[tuple[str, ...], tuple[str, ...]] = {
    ("moves", "travel_mode"): get_args(TravelMode),
    ("moves", "purpose"): get_args(Purpose),
}

#: What a faulty key reads as while the rest of the folder is checked; such a site is never handed out.
_STAND_INS: Mapping[tuple[str, ...], Any] = {
    ("format",): FORMAT,
    ("site", "name"): "?",
    ("site", "revision"): "?",
    ("levels", "survey"): "?",
    ("levels", "short_range_m"): 1.0,
    ("levels", "datum_m"): 1.0,
    ("levels", "correlation_m"): 1.0,
    ("moves", "id"): "?",
    ("moves", "purpose"): "delivery",
    ("moves", "travel_mode"): "ridden",
}

_WRONG_TYPE = "give the type and unit that docs/site-folder.md lists for this key"


def parse(values: Mapping[str, Any], *, faults: Faults) -> SiteFile | None:
    """Check the values of ``site.toml``.

    Parameters
    ----------
    values
        The decoded TOML.
    faults
        Where every departure goes.

    Returns
    -------
    SiteFile or None
        What could be understood, so that the rest of the folder is checked too; None when that is too little. It is
        only whole when there was no fault.
    """
    try:
        return SiteFile.model_validate(values)
    except ValidationError as error:
        items = error.errors(include_url=False)
    for item in items:
        _note(item, values, faults)
    try:
        return SiteFile.model_validate(_understood(values, [item["loc"] for item in items]))
    except ValidationError:
        return None


def _understood(values: Mapping[str, Any], places: Iterable[tuple[str | int, ...]]) -> dict[str, Any]:
    """Return the values with every faulty place left out, or with a stand-in where a section cannot do without it."""
    rest: dict[str, Any] = copy.deepcopy(dict(values))
    for loc in places:
        keys = tuple(part for part in loc if isinstance(part, str))
        holder: Any = rest
        for part in loc[:-1]:
            holder = holder[part]
        if keys in _STAND_INS:
            holder[loc[-1]] = _STAND_INS[keys]
        elif isinstance(holder, dict):
            holder.pop(loc[-1], None)
    return rest


def _note(item: Any, values: Mapping[str, Any], faults: Faults) -> None:
    """Turn one departure into a fault."""
    loc: tuple[str | int, ...] = item["loc"]
    keys = tuple(part for part in loc if isinstance(part, str))
    where, kind, given = _where(loc, values), item["type"], item.get("input")
    if kind == "extra_forbidden":
        section = _TABLES[keys[:-1]]
        known = [field.alias or name for name, field in section.model_fields.items()]
        faults.add("unknown-key", where, f'"{keys[-1]}" is not a key of this table', did_you_mean(keys[-1], known))
    elif kind == "missing":
        faults.add("missing-key", where, "this key is required", _missing_mend(keys))
    elif kind == "literal_error":
        code = "travel-mode-unknown" if keys[-1] == "travel_mode" else "unknown-value"
        choices = _CHOICES.get(keys)
        mend = did_you_mean(str(given), choices) if choices else f"write {item['ctx']['expected']}"
        faults.add(code, where, f"{given!r} is not a choice", mend)
    elif kind.startswith(("greater", "less", "finite", "multiple", "string_too")):
        faults.add("out-of-range", where, f"{given!r}: {_plain(item['msg'])}", "give a value in the sane range")
    elif keys and keys[-1] in {"date", "on"}:
        faults.add("bad-date", where, f"{given!r} is not a day", "write the day without quotes, as in 2026-11-02")
    else:
        faults.add("wrong-type", where, f"{given!r}: {_plain(item['msg'])}", _WRONG_TYPE)


def _plain(message: str) -> str:
    """Return a message of the type checker in lower case at its start.

    >>> _plain("Input should be greater than 0")
    'should be greater than 0'
    """
    return message.removeprefix("Input ").strip()


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
