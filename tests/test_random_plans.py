"""Random small sites planned whole: the second opinion refuses no route.

Two hundred sites run by default, 2,000 when the environment variable ``ROUTEPLAN_FULL`` is set. The shares that have a
way, and whose hazards change it, are printed (``pytest -s``) and asserted: the sites are neither bare nor hopeless.
A finer look, where there is no way, is taken on a lattice of 0.25 m: a real one takes a minute a site.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, field, replace

import pytest

from routeplan.plan import finer
from routeplan.plan.swing import SWING
from routeplan.plan.whole import plan_site
from routeplan.recheck.opinion import recheck_plan
from routeplan.route.model import MOVE_VERDICTS, Move
from routeplan.site.model import GridSpec
from tests.random_sites import bare, small_site
from tests.recheck.drives import opinion

ISSUED = "2026-11-24T12:00:00+00:00"
SEEDS = range(2000 if os.environ.get("ROUTEPLAN_FULL") else 200)
#: Least shares of sites that have a way, and where hazards make it dearer or bar it.
SOLVABLE, CHANGED = 0.60, 0.30
#: Ways whose costs differ by less are the same, m.
ALIKE_M = 0.05


@dataclass
class Counts:
    """Sites with a way, sites whose way costs something else without their hazards, refused ways; by seed.

    Refused by the second opinion; ``thrown`` are those that the plan itself does not give to drive, as the basket
    swings too far even at creep (the second opinion agrees): booms without an oscillating axle, that rock.
    """

    solved: set[int] = field(default_factory=set)
    changed: set[int] = field(default_factory=set)
    refused: set[int] = field(default_factory=set)
    thrown: set[int] = field(default_factory=set)
    planned: set[int] = field(default_factory=set)


@pytest.fixture(scope="module")
def counts() -> Counts:
    return Counts()


def judged_alike(move: Move) -> bool:
    """Whether the verdict of a move with a way is its worst check's, walkways and their controls apart."""
    worst = min((check.verdict for check in move.checks), key=MOVE_VERDICTS.index)
    return move.verdict == worst or (move.verdict == "pass with controls" and worst == "pass" and bool(move.controls))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_second_opinion_refuses_no_way(seed: int, counts: Counts, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no way is found every fourth site is looked at closer, which takes long, the others on a finer lattice."""
    monkeypatch.setattr(finer, "LOOKS", ((None, 5) if seed % 4 == 0 else (GridSpec(cell_m=0.25), 0),))
    site = small_site(seed)
    plan = plan_site(site, issued=ISSUED)
    (move,) = plan.moves
    counts.planned.add(seed)
    if move.refused is not None and move.reason.startswith("even at creep speed"):
        assert [found.kind for found in move.refused.objections] == [SWING] and move.verdict == "fail"
        driven = replace(move, poses=move.refused.poses, verdict="not proven", refused=None)
        assert SWING in {found.kind for found in opinion(driven, site)}, "the second opinion lets it be driven"
        counts.changed.add(seed)
        counts.thrown.add(seed)
        return
    if move.refused is not None:
        counts.refused.add(seed)
    assert move.refused is None, move.refused.objections if move.refused else ()
    if not move.poses:
        assert move.verdict in ("no route", "search limit")
        counts.changed.add(seed)
        return
    counts.solved.add(seed)
    assert judged_alike(move), (move.verdict, [(check.kind, check.verdict) for check in move.checks])
    assert {name: found for name, found in recheck_plan(plan, site=site).items() if found} == {}
    (empty,) = plan_site(bare(site), issued=ISSUED).moves
    assert math.isfinite(empty.cost_m), "the empty yard has no way"
    if abs(move.cost_m - empty.cost_m) > ALIKE_M:
        counts.changed.add(seed)


def test_the_sites_are_neither_bare_nor_hopeless(counts: Counts) -> None:
    if counts.planned != set(SEEDS):
        pytest.skip("counts are of all sites together")
    found = ((len(counts.solved), "have a way"), (len(counts.changed), "have one changed or barred by hazards"))
    said = ", ".join(f"{count} {what}" for count, what in found)
    print(f"\nof {len(SEEDS)} random sites {said}, {len(counts.refused)} ways refused, {len(counts.thrown)} thrown")
    assert len(counts.solved) >= SOLVABLE * len(SEEDS), said
    assert len(counts.changed) >= CHANGED * len(SEEDS), said
    assert not counts.refused
