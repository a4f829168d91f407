"""``routeplan recheck`` from the command line: a written plan read back, its answers and exit statuses."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from routeplan.cli.main import main
from routeplan.planfile.plan import write_plan
from routeplan.route.model import Move
from routeplan.site.model import InputFile, Obstacle, Site
from tests.recheck.test_just_beyond import YARD
from tests.recheck.test_verdicts import MOVE, SITE, plan_of

Monkey = pytest.MonkeyPatch
Captured = pytest.CaptureFixture[str]


def recheck(monkeypatch: Monkey, folder: Path, move: Move, site: Site, *options: str) -> int:
    """Write a plan of one move and re-check it against a site that is in memory."""
    plan = write_plan(plan_of(move, SITE), folder, outputs={}, not_written={})
    monkeypatch.setattr("routeplan.site.read.read_site", lambda _folder, _change=None: site)
    return main(["recheck", str(plan), "--site", str(folder), *options])


def test_a_good_plan_survives_being_written(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    assert recheck(monkeypatch, tmp_path, MOVE, SITE) == 0
    assert "move M1: PASS WITH CONTROLS: no objection" in capsys.readouterr().out


def test_a_plan_that_is_not_passed(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    move = dataclasses.replace(MOVE, verdict="not proven")
    assert recheck(monkeypatch, tmp_path, move, SITE) == 8
    assert "move M1: NOT PROVEN: no objection" in capsys.readouterr().out
    assert recheck(monkeypatch, tmp_path, dataclasses.replace(MOVE, poses=(), verdict="no route"), SITE) == 8


def test_a_refused_plan_names_kind_and_place(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    site = dataclasses.replace(SITE, obstacles=(Obstacle("wall", YARD, "wall", None),))
    assert recheck(monkeypatch, tmp_path, MOVE, site) == 5
    out = capsys.readouterr().out
    assert "move M1: PASS WITH CONTROLS: REFUSED" in out and "side clearance at chainage" in out
    assert "must not be driven" in out


def test_json_says_the_same(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    site = dataclasses.replace(SITE, inputs=(InputFile("levels.tif", "01"),))
    assert recheck(monkeypatch, tmp_path, MOVE, site, "--json") == 5
    answer = json.loads(capsys.readouterr().out)
    assert answer["exit_status"] == 5
    whole, move = answer["rechecked"]
    assert whole["move"] is None and "changed since: levels.tif" in whole["objections"][0]["text"]
    assert whole["objections"][0]["place"] is None
    assert (move["move"], move["verdict"], move["objections"]) == ("M1", "pass with controls", [])


def test_a_plan_that_cannot_be_read_is_bad_input(tmp_path: Path, capsys: Captured) -> None:
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    assert main(["recheck", str(tmp_path / "plan.json"), "--site", str(tmp_path)]) == 6
    assert capsys.readouterr().out == ""
