"""A plan for other programs: a GeoPackage in site coordinates and, where it can be said where the site is, GeoJSON."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import math
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pyproj
import pyproj.network
import shapely
from pyproj.transformer import TransformerGroup
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from routeplan.errors import RouteplanError
from routeplan.report.driving import facing_text, orientation_text
from routeplan.route.model import Move, Plan, Pose

Row = dict[str, Any]

#: A site grid that nobody has tied to the globe: metres east and north of its own origin.
LOCAL_CRS_WKT = (
    'ENGCRS["local site grid",EDATUM["local site datum"],CS[Cartesian,2],'
    'AXIS["easting (E)",east,ORDER[1]],AXIS["northing (N)",north,ORDER[2]],LENGTHUNIT["metre",1]]'
)
LOCAL_REASON = "local grid: no known transformation to WGS84"
#: RFC 7946, section 11.2: no more digits than make sense; seven decimals of a degree are a centimetre.
DEGREE_DECIMALS = 7


class NoTransformation(RouteplanError):
    """The site cannot be placed on the globe; the message is the reason that ``not_written`` gives."""


def _line(poses: tuple[Pose, ...]) -> LineString | None:
    """Return the way of the origin; ``None`` when there is nothing to drive."""
    points = [(pose.x, pose.y) for pose in poses]
    return LineString(points if len(points) > 1 else points * 2) if points else None


def _at(move: Move, chainage_m: float) -> Point | None:
    """Return the origin at a chainage, between poses linearly; ``None`` when the move has no poses."""
    if not move.poses or math.isnan(chainage_m):
        return None
    for before, after in zip(move.poses, move.poses[1:], strict=False):
        if before.chainage_m <= chainage_m <= after.chainage_m:
            span_m = after.chainage_m - before.chainage_m
            share = (chainage_m - before.chainage_m) / span_m if span_m else 0.0
            return Point(before.x + share * (after.x - before.x), before.y + share * (after.y - before.y))
    last = move.poses[-1]
    return Point(last.x, last.y)


def _place(place: tuple[float, float]) -> Point | None:
    return None if any(map(math.isnan, place)) else Point(place)


def _route_rows(plan: Plan) -> Iterator[Row]:
    """One row a move, drivable or not."""
    for move in plan.moves:
        yield {
            "move": move.id,
            "purpose": move.purpose,
            "machine": move.machine,
            "configuration": move.configuration,
            "from": move.start,
            "to": move.goal,
            "on": move.on,
            "verdict": move.verdict,
            "reason": move.reason,
            "length_m": move.length_m,
            "bound": move.bound,
            "reversals": move.reversals,
            "facing": facing_text(move),
            "orientation": orientation_text(move),
            "platform_height_m": math.nan if move.platform_height_m is None else move.platform_height_m,
            "revision": plan.revision,
            "issued": plan.issued,
            "valid_until": plan.valid_until,
            "status": plan.status,
            "invented": plan.invented,
            "geometry": _line(move.poses),
        }


def _stop_rows(plan: Plan) -> Iterator[Row]:
    """One row a hold or control, in driving order."""
    for move in plan.moves:
        stops: list[tuple[float, str, str, Point | None]] = [
            *((hold.chainage_m, "hold", hold.text, _place(hold.place)) for hold in move.holds),
            *((one.chainage_m, one.kind, one.text, _at(move, one.chainage_m)) for one in move.controls),
        ]
        for chainage_m, kind, text, geometry in sorted(stops, key=lambda stop: stop[:3]):
            yield {"move": move.id, "kind": kind, "chainage_m": chainage_m, "text": text, "geometry": geometry}


def _check_rows(plan: Plan) -> Iterator[Row]:
    """One row a check, at the place that governs it."""
    for move in plan.moves:
        for check in move.checks:
            yield {
                "move": move.id,
                "kind": check.kind,
                "verdict": check.verdict,
                "value": check.value,
                "limit": check.limit,
                "margin": check.margin,
                "unit": check.unit,
                "sigma": check.sigma,
                "k": check.k,
                "chainage_m": check.chainage_m,
                "source": check.source,
                "assumed": "; ".join(check.assumed),
                "geometry": _place(check.place),
            }


def _measurement_rows(plan: Plan) -> Iterator[Row]:
    """One row a thing to measure or say that would settle an open check; spot levels at the place to read."""
    for move in plan.moves:
        for check in move.checks:
            for one in check.settled_by:
                yield {
                    "move": move.id,
                    "check": check.kind,
                    "what": one.what,
                    "name": one.name,
                    "level_m": one.level_m,
                    "sigma_m": one.sigma_m,
                    "fewest": one.fewest,
                    "text": one.text,
                    "geometry": _place(one.place),
                }


def _zone_rows(plan: Plan) -> Iterator[Row]:
    """Two rows a zone: the ground under the wheels, and where the basket then is."""
    for move in plan.moves:
        for zone in move.zones:
            for part, ring in (("ground", zone.ground), ("basket", zone.basket)):
                yield {
                    "move": move.id,
                    "kind": zone.kind,
                    "part": part,
                    "chainage_from_m": zone.chainage_from_m,
                    "chainage_to_m": zone.chainage_to_m,
                    "value": zone.value,
                    "limit": zone.limit,
                    "unit": zone.unit,
                    "text": zone.text,
                    "geometry": Polygon(ring) if len(ring) > 2 else None,
                }


def _leg_rows(plan: Plan) -> Iterator[Row]:
    """One row a leg: the edges of the site graph that moves drive."""
    for move in plan.moves:
        for leg in move.legs:
            within = tuple(pose for pose in move.poses if leg.chainage_from_m <= pose.chainage_m <= leg.chainage_to_m)
            yield {
                "move": move.id,
                "machine": move.machine,
                "from": leg.start,
                "to": leg.goal,
                "travel_mode": leg.travel_mode,
                "verdict": leg.verdict,
                "chainage_from_m": leg.chainage_from_m,
                "length_m": leg.length_m,
                "cost_m": leg.cost_m,
                "areas": "; ".join(leg.areas),
                "hazards": "; ".join(leg.hazards),
                "geometry": _line(within),
            }


#: Layer, geometry type, its rows, and the columns it has even when a plan gives it none.
LAYERS: tuple[tuple[str, str, Callable[[Plan], Iterator[Row]], tuple[str, ...]], ...] = (
    ("routes", "LineString", _route_rows, ("move", "verdict", "reason")),
    ("legs", "LineString", _leg_rows, ("move", "from", "to", "verdict")),
    ("stops", "Point", _stop_rows, ("move", "kind", "text")),
    ("checks", "Point", _check_rows, ("move", "kind", "verdict")),
    ("measurements", "Point", _measurement_rows, ("move", "check", "what", "text")),
    ("zones", "Polygon", _zone_rows, ("move", "kind", "part")),
)


def _issued_utc(plan: Plan) -> str:
    """Return the time of issue as GDAL wants it; a time without zone is taken as UTC."""
    moment = dt.datetime.fromisoformat(plan.issued)
    moment = moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment.astimezone(dt.UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")


@contextlib.contextmanager
def _time_stands_still(moment: str) -> Iterator[None]:
    """Make GDAL write ``moment`` instead of the time of writing, so that the same plan gives the same bytes."""
    option = "OGR_CURRENT_DATE"
    before = pyogrio.get_gdal_config_option(option)
    pyogrio.set_gdal_config_options({option: moment})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({option: before})


def _frame(plan: Plan, rows: Iterator[Row], columns: tuple[str, ...]) -> gpd.GeoDataFrame:
    """Return a layer as a frame in the site's CRS; text columns of an empty layer stay text."""
    found = list(rows)
    crs = LOCAL_CRS_WKT if plan.crs == "local" else plan.crs
    if found:
        data = pd.DataFrame(found)
    else:
        data = pd.DataFrame({column: pd.Series(dtype="str") for column in columns} | {"geometry": []})
    return gpd.GeoDataFrame(data, geometry="geometry", crs=crs)


def write_geopackage(plan: Plan, path: Path) -> None:
    """Write the layers of a plan in site coordinates.

    Parameters
    ----------
    plan
        The plan, as ``rounding.as_written`` rounds it.
    path
        A file that does not exist yet. Its timestamps are the plan's time of issue.
    """
    with _time_stands_still(_issued_utc(plan)):
        for layer, geometry_type, rows, columns in LAYERS:
            frame = _frame(plan, rows(plan), columns)
            pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", geometry_type=geometry_type)


def to_wgs84(crs: str) -> tuple[pyproj.Transformer, float]:
    """Return the best transformation of site coordinates to WGS84 longitude and latitude, and its accuracy in metres.

    Raises
    ------
    NoTransformation
        The grid is local, the best transformation needs a file that is not installed, or nobody states how good it is.
    """
    if crs == "local":
        raise NoTransformation(LOCAL_REASON)
    pyproj.network.set_network_enabled(False)  # type: ignore[attr-defined]
    try:
        with warnings.catch_warnings():
            # A missing grid is a warning there and a refusal here.
            warnings.simplefilter("ignore", UserWarning)
            group = TransformerGroup(crs, "EPSG:4326", always_xy=True)
    except pyproj.exceptions.ProjError as error:
        raise NoTransformation(f"{crs}: no known transformation to WGS84 ({error})") from error
    if not group.best_available:
        wanted = group.unavailable_operations[0].name
        raise NoTransformation(f"{crs}: the best transformation to WGS84 ({wanted}) needs a grid that is not installed")
    best = group.transformers[0]
    if best.accuracy < 0:
        raise NoTransformation(f"{crs}: nobody states the accuracy of the transformation to WGS84 ({best.description})")
    return best, float(best.accuracy)


def _projected(geometry: BaseGeometry | None, transformer: pyproj.Transformer) -> dict[str, Any] | None:
    """Return a GeoJSON geometry in degrees, outer rings anticlockwise (RFC 7946, section 3.1.6)."""
    if geometry is None:
        return None

    def degrees(points: Any) -> Any:
        east, north = transformer.transform(points[:, 0], points[:, 1], errcheck=True)
        return [[round(x, DEGREE_DECIMALS), round(y, DEGREE_DECIMALS)] for x, y in zip(east, north, strict=True)]

    turned = orient(geometry) if isinstance(geometry, Polygon) else geometry
    document: dict[str, Any] = shapely.geometry.mapping(shapely.transform(turned, degrees))
    return document


def _unknown_is_null(row: Row) -> Row:
    return {key: None if isinstance(value, float) and not math.isfinite(value) else value for key, value in row.items()}


def write_geojson(plan: Plan, path: Path) -> None:
    """Write the layers of a plan as one RFC 7946 feature collection.

    Parameters
    ----------
    plan
        The plan, as ``rounding.as_written`` rounds it.
    path
        The file to write.

    Raises
    ------
    NoTransformation
        See ``to_wgs84``; nothing is written.
    """
    transformer, accuracy_m = to_wgs84(plan.crs)
    features = []
    for layer, _, rows, _ in LAYERS:
        for row in rows(plan):
            geometry = _projected(row.pop("geometry"), transformer)
            properties = {"layer": layer, **_unknown_is_null(row)}
            features.append({"type": "Feature", "geometry": geometry, "properties": properties})
    document = {
        "type": "FeatureCollection",
        # Section 7.1 forbids a collection to have "properties"; members of its own it may have.
        "plan": {
            "site": plan.site_name,
            "revision": plan.revision,
            "issued": plan.issued,
            "invented": plan.invented,
            "site_crs": plan.crs,
            "transformation": transformer.description,
            "transformation_accuracy_m": accuracy_m,
            "cautions": list(plan.cautions),
        },
        "features": features,
    }
    path.write_text(json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8", newline="\n")
