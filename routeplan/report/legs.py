"""The legs of a move as a table: from where to where, how far, driven how, and what decides each."""

from __future__ import annotations

from collections.abc import Sequence

from routeplan.report.driving import short_text
from routeplan.report.margins import biting, spare_text
from routeplan.report.markup import name
from routeplan.report.stops import Stop
from routeplan.report.tables import table
from routeplan.report.wording import VERDICTS, place_name, up
from routeplan.route.model import Leg, Move
from routeplan.site.model import Site

#: Of what a leg passes, so many are named; the site graph lists them all.
_NAMED = 3
#: Ends of a leg may lie this far from the row of the way that stands there, metres.
_ROW_M = 0.01


def legs_of(move: Move, stops: Sequence[Stop], site: Site) -> str:
    """Return the table of a move's legs; nothing where the whole move is one."""
    if len(move.legs) < 2:
        return ""
    columns = ("Leg", "From", "To", "Length", "Driven", "What decides")
    rows = [
        tuple(f"<b>{text}</b>" if column == "Leg" else name(text) for column, text in zip(columns, words, strict=True))
        for words in leg_words(move, stops, site)
    ]
    return "<h3>Legs</h3>" + table(
        "Each part of the way by itself; its verdict, and what is tightest of the move there",
        columns,
        rows,
        style="legs",
    )


def leg_words(move: Move, stops: Sequence[Stop], site: Site) -> tuple[tuple[str, ...], ...]:
    """Return the rows of the table of legs in plain words."""
    return tuple(
        (
            str(number),
            _node_name(leg.start, leg.chainage_from_m, stops, site),
            _node_name(leg.goal, leg.chainage_to_m, stops, site),
            f"{up(leg.length_m, 1)} m",
            _driven(leg, move, steered=len({pose.steer for pose in move.poses}) > 1),
            _decides(leg, move),
        )
        for number, leg in enumerate(move.legs, 1)
    )


def _node_name(node: str, chainage_m: float, stops: Sequence[Stop], site: Site) -> str:
    """Return an end of a leg as the sheet calls it: a place by its name, a hold point by the number of its stop."""
    if node.startswith("hold point"):
        here = (stop for stop in stops if stop.chainage_m - _ROW_M <= chainage_m <= stop.until_m + _ROW_M)
        return next((f"stop {stop.number}" for stop in here), node)
    return place_name(node, site)


def _driven(leg: Leg, move: Move, *, steered: bool) -> str:
    """Return how a leg is driven, as its rows say; a row on its edge belongs to the leg that it leads into."""
    rows = [pose for pose in move.poses if leg.chainage_from_m + _ROW_M < pose.chainage_m < leg.chainage_to_m - _ROW_M]
    return short_text(rows, steered=steered) if rows else leg.travel_mode


def _decides(leg: Leg, move: Move) -> str:
    words = VERDICTS[leg.verdict].words
    tightest = biting(move, leg.chainage_from_m, leg.chainage_to_m)
    if tightest is not None:
        return f"{words}: {tightest.kind}, {spare_text(tightest)}"
    more = f" and {len(leg.hazards) - _NAMED} more" if len(leg.hazards) > _NAMED else ""
    return f"{words}, past {', '.join(leg.hazards[:_NAMED])}{more}" if leg.hazards else words
