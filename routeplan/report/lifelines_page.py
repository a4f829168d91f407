"""The page of lifelines: for each move what cuts it off, and how help comes to where it leaves a machine at work."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from routeplan.report.markup import escape, name
from routeplan.report.move_html import ends, issue_line, page_cautions, stamp, until
from routeplan.report.packaged import asset, policy
from routeplan.report.tables import contacts
from routeplan.report.wording import place_name
from routeplan.route.lifelines import Cuts, Lifelines, Rescue
from routeplan.route.model import Move, Plan
from routeplan.site.model import Site

#: How the page is used.
RULES = (
    "Who closes an area looks up here first which moves that cuts off.",
    "Walk the way on foot with the rescuer before the platform is raised; keep it free while it is.",
    "How far a second machine reaches and how high it lifts is in its own manual: its distance here is no promise.",
)
_LARGER = "of each move the smallest closures only: more areas closed together may cut off more"
_RULED = ("Rescuer on this shift (role, call sign)", "Walked on (day, time)", "Ground controls tried (initials)")


def write_lifelines_page(found: Lifelines, plan: Plan, site: Site, path: Path) -> None:
    """Write the page; the same values, plan and site always give the same bytes."""
    path.write_bytes(lifelines_page(found, plan, site).encode("utf-8"))


def lifelines_page(found: Lifelines, plan: Plan, site: Site) -> str:
    """Return the whole page."""
    cuts = {one.move: one for one in found.cuts}
    rescues = {one.move: one for one in found.rescues}
    script = asset("validity.js")
    moves = "".join(_move(move, cuts.get(move.id), rescues.get(move.id), site) for move in plan.moves)
    before = f"{_rules()}{contacts(site)}{_closures(found, site)}"
    return "".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
            policy((script,)),
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
            f"<title>{escape(plan.site_name)}: lifelines, revision {escape(plan.revision)}</title>\n",
            f"<style>{asset('style.css')}</style>\n</head>\n",
            f'<body class="diff">\n{_top(plan)}<main>{before}{moves}{page_cautions(plan)}</main>\n',
            f"<script>{script}</script>\n</body>\n</html>\n",
        )
    )


def _top(plan: Plan) -> str:
    return (
        f'<header class="top"{until(plan.valid_until)}><h1>{name(plan.site_name)}: what must stay open, and rescue</h1>'
        f'<p class="number">Revision {name(plan.revision)}</p><p>{stamp(plan)}</p>'
        f'<p class="issue">{issue_line(plan)}</p></header>'
    )


def _rules() -> str:
    return "<ul>" + "".join(f"<li>{escape(rule)}</li>" for rule in RULES) + "</ul>"


def _closures(found: Lifelines, site: Site) -> str:
    """Areas, alone or together, with the moves that they cut off; and of which moves that is not known."""
    cut_off: dict[tuple[str, ...], list[str]] = {}
    for one in found.cuts:
        for cut in one.smallest:
            cut_off.setdefault(cut, []).append(one.move)
    by_size = sorted(cut_off.items(), key=lambda item: len(item[0]))
    lines = [f"{_areas(cut, site)}: {name(', '.join(moves))}" for cut, moves in by_size]
    lines += [_LARGER] if lines else ["no closure of named areas is known to cut a move off"]
    unknown = [one.move for one in found.cuts if one.why]
    lines += [f"not all is known of {name(', '.join(unknown))}: see there"] if unknown else []
    listed = "".join(f"<li>{line}</li>" for line in lines)
    return f'<section class="changed"><h2>Areas that cut off moves when closed</h2><ul>{listed}</ul></section>'


def _areas(cut: Sequence[str], site: Site) -> str:
    titles = {area.id: f"{area.title} ({area.id})" for area in site.areas}
    return " and ".join(name(titles.get(area, area)) for area in cut) + (" together" if len(cut) > 1 else "")


def _move(move: Move, cuts: Cuts | None, rescue: Rescue | None, site: Site) -> str:
    """One move: what cuts it off, and where it leaves a machine at work who comes and how."""
    day = f", {name(move.on)}" if move.on else ""
    told = "not looked at, for no way is planned" if cuts is None else cuts.words()
    return (
        f'<section class="changed"><h2>Move {name(move.id)}: {ends(move, site)}{day}</h2>'
        f"<p><b>Closures:</b> {escape(told)}.</p>{_rescue(rescue, site)}</section>"
    )


def _rescue(rescue: Rescue | None, site: Site) -> str:
    if rescue is None:
        return ""
    lines = "".join(f"<li>{escape(text)}</li>" for text in rescue.words())
    ruled = "".join(f"<p><span>{words}</span></p>" for words in _RULED)
    return (
        f"<p><b>Rescue at {name(place_name(rescue.workface, site))}</b></p><ul>{lines}</ul>"
        f'<div class="ruled" aria-hidden="true">{ruled}</div>'
    )
