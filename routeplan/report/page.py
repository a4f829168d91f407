"""The map page: one HTML file that needs no network, works with scripts off, and prints a sheet for every move."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import folium

from routeplan.errors import NotWritten
from routeplan.report.drawing import defect_details, draw_site
from routeplan.report.legend import legend
from routeplan.report.map_data import map_data
from routeplan.report.markup import data_block, escape, name
from routeplan.report.move_html import ends, issue_line, move_article, page_cautions, stamp, until
from routeplan.report.packaged import asset, packaged, policy
from routeplan.report.plan_svg import fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing, draw_move
from routeplan.report.shapes import Layer, bounds_of
from routeplan.report.symbols import definitions
from routeplan.report.tables import symbol, table
from routeplan.report.wording import shown
from routeplan.route.model import Plan
from routeplan.site.model import Site

#: Height of the plan of everything at most, units.
_WHOLE_PLAN_UNITS = 560


class _SiteMap(folium.Map):
    """A map in site metres that asks for no outside files; the lists of the class it comes from stay as they are."""

    default_js: list[tuple[str, str]] = []
    default_css: list[tuple[str, str]] = []


def write_map(plan: Plan, site: Site, path: Path) -> None:
    """Write the map page of a plan.

    Parameters
    ----------
    plan, site
        The plan, and the site it was made for.
    path
        The file to write; one that is there is replaced.

    Raises
    ------
    NotWritten
        When the file cannot be written.
    """
    page = map_page(plan, site)
    try:
        path.write_bytes(page.encode("utf-8"))
    except OSError as error:
        raise NotWritten(f"{path}: the map cannot be written: {error.strerror or error}") from error


def map_page(plan: Plan, site: Site) -> str:
    """Return the whole page; the same plan and site always give the same text."""
    base = draw_site(site)
    drawings = [draw_move(move, plan=plan, site=site) for move in plan.moves]
    leaflet_css, styles = _leaflet("leaflet.css"), asset("style.css")
    map_html, map_script = _map_parts()
    ours = (asset("map.js"), asset("page.js"), asset("side.js"), asset("walk.js"), asset("validity.js"))
    scripts = ("document.documentElement.className = 'js';", _leaflet("leaflet.js"), map_script, *ours)
    body = _body(plan, site, base, drawings, map_html)
    words = [shown(move).words for move in plan.moves]
    data = data_block(map_data(base, drawings, words, plan=plan, extent=site.boundary.bounds))
    return "".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            policy(scripts),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(plan.site_name)}: access routes, revision {escape(plan.revision)}</title>\n",
            f"<style>{leaflet_css}</style>\n<style>{styles}</style>\n"
            f'<style id="paper-a3" media="not all">{asset("paper_a3.css")}</style>\n'
            f"<script>{scripts[0]}</script>\n</head>\n<body>\n",
            definitions(),
            body,
            f'<script type="application/json" id="drawing">{data}</script>\n',
            *(f"<script>{script}</script>\n" for script in scripts[1:]),
            "</body>\n</html>\n",
        )
    )


def _leaflet(file_name: str) -> str:
    """Return a Leaflet asset without pictures and source maps, so that nothing in it asks for another file."""
    text = packaged("xstatic.pkg.leaflet", f"data/{file_name}")
    if file_name.endswith(".css"):
        return re.sub(r"url\([^)]*\)", "none", text)
    return re.sub(r"//# sourceMappingURL=\S*", "", text)


def _map_parts() -> tuple[str, str]:
    """Return the map's element and the script that makes it, without a header that loads files and stops zooming."""
    site_map = _SiteMap(
        location=(0.0, 0.0),
        tiles=None,
        crs="Simple",
        zoom_start=0,
        zoom_control=True,
        min_zoom=-4,
        max_zoom=7,
        zoom_snap=0.25,
        zoom_delta=0.5,
        attribution_control=False,
    )
    site_map._id = "site"
    figure: Any = site_map.get_root()
    figure.render()
    return figure.html.render(), figure.script.render()


def _body(plan: Plan, site: Site, base: Sequence[Layer], drawings: Sequence[MoveDrawing], map_html: str) -> str:
    articles = "".join(
        move_article(index, move, drawing, base, plan=plan, site=site)
        for index, (move, drawing) in enumerate(zip(plan.moves, drawings, strict=True), 1)
    )
    return "".join(
        (
            f'<header class="top"{until(plan.valid_until)}><h1>{name(plan.site_name)}</h1><p>{stamp(plan)}</p>',
            f'<p class="issue">{issue_line(plan)}</p></header>\n',
            "<main>",
            _picker(plan, site),
            _map_section(plan, base, drawings, map_html),
            f'<div class="moves">{articles}</div>',
            '<div class="rest">',
            legend(base, drawings),
            _hazards(site),
            _not_checked(plan),
            page_cautions(plan),
            "</div></main>\n",
        )
    )


def _picker(plan: Plan, site: Site) -> str:
    rows = "".join(
        f'<li><a href="#move-{index}">{symbol(shown(move).symbol)}'
        f'<span><b>{name(move.id)}</b> <span class="words">{shown(move).words}, {name(move.machine)}</span>'
        f"<span>{ends(move, site)}</span></span></a></li>"
        for index, move in enumerate(plan.moves, 1)
    )
    return (
        f'<nav aria-label="Moves"><details class="picker" open><summary>Moves ({len(plan.moves)})'
        f'<span id="picked" aria-live="polite"></span></summary><ol>{rows}</ol>'
        '<p class="paper"><button type="button" data-paper="a4">Print on A4</button>'
        '<button type="button" data-paper="a3">Print on A3</button></p></details></nav>'
    )


def _map_section(plan: Plan, base: Sequence[Layer], drawings: Sequence[MoveDrawing], map_html: str) -> str:
    ways = tuple(layer for drawing in drawings for layer in drawing.layers if layer.id in ("way", "refused"))
    bounds = bounds_of((*base, *ways)) or (0.0, 0.0, 1.0, 1.0)
    told = "; ".join(f"{move.id}, {shown(move).words.lower()}" for move in plan.moves)
    picture = plan_svg(
        (*base, *ways),
        fitted(bounds, height=_WHOLE_PLAN_UNITS, snug=True),
        ident="plan-all",
        title=f"Plan of {plan.site_name}",
        description=f"The site and every way. Moves: {told}.",
    )
    return (
        f'<section class="map" aria-label="Map"><figure class="static" tabindex="0">{picture}</figure>'
        '<p class="visually-hidden" id="map-words">Map of the site. The tables of each move say what is drawn. '
        f"{escape(told)}.</p>"
        f'<div class="live">{map_html}</div><div class="under"></div></section>'
    )


def _hazards(site: Site) -> str:
    if not site.defects:
        return ""
    rows = [(name(item.id), *(escape(text) for _, text in defect_details(item))) for item in site.defects]
    columns = ("Name", "Kind", "Depth", "Height", "Width", "State", "Place")
    return (
        "<details><summary>Ground hazards</summary>"
        + table("Every ground hazard of the site", columns, rows, style="hazards")
        + "</details>"
    )


def _not_checked(plan: Plan) -> str:
    rows = "".join(f"<li>{name(text)}</li>" for text in plan.not_checked) or "<li>nothing listed</li>"
    return f'<section class="not-checked"><h2>Not checked here</h2><ul>{rows}</ul></section>'
