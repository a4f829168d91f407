"""The operator's sheet: one move on one side of A4, for who drives and who walks ahead."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from routeplan.machine.model import Machine
from routeplan.report.briefing.sheet import Sheet, earliest, in_tongue, sheet
from routeplan.report.briefing.signs import facing_signs, signs, signs_of
from routeplan.report.driving import (
    after_text,
    before_text,
    facing_text,
    modes_text,
    orientation_text,
    speed_text,
    steering_text,
)
from routeplan.report.legend import key
from routeplan.report.margins import governing
from routeplan.report.markup import escape, name
from routeplan.report.move_html import ends, verdict_line
from routeplan.report.nearby import named_near
from routeplan.report.plan_svg import UNIT_M, Window, fitted, plan_svg
from routeplan.report.route_drawing import MoveDrawing
from routeplan.report.shapes import Layer
from routeplan.report.stops import Stop
from routeplan.report.tables import contacts, facts, table
from routeplan.report.tongue import Tongue
from routeplan.report.wording import VERDICTS, down, driven, length_text, place_name, place_text, up
from routeplan.route.lifelines import Reached
from routeplan.route.model import Move, Plan
from routeplan.site.model import Site

#: When the sheet is worth nothing.
VOID_IF = (
    "a higher revision hangs on the board, or the last day is over",
    "today's route inspection is not signed, or one of its readings is beyond its number",
    "ground, overheads, fences, machine or weather are not as on this sheet",
    "the machine leaves the line, or a stop on this sheet is not manned",
)
#: What is written in by hand.
RULED = (
    "Driver", "Traffic marshal", "Rescuer, call sign or channel", "Briefed in (language)", "Explained back (initials)",
    "Route walked by, day, time",
)  # fmt: skip
RESCUE = (
    "The rescuer has the key to the ground controls, has lowered this machine from there today, and is in sight or on "
    "the radio. Platform stuck or nobody answers: stop, call, lower from the ground. Nobody climbs after it."
)
NOBODY = "nobody is named in the site folder: write the rescuer in before the machine moves"
SPARE = "To spare: what is left beyond the gap that must be kept; bouncing and straying are taken off already."
#: On the sheet of a move that may not be driven.
ASK_WHOM = (
    "The access coordinator decides what happens instead. The supervisor's pages say what is in the way, and which "
    "measurement would settle what is open."
)
#: Signs to a row, and what a row beyond the second takes, millimetres.
_SIGNS, _SIGN_MM = 5, 12.0
#: A plan is at least and at most this high, units.
_LEAST_UNITS, _MOST_UNITS = 120, 460


class _Set(NamedTuple):
    """How a sheet is set: what plan, facts and stops may take of the page, and a line of them, mm; characters to one.

    Lines are a little more than what they take on paper, and characters a little fewer than what fits.
    """

    room_mm: float
    line_mm: float
    fact_chars: int
    stop_chars: int


#: In English; closer, where that leaves little to the plan; and in other languages, with the words that nobody checked.
_ENGLISH, _CLOSE, _OTHER = _Set(109.0, 4.3, 100, 88), _Set(102.0, 3.55, 116, 104), _Set(93.0, 3.55, 108, 104)
#: A plan lower than this is worth closer lines, units.
_LITTLE_UNITS = 240


def operator_sheet(
    ident: str, move: Move, drawing: MoveDrawing, base: Sequence[Layer], *, plan: Plan, site: Site,
    reached: Reached | None = None, tongue: Tongue | None = None,
) -> Sheet:
    """Return the sheet of one move; of a move that may not be driven it says so and shows what is in its way.

    Parameters
    ----------
    ident
        Unique on the page; makes its id and those of its picture.
    drawing, base
        What is drawn of the move, and of the site under it.
    reached
        How a rescuer comes on foot to where the move leaves the machine at work, if it does.
    tongue
        The language that it is told in; English without.
    """
    machine = plan.machines[move.machine]
    how = [*_how(move, plan, site)] if driven(move) else []
    day = f", {escape(move.on)}" if move.on else ""
    units = _units(move, drawing.stops, how, _ENGLISH if tongue is None else _OTHER, tongue)
    close = tongue is None and units < _LITTLE_UNITS
    if close:
        units = _units(move, drawing.stops, how, _CLOSE, None)
    window = fitted(drawing.bounds or site.boundary.bounds, height=units)
    body = "".join(
        (
            f"<h2>{ends(move, site)}</h2>",
            f'<p class="of-machine"><b>{name(move.machine)}</b> {name(machine.title)}{day}</p>',
            verdict_line(move),
            signs(move) if how else _barred(move),
            _plan(ident, move, drawing, base, window),
            f'<div class="{"close" if close else "roomy"}">{_facts(how, move, machine)}'
            f"{_stops(move, drawing.stops)}</div>{_void()}{_rescue(reached, site)}" if how else _ask(),
            contacts(site, nobody=NOBODY),
            _ruled() if how else "",
        )
    )  # fmt: skip
    of = f"Move <b>{name(move.id)}</b>, {name(move.machine)}"
    last = earliest(plan.valid_until, move.valid_until)
    told = sheet("operator", ident, "Operator's sheet", of, body, plan, last_day=last, barred=not how)
    return told if tongue is None else in_tongue(told, tongue)


def _how(move: Move, plan: Plan, site: Site) -> Iterator[tuple[str, str]]:
    """How the machine is driven along the move, and left."""
    machine = plan.machines[move.machine]
    sloping = any(one.orientation != "level" for one in move.stands)
    for term, text in (
        ("Driven", f"{modes_text(move.poses)}; {length_text(move)}"),
        ("Height", _height(move, machine, site)),
        ("Facing", facing_text(move)),
        ("On slopes", orientation_text(move) if sloping else ""),
        ("Steering", steering_text(move, machine)),
        ("Speed", speed_text(move.poses) or _one_speed(move)),
        ("Before", before_text(move, plan)),
        ("After", after_text(move, plan)),
    ):
        if text:
            yield term, text


def _height(move: Move, machine: Machine, site: Site) -> str:
    """How high the machine is as it travels lowered, and the head of whoever rides; rounded up."""
    if move.platform_height_m is not None:
        return ""
    shape = machine.configurations[move.configuration]
    high = f"machine {up(max(box.top_m for box in shape.boxes), 2)} m"
    head_m = shape.basket.floor_height_m + site.thresholds.head_height_m
    ridden = any(pose.travel_mode == "ridden" for pose in move.poses)
    return f"{high}, head of who rides {up(head_m, 2)} m" if ridden else high


def _facts(how: Sequence[tuple[str, str]], move: Move, machine: Machine) -> str:
    drawn = facing_signs(move, machine)
    return facts(
        "facts how", [(term, f"{escape(text)}{drawn if term == 'Facing' else ''}") for term, text in how]
    ) + f'<p class="spare">{escape(SPARE)}</p>'


def _one_speed(move: Move) -> str:
    fastest = max((pose.v_max_mps for pose in move.poses), default=math.nan)
    return f"no faster than {math.floor(fastest * 100.0 + 1e-6) / 100.0:.2f} m/s" if math.isfinite(fastest) else ""


def _barred(move: Move) -> str:
    """What is said in place of signs where the move may not be driven."""
    why = f" {name(move.reason)}" if move.reason else ""
    return f'<p class="barred"><strong>Do not drive this move.</strong>{why}</p>'


def _ask() -> str:
    return f'<p class="ask">{escape(ASK_WHOM)}</p>'


def _units(
    move: Move, stops: Sequence[Stop], how: Sequence[tuple[str, str]], put: _Set, tongue: Tongue | None
) -> int:
    """How high the plan may be for what stands below it to stay on the page, units."""

    def lines(shown: Iterable[str], chars: int) -> int:
        told = shown if tongue is None else [tongue.say(text) or text for text in shown]
        return sum(math.ceil(len(text) / chars) for text in told)

    below = lines((text for _, text in how), put.fact_chars)
    below += lines((line for stop in stops for line in _told(stop)), put.stop_chars)
    rows = math.ceil(len([*signs_of(move)]) / _SIGNS) if how else 0
    left_mm = put.room_mm - put.line_mm * below - _SIGN_MM * max(0, rows - 2)
    return max(_LEAST_UNITS, min(_MOST_UNITS, math.floor(left_mm / (UNIT_M * 1000.0))))


def _plan(ident: str, move: Move, drawing: MoveDrawing, base: Sequence[Layer], window: Window) -> str:
    """The plan to scale; of a move that may not be driven it says so across."""
    check = governing(move)
    tight = f" Tightest: {drawing.decides}." if check is not None else ""
    layers = drawing.layers if driven(move) else [_unlabelled(layer) for layer in drawing.layers]
    picture = plan_svg(
        (*named_near(base, drawing), *layers), window, ident=f"{ident}-plan", title=f"Plan of move {move.id}",
        description=f"{VERDICTS[move.verdict].words}. {length_text(move)}.{tight} The stops below tell it in words.",
        across="" if driven(move) else "DO NOT DRIVE",
    )  # fmt: skip
    return f'<figure class="static" tabindex="0">{picture}</figure>{key((*base, *drawing.layers), window)}'


def _unlabelled(layer: Layer) -> Layer:
    """A layer of a move that nobody may drive, without figures that could be read as room."""
    return replace(layer, shapes=tuple(replace(one, label="") if one.style != "end" else one for one in layer.shapes))


def _told(stop: Stop) -> list[str]:
    """What a driver does at a stop; why a machine is turned there is for the supervisor, whose pages tell it."""
    return [text.partition(" The other way round ")[0] for text in stop.lines]


def _stops(move: Move, stops: Sequence[Stop]) -> str:
    """The start, and then what to stop or look out for."""
    back = next((pose.gear < 0 for pose in move.poses if pose.gear), False)
    start = "Start backwards, with a traffic marshal in sight." if back else "Start forwards."
    rows = [("<b>A</b>", "<b>Start</b>", "0 m", start)] + [
        (f"<b>{stop.number}</b>", f"<b>{stop.words}</b>", _along(stop), "<br>".join(name(text) for text in _told(stop)))
        for stop in stops
    ]
    return table("Stops and tight places in driving order", ("No", "Do", "Along", "What"), rows, style="stops brief")


def _along(stop: Stop) -> str:
    """From where to where along the way, the first rounded down: who stops there stops before it."""
    if stop.place is None:
        return "all along"
    first, last = down(stop.chainage_m, 1), up(stop.until_m, 1)
    return f"{first} to {last} m" if stop.until_m - stop.chainage_m > 0.1 else f"{first} m"


def _void() -> str:
    rows = "".join(f"<li>{escape(text)}</li>" for text in VOID_IF)
    return f'<div class="void"><b>Void if</b><ul>{rows}</ul></div>'


def _rescue(reached: Reached | None, site: Site) -> str:
    return f'<p class="rescue"><b>Rescue</b> {escape(RESCUE)} <b>{escape(foot_words(reached, site))}</b></p>'


def foot_words(reached: Reached | None, site: Site) -> str:
    """Return how a rescuer comes on foot; widths rounded down, lengths up; nothing where no machine is left at work."""
    if reached is None:
        return ""
    if reached.on_foot is None:
        return f"No way on foot: {reached.no_way}."
    way = reached.on_foot
    return (
        f"On foot from {place_name(way.start, site)}: {up(way.length_m, 0)} m to the ground controls, "
        f"{down(way.narrowest_m, 2)} m wide at {place_text(way.narrowest_at)}; steps and slopes are not looked at."
    )


def _ruled() -> str:
    return '<div class="boxes-to-sign">' + "".join(f"<p><span>{escape(words)}</span></p>" for words in RULED) + "</div>"
