"""The files that every plan is handed out with."""

from __future__ import annotations

from routeplan.planfile.output_set import OutputSet
from routeplan.report.exports import NoTransformation, write_geojson, write_geopackage
from routeplan.report.page import write_map
from routeplan.report.site_graph import write_site_graph
from routeplan.route.model import Plan
from routeplan.site.model import Site


def write_outputs(plan: Plan, site: Site, out: OutputSet) -> None:
    """Write map, GeoPackage, GeoJSON and site graph of a plan; what cannot be written is said to be left out."""
    write_geopackage(plan, out.path("routes.gpkg"))
    try:
        write_geojson(plan, out.path("routes.geojson"))
    except NoTransformation as error:
        out.leave_out("routes.geojson", str(error))
    write_site_graph(plan, site, out.path("site_graph.graphml"))
    write_map(plan, site, out.path("map.html"))
