"""``routeplan brief`` from the command line: statuses, what is written, what is not."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import pytest

from routeplan.cli.main import main
from routeplan.planfile.plan import write_plan
from routeplan.route.model import Move
from routeplan.site.model import InputFile, Site
from tests.recheck.drives import with_stands
from tests.recheck.test_stop_numbers import MOVE
from tests.recheck.test_verdicts import plan_of
from tests.test_inspect import SITE

Monkey = pytest.MonkeyPatch
Captured = pytest.CaptureFixture[str]
FILES = ["briefing.html", "briefing.pdf"]


def run(monkeypatch: Monkey, folder: Path, site: Site = SITE, *options: str, move: Move = MOVE) -> int:
    """Write a plan of one move, made for ``SITE``, and brief it on a site that is in memory."""
    folder.mkdir(exist_ok=True)
    plan = write_plan(plan_of(with_stands(move, SITE), SITE), folder, outputs={}, not_written={})
    monkeypatch.setattr("routeplan.site.read.read_site", lambda _folder, _change=None: site)
    return main(["brief", str(plan), "--site", str(folder), "--out", str(folder / "out"), *options])


def written(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "out").iterdir()) if (folder / "out").exists() else []


@pytest.fixture
def setter() -> None:
    pytest.importorskip("plutoprint", reason="the library that sets the PDF is not made for this machine")


@pytest.mark.usefixtures("setter")
def test_a_page_and_a_pdf_are_written_the_same_each_time(monkeypatch: Monkey, tmp_path: Path, capsys: Captured) -> None:
    for name in ("one", "two"):
        assert run(monkeypatch, tmp_path / name) == 0
        assert written(tmp_path / name) == FILES
    said = capsys.readouterr()
    assert "Planning aid only" in said.out and "briefing.pdf" in said.out and "PASS" in said.out
    for name in FILES:
        assert (tmp_path / "one" / "out" / name).read_bytes() == (tmp_path / "two" / "out" / name).read_bytes()


def test_a_refused_plan_writes_nothing_and_leaves_what_is_there(
    monkeypatch: Monkey, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "briefing.pdf").write_text("old")
    assert run(monkeypatch, tmp_path, dataclasses.replace(SITE, inputs=(InputFile("levels.tif", "01"),))) == 5
    said = capsys.readouterr()
    assert "changed since: levels.tif" in said.out and "nothing was written" in said.err
    assert written(tmp_path) == ["briefing.pdf"] and (tmp_path / "out" / "briefing.pdf").read_text() == "old"


@pytest.mark.usefixtures("setter")
def test_a_move_that_does_not_pass_is_status_eight(monkeypatch: Monkey, tmp_path: Path) -> None:
    move = dataclasses.replace(MOVE, poses=(), verdict="no route", reason="the door is too narrow")
    assert run(monkeypatch, tmp_path, move=move) == 8
    assert "Do not drive this move." in (tmp_path / "out" / "briefing.html").read_text(encoding="utf-8")


def test_without_what_sets_the_pdf_the_page_is_written_and_an_old_pdf_goes(
    monkeypatch: Monkey, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "briefing.pdf").write_text("of an older plan")
    monkeypatch.setitem(sys.modules, "plutoprint", None)
    assert run(monkeypatch, tmp_path) == 7
    assert written(tmp_path) == ["briefing.html"]
    said = capsys.readouterr()
    assert "print briefing.html from a browser" in said.err and "For paper" not in said.out


def test_an_output_that_cannot_be_written_is_seven(monkeypatch: Monkey, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file where the folder should be")
    assert run(monkeypatch, tmp_path) == 7


@pytest.mark.usefixtures("setter")
def test_each_operator_gets_the_sheet_in_every_language_asked_for(monkeypatch: Monkey, tmp_path: Path) -> None:
    assert run(monkeypatch, tmp_path, SITE, "--language", "pl", "--language", "ar") == 0
    page = (tmp_path / "out" / "briefing.html").read_text(encoding="utf-8")
    assert page.count('class="sheet operator"') == 3 and 'lang="pl" dir="ltr"' in page and 'lang="ar" dir="rtl"' in page


def test_a_language_without_a_catalogue_is_wrong_usage(monkeypatch: Monkey, tmp_path: Path) -> None:
    with pytest.raises(SystemExit) as left:
        run(monkeypatch, tmp_path, SITE, "--language", "xx")
    assert left.value.code == 2
