"""The keys of ``site.toml``, their types and sane ranges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from routeplan.site.hire import Hire
from routeplan.site.model import GridSpec, ModeWanted, Purpose, Regime, Thresholds

FORMAT = "routeplan/site@1"

#: Written instead of a file name: the site declares that it has nothing of the kind.
DECLARED_NONE = "none"

#: One line of text with something to see in it.
_ONE_LINE = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=_ONE_LINE)]


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
    readings: Source | None = None
    elevated_zones: Source | None = None
    places: Source | None = None


class OverheadLinesSection(Section):
    """``[overhead_lines]``: the table of safety distances that holds on this site; there is no default."""

    safety_distances: Name | None = None


class GridSection(Section):
    """``[grid]``: the planner's lattice."""

    cell_m: Annotated[float, Field(ge=0.05, le=1.0)] = GridSpec.cell_m
    headings: Annotated[int, Field(ge=8, le=64, multiple_of=8)] = GridSpec.headings


class ThresholdsSection(Section):
    """``[thresholds]``: the site's own limits within sane ranges; defaults are those of `Thresholds`."""

    head_gap_m: Annotated[float, Field(ge=0.05, le=2.0)] = Thresholds.head_gap_m
    body_gap_m: Annotated[float, Field(ge=0.05, le=2.0)] = Thresholds.body_gap_m
    structure_clearance_m: Annotated[float, Field(ge=0.02, le=2.0)] = Thresholds.structure_clearance_m
    tail_gap_m: Annotated[float, Field(ge=0.05, le=2.0)] = Thresholds.tail_gap_m
    ground_clearance_m: Annotated[float, Field(ge=0.0, le=0.5)] = Thresholds.ground_clearance_m
    head_height_m: Annotated[float, Field(ge=1.5, le=2.5)] = Thresholds.head_height_m
    lateral_tolerance_m: Annotated[float, Field(ge=0.02, le=1.0)] = Thresholds.lateral_tolerance_m
    heading_tolerance_deg: Annotated[float, Field(ge=0.1, le=10.0)] = Thresholds.heading_tolerance_deg
    bounce_limit_m: Annotated[float, Field(ge=0.02, le=2.0)] = Thresholds.bounce_limit_m
    kerb_angle_deg: Annotated[float, Field(ge=1.0, le=90.0)] = Thresholds.kerb_angle_deg
    kerb_side_slope_deg: Annotated[float, Field(ge=0.1, le=45.0)] = Thresholds.kerb_side_slope_deg
    tip_participation: Annotated[float, Field(ge=1.0, le=3.0)] = Thresholds.tip_participation
    route_confidence: Annotated[float, Field(ge=0.8, lt=1.0)] = Thresholds.route_confidence
    stopping_distance_m: Annotated[float, Field(ge=0.5, le=20.0)] = Thresholds.stopping_distance_m
    reaction_s: Annotated[float, Field(ge=0.3, le=5.0)] = Thresholds.reaction_s
    reading_sigma_m: Annotated[float, Field(ge=0.0002, le=0.1)] = Thresholds.reading_sigma_m


class MoveSection(Section):
    """``[[moves]]``: one move wanted."""

    id: Name
    purpose: Purpose
    machine: Name
    configuration: Name
    travel_mode: ModeWanted
    start: Name = Field(alias="from")
    goal: Name = Field(alias="to")
    on: dt.date | None = None
    via: Annotated[tuple[Name, ...], Field(max_length=20, strict=False)] = ()
    wet: bool = True
    regime: Regime = "stowed"
    platform_height_m: Annotated[float, Field(gt=0.0, le=60.0)] | None = None


class HireTerms(Section):
    """``[hire.machines.ID]``: what is agreed for one machine, in place of what holds for all."""

    notice_days: Annotated[int, Field(ge=0, le=60)] | None = None
    buffer_days: Annotated[int, Field(ge=0, le=60)] | None = None


class HireSection(HireTerms):
    """``[hire]``: calendar days of notice for a collection, and kept in hand besides."""

    machines: dict[Name, HireTerms] = {}

    def of(self, machine: str) -> Hire:
        """What holds for a machine."""
        own = self.machines.get(machine, self)
        return Hire(
            self.notice_days if own.notice_days is None else own.notice_days,
            self.buffer_days if own.buffer_days is None else own.buffer_days,
        )


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
    overhead_lines: OverheadLinesSection = OverheadLinesSection()
    grid: GridSection = GridSection()
    thresholds: ThresholdsSection = ThresholdsSection()
    machines: dict[Name, dict[str, Any]] = {}
    hire: HireSection = HireSection()
    moves: tuple[MoveSection, ...] = Field(default=(), strict=False)
    contacts: tuple[ContactSection, ...] = Field(default=(), strict=False)


#: Tables of which a machine's name is the last key.
HIRED = ("hire", "machines")

#: The model behind each table, for the near key when one is mistyped; list positions left out.
TABLES: dict[tuple[str, ...], type[Section]] = {
    (): SiteFile,
    ("site",): SiteSection,
    ("site", "boundary"): LayerRef,
    ("levels",): LevelsSection,
    ("layers",): LayersSection,
    ("overhead_lines",): OverheadLinesSection,
    ("grid",): GridSection,
    ("thresholds",): ThresholdsSection,
    ("moves",): MoveSection,
    ("contacts",): ContactSection,
    ("hire",): HireSection,
    HIRED: HireTerms,
    **{("layers", name): LayerRef for name in LayersSection.model_fields},
}

CHOICES: Mapping[tuple[str, ...], tuple[str, ...]] = {
    ("moves", "travel_mode"): get_args(ModeWanted),
    ("moves", "purpose"): get_args(Purpose),
    ("moves", "regime"): get_args(Regime),
}
