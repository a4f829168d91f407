"""The briefing pack as one page: the board sheet, a sheet for each operator, the supervisor's pages."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from functools import cache

from routeplan.report.briefing.board import board_sheet
from routeplan.report.briefing.operator import operator_sheet
from routeplan.report.briefing.sheet import Sheet
from routeplan.report.briefing.supervisor import supervisor_sheets
from routeplan.report.drawing import draw_site
from routeplan.report.markup import escape, name
from routeplan.report.packaged import asset, packaged_bytes, policy
from routeplan.report.route_drawing import draw_move
from routeplan.report.symbols import definitions
from routeplan.report.tongue import Tongue
from routeplan.route.lifelines import Reached
from routeplan.route.model import Plan
from routeplan.site.model import Site

#: Face by weight. Paper and screen are set in the same, so that a sheet takes as much room on each.
_FACES = {400: "DejaVuSansCondensed.woff2", 700: "DejaVuSansCondensed-Bold.woff2"}


def briefing_sheets(
    plan: Plan, site: Site, reached: Iterable[Reached] = (), tongues: Sequence[Tongue] = ()
) -> tuple[Sheet, ...]:
    """Return every sheet: the board's, one for each operator, the supervisor's.

    Parameters
    ----------
    reached
        How a rescuer comes on foot to where a move leaves a machine at work.
    tongues
        Languages that each operator's sheet is told in besides English, which comes first.
    """
    base, feet = draw_site(site), {one.move: one for one in reached}
    drawings = [draw_move(move, plan=plan, site=site) for move in plan.moves]
    operators = (
        operator_sheet(
            f"operator-{index}{f'-{tongue.code}' if tongue else ''}", move, drawing, base, plan=plan, site=site,
            reached=feet.get(move.id), tongue=tongue,
        )  # fmt: skip
        for index, (move, drawing) in enumerate(zip(plan.moves, drawings, strict=True), 1)
        for tongue in (None, *tongues)
    )
    return board_sheet(plan, site, base, drawings), *operators, *supervisor_sheets(plan, site, drawings)


def briefing_page(plan: Plan, sheets: Sequence[Sheet]) -> str:
    """Return the whole page; the same plan and sheets always give the same text."""
    shown = "".join(f'<div id="{one.ident}">{one.html}</div>' for one in sheets)
    return document(plan, f"{_index(plan)}<main>{shown}</main>\n")


def document(plan: Plan, body: str) -> str:
    """Return a page with all that sheets need to be shown."""
    script = asset("validity.js")
    return "".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            policy((script,), fonts=True),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(plan.site_name)}: briefing, revision {escape(plan.revision)}</title>\n",
            f"<style>{_faces()}</style>\n<style>{asset('style.css')}</style>\n<style>{asset('briefing.css')}</style>\n",
            f'</head>\n<body class="briefing">\n{definitions()}{body}',
            f"<script>{script}</script>\n</body>\n</html>\n",
        )
    )


@cache
def _faces() -> str:
    faces = []
    for weight, file_name in _FACES.items():
        data = base64.b64encode(packaged_bytes("routeplan.report", f"fonts/{file_name}")).decode()
        faces.append(
            f'@font-face{{font-family:"Sheet";font-weight:{weight};src:url(data:font/woff2;base64,{data})}}'
        )
    return "".join(faces)


def _index(plan: Plan) -> str:
    """Links to the operators' sheets in English, each of which is followed by those in other languages."""
    rows = "".join(
        f'<li><a href="#operator-{number}"><b>{name(move.id)}</b> {name(move.machine)}</a></li>'
        for number, move in enumerate(plan.moves, 1)
    )
    return f'<nav aria-label="Operator\'s sheets"><h1>Briefing: {name(plan.site_name)}</h1><ol>{rows}</ol></nav>'
