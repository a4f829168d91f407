"""What a plan of a site would rest on, as plain JSON values: what was read, what bites, what stays open."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
from shapely import union_all

from routeplan.hazards.catalogue import CATALOGUE, TAIL, TILT, CheckKind
from routeplan.hazards.register import figures_of
from routeplan.plan.elevated import raised_for
from routeplan.plan.set_up import WORKFACE
from routeplan.site.consistency import soffit_gaps
from routeplan.site.ground import levels_within
from routeplan.site.hollows import hollows
from routeplan.site.model import Defect, Ground, Site, Soffit, Thresholds
from routeplan.site.spans import NO_FIRST, NO_LAST, span_words

#: How many of the worst of a kind are listed.
WORST = 5

#: Errors of levels alone dig hollows as deep as this many short-range standard deviations: the deepest among 160,000
#: nodes with independent errors, by trial.
_DUG_BY_ERRORS = 5.0

#: Layers of a site folder and the attribute of `Site` that holds each.
LAYERS: Mapping[str, str] = {
    "obstacles": "obstacles",
    "soffits": "soffits",
    "surfaces": "surfaces",
    "defects": "defects",
    "walkways": "walkways",
    "overhead_lines": "line_corridors",
    "excavations": "excavations",
    "areas": "areas",
    "readings": "readings",
    "elevated_zones": "elevated_zones",
    "places": "places",
}


def findings(site: Site) -> dict[str, Any]:
    """Return everything worth saying about a sound site.

    Parameters
    ----------
    site
        A site as read.

    Returns
    -------
    dict
        JSON values; lengths in metres, places as ``[x, y]`` in site metres.
    """
    return {
        "site": {
            "name": site.name,
            "revision": site.revision,
            "crs": site.crs,
            "invented": site.invented,
            "extent": list(site.boundary.bounds),
            "area_m2": round(site.boundary.area, 1),
        },
        "levels": _levels(site),
        "layers": {name: _layer(site, name) for name in LAYERS},
        "machines": {machine_id: _machine(site, machine_id) for machine_id in site.machines},
        "moves": [_move(move) for move in site.moves],
        "thresholds": _thresholds(site.thresholds),
        "hazards": {
            "lowest_soffits": _lowest_soffits(site.soffits, site.ground),
            "deepest_holes": _worst_defects(site.defects, "depth_m"),
            "highest_steps": _worst_defects(site.defects, "height_m"),
            "unlisted_hollows": _unlisted_hollows(site),
            "surfaces_not_accepted": [surface.id for surface in site.surfaces if surface.acceptance is None],
            "closures": [
                {"area": area.id, "from": _end(span[0]), "to": _end(span[1]), "days": span_words(span)}
                for area in site.areas
                for span in area.closures
            ],
        },
        "open": _open(site),
        "repairs": list(site.repairs),
        "inputs": [asdict(item) for item in site.inputs],
        "faults": [],
    }


def _end(day: dt.date) -> str | None:
    """An end of a closure, None where it has none."""
    return None if day in (NO_FIRST, NO_LAST) else day.isoformat()


def _levels(site: Site) -> dict[str, Any]:
    """Levels: their grid, how good they are, and how much of the site has none."""
    ground, accuracy = site.ground, site.ground.accuracy
    levels = levels_within(ground, site.boundary)
    known = levels[~np.isnan(levels)]
    return {
        "rows": ground.z.shape[0],
        "columns": ground.z.shape[1],
        "cell_m": ground.cell_m,
        "lowest_m": round(float(known.min()), 3),
        "highest_m": round(float(known.max()), 3),
        "unknown_share": 1.0 - known.size / levels.size,
        **asdict(accuracy),
        "date": accuracy.date.isoformat() if accuracy.date else None,
    }


def _layer(site: Site, name: str) -> dict[str, Any]:
    """How many features a layer has, of which kinds, and whether anybody spoke of it."""
    held: Any = getattr(site, LAYERS[name])
    values = list(held.values()) if isinstance(held, Mapping) else list(held)
    kinds = Counter(value.kind for value in values if hasattr(value, "kind"))
    return {"given": name in site.layers_given, "count": len(values), "kinds": dict(sorted(kinds.items()))}


def _machine(site: Site, machine_id: str) -> dict[str, Any]:
    """A machine's class, where its figures come from, and which it lacks."""
    machine = site.machines[machine_id]
    return {
        "title": machine.title,
        "class": machine.class_id,
        "tags": dict(sorted(Counter(figure.tag for figure in machine.figures.values()).items())),
        "not_its_own": sorted(name for name, figure in machine.figures.items() if not figure.trusted),
        "missing": list(machine.missing),
    }


def _move(move: Any) -> dict[str, Any]:
    """A move wanted, with the words of the site folder."""
    row = asdict(move)
    row["from"], row["to"] = row.pop("start"), row.pop("goal")
    return row | {"on": move.on.isoformat() if move.on else None}


def _thresholds(given: Thresholds) -> dict[str, Any]:
    """The site's own limits where they differ from the defaults."""
    usual, own = asdict(Thresholds()), asdict(given)
    return {name: {"value": value, "default": usual[name]} for name, value in own.items() if value != usual[name]}


def _lowest_soffits(soffits: Iterable[Soffit], ground: Ground) -> list[dict[str, Any]]:
    """Soffits with the least clear height above the ground below them; rounded down."""
    rows: list[dict[str, Any]] = []
    for soffit in soffits:
        places, gaps = soffit_gaps(soffit, ground)
        if gaps.size:
            at = int(gaps.argmin())
            clear_m = float(np.floor(gaps[at] * 1000.0 + 1e-6) / 1000.0)
            rows.append({"id": soffit.id, "kind": soffit.kind, "clear_m": clear_m, "at": _place(places[at])})
    return sorted(rows, key=lambda row: (row["clear_m"], row["id"]))[:WORST]


def _worst_defects(defects: Iterable[Defect], column: str) -> list[dict[str, Any]]:
    """Defects with the largest depth or height."""
    rows = [
        {
            "id": one.id,
            "kind": one.kind,
            column: getattr(one, column),
            "width_m": round(one.width_m, 3),
            "state": one.state,
        }
        | {"at": _place((one.geometry.centroid.x, one.geometry.centroid.y))}
        for one in defects
        if getattr(one, column) > 0.0
    ]
    return sorted(rows, key=lambda row: (-row[column], row["id"]))[:WORST]


def _unlisted_hollows(site: Site) -> list[dict[str, Any]]:
    """The deepest hollows inside the boundary, less the defects and excavations that the site folder tells of.

    What is told of is cut out with a cell round it, for the raster shows a hole's edge up to a cell further out.
    """
    outlines = [defect.geometry for defect in site.defects] + [pit.geometry for pit in site.excavations]
    told = union_all(outlines).buffer(site.ground.cell_m)
    return [
        {
            "depth_m": round(hollow.depth_m, 3),
            "area_m2": round(hollow.area_m2, 2),
            "may_be_survey_error": hollow.depth_m <= _DUG_BY_ERRORS * site.ground.accuracy.short_range_m,
            "at": _place((hollow.x, hollow.y)),
        }
        for hollow in hollows(site.ground, site.boundary.difference(told))[:WORST]
    ]


def _place(xy: Any) -> list[float]:
    """A place, to the centimetre."""
    return [round(float(xy[0]), 2), round(float(xy[1]), 2)]


def _open(site: Site) -> list[dict[str, Any]]:
    """What nobody said, and the checks that stay not proven because of it."""
    accuracy = site.ground.accuracy
    claimed = any(surface.bearing for surface in site.surfaces)
    works = any(site.places[name].kind == WORKFACE for move in site.moves for name in (*move.via, move.goal))
    idle = {"ground load": not claimed, TILT: not works, TAIL: not works}
    lines = [line for line in CATALOGUE if not idle.get(line.kind)]
    rows = [
        _left_open(f"layer {name}: nobody said what is there", CATALOGUE, lambda line, name=name: name in line.layers)
        for name in LAYERS
        if name not in site.layers_given
    ]
    raised = ((move.id, raised_for(move, site)) for move in site.moves if move.regime == "elevated")
    rows += [
        _left_open(f"{name}: {why}", CATALOGUE, lambda line: True) for name, why in raised if isinstance(why, str)
    ]
    if accuracy.assumed:
        rows.append(_left_open("the accuracy of the levels is assumed", lines, lambda line: line.surveyed))
    if accuracy.smallest_hole_m is None:
        rows.append({"why": "nobody said how small a hole the survey shows", "checks": ["survey resolution"]})
    vague = [soffit.id for soffit in site.soffits if soffit.sigma_m is None]
    if vague:
        why = f"no accuracy for soffit {', '.join(vague)}"
        rows.append(_left_open(why, lines, lambda line: "soffits" in line.layers))
    heights = ((line.id, line.height) for line in site.line_corridors)
    swaying = [name for name, height in heights if height is not None and height.sigma_m is None]
    if swaying:
        rows.append({"why": f"no accuracy for the height of line {', '.join(swaying)}", "checks": ["line clearance"]})
    bare = [surface.id for surface in site.surfaces if surface.acceptance and surface.friction is None]
    if bare:
        rows.append({"why": f"nobody said how tyres grip surface {', '.join(bare)}", "checks": ["grip"]})
    for machine_id, machine in site.machines.items():
        held = {line.kind: figures_of(line, machine) for line in lines}
        for name in sorted({name for figures in held.values() for name in figures}):
            figure = machine.figures.get(name)
            if figure is None or not figure.trusted:
                said = "missing" if figure is None else f"a {figure.tag} figure, not its own"
                why = f"{machine_id}: {name} is {said}"
                rows.append(_left_open(why, lines, lambda line, name=name, held=held: name in held[line.kind]))
    return [row for row in rows if row["checks"]]


def _left_open(why: str, lines: Iterable[CheckKind], touches: Any) -> dict[str, Any]:
    """One reason, with the checks of the catalogue that it touches."""
    return {"why": why, "checks": [line.kind for line in lines if touches(line)]}
