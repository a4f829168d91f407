"""What a row of the surfaces says of how tyres grip it: dry, wet and loose, and by whom."""

from __future__ import annotations

from routeplan.site.columns import Columns
from routeplan.site.faults import Faults
from routeplan.site.friction import Friction, Loose
from routeplan.site.layers import RawFeature

#: Sane range of a coefficient of friction, both ends allowed: slips of the pen (common practice, no source).
_LOW, _HIGH = 0.02, 1.2
_VALUES = ("friction_dry", "friction_wet", "friction_loose")


def friction_of(raw: RawFeature, columns: Columns, faults: Faults) -> Friction | None:
    """Return what the row claims; None when it claims nothing, and when what it claims cannot be used."""
    role, name = columns.text("friction_by"), columns.text("loose")
    dry, wet, loose = (columns.number(column, low=_LOW, high=_HIGH) for column in _VALUES)
    given = {column for column in _VALUES if raw.columns.get(column) is not None}
    if not given and role is None and name is None:
        return None
    wanted = _lacking(given, role, name)
    if wanted:
        faults.add("friction-incomplete", raw.where, "how tyres grip it is told in part", f"give {wanted}")
        return None
    if dry is not None and wet is not None and wet > dry:
        what = f"friction_wet = {wet:g} is more than friction_dry = {dry:g}"
        faults.add("friction-backwards", raw.where, what, "no ground grips better wet: write the lesser for both")
        return None
    if role is None or len(given) > sum(value is not None for value in (dry, wet, loose)):
        return None
    return Friction(role, dry, wet, None if loose is None or name is None else Loose(name, loose))


def _lacking(given: set[str], role: str | None, name: str | None) -> str:
    """What a row that says something does not say; empty where nothing is lacking."""
    lacking = [] if role is not None else ["friction_by"]
    if not given & {"friction_dry", "friction_wet"}:
        lacking.append("friction_dry or friction_wet")
    if (name is None) != ("friction_loose" not in given):
        lacking.append("loose and friction_loose together")
    return ", ".join(lacking)
