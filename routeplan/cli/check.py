"""``routeplan check``: what a site folder says, what it leaves open, which hazards it holds, and every fault in it."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from routeplan.errors import BadInput, ExitStatus, Fault

WIDTH = 110
LABEL = 18


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "check",
        help="what was read, what is missing, which hazards were found, every fault",
        description="Reads a site folder and says what is in it. Plans nothing.",
    )
    parser.add_argument("site", metavar="SITE", type=Path, help="the site folder")
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(args: argparse.Namespace) -> ExitStatus:
    """Read the site and print what it says, or every fault in it."""
    from routeplan.site.read import read_site

    try:
        site = read_site(args.site)
    except BadInput as error:
        count = len(error.faults)
        _print({"faults": [vars(fault) for fault in error.faults]}, faults_text(error.faults), as_json=args.json)
        print(f"routeplan: {count} fault{'' if count == 1 else 's'}; the site cannot be planned on.", file=sys.stderr)
        return ExitStatus.BAD_INPUT

    from routeplan.plan.findings import findings

    found = findings(site)
    _print(found, site_text(found), as_json=args.json)
    return ExitStatus.OK


def _print(values: Mapping[str, Any], text: Iterable[str], *, as_json: bool) -> None:
    """Print JSON or text to stdout."""
    if as_json:
        import json

        print(json.dumps(values, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(text))


def faults_text(faults: Iterable[Fault]) -> Iterator[str]:
    """Yield the faults, those of one file together."""
    by_file: dict[str, list[Fault]] = {}
    for fault in faults:
        by_file.setdefault(fault.where.split(",")[0], []).append(fault)
    for file, group in sorted(by_file.items()):
        yield file
        for fault in group:
            place = fault.where.removeprefix(file).lstrip(", ")
            yield from _wrapped(f"{place}: {fault.what}" if place else fault.what, first="  - ", rest="    ")
            yield from _wrapped(f"{fault.mend} [{fault.code}]", first="    mend: ", rest="          ")
        yield ""


def site_text(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield the whole answer about a sound site."""
    site = found["site"]
    yield site["name"]
    grid = "local grid in metres" if site["crs"] == "local" else f"{site['crs']}, metres"
    yield f"revision {site['revision']}, {grid}" + (", INVENTED DEMONSTRATION DATA" if site["invented"] else "")
    for title, lines in (
        ("What was read", _read_text(found)),
        ("Hazards found", _hazard_text(found["hazards"], found["layers"])),
        ("What is missing, and the checks it leaves open", _open_text(found)),
    ):
        yield ""
        yield title
        yield from lines
    yield ""
    yield "No faults."


def _wrapped(text: str, *, first: str, rest: str) -> list[str]:
    """Return text in lines, the later ones set in."""
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False) or [first]


def _row(label: str, text: str) -> list[str]:
    """Return a label and its text in a hanging column."""
    return _wrapped(text, first="  " + label.ljust(LABEL), rest=" " * (LABEL + 2))


def _read_text(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield what was read: boundary, levels, layers, machines, moves, limits, repairs."""
    x0, y0, x1, y1 = found["site"]["extent"]
    yield from _row("boundary", f"{found['site']['area_m2']:,.0f} m2, {x0:.1f} to {x1:.1f} E, {y0:.1f} to {y1:.1f} N")
    yield from _levels_text(found["levels"])
    for name, layer in found["layers"].items():
        kinds = ", ".join(f"{kind} {count}" for kind, count in layer["kinds"].items())
        count = f"{layer['count']:4}  {kinds}" if layer["count"] else "none, so the site says"
        yield from _row(name, count if layer["given"] else "-- nobody said")
    for number, (machine_id, machine) in enumerate(found["machines"].items()):
        tags = ", ".join(f"{count} {_TAGS[tag]}" for tag, count in machine["tags"].items())
        yield from _row("" if number else "machines", f"{machine_id}  {machine['title']}; figures: {tags}")
    for number, move in enumerate(found["moves"]):
        day = f"on {move['on']}" if move["on"] else "no day"
        via = f" via {', '.join(move['via'])}" * bool(move["via"])
        yield from _row(
            "" if number else "moves",
            f"{move['id']}  {move['purpose']} of {move['machine']} ({move['configuration']}, "
            f"{move['travel_mode'].replace('_', ' ')}) from {move['from']}{via} to {move['to']}, {day}",
        )
    for number, (name, limit) in enumerate(found["thresholds"].items()):
        yield from _row("" if number else "own limits", f"{name} = {limit['value']:g} (default {limit['default']:g})")
    for number, repair in enumerate(found["repairs"]):
        yield from _row("" if number else "repairs", repair)


_TAGS = {
    "sheet": "from its sheet",
    "measured": "measured",
    "class": "of the class",
    "memory": "of the class from memory",
}


def _levels_text(levels: Mapping[str, Any]) -> Iterator[str]:
    """Yield the levels and how good they are."""
    day = f" of {levels['date']}" if levels["date"] else ", day unknown"
    yield from _row(
        "levels",
        f"{levels['columns']} x {levels['rows']} nodes every {levels['cell_m']:g} m, {levels['lowest_m']:.2f} to "
        f"{levels['highest_m']:.2f} m; survey {levels['survey']}{day}",
    )
    hole = levels["smallest_hole_m"]
    yield from _row(
        "",
        f"{'assumed' if levels['assumed'] else 'stated'} accuracy {levels['short_range_m'] * 1000:.3g} mm near by, "
        f"{levels['datum_m'] * 1000:.3g} mm as a whole"
        + (f"; shows holes from {hole * 1000:.3g} mm" if hole else "; smallest hole it shows: nobody said"),
    )
    unknown = levels["unknown_share"]
    yield from _row(
        "",
        f"{unknown:.2%} of the nodes inside the boundary have no level: nothing drives there"
        if unknown
        else "every node inside the boundary has a level",
    )


def _hazard_text(hazards: Mapping[str, Any], layers: Mapping[str, Any]) -> Iterator[str]:
    """Yield the worst of each kind of hazard; there is none only where somebody said so."""
    tables = (
        ("lowest soffits", "lowest_soffits", "soffits", "clear_m", "m", 1.0),
        ("deepest holes", "deepest_holes", "defects", "depth_m", "mm", 1000.0),
        ("highest steps", "highest_steps", "defects", "height_m", "mm", 1000.0),
    )
    for label, table, layer, column, unit, scale in tables:
        for number, row in enumerate(hazards[table]):
            size = f"{row[column]:6.2f}" if scale == 1.0 else f"{row[column] * scale:6.0f}"
            yield from _row(
                "" if number else label,
                f"{size} {unit}  {row['id']} ({row['kind']}) at {row['at'][0]:.2f} E {row['at'][1]:.2f} N",
            )
        if not hazards[table]:
            yield from _row(label, "none" if layers[layer]["given"] else "-- nobody said")
    yield from _hollow_text(hazards["unlisted_hollows"])
    bare = hazards["surfaces_not_accepted"]
    nobody = "nobody accepted any ground: not driven on"
    told = "every surface has an acceptance" if layers["surfaces"]["count"] else nobody
    yield from _row("not accepted", f"{', '.join(bare)}: not driven on" if bare else told)
    for number, closure in enumerate(hazards["closures"]):
        yield from _row("" if number else "closures", f"{closure['area']}: {closure['days']}")


def _hollow_text(hollows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield the deepest hollows that the site folder does not tell of, and what they mean."""
    label = "unlisted hollows"
    for row in hollows:
        size = f"{row['depth_m'] * 1000.0:6.0f} mm  over {row['area_m2']:,.1f} m2"
        doubt = ", may be survey error" if row["may_be_survey_error"] else ""
        yield from _row(label, f"{size} at {row['at'][0]:.2f} E {row['at'][1]:.2f} N{doubt}")
        label = ""
    meaning = "shown by the levels, in no list: rain stands there and hides what lies below"
    yield from _row(label, "none" if label else meaning)


def _open_text(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield what nobody said, and what follows from it."""
    for row in found["open"]:
        yield from _wrapped(f"{row['why']} -> {', '.join(row['checks'])}", first="  - ", rest="    ")
    if found["hazards"]["closures"] and any(move["on"] is None for move in found["moves"]):
        yield "  - moves without a day: every area that is ever closed counts as closed for them"
    if not found["moves"]:
        yield "  - no moves: there is nothing to plan"
    elif not found["open"]:
        yield "  nothing: every check in the catalogue can be made from what the site and the sheets say"
