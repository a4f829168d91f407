"""What a row of the surfaces says of how the ground bears wheels: one of three kinds, whole, and by whom."""

from __future__ import annotations

from collections.abc import Mapping

from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform
from routeplan.site.columns import Columns
from routeplan.site.faults import Faults
from routeplan.site.layers import RawFeature

#: Columns of each kind of ground; the weak layer below a platform is a pressure allowed, or soil that drains.
_HARD = ("wheel_limit_kn",)
_CLAY = ("clay_cu_kpa", "clay_factor", "clay_rut_kpa")
_PLATFORM = ("platform_m", "spread_deg")
_PRESSURE = ("below_kpa",)
_SOIL = ("below_phi_deg", "below_knm3", "below_factor")
_KINDS: Mapping[str, tuple[str, ...]] = {
    "a limit for one wheel": _HARD,
    "clay": _CLAY,
    "a platform": (*_PLATFORM, *_PRESSURE, *_SOIL),
}

#: Sane ranges, both ends allowed: slips of the pen (common practice, no source).
_SANE: Mapping[str, tuple[float, float]] = {
    "wheel_limit_kn": (0.1, 1000.0),
    "clay_cu_kpa": (1.0, 500.0),
    "clay_factor": (1.0, 10.0),
    "clay_rut_kpa": (1.0, 3000.0),
    "platform_m": (0.05, 3.0),
    "spread_deg": (0.0, 60.0),
    "below_kpa": (1.0, 3000.0),
    "below_phi_deg": (15.0, 45.0),
    "below_knm3": (5.0, 25.0),
    "below_factor": (1.0, 10.0),
}


def bearing_of(raw: RawFeature, columns: Columns, faults: Faults) -> Bearing | None:
    """Return what the row claims; None when it claims nothing, and when what it claims cannot be used."""
    role = columns.text("bearing_by")
    wet = columns.number("wet_factor", low=0.05, high=1.0)
    values = {name: columns.number(name, low=low, high=high) for name, (low, high) in _SANE.items()}
    given = {name for name in _SANE if raw.columns.get(name) is not None}
    kinds = [kind for kind, names in _KINDS.items() if given & set(names)]
    if raw.columns.get("wet_factor") is not None and kinds in ([], ["a limit for one wheel"]):
        faults.add(
            "bearing-wet", raw.where, "it has a wet_factor, and is told as no ground that softens",
            "give it for clay and for a platform; a limit for one wheel holds wet and dry",
        )  # fmt: skip
        return None
    if not kinds and role is None:
        return None
    if len(kinds) > 1:
        faults.add(
            "bearing-mixed",
            raw.where,
            f"it is told as {' and as '.join(kinds)}",
            "give the columns of one kind of ground: two are never mixed",
        )
        return None
    wanted = _wanted(kinds, given)
    lacking = [name for name in wanted if raw.columns.get(name) is None]
    if lacking or wanted != tuple(name for name in ("bearing_by", *_SANE) if name in {"bearing_by", *given}):
        faults.add("bearing-incomplete", raw.where, *_told_in_part(wanted, lacking))
        return None
    figures = [values[name] for name in wanted if name in _SANE]
    usable = [figure for figure in figures if figure is not None]
    return _built(role, wanted, usable, wet) if role is not None and len(usable) == len(figures) else None


def _wanted(kinds: list[str], given: set[str]) -> tuple[str, ...]:
    """Columns that make the kind whole."""
    if kinds == ["clay"]:
        return ("bearing_by", *_CLAY)
    if kinds == ["a platform"]:
        return ("bearing_by", *_PLATFORM, *(_SOIL if given & set(_SOIL) else _PRESSURE))
    return ("bearing_by", *_HARD)


def _told_in_part(wanted: tuple[str, ...], lacking: list[str]) -> tuple[str, str]:
    what = f"it has no {', '.join(lacking)}" if lacking else "its weak layer is told as a pressure and as soil"
    return f"{what}: how it bears wheels is told in part", f"give {', '.join(wanted)}, or none of them"


def _built(role: str, wanted: tuple[str, ...], figures: list[float], wet: float | None) -> Bearing:
    if wanted[1:] == _HARD:
        return HardGround(role, figures[0])
    if wanted[1:] == _CLAY:
        return Clay(role, figures[0], figures[1], figures[2], wet)
    below = figures[2] if len(figures) == 3 else Drained(figures[2], figures[3], figures[4])
    return Platform(role, figures[0], figures[1], below, wet)
