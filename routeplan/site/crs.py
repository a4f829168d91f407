"""Coordinate systems at the door: a local grid or a projected system in metres, the same for every file."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pyproj import CRS
from pyproj.exceptions import CRSError

from routeplan.site.faults import Faults

LOCAL = "local"

#: Web Mercator and World Mercator: lengths are stretched by 1 / cos(latitude), two-fold at 60 degrees.
_STRETCHED = {3857, 3395, 900913, 102100}

_METRE = {"metre", "meter"}


@dataclass(frozen=True)
class SiteCrs:
    """The site's coordinate system; ``crs`` is None for a local grid, and when the system is not ``known``."""

    code: str
    crs: CRS | None
    known: bool = True


#: What stands for a system at fault: nothing in the files is compared with it.
UNKNOWN = SiteCrs("unknown", None, known=False)


def site_crs(code: str, *, where: str, faults: Faults) -> SiteCrs:
    """Return the coordinate system that the site names, or `UNKNOWN` with a fault.

    Parameters
    ----------
    code
        ``"local"`` or an authority code such as ``"EPSG:3007"``.
    where
        Place of the key, for faults.
    faults
        Where faults go.
    """
    if code == LOCAL:
        return SiteCrs(LOCAL, None)
    mend = 'write "local" or the code of a projected system in metres, such as "EPSG:27700"'
    if not re.fullmatch(r"[A-Za-z]+:\d+", code):
        faults.add("crs-unknown", where, f'"{code}" is not an authority code', mend)
        return UNKNOWN
    try:
        crs = CRS.from_user_input(code)
    except CRSError:
        faults.add("crs-unknown", where, f"{code} is not a known coordinate system", mend)
        return UNKNOWN
    fault = _unfit(crs)
    if fault:
        faults.add(fault[0], where, f"{code} ({crs.name}) {fault[1]}", fault[2])
        return UNKNOWN
    return SiteCrs(code.upper(), crs)


def _unfit(crs: CRS) -> tuple[str, str, str] | None:
    """Return code, reason and mend when routes cannot be measured in a system."""
    flat = plan_part(crs)
    if flat.is_geographic or flat.is_geocentric:
        return "crs-geographic", "counts in degrees, not metres", "reproject every file to a projected system in metres"
    if not flat.is_projected:
        return "crs-unfit", "is not a projected system", 'use a projected system in metres, or crs = "local"'
    if flat.to_epsg() in _STRETCHED:
        return "crs-stretched", "stretches lengths away from the equator", "reproject to the national or UTM grid"
    odd = [axis.unit_name for axis in crs.axis_info if axis.unit_name not in _METRE]
    if odd:
        return "crs-unit", f'counts in "{odd[0]}", not metres', "reproject every file to a system in metres"
    if {axis.direction for axis in flat.axis_info} != {"east", "north"}:
        return "crs-axes", "has axes that do not run east and north", "reproject to a system with easting and northing"
    return None


def plan_part(crs: CRS) -> CRS:
    """Return the horizontal part of a system that also names a height datum."""
    return crs.sub_crs_list[0] if crs.is_compound else crs


def check_file_crs(site: SiteCrs, found: CRS | None, *, where: str, faults: Faults) -> None:
    """Compare a file's coordinate system with the site's; differing or missing is a fault.

    Parameters
    ----------
    site
        The site's system.
    found
        What the file says; None when it says nothing.
    where, faults
        Place and collector.
    """
    if not site.known:
        return
    odd = [] if found is None else [axis.unit_name for axis in found.axis_info if axis.unit_name not in _METRE]
    if found is not None and found.is_engineering and odd and odd != ["unknown"] * len(odd):
        faults.add("crs-unit", where, f'the file counts in "{odd[0]}", not metres', "export it in metres")
    elif site.crs is None:
        if found is not None and not _is_undefined(found):
            faults.add(
                "crs-mismatch",
                where,
                f'the file is in {_name(found)}, the site in "local"',
                "export the file in the local grid without a coordinate system, or name that system in site.toml",
            )
    elif found is None or _is_undefined(found):
        faults.add(
            "crs-missing", where, "the file names no known coordinate system", f"export it with {site.code} stated"
        )
    elif not _same(plan_part(site.crs), plan_part(found)):
        faults.add(
            "crs-mismatch",
            where,
            f"the file is in {_name(found)}, the site in {site.code}",
            f"reproject the file to {site.code}",
        )


def _is_undefined(crs: CRS) -> bool:
    """Whether a file only says that its plane has no name (a GeoPackage's "Undefined Cartesian SRS", a local TIFF)."""
    return crs.is_engineering or "undefined" in crs.name.lower() or crs.name.lower() == "unknown"


def _same(first: CRS, second: CRS) -> bool:
    """Whether two systems place a point alike, whatever the spelling of their definitions."""
    if first.equals(second, ignore_axis_order=True):
        return True
    code = first.to_epsg(min_confidence=70)
    return code is not None and code == second.to_epsg(min_confidence=70)


def _name(crs: CRS) -> str:
    """Return a system's code, or its name when it has none."""
    authority = crs.to_authority()
    return f"{authority[0]}:{authority[1]}" if authority else crs.name
