"""Pieces of a page: a table, a list of facts, a symbol, and the button that shows a place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from routeplan.report.markup import name
from routeplan.report.wording import place_text
from routeplan.site.model import Site


def table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]], *, style: str) -> str:
    """Return a table whose cells are HTML already; each cell carries its column's name for narrow screens."""
    head = "".join(f'<th scope="col">{column}</th>' for column in columns)
    body = "".join(
        "<tr>"
        + "".join(
            f'<td data-label="{column}"{"" if cell else " class=none"}><div>{cell}</div></td>'
            for column, cell in zip(columns, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return (
        f'<table class="{style}"><caption>{caption}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


def facts(style: str, rows: Iterable[tuple[str, str]]) -> str:
    """Return terms and their texts, HTML already, as a list."""
    listed = "".join(
        f'<div class="of-{term.lower().replace(" ", "-")}"><dt>{term}</dt><dd>{text}</dd></div>' for term, text in rows
    )
    return f'<dl class="{style}">{listed}</dl>'


def contacts(site: Site, *, nobody: str = "nobody is named in the site folder") -> str:
    """Return whom to call, by part and call sign; ``nobody`` where the site folder names none."""
    listed = "; ".join(f"{name(one.role)}: <b>{name(one.call_sign)}</b>" for one in site.contacts)
    return f'<p class="contacts"><b>Call</b> {listed or f"<b>{nobody}</b>"}</p>'


def symbol(verdict_symbol: str) -> str:
    """Return the small drawn symbol of a verdict; words always stand beside it."""
    return (
        f'<svg class="sym" viewBox="-18 -18 36 36" width="36" height="36" aria-hidden="true" focusable="false">'
        f'<use href="#v-{verdict_symbol}"/></svg>'
    )


def go(place: tuple[float, float]) -> str:
    """Return a place as text, and a button that moves the map there when scripts run; no place, no words."""
    if not all(math.isfinite(value) for value in place):
        return ""
    text = place_text(place)
    return (
        f' <span class="place">{text}</span>'
        f'<button type="button" class="go" data-x="{place[0]:.2f}" data-y="{place[1]:.2f}" data-place="{text}" '
        f'aria-label="Show {text} on the map">Show on map</button>'
    )
