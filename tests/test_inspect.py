"""``routeplan inspect`` from the command line: statuses, what is written, a reading beyond its number."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import pytest

from routeplan.cli.main import main
from routeplan.planfile.plan import write_plan
from routeplan.route.model import Move
from routeplan.site.model import InputFile, Site
from tests import worlds
from tests.recheck.drives import with_stands, yard_for
from tests.recheck.test_stop_numbers import BEAM, HOLE, LIMITS, MOVE, POSES, found
from tests.recheck.test_verdicts import plan_of

Monkey = pytest.MonkeyPatch
Captured = pytest.CaptureFixture[str]
MM = 0.001
BOOM = worlds.boom()
SITE = yard_for(POSES, BOOM, thresholds=LIMITS, defects=(HOLE,))


def run(
    monkeypatch: Monkey, folder: Path, site: Site, *options: str, move: Move = MOVE, command: str = "inspect"
) -> int:
    """Write a plan of one move, made for ``SITE``, and inspect it on a site that is in memory."""
    folder.mkdir(exist_ok=True)
    plan = write_plan(plan_of(with_stands(move, SITE), SITE), folder, outputs={}, not_written={})
    monkeypatch.setattr("routeplan.site.read.read_site", lambda _folder, _change=None: site)
    out = ["--out", str(folder / "out")] if command == "inspect" else []
    return main([command, str(plan), "--site", str(folder), *out, *options])


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "out" / "inspection.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_a_list_is_written_and_a_reading_a_millimetre_beyond_its_number_is_refused(
    monkeypatch: Monkey, tmp_path: Path, capsys: Captured
) -> None:
    assert run(monkeypatch, tmp_path, SITE) == 0
    said = capsys.readouterr()
    assert "1 stop number" in said.out and "Planning aid only" in said.out
    assert "stop numbers of move M1 (1 of 1)" in said.err
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["inspection.csv", "inspection.html"]
    (row,) = [row for row in rows(tmp_path) if row["measure"] == "depth"]
    assert (row["title"], row["recorded"], row["unit"]) == ("Pothole hole", "20", "mm")
    last_m = float(row["last_good"]) * MM
    assert run(monkeypatch, tmp_path, found(HOLE, "depth", last_m), command="recheck") == 0
    assert run(monkeypatch, tmp_path, found(HOLE, "depth", last_m + MM), command="recheck") == 5
    capsys.readouterr()
    assert run(monkeypatch, tmp_path / "later", found(HOLE, "depth", last_m + MM)) == 5
    assert not (tmp_path / "later" / "out").exists()


def test_the_same_plan_and_site_give_the_same_bytes(monkeypatch: Monkey, tmp_path: Path) -> None:
    kept = []
    for name in ("one", "two"):
        assert run(monkeypatch, tmp_path / name, SITE) == 0
        kept.append([(tmp_path / name / "out" / f"inspection.{end}").read_bytes() for end in ("html", "csv")])
    assert kept[0] == kept[1]


def test_a_refused_plan_writes_nothing_and_says_why(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    assert run(monkeypatch, tmp_path, dataclasses.replace(SITE, inputs=(InputFile("levels.tif", "01"),))) == 5
    said = capsys.readouterr()
    assert "changed since: levels.tif" in said.out and "nothing was written" in said.err
    assert not (tmp_path / "out").exists()


def test_a_move_without_a_way_gets_a_line_and_status_eight(monkeypatch: Monkey, tmp_path: Path) -> None:
    move = dataclasses.replace(MOVE, poses=(), verdict="no route", reason="the door is too narrow")
    assert run(monkeypatch, tmp_path, SITE, move=move) == 8
    (row,) = [row for row in rows(tmp_path) if row["row"] == "look"]
    assert row["title"].startswith("No way to walk") and "the door is too narrow" in row["look"]


def test_a_soffit_that_nobody_measured_well_is_listed_too(monkeypatch: Monkey, tmp_path: Path) -> None:
    site = dataclasses.replace(SITE, soffits=(dataclasses.replace(BEAM, level_m=9.0),))
    assert run(monkeypatch, tmp_path, site) == 0
    (row,) = [row for row in rows(tmp_path) if row["measure"] == "level"]
    assert (row["number_in_words"], row["last_good"]) == ("no number: look and ask", "")


def test_bad_input_is_six_and_an_output_that_cannot_be_written_seven(
    monkeypatch: Monkey, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "plan.json").write_text("{}", encoding="utf-8")
    assert main(["inspect", str(tmp_path / "plan.json"), "--site", str(tmp_path), "--out", str(tmp_path / "out")]) == 6
    assert not (tmp_path / "out").exists() and capsys.readouterr().out == ""
    (tmp_path / "out").write_text("in the way", encoding="utf-8")
    assert run(monkeypatch, tmp_path, SITE) == 7
    assert (tmp_path / "out").read_text(encoding="utf-8") == "in the way"


def test_the_plan_in_the_same_folder_stays_as_it_is(monkeypatch: Monkey, tmp_path: Path) -> None:
    plan = write_plan(plan_of(with_stands(MOVE, SITE), SITE), tmp_path, outputs={}, not_written={})
    before = plan.read_bytes()
    monkeypatch.setattr("routeplan.site.read.read_site", lambda _folder, _change=None: SITE)
    (tmp_path / "inspection.csv").write_text("yesterday's", encoding="utf-8")
    assert main(["inspect", str(plan), "--site", str(tmp_path), "--out", str(tmp_path)]) == 0
    assert plan.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["inspection.csv", "inspection.html", "plan.json"]
    assert "yesterday" not in (tmp_path / "inspection.csv").read_text(encoding="utf-8")


def test_the_page_is_written_in_each_language_asked_for_besides(monkeypatch: Monkey, tmp_path: Path) -> None:
    assert run(monkeypatch, tmp_path, SITE, "--language", "ar") == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "inspection-ar.html", "inspection.csv", "inspection.html",
    ]  # fmt: skip
    assert '<html lang="ar" dir="rtl">' in (tmp_path / "out" / "inspection-ar.html").read_text(encoding="utf-8")


def test_a_page_in_a_language_of_an_older_list_does_not_stay_beside_a_newer_one(
    monkeypatch: Monkey, tmp_path: Path
) -> None:
    assert run(monkeypatch, tmp_path, SITE, "--language", "ar", "--language", "pl") == 0
    (tmp_path / "out" / "inspection-notes.html").write_text("mine")
    assert run(monkeypatch, tmp_path, SITE, "--language", "pl") == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "inspection-notes.html", "inspection-pl.html", "inspection.csv", "inspection.html",
    ]  # fmt: skip
