"""Whether the plan speaks of the site and the machines that are there now: any difference is an objection."""

from __future__ import annotations

import math
from collections.abc import Iterator

from routeplan.machine.model import Machine
from routeplan.route.model import CAUTIONS, Objection, Plan
from routeplan.site.model import Site

_NOWHERE = (math.nan, math.nan)


def input_objections(plan: Plan, site: Site) -> tuple[Objection, ...]:
    """Input files that were changed, added or taken away since the plan, and moves the plan leaves out."""
    then = {record.path: record.sha256 for record in plan.inputs}
    now = {record.path: record.sha256 for record in site.inputs}
    changed = sorted(path for path in then.keys() | now.keys() if then.get(path) != now.get(path))
    found = [_objection("inputs", f"the site has changed since: {path}") for path in changed]
    if (plan.site_name, plan.site_revision, plan.crs) != (site.name, site.revision, site.crs):
        found.append(_objection("inputs", "the plan is of another site, revision or coordinate system"))
    planned = [move.id for move in plan.moves]
    left_out = [wanted.id for wanted in site.moves if wanted.id not in planned]
    found += [_objection("form", f"the site asks for move {move}, the plan has none") for move in left_out]
    twice = sorted({move for move in planned if planned.count(move) > 1})
    found += [_objection("form", f"the plan has move {move} more than once") for move in twice]
    return (*found, *_statements(plan, site))


def _statements(plan: Plan, site: Site) -> Iterator[Objection]:
    """What a plan says of itself and people act on: nothing here is the plan's to choose."""
    areas = {area.id for area in site.areas}
    for name in sorted({*plan.conditions.closed, *plan.conditions.opened} - areas):
        yield _objection("form", f"the plan closes or opens an area, the site has no area {name}")
    undated, issued = any(move.on is None for move in plan.moves), plan.issued[:10]
    if plan.conditions.on != (issued if undated else None):
        told = f"the day of issue, {issued}" if undated else "none, for every move has its own"
        yield _objection("form", f"the plan counts on what is accepted by {plan.conditions.on}: it has to be {told}")
    if plan.status != "draft":
        yield _objection("form", f"the plan calls itself {plan.status}: nobody has issued it")
    missing = [caution for caution in CAUTIONS if caution not in plan.cautions]
    if missing:
        yield _objection("form", f"the plan leaves out {len(missing)} of the cautions")
    if not plan.not_checked:
        yield _objection("form", "the plan leaves out what is not checked")
    if plan.invented != site.invented:
        yield _objection("form", "the plan and the site folder disagree whether the data are invented")


def machine_objections(name: str, planned: Machine | None, known: Machine | None) -> tuple[Objection, ...]:
    """Everything in which a machine in the plan differs from the one in the site folder."""
    if planned is None or known is None:
        where = "plan" if planned is None else "site folder"
        return (_objection("machine", f"the {where} does not describe machine {name}"),)
    return tuple(_differences(planned, known))


def _differences(planned: Machine, known: Machine) -> Iterator[Objection]:
    for figure in sorted(planned.figures.keys() | known.figures.keys()):
        then, now = planned.figures.get(figure), known.figures.get(figure)
        if then is None or now is None or (then.value, then.tag) != (now.value, now.tag):
            values = (math.nan if entry is None else entry.value for entry in (then, now))
            tags = tuple("missing" if entry is None else entry.tag for entry in (then, now))
            text = f"{figure} of {known.id} is not the site folder's ({tags[0]} in the plan, {tags[1]} on site)"
            yield _objection("machine", text, *values)
    if planned.slews != known.slews:
        yield _objection("machine", f"{known.id} {'slews' if known.slews else 'does not slew'} by the site folder")
    for wheel, there in zip(planned.wheels, known.wheels, strict=True):
        if wheel != there:
            yield _objection("machine", f"wheel {there.name} of {known.id} is not the site folder's")
    for configuration in sorted(planned.configurations.keys() | known.configurations.keys()):
        if planned.configurations.get(configuration) != known.configurations.get(configuration):
            text = f"configuration {configuration} of {known.id} is not the site folder's (boxes, basket, mass)"
            yield _objection("machine", text)


def _objection(kind: str, text: str, value: float = math.nan, limit: float = math.nan) -> Objection:
    return Objection(kind, 0.0, _NOWHERE, value, limit, "", text)
