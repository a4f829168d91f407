"""``routeplan lifeline``: what cuts a move off and who comes to help, on the page, in the file, in the status."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import box

from routeplan.cli.main import main
from routeplan.report.lifelines_page import lifelines_page
from routeplan.route.lifelines import Cuts, Lifelines
from routeplan.site.model import Area
from tests import worlds
from tests.plan.two_doors import ISSUED, write_doors
from tests.plans import plan
from tests.report.browser import PHONE, opened

Captured = pytest.CaptureFixture[str]
BAY = box(1.0, 1.0, 2.0, 2.0)
SITE = worlds.flat_site(areas=(Area("a", "bay <1>", BAY, ()), Area("b", "ramp", BAY, ())))


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
    assert "south door (south) and north door (north) together: M1, M2" in text
    assert text.index("Call") < text.index("Move M1")
    assert "Planning aid only" in text and "Revision 1" in text


def closures(*cuts: Cuts) -> list[str]:
    """What the page lists of closures, before the moves."""
    page = lifelines_page(Lifelines(cuts, ()), plan(), SITE)
    start = page.index("when closed</h2>")
    return re.findall("<li>(.*?)</li>", re.sub("</?bdi>", "", page[start : page.index("</ul>", start)]))


def test_who_closes_an_area_finds_the_moves_that_it_cuts_off() -> None:
    """Alone before together, with the name that people know; and what is not known is not left out."""
    either = Cuts("M3", ("a", "b"), (("a",), ("b",)))
    found = closures(Cuts("M1", ("a", "b"), (("a", "b"),)), Cuts("M2", ("a", "b"), (("a",),)), either)
    assert found == [
        "bay &lt;1&gt; (a): M2, M3", "ramp (b): M3", "bay &lt;1&gt; (a) and ramp (b) together: M1",
        "of each move the smallest closures only: more areas closed together may cut off more",
    ]  # fmt: skip
    none = "no closure of named areas is known to cut a move off"
    assert closures(Cuts("M1", ("a",), ())) == [none]
    assert closures(Cuts("M1", ("a",), (), (("a",),), "gave up")) == [none, "not all is known of M1: see there"]


def test_a_plan_that_is_refused_has_no_lifelines(told: Path, tmp_path: Path, capsys: Captured) -> None:
    site = write_doors(tmp_path / "site", workface="east", closed={"south": "2026-12-01"})
    status = main(["lifeline", str(told / "plan.json"), "--site", str(site), "--out", str(tmp_path / "out")])
    assert status == 5 and not (tmp_path / "out").exists()
    assert "nothing was written" in capsys.readouterr().err
