"""The plan file: what is written comes back, bytes are fixed, rounding is against the user, broken sets are refused."""

from __future__ import annotations

import hashlib
import json
import math
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from routeplan.errors import BadInput, NotWritten
from routeplan.planfile.codec import from_document, to_document
from routeplan.planfile.output_set import OutputSet
from routeplan.planfile.plan import read_plan, write_plan
from routeplan.route.model import Plan
from routeplan.route.rounding import as_written, down, up
from tests.plans import PLANS, check, move, plan

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "plan.schema.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def published(folder: Path, what: Plan | None = None, *, page: str = "page") -> Path:
    """A set of two files and the plan."""
    with OutputSet(folder) as outputs:
        outputs.path("map.html").write_text(page, encoding="utf-8")
        outputs.path("routes.gpkg").write_bytes(b"\0\1")
        outputs.leave_out("routes.geojson", "local grid")
        return outputs.publish(what or plan())


def broken(path: Path, change: Callable[[dict[str, Any]], object]) -> BadInput:
    """What reading says after a change to the document."""
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        read_plan(path)
    return caught.value


def codes(error: BadInput) -> set[str]:
    return {fault.code for fault in error.faults}


def same(one: Any, other: Any) -> bool:
    """Whether two plans hold the same, one unknown figure (NaN) being like another."""
    if is_dataclass(one) and type(one) is type(other):
        return all(same(getattr(one, field.name), getattr(other, field.name)) for field in fields(one))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    return bool(one == other) or (one != one and other != other)


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_a_plan_comes_back_and_its_file_fits_the_schema(tmp_path: Path) -> None:
    path = published(tmp_path)
    VALIDATOR.validate(json.loads(path.read_text(encoding="utf-8")))
    assert same(read_plan(path), as_written(plan()))


@given(PLANS)
def test_any_plan_comes_back(what: Plan) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = write_plan(what, Path(folder), outputs={}, not_written={})
        document = json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)
        VALIDATOR.validate(document)
        assert same(read_plan(path), as_written(what))
        assert same(as_written(as_written(what)), as_written(what))
        assert same(from_document(document, source="plan.json"), as_written(what))


def _inner(document: Any, place: tuple[Any, ...]) -> Any:
    for key in place:
        document = document[key]
    return document


@pytest.mark.parametrize(
    "place",
    [
        (), ("site",), ("conditions",), ("confidence",), ("machines", "SC"), ("machines", "SC", "wheels", 0),
        ("machines", "SC", "configurations", "stowed"), ("machines", "SC", "configurations", "stowed", "basket"),
        ("machines", "SC", "configurations", "stowed", "boxes", 0), ("machines", "SC", "figures", "mass_kg"),
        ("moves", 0), ("moves", 0, "checks", 0), ("moves", 0, "controls", 0), ("moves", 0, "holds", 0),
        ("moves", 0, "zones", 0), ("moves", 0, "legs", 0), ("moves", 0, "nearest_misses", 0), ("moves", 1, "refused"),
        ("moves", 1, "refused", "objections", 0), ("site", "inputs", 0),
    ],
)  # fmt: skip
def test_schema_and_reader_both_need_every_key(tmp_path: Path, place: tuple[Any, ...]) -> None:
    path = published(tmp_path)
    text = path.read_text(encoding="utf-8")
    # The file's own lists, and what is for people: a reader of the plan can do without.
    spare = {"approvals", "not_written", "origin"}
    keys = list(_inner(json.loads(text), place))
    assert keys
    for key in keys:
        document = json.loads(text)
        del _inner(document, place)[key]
        assert not VALIDATOR.is_valid(document), key
        path.write_text(json.dumps(document), encoding="utf-8")
        if key not in spare:
            with pytest.raises(BadInput):
                read_plan(path)


def test_the_columns_of_poses_are_found_by_name() -> None:
    document = to_document(plan())
    for row in (document["moves"][0]["poses"]["columns"], *document["moves"][0]["poses"]["rows"]):
        row.reverse()
        row.insert(0, "later")
    assert same(from_document(document, source="plan.json"), plan())


def test_the_contract_names_are_there() -> None:
    document = to_document(plan())
    top = "format software issued valid_until revision supersedes status approvals conditions"
    assert {*top.split(), "site", "grid", "confidence", "machines", "moves", "cautions"} <= set(document)
    assert set(document["site"]) == {"name", "revision", "crs", "inputs"}
    assert set(document["confidence"]) == {"route", "k_by_move"}
    scissor = document["machines"]["SC"]
    assert scissor["figures"]["mass_kg"] == {"value": 2310.5, "tag": "measured", "source": "measured on the machine"}
    assert {"xi", "eta", "radius_m", "width_m", "steered", "oscillating", "contact_area_m2"} < set(scissor["wheels"][0])
    assert {"xi", "eta", "floor_height_m", "end"} < set(scissor["configurations"]["stowed"]["basket"])
    assert {"from", "to", "bound", "best_possible_m", "nearest_misses"} < set(document["moves"][0])


def test_same_plan_same_bytes(tmp_path: Path) -> None:
    one, other = published(tmp_path / "a"), published(tmp_path / "b")
    assert one.read_bytes() == other.read_bytes()


def test_outputs_are_listed_with_their_sha256(tmp_path: Path) -> None:
    document = json.loads(published(tmp_path).read_text(encoding="utf-8"))
    assert document["outputs"] == [
        {"path": "map.html", "sha256": hashlib.sha256(b"page").hexdigest()},
        {"path": "routes.gpkg", "sha256": hashlib.sha256(b"\0\1").hexdigest()},
    ]
    assert document["not_written"] == [{"path": "routes.geojson", "reason": "local grid"}]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["map.html", "plan.json", "routes.gpkg"]


def test_an_infinite_number_is_not_written(tmp_path: Path) -> None:
    endless = plan(move(checks=(check(margin=math.inf),)))
    with pytest.raises(ValueError, match=r"moves\[0\]\.checks\[0\]\.margin is infinite"):
        write_plan(endless, tmp_path, outputs={}, not_written={})
    assert list(tmp_path.iterdir()) == []


# Rounding


@given(st.floats(-1e6, 1e6))
@example(0.29)
@example(-0.0)
@example(5e-324)
def test_down_and_up_enclose_and_stay(value: float) -> None:
    assert down(value) <= value <= up(value)
    assert up(value) - down(value) <= 1.001e-5
    assert down(down(value)) == down(value) and up(up(value)) == up(value)


@pytest.mark.parametrize(
    ("value", "limit", "margin", "written"),
    [
        (0.1000049, 0.3000001, 0.1999952, (0.10001, 0.3, 0.19999)),  # below an upper limit
        (0.5000049, 0.3000001, 0.2000048, (0.5, 0.30001, 0.2)),  # above a lower limit
        (0.3000149, 0.3000001, -0.0000148, (0.30002, 0.3, -0.00002)),  # beyond an upper limit
        (0.2999949, 0.3000001, -0.0000052, (0.29999, 0.30001, -0.00001)),  # below a lower limit
    ],
)
def test_checks_round_against_the_user(
    value: float, limit: float, margin: float, written: tuple[float, float, float]
) -> None:
    one = check(value=value, limit=limit, margin=margin, sigma=1e-7, k=2.00000001)
    (found,) = as_written(plan(move(checks=(one,)))).moves[0].checks
    assert (found.value, found.limit, found.margin) == written
    assert (found.sigma, found.k) == (1e-5, 2.000001)


@given(st.floats(0.1, 1e4), st.floats(1.0, 3.0))
def test_the_bound_holds_for_the_costs_as_written(best_m: float, ratio: float) -> None:
    cost_m = best_m * ratio
    (found,) = as_written(plan(move(cost_m=cost_m, best_possible_m=best_m, bound=cost_m / best_m))).moves
    assert found.bound >= max(1.0, found.cost_m / found.best_possible_m)
    assert found.bound <= cost_m / best_m * 1.001


def test_a_bearing_that_rounds_to_a_whole_turn_is_zero() -> None:
    poses = move().poses[:1]
    (found,) = as_written(plan(move(poses=(poses[0]._replace(bearing_deg=359.9999999),)))).moves
    assert found.poses[0].bearing_deg == 0.0


def test_machine_figures_are_not_rounded(tmp_path: Path) -> None:
    machine = plan().machines["SC"]
    odd = replace(machine, wheels=(replace(machine.wheels[0], xi_m=1.85000000001), *machine.wheels[1:]))
    path = write_plan(plan(machines={"SC": odd}), tmp_path, outputs={}, not_written={})
    assert read_plan(path).machines["SC"].wheels[0].xi_m == 1.85000000001


# Reading what is broken


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.pop("moves"),
        lambda d: d["site"].pop("crs"),
        lambda d: d.update(moves=None),
        lambda d: d.update(machines=[]),
        lambda d: d["moves"][0].update(verdict="fine"),
        lambda d: d["moves"][0].update(machine="ghost"),
        lambda d: d["moves"][0].update(configuration="raised"),
        lambda d: d["moves"][0].update(reversals=True),
        lambda d: d["moves"][0].update(length_m="long"),
        lambda d: d["moves"][0]["checks"][0].update(place=[1.0]),
        lambda d: d["moves"][0]["checks"][0].update(margin=1e999),
        lambda d: d["moves"][0]["poses"]["columns"].remove("gear"),
        lambda d: d["moves"][0]["poses"].pop("rows"),
        lambda d: d["moves"][0]["poses"]["rows"][3].pop(),
        lambda d: d["moves"][0]["poses"]["rows"].append(7),
        lambda d: d["moves"][0]["poses"]["rows"][0].__setitem__(3, 0.5),
        lambda d: d["machines"]["SC"]["wheels"].pop(),
        lambda d: d["machines"]["SC"]["figures"]["mass_kg"].update(tag="guess"),
        lambda d: d["machines"]["SC"]["figures"].update(mass_kg=4),
        lambda d: d.pop("outputs"),
        lambda d: d.update(outputs=[3]),
        lambda d: d["outputs"][0].update(path="../map.html"),
        lambda d: d["outputs"][0].update(path="/map.html"),
        lambda d: d["outputs"][0].update(path=""),
        lambda d: d["outputs"][0].update(sha256=None),
    ],
)
def test_a_broken_schema_is_refused(tmp_path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    path = published(tmp_path)
    error = broken(path, change)
    assert codes(error) <= {"plan-schema", "plan-not-json"}
    assert all(str(path) in fault.where for fault in error.faults)


def test_every_fault_of_a_plan_is_told(tmp_path: Path) -> None:
    def change(document: dict[str, Any]) -> None:
        document["moves"][0]["length_m"] = "long"
        document["moves"][1]["verdict"] = "fine"
        del document["issued"]

    error = broken(published(tmp_path), change)
    places = {fault.where.split(", ")[-1] for fault in error.faults}
    assert places == {"moves[0].length_m", "moves[1].verdict", "issued"}


@pytest.mark.parametrize("found", [None, "routeplan/plan@2", 1])
def test_another_format_is_refused(tmp_path: Path, found: object) -> None:
    assert codes(broken(published(tmp_path), lambda document: document.update(format=found))) == {"plan-format"}


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "plan-not-json"), (b"[NaN]", "plan-not-json"), (b"\xff", "plan-not-json"), (b"[]", "plan-format"),
     (b"[" * 100_000, "plan-not-json")],
)  # fmt: skip
def test_what_is_no_plan_is_refused(tmp_path: Path, content: bytes, code: str) -> None:
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    with pytest.raises(BadInput) as caught:
        read_plan(path)
    assert codes(caught.value) == {code}


def test_a_plan_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read_plan(tmp_path / "plan.json")
    assert codes(caught.value) == {"plan-unreadable"}


def test_a_set_that_does_not_match_is_refused(tmp_path: Path) -> None:
    path = published(tmp_path)
    (tmp_path / "map.html").write_text("another page", encoding="utf-8")
    (tmp_path / "routes.gpkg").unlink()
    with pytest.raises(BadInput) as caught:
        read_plan(path)
    assert codes(caught.value) == {"plan-set-broken"}
    assert len(caught.value.faults) == 2


# Publishing


def test_a_new_set_replaces_the_old_one_and_its_left_out_files(tmp_path: Path) -> None:
    (tmp_path / "routes.geojson").write_text("old", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("somebody's own", encoding="utf-8")
    published(tmp_path)
    path = published(tmp_path, plan(revision="R2"), page="new page")
    assert read_plan(path).revision == "R2"
    assert (tmp_path / "map.html").read_text(encoding="utf-8") == "new page"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["map.html", "notes.txt", "plan.json", "routes.gpkg"]


def test_a_run_that_fails_leaves_the_earlier_set_whole(tmp_path: Path) -> None:
    path = published(tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(RuntimeError), OutputSet(tmp_path) as outputs:
        outputs.path("map.html").write_text("half a page", encoding="utf-8")
        raise RuntimeError("interrupted")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    assert same(read_plan(path), as_written(plan()))


@pytest.mark.parametrize("failing", ["map.html", "routes.gpkg", "plan.json"])
def test_a_rename_that_fails_is_undone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    path = published(tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    original = Path.replace

    def replace_or_fail(self: Path, target: Path) -> Path:
        if target == tmp_path / failing and "earlier" not in self.parts:
            raise PermissionError(13, "Permission denied")
        return original(self, target)

    monkeypatch.setattr(Path, "replace", replace_or_fail)
    with pytest.raises(NotWritten):
        published(tmp_path, plan(revision="R2"), page="new page")
    monkeypatch.undo()
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    assert read_plan(path).revision == "R1"


def test_an_output_that_was_never_made_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(NotWritten), OutputSet(tmp_path / "new") as outputs:
        outputs.path("map.html")
        outputs.publish(plan())
    assert not (tmp_path / "new").exists()


def test_a_folder_that_cannot_be_made_is_not_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(NotWritten), OutputSet(tmp_path / "file" / "out"):
        pytest.fail("entered")


def test_an_os_error_inside_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(NotWritten), OutputSet(tmp_path):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []
