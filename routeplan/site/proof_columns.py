"""What a row of the defects says of who proved a cover or plate, when, and for which load of a wheel."""

from __future__ import annotations

from routeplan.site.bearing import HardGround, Proof
from routeplan.site.columns import Columns
from routeplan.site.faults import Faults
from routeplan.site.layers import RawFeature
from routeplan.site.text import number_of

_NAMES = ("proven_by", "proven_on", "wheel_limit_kn")


def proof_of(raw: RawFeature, faults: Faults) -> Proof | None:
    """Return what lets wheels over it; None when the row claims nothing, and when what it claims cannot be used."""
    columns = Columns(raw, faults)
    role, day, until = columns.text("proven_by"), columns.day("proven_on"), columns.day("proven_until")
    wheel_kn = columns.number("wheel_limit_kn", low=0.1, high=1000.0)
    given = [name for name in (*_NAMES, "proven_until") if raw.columns.get(name) is not None]
    if not given:
        return None
    if raw.columns.get("kind") not in ("cover", "plate") or raw.columns.get("state") != "proven":
        what = f"it gives {', '.join(given)}, and is no cover or plate whose state is proven"
        faults.add("proof-misplaced", raw.where, what, "only a proven cover or plate is driven over: leave them empty")
        return None
    lip, deep = (number_of(str(raw.columns.get(name))) for name in ("height_m", "depth_m"))
    lacking = [name for name in _NAMES if name not in given] + ([] if lip else ["height_m above 0"])
    if lacking or deep:
        mend = f"give {', '.join(lacking)}: all of them let wheels over it" if lacking else "leave depth_m empty"
        faults.add("proof-incomplete", raw.where, "what lets wheels over it is told in part", mend)
        return None
    if day and until and until < day:
        faults.add("proof-backwards", raw.where, f"proven on {day} until {until}", "write the later day last")
    if role is None or day is None or wheel_kn is None:
        return None
    return Proof(day, HardGround(role, wheel_kn), until)
