"""``routeplan reroute``: a plan after a change, what became of each move, and the sheet that says so."""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.cli.plan import aids_of_user, iso_time, issued_at, status_of
from routeplan.errors import BadInput, ExitStatus, Fault, worst

if TYPE_CHECKING:
    from routeplan.plan.changes import Reroute
    from routeplan.plan.whole import Issue
    from routeplan.route.change import MoveChange
    from routeplan.route.model import Conditions, Plan
    from routeplan.site.model import Site


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "reroute",
        help="the plan after a change: areas closed or opened, a hazard added, another machine, rain",
        description="Makes a plan again after a change. A move whose way the change does not come near stands as it is;"
        " the others are planned again; all are judged by the second opinion. Writes what plan writes, and changes.json"
        " and changes.html, a sheet for the noticeboard. Exit status as of plan.",
    )
    parser.add_argument("plan", type=Path, metavar="PLAN.json", help="the plan as it was")
    parser.add_argument("--site", type=Path, required=True, metavar="SITE", help="the site folder")
    parser.add_argument("--close", type=_names, default=(), metavar="A,B", help="areas that are closed now")
    parser.add_argument("--open", type=_names, default=(), metavar="A", help="areas that are open now")
    parser.add_argument(
        "--add", type=Path, action="append", default=[], metavar="FILE",
        help="hazards that were found, in a file named as the layer that they belong to, such as defects.csv",
    )  # fmt: skip
    parser.add_argument(
        "--machine", type=_pair, action="append", default=[], metavar="OLD=NEW",
        help="another machine was delivered: one of the site's, or a TOML file of its figures",
    )  # fmt: skip
    parser.add_argument("--wet", action="store_true", help="rain: no move may wait for dry ground")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for what is written")
    parser.add_argument("--issued", type=iso_time, metavar="TIME", help="time of issue, ISO 8601 (default: now)")


def _names(text: str) -> tuple[str, ...]:
    """Names with commas between."""
    found = tuple(name.strip() for name in text.split(","))
    if not all(found):
        raise argparse.ArgumentTypeError(f"{text!r} has an empty name; write A,B")
    return found


def _pair(text: str) -> tuple[str, str]:
    """The machine that was ordered, and the one delivered."""
    old, sign, new = (part.strip() for part in text.partition("="))
    if not (old and sign and new):
        raise argparse.ArgumentTypeError(f"{text!r} is not OLD=NEW, the machine ordered and the one delivered")
    return old, new


def run(args: argparse.Namespace) -> ExitStatus:
    """Make the plan again and write everything; what became of each move goes to stdout."""
    from routeplan.plan.changes import Reroute, anew
    from routeplan.planfile.changes import known_before
    from routeplan.planfile.plan import read_plan
    from routeplan.site.changes import Change, added_since, changed
    from routeplan.site.read import read_site

    before = read_plan(args.plan)
    files, conditions = _files(args, before), _conditions(args, before)
    site = read_site(args.site, Change.of(files, conditions.added, conditions.machines))
    added = {
        name: added_since(site, read_site(args.site, Change.of(files, _without(conditions, name), conditions.machines)))
        for name in conditions.added
    }
    conditions = _opened(conditions, site, args.open)
    now = changed(site, closed=conditions.closed, opened=conditions.opened, wet=conditions.wet)
    why = anew(before, site)
    earlier = () if why else known_before(args.plan, before)
    reroute = Reroute(before, earlier, now, _issue(args, before, conditions), added, why)
    print(f"Planning {site.name} again, after revision {before.revision}", file=sys.stderr)
    plan, changes = reroute.planned(aids_of_user())
    _write(args.out, reroute, site, plan, changes, files)
    print(_summary(plan, changes, args.out))
    return worst(map(status_of, plan.moves))


def _files(args: argparse.Namespace, before: Plan) -> dict[str, Path]:
    """Files that the plan will be made of besides the site folder, by the names they get beside it."""
    files = {name: args.plan.parent / name for name in before.conditions.files}
    files |= {_added_name(before, number, path): path for number, path in enumerate(args.add, 1)}
    return files | {Path(new).name: Path(new) for _, new in args.machine if _is_file(new)}


def _added_name(before: Plan, number: int, path: Path) -> str:
    return f"added-{_next(before)}-{number}-{path.name}"


def _is_file(machine: str) -> bool:
    return machine.endswith(".toml")


def _next(before: Plan) -> str:
    """The number of the plan to come."""
    if not before.revision.isdecimal():
        what = f"its revision is {before.revision!r}, no number"
        raise BadInput([Fault("plan-revision", "plan.json", what, "give a plan.json that this program wrote")])
    return str(int(before.revision) + 1)


def _conditions(args: argparse.Namespace, before: Plan) -> Conditions:
    """What holds after the change; what is opened besides is told by ``_opened``."""
    from routeplan.route.model import Conditions

    then = before.conditions
    delivered = {old: Path(new).name if _is_file(new) else new for old, new in args.machine}
    return Conditions(
        closed=tuple(sorted({*then.closed, *args.close} - set(args.open))),
        opened=tuple(sorted(set(then.opened) - set(args.close))),
        added=(*then.added, *(_added_name(before, number, path) for number, path in enumerate(args.add, 1))),
        wet=then.wet or args.wet,
        machines={**then.machines, **delivered},
    )


def _without(conditions: Conditions, name: str) -> list[str]:
    return [other for other in conditions.added if other != name]


def _opened(conditions: Conditions, site: Site, names: Sequence[str]) -> Conditions:
    """The conditions with the areas that are open against the site's own dates; others are just no longer closed."""
    dated = {area.id for area in site.areas if area.closures}
    unknown = set(names) - {area.id for area in site.areas}
    return replace(conditions, opened=tuple(sorted({*conditions.opened, *(set(names) & dated), *unknown})))


def _issue(args: argparse.Namespace, before: Plan, conditions: Conditions) -> Issue:
    from routeplan.plan.whole import Issue

    issued = issued_at(args)
    return Issue(issued, _next(before), f"revision {before.revision}, issued {before.issued}", conditions)


def _write(
    folder: Path, reroute: Reroute, site: Site, plan: Plan, changes: Sequence[MoveChange], files: Mapping[str, Path]
) -> None:
    from routeplan.planfile.changes import CHANGES_NAME, write_changes
    from routeplan.planfile.output_set import OutputSet
    from routeplan.report.diff_sheet import write_diff_sheet
    from routeplan.report.outputs import write_outputs

    with OutputSet(folder) as out:
        for name in plan.conditions.files:
            shutil.copyfile(files[name], out.path(name))
        write_outputs(plan, site, out)
        write_changes(reroute.before, plan, changes, reroute.earlier, out.path(CHANGES_NAME))
        write_diff_sheet(reroute.before, plan, changes, site, out.path("changes.html"))
        out.publish(plan)


def _summary(plan: Plan, changes: Sequence[MoveChange], folder: Path) -> str:
    from routeplan.report.diff_sheet import accepted

    lines = [f"{plan.site_name}. Plan revision {plan.revision} issued {plan.issued}, DRAFT; it replaces"
             f" {plan.supersedes}, which is void."]  # fmt: skip
    lines += [f"{one.id}  {one.change.upper()}: {one.after.verdict.upper()}; {one.why}" for one in changes]
    lines += accepted(plan)
    lines += ["", *plan.cautions, "", f"For the noticeboard: {folder / 'changes.html'}"]
    return "\n".join(lines)
