"""``routeplan calendar``: statuses, what is written and said, the same bytes twice, a set whole or not there."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from routeplan.cli.calendar import statuses_of
from routeplan.cli.main import main
from routeplan.errors import ExitStatus, worst
from routeplan.plan import finer
from routeplan.site.model import GridSpec
from tests.plan.yards import write_yard
from tests.planfile.test_calendar import SCHEMA
from tests.report.calendars import machines
from tests.site.folders import feature, geojson, polygon

ISSUED = "2026-12-01T06:00:00+00:00"
HIRE = "\n[hire]\nnotice_days = 2\nbuffer_days = 1\n"
COLLECTION = """
[[moves]]
id = "M2"
purpose = "collection"
machine = "SC"
configuration = "stowed"
travel_mode = "ridden"
from = "east"
to = "west"
on = 2026-12-03
"""


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finer, "LOOKS", ((GridSpec(cell_m=0.25), 0),))


def lane(folder: Path, closed: str, more: str = HIRE + COLLECTION, *, on: str = "\non = 2026-12-02") -> Path:
    """A lane with an area across it, a delivery to its far end, and a collection."""
    write_yard(folder)
    across = feature(polygon(11, 0, 13, 3), id="across", title="Kerb works", closed=closed)
    (folder / "areas.geojson").write_text(geojson(across))
    toml = (folder / "site.toml").read_text()
    toml = toml.replace("[layers]\n", '[layers]\nareas = "areas.geojson"\n')
    (folder / "site.toml").write_text(toml.replace('to = "east"', f'to = "east"{on}') + more)
    return folder


def run(folder: Path, out: Path) -> int:
    return main(["calendar", str(folder), "--out", str(out), "--issued", ISSUED])


def test_a_calendar_is_written_said_and_the_same_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = lane(tmp_path / "lane", "2026-12-08/..")
    assert run(folder, tmp_path / "out") == 0
    said, told = capsys.readouterr()
    assert "SC  last safe collection date: FRI 4 DEC 2026" in said and "STRANDED" not in said
    assert "ended by: Kerb works (closed), from Tue 8 Dec 2026 for good" in said
    assert "planned: M2 on Thu 3 Dec 2026: 1 day in hand" in said and told.startswith("Calendar of")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["calendar.html", "calendar.json"]
    document = json.loads((tmp_path / "out" / "calendar.json").read_text(encoding="utf-8"))
    assert list(jsonschema.Draft202012Validator(SCHEMA).iter_errors(document)) == []
    (machine,) = document["machines"]
    assert (machine["last_way_out"], machine["last_safe"], machine["spare_days"]) == ("2026-12-07", "2026-12-04", 1)
    assert run(folder, tmp_path / "again") == 0
    for name in ("calendar.html", "calendar.json"):
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


@pytest.mark.parametrize(
    ("closed", "more", "status", "said"),
    [
        ("2026-12-06/..", HIRE + COLLECTION, 8, "LATE  SC"),
        ("2026-12-08/..", COLLECTION, 8, "ASK THE HIRE DESK"),
        ("2026-12-03/2026-12-05", HIRE + COLLECTION, 3, "STRANDED  SC from Thu 3 Dec to Sat 5 Dec 2026"),
        ("../2026-12-02", HIRE + COLLECTION, 3, "MOVE  SC: M1 on Wed 2 Dec 2026: no way"),
        ("2026-12-28/..", HIRE, 3, "STRANDED  SC from Mon 28 Dec 2026 for good"),
    ],
    ids=["collected too late", "notice not known", "stranded", "not delivered", "never collected"],
)
def test_statuses(
    closed: str, more: str, status: int, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(lane(tmp_path / "lane", closed, more), tmp_path / "out") == status
    assert said in capsys.readouterr().out
    assert (tmp_path / "out" / "calendar.html").is_file()


def test_a_move_that_has_no_way_on_its_day_decides_the_status_though_the_way_out_is_good() -> None:
    ever = machines()[2]
    day = replace(ever.days[4], reach="no route")
    assert day.moves and day.out == "pass" and set(statuses_of(ever)) == {ExitStatus.OK}
    shut = replace(ever, days=(*ever.days[:4], day, *ever.days[5:]))
    assert worst(statuses_of(shut)) is ExitStatus.NO_ROUTE
    asked = replace(ever, days=(replace(ever.days[3], reach="no route"), *ever.days[4:]))
    assert worst(statuses_of(asked)) is ExitStatus.OK, "it moves on another day"


def test_a_move_without_a_day_leaves_its_machine_unknown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(lane(tmp_path / "lane", "2026-12-08/..", HIRE, on=""), tmp_path / "out") == 8
    assert "NOT KNOWN  SC: nobody knows where it stands, move M1 has no day" in capsys.readouterr().out


def test_a_site_without_moves_has_an_empty_calendar(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = lane(tmp_path / "lane", "2026-12-08/..", HIRE)
    toml = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(toml.replace(toml[toml.index("[[moves]]") : toml.index("[machines.SC]")], ""))
    assert run(folder, tmp_path / "out") == 0
    assert "The site asks for no moves." in capsys.readouterr().err


def test_faults_and_a_folder_that_cannot_be_written_leave_nothing(tmp_path: Path) -> None:
    assert run(tmp_path / "nowhere", tmp_path / "out") == 6
    assert not (tmp_path / "out").exists()
    (tmp_path / "file").write_text("mine")
    assert run(lane(tmp_path / "lane", "2026-12-08/..", HIRE, on=""), tmp_path / "file") == 7
    assert (tmp_path / "file").read_text() == "mine"
