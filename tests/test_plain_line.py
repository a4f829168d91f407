"""On the sample, the plain shortest line of most moves is refused by the second opinion, of one for five reasons.

The ways of the plan go round what lies there; this is what they go round.
"""

from __future__ import annotations

import dataclasses
import math
import re

import pytest

from routeplan.route.model import Move, Objection
from routeplan.site.model import Site
from routeplan.site.read import read_site
from tests.recheck.drives import drive, move_of, opinion
from tests.samples.kestrel_quay import SAMPLE
from tests.samples.writing import ROOT

#: What the plain line of a move meets that no way may meet, among other things.
MEETS = {
    "D2": {"head gap", "bounce rise", "covers, plates and trenches", "side clearance", "excavation edge"},
    "D3": {"bounce rise"},
    "R3": {"ground strike"},
    "R4": {"ground strike", "covers, plates and trenches"},
    "C2": {"side clearance", "bounce rise", "surface acceptance"},
    "C3": {"side clearance", "side slope", "covers, plates and trenches"},
}


@pytest.fixture(scope="module")
def site() -> Site:
    return read_site(SAMPLE.folder)


def plain_line(site: Site, move_id: str) -> Move:
    """The straight drive between the ends of a wanted move, claimed to pass every check."""
    wanted = next(move for move in site.moves if move.id == move_id)
    start, goal = site.places[wanted.start].point, site.places[wanted.goal].point
    heading = math.atan2(goal.y - start.y, goal.x - start.x)
    poses = drive(start.x, start.y, heading, [(start.distance(goal), 0.0)], step_m=0.05)
    move = move_of(poses, site.machines[wanted.machine])
    return dataclasses.replace(
        move, id=wanted.id, purpose=wanted.purpose, start=wanted.start, goal=wanted.goal, on=str(wanted.on)
    )


def objections_of(site: Site, move_id: str) -> tuple[Objection, ...]:
    return opinion(plain_line(site, move_id), site)


@pytest.mark.parametrize("move_id", sorted(MEETS))
def test_the_plain_line_is_refused(site: Site, move_id: str) -> None:
    assert MEETS[move_id] <= {found.kind for found in objections_of(site, move_id)}


def test_the_readme_tells_what_the_second_opinion_found(site: Site) -> None:
    """Chainage and figure of each row of the README's table, rounded against the reader."""
    found = {row.kind: row for row in objections_of(site, "D2")}
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = re.findall(r"^\| (\d+) m \| ([a-z ,]+?)(?: under|:) .* \| (-?[\d.]+) m \| [^|]+ \|$", text, flags=re.M)
    assert len(table) == 4
    for chainage, kind, value in table:
        row = found[kind]
        assert round(row.chainage_m) == int(chainage), kind
        assert math.floor(100 * row.value) / 100 == float(value), kind
