"""``routeplan new``: a folder that reads as made and as a spreadsheet leaves it, and whose words cannot go stale."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas
import pytest

from routeplan.cli.main import main
from routeplan.errors import BadInput, NotWritten
from routeplan.machine.read import applicable_figures, find_class, read_figure_kinds
from routeplan.planfile.plan import read_plan
from routeplan.route.model import CAUTIONS
from routeplan.site.columns import COLUMNS
from routeplan.site.consistency import EXAMPLE
from routeplan.site.csv_rows import CORNER_COLUMNS
from routeplan.site.departures import parse
from routeplan.site.faults import Faults
from routeplan.site.model import GridSpec, Site, Thresholds
from routeplan.site.new import MACHINE_CLASS, header, write_new_site
from routeplan.site.read import read_site
from routeplan.site.schema import TABLES, SiteFile

LAYERS = sorted(COLUMNS)
PARTS = (
    "obstacles", "soffits", "surfaces", "defects", "walkways", "line_corridors", "excavations", "areas", "readings",
    "places",
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_new_site(tmp_path / "yard")
    return tmp_path / "yard"


def table(path: Path) -> list[list[str]]:
    """The cells of a CSV."""
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline="")))


def same(a: Site, b: Site) -> None:
    """Two readings say the same."""
    assert a.boundary.equals(b.boundary) and np.array_equal(a.ground.z, b.ground.z)
    for part in PARTS:
        assert repr(getattr(a, part)) == repr(getattr(b, part)), part


# As made.


def test_it_reads_as_made_and_says_what_is_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path / "my yard")]) == 0
    said = capsys.readouterr().out
    assert f"routeplan check '{tmp_path / 'my yard'}'" in said
    assert "INVENTED" in said and all(caution in said for caution in CAUTIONS)
    assert all(path.name in said for path in (tmp_path / "my yard").iterdir())
    assert main(["check", str(tmp_path / "my yard")]) == 0
    said = capsys.readouterr().out
    assert "INVENTED DEMONSTRATION DATA" in said and "the accuracy of the levels is assumed" in said
    assert "SC8: mass_kg is a memory figure, not its own" in said and "No faults." in said


def test_its_one_move_is_planned_through_the_door_and_not_proven(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", str(folder), "--out", str(folder.parent / "out")]) == 8
    assert "D1  SC8  example-gate to example-bay: NOT PROVEN" in capsys.readouterr().out
    (move,) = read_plan(folder.parent / "out" / "plan.json").moves
    crossings = [(a.y + b.y) / 2.0 for a, b in pairwise(move.poses) if (a.x < 12.0) != (b.x < 12.0)]
    assert crossings and all(6.5 < y < 9.5 for y in crossings)


def test_every_layer_has_an_example(folder: Path) -> None:
    site = read_site(folder)
    assert all(getattr(site, part) for part in PARTS)
    assert site.invented and site.ground.accuracy.assumed
    assert not any(figure.trusted for figure in site.machines["SC8"].figures.values())


# What a spreadsheet does to it.


def quoted(path: Path, cells: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(cells)


def padded(path: Path, cells: list[list[str]]) -> None:
    width = len(cells[0]) + 3
    rows = [row + [""] * (width - len(row)) for row in cells] + [[""] * width] * 4
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        csv.writer(stream, lineterminator="\r\n").writerows(rows)


def padded_here_and_there(path: Path, cells: list[list[str]]) -> None:
    rows = [row + [""] * (2 * (number % 2)) for number, row in enumerate(cells)] + [[], [""]]
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        csv.writer(stream, lineterminator="\r\n").writerows(rows)


def bare(path: Path, cells: list[list[str]]) -> None:
    path.write_text("\n".join(",".join(row) for row in cells), encoding="utf-8")


def as_floats(path: Path, _: list[list[str]]) -> None:
    pandas.read_csv(path).to_csv(path, index=False)


def other_columns_first(path: Path, cells: list[list[str]]) -> None:
    quoted(path, [row[::-1] + ["note"] for row in cells])


def upside_down(path: Path, cells: list[list[str]]) -> None:
    quoted(path, [cells[0], *cells[:0:-1]])


@pytest.mark.parametrize("saved", [quoted, padded, padded_here_and_there, bare, as_floats, other_columns_first])
def test_it_reads_as_a_spreadsheet_leaves_it(folder: Path, saved: Callable[[Path, list[list[str]]], None]) -> None:
    before = read_site(folder)
    for path in folder.glob("*.csv"):
        content = path.read_bytes()
        saved(path, table(path))
        assert path.read_bytes() != content
    same(read_site(folder), before)


def test_rows_may_be_sorted_another_way(folder: Path) -> None:
    before = read_site(folder)
    for path in folder.glob("*.csv"):
        upside_down(path, table(path))
    after = read_site(folder)
    assert after.boundary.equals(before.boundary) and np.array_equal(after.ground.z, before.ground.z)
    for part in PARTS[:-1]:
        assert {repr(one) for one in getattr(after, part)} == {repr(one) for one in getattr(before, part)}


@pytest.mark.parametrize("name", [f"{layer}.csv" for layer in [*LAYERS, "levels"]])
def test_semicolons_and_decimal_commas_are_named(folder: Path, name: str) -> None:
    path = folder / name
    rows = [";".join(cell.replace(".", ",") for cell in row) for row in table(path)]
    path.write_text("\r\n".join(rows), encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_site(folder)
    (fault,) = (fault for fault in refused.value.faults if fault.where == name)
    assert "separated by semicolons" in fault.what and "commas and decimal points" in fault.mend


def test_a_day_that_a_spreadsheet_turned_round_is_named(folder: Path) -> None:
    path = folder / "surfaces.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("2026-11-02", "02/11/2026"), encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_site(folder)
    (fault,) = refused.value.faults
    assert fault.code == "bad-date" and "spreadsheet" in fault.mend and "example-slab" in fault.where


# Nothing of it may stand for anything real.


#: The examples that somebody is said to have accepted, by layer.
ACCEPTED = {
    "surfaces": "surfaces.csv, feature example-slab",
    "elevated_zones": "elevated_zones.csv, feature example-raised-zone",
}  # fmt: skip


def test_examples_left_in_a_real_site_are_faults(folder: Path) -> None:
    toml = folder / "site.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("invented = true", "invented = false"), encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_site(folder)
    found = {fault.where for fault in refused.value.faults if fault.code == "example-left"}
    assert len(found) == len(refused.value.faults)
    ids = {f"{layer}.csv, feature {row[0]}" for layer in LAYERS for row in table(folder / f"{layer}.csv")[1:]}
    roles = {f"{name}, accepted_by" for name in ACCEPTED.values()}
    assert found == ids | roles | {"site.toml, levels, survey"}


def test_an_example_s_acceptance_is_a_fault_under_any_other_id(folder: Path) -> None:
    for path in [folder / "site.toml", *folder.glob("*.csv")]:
        text = path.read_text(encoding="utf-8").replace("invented = true", "invented = false")
        path.write_text(re.sub(rf"{EXAMPLE}(?!role)", "own-", text), encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_site(folder)
    found = {fault.where: fault.what for fault in refused.value.faults}
    assert set(found) == {f"{name.replace(EXAMPLE, 'own-')}, accepted_by" for name in ACCEPTED.values()}
    assert all("accepted nothing" in what for what in found.values())


def test_its_own_rows_may_be_called_anything_else(folder: Path) -> None:
    for path in [folder / "site.toml", *folder.glob("*.csv")]:
        text = path.read_text(encoding="utf-8").replace(EXAMPLE, "own-").replace("invented = true", "invented = false")
        path.write_text(text, encoding="utf-8")
    assert not read_site(folder).invented


# Its words against the reader's tables.


def sections(text: str) -> Iterator[tuple[str, set[str]]]:
    """The sections of columns.txt by file, and the columns that each explains."""
    for title, body in re.findall(r"^(\w+)\.csv .*\n((?:  .*\n)*)", text, re.MULTILINE):
        yield title, set(re.findall(r"^  (\w+) ", body, re.MULTILINE))


def test_columns_txt_explains_every_column_and_no_other(folder: Path) -> None:
    text = (folder / "columns.txt").read_text(encoding="utf-8")
    explained = dict(sections(text))
    assert set(explained) == {*LAYERS, "levels"}
    shared = re.search(r"^every file .*\n((?:  .*\n)*)", text, re.MULTILINE)
    assert shared is not None
    drawn = set(re.findall(r"^  (\w+) ", shared[1], re.MULTILINE))
    assert drawn == {"id", *CORNER_COLUMNS}
    for layer in LAYERS:
        assert explained[layer] | (set() if layer in ("places", "readings") else drawn) == set(header(layer))
    assert explained["levels"] == {"x", "y", "z"}


@pytest.mark.parametrize("layer", LAYERS)
def test_headers_are_the_reader_s_columns(folder: Path, layer: str) -> None:
    first = tuple(table(folder / f"{layer}.csv")[0])
    assert first == header(layer)
    assert set(COLUMNS[layer]) <= set(first) <= {*COLUMNS[layer], "id", *CORNER_COLUMNS}
    assert first[-2:] == ("x", "y"), "the last cell of a row is always filled in: spreadsheets leave empty ones out"


def test_site_toml_shows_every_key_with_its_default(folder: Path) -> None:
    text = (folder / "site.toml").read_text(encoding="utf-8")
    values = tomllib.loads(re.sub(r"^# (?=\[|\w+ = \S)", "", text, flags=re.MULTILINE))
    faults = Faults()
    understood = parse(values, faults=faults)
    assert understood is not None and not faults.found
    assert understood.file.grid.model_dump() == vars(GridSpec())
    assert understood.file.thresholds.model_dump() == vars(Thresholds())
    shown: dict[str, Any] = {"": values}
    shown |= {name: one[0] if isinstance(one, list) else one for name, one in values.items()}
    for keys, section in TABLES.items():
        if len(keys) < 2:
            names = {field.alias or name for name, field in section.model_fields.items()}
            assert set(shown["".join(keys)]) == names, keys
    assert set(values) == set(SiteFile.model_fields)


def test_every_key_of_site_toml_is_explained_beside_it(folder: Path) -> None:
    text = (folder / "site.toml").read_text(encoding="utf-8")
    lines = re.findall(r"^(?:# )?\w+ = ?\S*.*$", text, re.MULTILINE)
    assert len(lines) > 60
    assert [line for line in lines if not re.search(r".  +# [\w\"]", line)] == []


def test_site_toml_shows_every_figure_without_a_value(folder: Path) -> None:
    text = (folder / "site.toml").read_text(encoding="utf-8")
    names = applicable_figures(find_class(MACHINE_CLASS, where=""))
    body = text.split("[machines.SC8.sheet]\n")[1].split("\n\n")[0].splitlines()
    assert [line.split()[1] for line in body] == list(names)
    for name, line in zip(names, body, strict=True):
        kind = read_figure_kinds()[name]
        assert re.fullmatch(rf"# {name} = +# .*", line) and kind.title in line and line.endswith(kind.unit)


def test_the_cautions_stand_on_top(folder: Path) -> None:
    top = (folder / "site.toml").read_text(encoding="utf-8").split("\nformat")[0]
    assert "INVENTED" in top and [line[4:] for line in top.splitlines() if line.startswith("# - ")] == list(CAUTIONS)


# Where it is made.


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    names = write_new_site(tmp_path)
    assert sorted(names) == sorted(path.name for path in tmp_path.iterdir())
    read_site(tmp_path)


@pytest.mark.parametrize(
    ("prepare", "given", "code"),
    [
        (lambda at: (at / ".hidden").write_text("mine"), ".", "folder-not-empty"),
        (lambda at: (at / "yard").write_text("mine"), "yard", "not-a-folder"),
        (lambda at: (at / "yard").symlink_to("nowhere"), "yard", "not-a-folder"),
        (lambda at: None, "nowhere/yard", "folder-missing"),
    ],
)
def test_nothing_is_overwritten(
    tmp_path: Path, prepare: Callable[[Path], object], given: str, code: str, capsys: pytest.CaptureFixture[str]
) -> None:
    prepare(tmp_path)
    before = {path: path.lstat().st_mtime_ns for path in tmp_path.rglob("*")}
    assert main(["new", str(tmp_path / given)]) == 6
    out, err = capsys.readouterr()
    assert out == "" and f"[{code}]" in err and str(tmp_path / given) in err and "Mend: " in err
    assert {path: path.lstat().st_mtime_ns for path in tmp_path.rglob("*")} == before


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize(("method", "which"), [("write_bytes", 0), ("write_bytes", 7), ("rename", 0), ("rename", 12)])
def test_a_failed_run_leaves_nothing(
    tmp_path: Path, method: str, which: int, there: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[Path] = []
    real = getattr(Path, method)

    def failing(path: Path, *arguments: Any) -> Any:
        calls.append(path)
        if len(calls) > which:
            raise OSError(28, "No space left on device")
        return real(path, *arguments)

    folder = tmp_path / "yard"
    if there:
        folder.mkdir()
    monkeypatch.setattr(Path, method, failing)
    with pytest.raises(NotWritten, match="No space left on device"):
        write_new_site(folder)
    assert len(calls) == which + 1
    assert list(tmp_path.rglob("*")) == ([folder] if there else [])
    assert main(["new", str(folder)]) == 7
