"""``routeplan new``: a folder that reads back, survives a spreadsheet, proves nothing, and overwrites nothing."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Iterator
from dataclasses import fields
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from routeplan.cli.main import main
from routeplan.errors import BadInput, ExitStatus, NotWritten
from routeplan.planfile import read_plan
from routeplan.site import new, schema
from routeplan.site.columns import COLUMNS
from routeplan.site.model import Site, Thresholds
from routeplan.site.new import DRAWN_BY, new_site
from routeplan.site.read import read_site

TEMPLATE = files("routeplan.site").joinpath("new_site.toml").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_site(tmp_path / "my site")
    return tmp_path / "my site"


def edited(folder: Path, name: str, rows: list[list[str]], delimiter: str = ",") -> None:
    """Save rows as a spreadsheet does."""
    with (folder / name).open("w", encoding="utf-8-sig", newline="") as stream:
        csv.writer(stream, delimiter=delimiter).writerows(rows)


def rows_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.reader(stream))


def keys(model: type[BaseModel]) -> Iterator[str]:
    """Names of a section's keys as they stand in the file, those of the sections inside it too."""
    for name, key in model.model_fields.items():
        yield key.alias or name
        for inner in (key.annotation, *get_args(key.annotation)):
            if isinstance(inner, type) and issubclass(inner, schema.Section) and inner is not schema.LayerRef:
                yield from keys(inner)


def test_it_reads_back_without_a_fault(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(folder)]) == ExitStatus.OK
    out = capsys.readouterr().out
    assert "No faults." in out and "INVENTED" in out and "nobody accepted any ground: not driven on" in out


def test_what_it_says_proves_nothing_and_no_layer_is_declared_empty(folder: Path) -> None:
    site = read_site(folder)
    assert site.invented and site.ground.accuracy.assumed and site.layers_given == {"places"}
    assert not any(figure.trusted for machine in site.machines.values() for figure in machine.figures.values())
    assert main(["plan", str(folder), "--out", str(folder / "out")]) == ExitStatus.NO_ROUTE
    plan = read_plan(folder / "out" / "plan.json")
    assert all(not move.poses and "surface acceptance" in move.reason for move in plan.moves)


def test_every_key_and_layer_is_there_with_its_default() -> None:
    shown = set(re.findall(r"^(?:# )?(\w+) = ", TEMPLATE, re.MULTILINE))
    assert set(keys(schema.SiteFile)) - shown - {"site", "levels", "layers", "grid", "thresholds", "machines", "moves",
                                                 "contacts", "layer"} == set()
    for limit in fields(Thresholds):
        (value,) = re.findall(rf"^# {limit.name} = ([\d.]+)", TEMPLATE, re.MULTILINE)
        assert float(value) == limit.default, limit.name


def test_every_line_behind_a_mark_is_one_that_reads() -> None:
    """With the marks taken away the file is still TOML, and of the form that the reader takes."""
    opened = re.sub(r"^# (\w+ = |\[\[contacts\]\])", r"\1", TEMPLATE, flags=re.MULTILINE)
    assert opened.count("\n# ") < TEMPLATE.count("\n# ") - 30
    schema.SiteFile.model_validate(tomllib.loads(opened))


def test_headers_are_the_reader_s_columns(folder: Path) -> None:
    assert set(DRAWN_BY) == set(COLUMNS)
    for layer, columns in COLUMNS.items():
        assert rows_of(folder / f"{layer}.csv")[0] == [*columns, *DRAWN_BY[layer]]


@pytest.mark.parametrize("how", ["quoted", "empty columns", "empty rows", "unix lines", "no mark"])
def test_what_a_spreadsheet_does_to_it_does_not_matter(folder: Path, how: str) -> None:
    def said(site: Site) -> tuple[object, ...]:
        return site.boundary.wkt, site.places, site.ground.z.tolist(), site.moves

    before = said(read_site(folder))
    for path in folder.glob("*.csv"):
        rows = rows_of(path)
        with path.open("w", encoding="utf-8" if how == "no mark" else "utf-8-sig", newline="") as stream:
            writer = csv.writer(
                stream, quoting=csv.QUOTE_ALL if how == "quoted" else csv.QUOTE_MINIMAL,
                lineterminator="\n" if how == "unix lines" else "\r\n",
            )  # fmt: skip
            writer.writerows([*row, "", ""] if how == "empty columns" else row for row in rows)
            writer.writerows([[""] * len(rows[0])] * 3 if how == "empty rows" else [])
    assert said(read_site(folder)) == before


def test_semicolons_are_named_with_the_mend(folder: Path) -> None:
    edited(folder, "places.csv", rows_of(folder / "places.csv"), delimiter=";")
    with pytest.raises(BadInput) as caught:
        read_site(folder)
    assert "separated by semicolons" in str(caught.value) and "use commas" in str(caught.value)


def test_a_yard_filled_in_by_hand_is_planned(folder: Path) -> None:
    """A wall, a door head, a kerb, ground accepted; class figures and a guessed accuracy keep it not proven."""
    text = (folder / "site.toml").read_text(encoding="utf-8")
    for layer in ("surfaces", "obstacles", "soffits", "defects"):
        text = text.replace(f"# {layer} = ", f"{layer} = ")
    text = re.sub(r"^# (walkways|excavations|overhead_lines) = \S+", r'\1 = "none"', text, flags=re.MULTILINE)
    (folder / "site.toml").write_text(text, encoding="utf-8")
    whole = rows_of(folder / "boundary.csv")[1]
    edited(folder, "surfaces.csv", [
        [*COLUMNS["surfaces"], "wkt"],
        ["yard", "concrete", "temporary works coordinator", "2026-11-25", "5000", "", *whole],
    ])
    edited(folder, "obstacles.csv", [
        ["id", "kind", "width_m", "wkt"], ["wall-south", "wall", "0.2", "LINESTRING (20 0, 20 13)"],
        ["wall-north", "wall", "0.2", "LINESTRING (20 17, 20 30)"],
    ])
    edited(folder, "soffits.csv", [
        ["id", "kind", "clear_m", "sigma_m", "wkt"],
        ["door-head", "door", "5.0", "0.005", "POLYGON ((19.9 13, 20.1 13, 20.1 17, 19.9 17, 19.9 13))"],
    ])
    edited(folder, "defects.csv", [
        ["id", "kind", "height_m", "wkt"], ["kerb-1", "kerb", "0.10", "LINESTRING (26 22, 26 30)"],
    ])
    assert main(["plan", str(folder), "--out", str(folder / "out")]) == ExitStatus.NOT_PASSED
    plan = read_plan(folder / "out" / "plan.json")
    assert [move.verdict for move in plan.moves] == ["not proven", "not proven"]
    assert all(any(abs(pose.x - 20.0) < 0.1 and 13.0 < pose.y < 17.0 for pose in move.poses) for move in plan.moves)


@pytest.mark.parametrize("there", ["a file", "a folder with a file", "a link"])
def test_nothing_is_overwritten(tmp_path: Path, there: str) -> None:
    target = tmp_path / "site"
    if there == "a file":
        target.write_text("mine")
    elif there == "a link":
        target.symlink_to(tmp_path / "nowhere")
    else:
        target.mkdir()
        (target / "mine.txt").write_text("mine")
    before = sorted(str(path) for path in tmp_path.rglob("*"))
    with pytest.raises(BadInput, match="there is something there already"):
        new_site(target)
    assert sorted(str(path) for path in tmp_path.rglob("*")) == before


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    assert "site.toml" in new_site(tmp_path / "site")


def test_a_run_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, header: object, rows: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(new, "_write_csv", full)
    with pytest.raises(NotWritten, match="No space left"):
        new_site(tmp_path / "site")
    assert not list(tmp_path.iterdir())
