"""What only shows when the parts of a site meet: levels under soffits, places in obstacles, moves to nowhere."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import get_coordinates
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from routeplan.machine.model import Machine
from routeplan.machine.modelled import not_ridden
from routeplan.site.columns import HIGHEST_LEVEL_M, LOWEST_LEVEL_M
from routeplan.site.faults import Faults, at, did_you_mean
from routeplan.site.ground import levels_within, samples
from routeplan.site.model import Ground, MoveWanted, Obstacle, Place, Soffit

#: A building site is not higher than this from end to end; more means broken levels (common practice, no source).
LARGEST_SPREAD_M = 500.0

#: Nothing that a platform could meet hangs higher above the ground than this (common practice, no source).
HIGHEST_SOFFIT_M = 100.0

#: What lies or reaches farther than this from the site is drawn in other coordinates, or has a corner that is.
ELSEWHERE_M = 1000.0

#: How the ids of a new folder's rows, its survey and the role that accepted its ground begin: nothing real may.
EXAMPLE = "example-"


def check_cover(ground: Ground, boundary: Polygon, *, label: str, faults: Faults) -> None:
    """Compare the levels with the boundary: do they reach it, and is their spread that of a site?"""
    half = ground.cell_m / 2.0
    rows, columns = ground.z.shape
    extent = box(
        ground.x_min - half,
        ground.y_min - half,
        ground.x_min + columns * ground.cell_m - half,
        ground.y_min + rows * ground.cell_m - half,
    )
    outside = boundary.difference(extent)
    if not boundary.difference(extent.buffer(0.01 * ground.cell_m, join_style="mitre")).is_empty:
        x0, y0, x1, y1 = outside.bounds
        faults.add(
            "levels-short-of-boundary",
            label,
            f"the levels leave {outside.area:,.1f} m2 of the boundary ({outside.area / boundary.area:.1%}) bare, "
            f"between {x0:.2f} and {x1:.2f} E, {y0:.2f} and {y1:.2f} N",
            "give levels for the whole boundary (cells without data are allowed: they are not driven on), or shrink it",
        )
    levels = levels_within(ground, boundary)
    known = levels[(levels >= LOWEST_LEVEL_M) & (levels <= HIGHEST_LEVEL_M)]
    if not known.size:
        if np.isnan(levels).all() and not np.isnan(ground.z).all():
            faults.add(
                "levels-nodata-everywhere",
                label,
                "there is no level inside the boundary",
                "check that levels and boundary share their coordinates",
            )
    elif known.max() - known.min() > LARGEST_SPREAD_M:
        faults.add(
            "levels-spread",
            label,
            f"inside the boundary the levels run from {known.min():.1f} to {known.max():.1f} m",
            f"at most {LARGEST_SPREAD_M:g} m apart is believed; look for nodata values and wrong units",
        )


def soffit_gaps(soffit: Soffit, ground: Ground) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return places ``(n, 2)`` and clear heights ``(n,)`` of a soffit above the known ground below it, metres."""
    places, levels = samples(ground, soffit.geometry)
    if soffit.clear_m is not None:
        return places, np.full(len(levels), soffit.clear_m)
    middle = soffit.geometry.centroid
    underside = (
        (soffit.level_m or 0.0) + soffit.fall_x * (places[:, 0] - middle.x) + soffit.fall_y * (places[:, 1] - middle.y)
    )
    return places, underside - levels


def check_soffits(soffits: Iterable[Soffit], ground: Ground, *, label: str, faults: Faults) -> None:
    """Find soffits that are not above the ground: a level and a clear height mixed up, or another datum."""
    for soffit in soffits:
        places, gaps = soffit_gaps(soffit, ground)
        if gaps.size and gaps.min() <= 0.0:
            lowest = int(gaps.argmin())
            faults.add(
                "soffit-below-ground",
                f"{label}, feature {soffit.id}, {at(*places[lowest])}",
                f"its underside lies {-gaps[lowest]:.2f} m below the ground",
                "level_m is a level in the site's datum; give a height above the ground as clear_m",
            )
        elif gaps.size and gaps.min() > HIGHEST_SOFFIT_M:
            lowest = int(gaps.argmin())
            faults.add(
                "soffit-in-the-sky",
                f"{label}, feature {soffit.id}, {at(*places[lowest])}",
                f"its underside lies {gaps[lowest]:.0f} m above the ground",
                f"at most {HIGHEST_SOFFIT_M:g} m is believed: give level_m and clear_m in metres, or leave it out",
            )


def check_obstacles(obstacles: Iterable[Obstacle], ground: Ground, *, label: str, faults: Faults) -> None:
    """Find obstacles whose top lies below all ground under them: a height was given instead of a level."""
    for obstacle in obstacles:
        if obstacle.top_m is None:
            continue
        levels = samples(ground, obstacle.geometry)[1]
        if levels.size and obstacle.top_m < levels.min():
            faults.add(
                "obstacle-below-ground",
                f"{label}, feature {obstacle.id}",
                f"its top ({obstacle.top_m:.2f} m) lies below the ground there ({levels.min():.2f} m)",
                "top_m is a level in the site's datum: ground level plus height; leave it empty when not known",
            )


def check_places(
    places: Iterable[Place], obstacles: Iterable[Obstacle], boundary: Polygon | None, *, label: str, faults: Faults
) -> None:
    """Find places where no machine can stand: inside an obstacle or outside the boundary."""
    stock = tuple(obstacles)
    for place in places:
        where = f"{label}, feature {place.id}, {at(place.point.x, place.point.y)}"
        if boundary is not None and not boundary.covers(place.point):
            faults.add(
                "place-outside",
                where,
                f"it lies {boundary.distance(place.point):.2f} m outside the boundary",
                "move it inside, or draw the boundary round it",
            )
        for obstacle in stock:
            if obstacle.geometry.covers(place.point):
                faults.add(
                    "place-in-obstacle",
                    where,
                    f'it lies inside the obstacle "{obstacle.id}"',
                    "move the place to where the machine's origin stands, or correct the obstacle",
                )


def check_near(geometries: Iterable[BaseGeometry], boundary: Polygon, *, label: str, faults: Faults) -> None:
    """Find features that lie or reach far off: wrong coordinates, swapped axes and lost decimal points look so."""
    outlines = list(geometries)
    x0, y0, x1, y1 = boundary.bounds
    vicinity = box(x0 - ELSEWHERE_M, y0 - ELSEWHERE_M, x1 + ELSEWHERE_M, y1 + ELSEWHERE_M)
    astray = [outline.centroid for outline in outlines if not outline.intersects(vicinity)]
    if astray:
        what = "everything in it lies" if len(astray) == len(outlines) else f"{len(astray)} of its features lie"
        faults.add(
            "layer-elsewhere",
            label,
            f"{what} more than 1 km from the site, such as {at(astray[0].x, astray[0].y)}",
            "give it the site's coordinates: east first, then north",
        )
    reaching = [outline for outline in outlines if outline.intersects(vicinity) and not vicinity.covers(outline)]
    if reaching:
        corner = max(get_coordinates(reaching[0]), key=lambda xy: float(Point(xy).distance(vicinity)))
        faults.add(
            "layer-elsewhere",
            label,
            f"{len(reaching)} of its features reach more than 1 km from the site, such as one {at(*corner)}",
            "correct that corner, it may have lost its decimal point in a spreadsheet; or cut the feature to the site",
        )


def check_hire(own: Iterable[str], named: Collection[str], faults: Faults) -> None:
    """Find terms of hire for machines that the site does not name."""
    for name in (name for name in own if name not in named):
        where = f"site.toml, hire, machines {name}"
        faults.add("machine-unknown", where, f'there is no machine "{name}"', did_you_mean(name, named))


def check_examples(
    ids: Iterable[tuple[str, str]], roles: Iterable[tuple[str, str]], survey: str, *, faults: Faults
) -> None:
    """Find what is left of the examples of a new folder in a site that is not said to be invented.

    Parameters
    ----------
    ids
        Ids of every row, each with its file for people.
    roles
        Who accepted ground, each with the surface for people.
    survey
        The survey of the levels.
    faults
        Where faults go.
    """
    for label, name in ids:
        if name.startswith(EXAMPLE):
            faults.add(
                "example-left",
                f"{label}, feature {name}",
                "it is an example of a new folder, which is invented",
                "put your own in its place, by the name that people on site use, or delete it; a layer left without"
                " rows says that there is none, a # before its line in site.toml that nobody looked",
            )
    for where, role in roles:
        if role.startswith(EXAMPLE):
            faults.add(
                "example-left",
                where,
                f'"{role}" accepted nothing: it is an example of a new folder, which is invented',
                "write the role that accepted this ground, the day and the mass, or leave all three empty",
            )
    if survey.startswith(EXAMPLE):
        faults.add(
            "example-left",
            "site.toml, levels, survey",
            f'"{survey}" is the example of a new folder, which is invented',
            "name your own survey, and give its levels and accuracy",
        )


def check_moves(
    moves: Iterable[MoveWanted],
    *,
    places: Collection[str] | None,
    machines: Mapping[str, Machine],
    named: Collection[str] | None,
    faults: Faults,
) -> None:
    """Find moves that name what the site does not have.

    Parameters
    ----------
    moves, machines
        The site's, as far as they could be read.
    places
        Ids of every place, also those at fault; None when the layer could not be read at all.
    named
        Every machine that the site names, also those whose figures are at fault; None when they could not be read.
    faults
        Where faults go.
    """
    seen: set[str] = set()
    for move in moves:
        where = f"site.toml, moves {move.id}"
        if move.id in seen:
            faults.add("duplicate-id", where, f'the id "{move.id}" is used twice', "rename one of the moves")
        seen.add(move.id)
        _check_stops(move, places, faults)
        _check_raised(move, where, faults)
        if named is not None and move.machine not in named:
            faults.add(
                "machine-unknown", where, f'there is no machine "{move.machine}"', did_you_mean(move.machine, named)
            )
        elif move.machine in machines and move.configuration not in machines[move.machine].configurations:
            faults.add(
                "configuration-unknown",
                where,
                f'{move.machine} has no configuration "{move.configuration}"',
                did_you_mean(move.configuration, machines[move.machine].configurations),
            )
        elif move.machine in machines and move.travel_mode == "ridden":
            why = not_ridden(machines[move.machine], move.configuration)
            if why is not None:
                mend = 'give travel_mode = "beside_rails_folded" or "any"'
                faults.add("not-ridden", where, f"{move.machine}: {why}", mend)


def _check_raised(move: MoveWanted, where: str, faults: Faults) -> None:
    """Find moves that say in part only that they travel with the platform raised."""
    if (move.regime == "elevated") != (move.platform_height_m is not None):
        said = "no platform_height_m" if move.platform_height_m is None else 'regime = "stowed"'
        other = 'regime = "elevated"' if move.platform_height_m is None else "platform_height_m"
        mend = 'give regime = "elevated" with platform_height_m, or neither'
        faults.add("raised-in-part", where, f"it has {other} and {said}", mend)
    elif move.regime == "elevated" and move.travel_mode != "ridden":
        mend = 'give travel_mode = "ridden", or lower the platform'
        faults.add("raised-in-part", where, "it travels raised, and nobody rides for certain", mend)


def _check_stops(move: MoveWanted, places: Collection[str] | None, faults: Faults) -> None:
    """Find stops of a move that the site does not have, and stops where it stands already."""
    where = f"site.toml, moves {move.id}"
    stops = (("from", move.start), *(("via", name) for name in move.via), ("to", move.goal))
    for key, name in stops:
        if places is not None and name not in places:
            faults.add("place-unknown", f"{where}, {key}", f'there is no place "{name}"', did_you_mean(name, places))
    for (_, name), (_, following) in pairwise(stops):
        if name == following:
            faults.add("move-nowhere", where, f'it goes from "{name}" to itself', "give two different places")
