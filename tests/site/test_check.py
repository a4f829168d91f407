"""``routeplan check``: what it prints about a sound site, an open one and a faulty one."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from routeplan.cli.main import main
from tests.site.folders import (
    CELL_M,
    MACHINE,
    SITE,
    feature,
    geojson,
    line,
    north_up,
    point,
    polygon,
    slope,
    write_folder,
    write_levels,
)

LAYERS = """\
[layers]
soffits = "soffits.geojson"
defects = "defects.geojson"
surfaces = "surfaces.geojson"
areas = "areas.geojson"
obstacles = "none"
places = "places.csv"
"""
MOVE = """\
[[moves]]
id = "D1"
purpose = "delivery"
machine = "SC12"
configuration = "stowed"
travel_mode = "beside_rails_folded"
from = "gate"
to = "bay"
"""
FILES = {
    "soffits.geojson": geojson(
        feature(polygon(1, 1, 5, 3), id="low", kind="beam", level_m=52.5),
        feature(polygon(6, 1, 9, 3), id="high", kind="beam", clear_m=4.0, sigma_m=0.01),
    ),
    "defects.geojson": geojson(
        feature(point(3, 8), id="small", kind="pothole", width_m=0.3, depth_m=0.03),
        feature(point(9, 8), id="large", kind="pothole", width_m=0.6, depth_m=0.12),
        feature(line((12, 1), (12, 9)), id="kerb", kind="kerb", height_m=0.1),
    ),
    "surfaces.geojson": geojson(feature(polygon(0, 0, 20, 10), id="soft")),
    "areas.geojson": geojson(feature(polygon(0, 0, 5, 5), id="north", closed="2026-12-01/2026-12-02")),
    "places.csv": "id,kind,x,y\ngate,gate,1,1\nbay,workface,18,8\n",
}


@pytest.fixture
def open_site(tmp_path: Path) -> Path:
    toml = SITE + "[thresholds]\nhead_gap_m = 0.2\n" + LAYERS + MACHINE + MOVE
    return write_folder(tmp_path / "site", toml=toml, files=FILES)


def test_text_of_a_sound_site(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(open_site)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    text = " ".join(out.split())
    for said in (
        "Test yard (invented) revision T1, local grid in metres, INVENTED DEMONSTRATION DATA",
        "boundary 200 m2, 0.0 to 20.0 E, 0.0 to 10.0 N",
        "40 x 20 nodes every 0.5 m",
        "survey S1 of 2026-11-02",
        "smallest hole it shows: nobody said",
        "soffits 2 beam 2",
        "obstacles none, so the site says",
        "walkways -- nobody said",
        "delivery of SC12 (stowed, beside rails folded) from gate to bay, no day",
        "head_gap_m = 0.2 (default 0.3)",
        "120 mm large (pothole) at 9.00 E 8.00 N",
        "100 mm kerb (kerb)",
        "soft: not driven on",
        "north: 2026-12-01 to 2026-12-02",
        "layer walkways: nobody said what is there -> walkways",
        "nobody said how small a hole the survey shows -> survey resolution",
        "no accuracy for soffit low -> head gap, overhead clearance",
        "moves without a day: every area that is ever closed counts as closed for them",
        "No faults.",
    ):
        assert said in text, said
    assert text.index("low (beam)") < text.index("high (beam)") and text.index("large (") < text.index("small (")
    assert all(len(row) <= 110 for row in out.splitlines())


@pytest.mark.parametrize(("said", "worst"), [("", "-- nobody said"), ('"none"', "none")])
def test_no_hazard_is_none_only_where_somebody_said_so(
    tmp_path: Path, said: str, worst: str, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = "".join(f"{name} = {said}\n" for name in ("soffits", "defects", "surfaces") if said)
    assert main(["check", str(write_folder(tmp_path / "site", toml=f"{SITE}[layers]\n{layers}"))]) == 0
    out = capsys.readouterr().out
    for label in ("lowest soffits", "deepest holes", "highest steps"):
        assert re.findall(rf"^  {label} +(.*)$", out, re.MULTILINE) == [worst], label
    assert "nobody accepted any ground: not driven on" in out


def test_stops_on_the_way_are_told(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    toml = open_site / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8") + 'via = ["bay", "gate"]\n', encoding="utf-8")
    assert main(["check", str(open_site)]) == 0
    assert "from gate via bay, gate to bay, no day" in " ".join(capsys.readouterr().out.split())


def test_the_lowest_clear_height_is_rounded_down(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "--json", str(open_site)])
    low, high = json.loads(capsys.readouterr().out)["hazards"]["lowest_soffits"]
    # The ground rises 1 % east and 2 % north: it is highest at the soffit's north-eastern corner.
    assert 52.5 - (50.0 + 0.05 + 0.06) - low["clear_m"] == pytest.approx(0.0, abs=0.0011)
    assert low["clear_m"] <= 52.5 - 50.11 and low["at"] == [5.0, 3.0]
    assert high["clear_m"] == 4.0


def test_class_figures_leave_checks_open(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "--json", str(open_site)])
    found = json.loads(capsys.readouterr().out)
    assert "mass_kg" in found["machines"]["SC12"]["not_its_own"]
    (mass,) = [row for row in found["open"] if "mass_kg" in row["why"]]
    assert mass["why"].startswith("SC12: mass_kg is a ") and mass["checks"] == ["surface acceptance"]
    assert not [row for row in found["open"] if "obstacles" in row["why"]], "declared empty is not open"


def test_assumed_accuracy_leaves_checks_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    toml = SITE + "assumed = true\nsmallest_hole_m = 0.1\n"
    main(["check", "--json", str(write_folder(tmp_path / "site", toml=toml))])
    (row,) = [row for row in json.loads(capsys.readouterr().out)["open"] if "assumed" in row["why"]]
    assert {"gradeability", "side slope", "head gap", "bounce rise"} <= set(row["checks"])
    assert "turning" not in row["checks"]


def test_text_of_faults(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (open_site / "places.csv").write_text("id,kind,x,y\ngate,gate,1,1\nbay,workface,18,80\n")
    (open_site / "defects.geojson").unlink()
    assert main(["check", str(open_site)]) == 6
    out, err = capsys.readouterr()
    assert "places.csv\n  - feature bay, at 18.00 E 80.00 N: it lies 70.00 m outside the boundary" in out
    assert 'site.toml\n  - layers, defects: there is no file "defects.geojson"' in out
    assert out.count("mend: ") == 2
    assert err == "routeplan: 2 faults; the site cannot be planned on.\n"


def test_json_of_faults(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (open_site / "defects.geojson").unlink()
    assert main(["check", "--json", str(open_site)]) == 6
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert set(fault) == {"code", "where", "what", "mend"} and fault["code"] == "file-missing"


def dig(folder: Path) -> None:
    """Dig 0.1 m out of the 1 % and 2 % slope at 12 nodes, 5.25 to 6.75 E and 4.25 to 5.25 N."""
    z = slope()
    z[9:12, 10:14] -= 0.1
    write_levels(folder / "levels.tif", z)


def test_a_hollow_in_no_list_is_told(open_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Water stands up to the node beyond the south-west corner: 0.1 m less the fall over a diagonal of 0.5 m nodes."""
    dig(open_site)
    main(["check", "--json", str(open_site)])
    (hollow,) = json.loads(capsys.readouterr().out)["hazards"]["unlisted_hollows"]
    assert hollow == {"depth_m": 0.085, "area_m2": 3.0, "may_be_survey_error": False, "at": [5.25, 4.25]}
    main(["check", str(open_site)])
    text = " ".join(capsys.readouterr().out.split())
    assert "unlisted hollows 85 mm over 3.0 m2 at 5.25 E 4.25 N shown by the levels, in no list: rain stands" in text


@pytest.mark.parametrize("kind", ["pothole", "excavation"])
def test_a_hollow_that_a_list_tells_of_is_not_told_again(
    open_site: Path, capsys: pytest.CaptureFixture[str], kind: str
) -> None:
    dig(open_site)
    if kind == "pothole":
        row = feature(polygon(5.3, 4.3, 6.7, 5.2), id="told", kind="pothole", depth_m=0.1)
        (open_site / "defects.geojson").write_text(geojson(row))
    else:
        toml = (open_site / "site.toml").read_text().replace("[layers]\n", '[layers]\nexcavations = "pits.geojson"\n')
        (open_site / "site.toml").write_text(toml)
        (open_site / "pits.geojson").write_text(geojson(feature(polygon(5.3, 4.3, 6.7, 5.2), id="pit", set_back_m=1.0)))
    assert main(["check", str(open_site)]) == 0
    assert "unlisted hollows none" in " ".join(capsys.readouterr().out.split())


def test_hollows_that_errors_of_the_levels_may_have_dug(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """160,000 independent errors of 20 mm on a 2 % slope: hollows, none of them taken for sure."""
    folder = write_folder(tmp_path / "site", toml=SITE.replace("0.003", "0.020"))
    rough = 0.02 * CELL_M * np.arange(400.0) + np.random.default_rng(3).normal(0.0, 0.020, (400, 400))
    write_levels(folder / "levels.tif", rough, transform=north_up(0.0, 200.0, CELL_M, CELL_M))
    (folder / "boundary.geojson").write_text(geojson(feature(polygon(0, 0, 200, 200))))
    main(["check", "--json", str(folder)])
    hollows = json.loads(capsys.readouterr().out)["hazards"]["unlisted_hollows"]
    assert len(hollows) == 5 and all(hollow["may_be_survey_error"] for hollow in hollows)
    main(["check", str(folder)])
    assert capsys.readouterr().out.count(", may be survey error") == 5


def test_unknown_levels_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write_folder(tmp_path / "site")
    z = slope()
    z[0, :8] = -9999
    write_levels(folder / "levels.tif", z, nodata=-9999)
    main(["check", str(folder)])
    assert "1.00% of the nodes inside the boundary have no level" in capsys.readouterr().out
