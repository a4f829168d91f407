"""``lifelines.json``: what cuts off each move of a plan, and how help comes to where one works."""

from __future__ import annotations

from pathlib import Path

from routeplan.planfile.codec import encoded
from routeplan.planfile.plan import json_text
from routeplan.route.lifelines import Lifelines
from routeplan.route.model import Plan

FORMAT = "routeplan/lifelines@1"
LIFELINES_NAME = "lifelines.json"


def write_lifelines(found: Lifelines, plan: Plan, path: Path, *, sha256: str) -> None:
    """Write values and words; the same always give the same bytes.

    Parameters
    ----------
    sha256
        Of the plan's bytes, which they are told of.
    """
    document = {
        "format": FORMAT,
        "plan": {"site": plan.site_name, "revision": plan.revision, "issued": plan.issued, "sha256": sha256},
        "cuts": [{**encoded(one, where="cuts"), "words": one.words()} for one in found.cuts],
        "rescues": [{**encoded(one, where="rescues"), "words": list(one.words())} for one in found.rescues],
        "cautions": list(plan.cautions),
    }
    path.write_text(json_text(document) + "\n", encoding="utf-8")
