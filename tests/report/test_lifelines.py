"""``routeplan lifeline``: what cuts a move off and who comes to help, on the page, in the file, in the status."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from routeplan.cli.main import main
from tests.plan.two_doors import ISSUED, write_doors
from tests.report.browser import PHONE, opened

Captured = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the plan of the two doors, its east end a workface, and the lifelines of it."""
    root = tmp_path_factory.mktemp("lifelines")
    site = str(write_doors(root / "site", workface="east"))
    out = str(root / "out")
    assert main(["plan", site, "--out", out, "--issued", ISSUED]) == 0
    assert main(["lifeline", f"{out}/plan.json", "--site", site, "--out", out]) == 0
    return root / "out"


def test_both_doors_together_cut_off_what_leads_through_the_wall(told: Path) -> None:
    document = json.loads((told / "lifelines.json").read_text(encoding="utf-8"))
    words = {one["move"]: one["words"] for one in document["cuts"]}
    assert words["M1"] == "no area alone cuts M1 off; the smallest closures that do: south and north"
    assert words["M3"] == "no closure of named areas cuts M3 off"
    assert [one["smallest"] for one in document["cuts"]] == [[["south", "north"]], [["south", "north"]], []]
    assert len(document["cautions"]) == 5


def test_help_comes_on_foot_and_by_the_other_machine_to_the_workface(told: Path) -> None:
    (rescue,) = json.loads((told / "lifelines.json").read_text(encoding="utf-8"))["rescues"]
    assert (rescue["move"], rescue["machine"], rescue["workface"]) == ("M1", "SC", "east")
    assert rescue["on_foot"]["start"] == "west" and 14.0 < rescue["on_foot"]["length_m"] < 20.0
    (second,) = rescue["seconds"]
    assert second["machine"] == "SD" and second["verdict"] in ("pass", "pass with controls")


def test_the_page_says_the_same_offline_on_a_phone_with_lines_for_the_rescuer(browser: Any, told: Path) -> None:
    with opened(browser, f"file://{told}/lifelines.html", PHONE) as (page, seen):
        text = page.inner_text("body")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        assert seen == []
    assert "the smallest closures that do: south and north" in text and "Rescue at east" in text
    assert "Planning aid only" in text and "Revision 1" in text


def test_a_plan_that_is_refused_has_no_lifelines(told: Path, tmp_path: Path, capsys: Captured) -> None:
    site = write_doors(tmp_path / "site", workface="east", closed={"south": "2026-12-01"})
    status = main(["lifeline", str(told / "plan.json"), "--site", str(site), "--out", str(tmp_path / "out")])
    assert status == 5 and not (tmp_path / "out").exists()
    assert "nothing was written" in capsys.readouterr().err
