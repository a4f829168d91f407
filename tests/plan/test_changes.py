"""A plan after a change: what stands and why, what goes another way, what is cut off; and back again."""

from __future__ import annotations

import dataclasses
import json
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import shapely
from referencing import Registry, Resource

from routeplan.cli.main import main
from routeplan.plan.changes import Reroute
from routeplan.plan.covered import outlines
from routeplan.plan.whole import Issue
from routeplan.planfile.plan import read_plan
from routeplan.route.model import Conditions
from routeplan.site.changes import ALWAYS
from routeplan.site.model import Area
from routeplan.site.read import read_site
from tests.plan.two_doors import DAY, ISSUED, LATER, MOVES, figures, moves_of, write_doors
from tests.site.folders import feature, geojson, polygon

Captured = pytest.CaptureFixture[str]
DOCS, PLAN = Path(__file__).parents[2] / "docs", "plan.schema.json"
PLATE = 'class = "slab-scissor-8m"\nsheet_source = "its plate (a test)"\n[sheet]\n'


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder, and in ``first`` below it its plan."""
    folder = write_doors(tmp_path_factory.mktemp("doors") / "site")
    assert main(["plan", str(folder), "--out", str(folder.parent / "first"), "--issued", ISSUED]) == 0
    return folder.parent


def rerouted(root: Path, before: str, after: str, *change: str) -> int:
    out = ["--out", str(root / after), "--issued", LATER]
    return main(["reroute", str(root / before / "plan.json"), "--site", str(root / "site"), *change, *out])


def told(root: Path, name: str) -> dict[str, tuple[str, str]]:
    """What became of each move, and why."""
    document = json.loads((root / name / "changes.json").read_text(encoding="utf-8"))
    return {one["id"]: (one["change"], one["why"]) for one in document["moves"]}


def recheck(root: Path, name: str) -> int:
    return main(["recheck", str(root / name / "plan.json"), "--site", str(root / "site")])


def test_a_closure_sends_round_what_it_meets_and_leaves_what_it_does_not_come_near(first: Path) -> None:
    assert rerouted(first, "first", "south-closed", "--close", "south") == 0
    changes = told(first, "south-closed")
    assert [change for change, _ in changes.values()] == ["changed", "changed", "unchanged"]
    assert changes["M1"][1] == "searched again; its way led through south, closed now"
    assert changes["M3"][1] == "4 m clear of south; bound 1.000 still holds"
    old, new = moves_of(first / "first"), moves_of(first / "south-closed")
    assert new["M3"] == old["M3"] and new["M1"]["length_m"] > old["M1"]["length_m"]
    assert {area for leg in new["M1"]["legs"] for area in leg["areas"]} == {"north"}
    plan = read_plan(first / "south-closed" / "plan.json")
    assert (plan.revision, plan.supersedes, plan.conditions.closed) == ("2", f"revision 1, issued {ISSUED}", ("south",))
    assert recheck(first, "south-closed") == 0


def test_what_a_change_did_fits_its_schema(first: Path) -> None:
    rerouted(first, "first", "schema", "--close", "south")
    schemas = {name: json.loads((DOCS / name).read_text(encoding="utf-8")) for name in ("changes.schema.json", PLAN)}
    registry = Registry().with_resource(PLAN, Resource.from_contents(schemas[PLAN]))
    validator = jsonschema.Draft202012Validator(schemas["changes.schema.json"], registry=registry)
    validator.validate(json.loads((first / "schema" / "changes.json").read_text(encoding="utf-8")))


def test_opening_again_gives_the_first_ways_again_byte_for_byte(first: Path) -> None:
    rerouted(first, "first", "shut", "--close", "south")
    assert rerouted(first, "shut", "again", "--open", "south") == 0
    assert moves_of(first / "again") == moves_of(first / "first")
    assert told(first, "again")["M1"] == ("changed", "its earlier way is open again")
    old, new = (read_plan(first / name / "plan.json") for name in ("first", "again"))
    assert new.conditions == old.conditions and new.k_by_move == old.k_by_move


def test_opening_again_after_further_changes_finds_the_ways_of_two_plans_before(first: Path) -> None:
    rerouted(first, "first", "one", "--close", "south")
    assert rerouted(first, "one", "two", "--close", "north") == 3
    assert rerouted(first, "two", "three", "--open", "north") == 0
    assert moves_of(first / "three") == moves_of(first / "one")
    assert rerouted(first, "three", "four", "--open", "south") == 0
    assert moves_of(first / "four") == moves_of(first / "first")


def test_a_move_without_any_way_left_is_cut_off_and_says_by_what(first: Path, capsys: Captured) -> None:
    assert rerouted(first, "first", "cut", "--close", "south,north") == 3
    changes = told(first, "cut")
    assert [change for change, _ in changes.values()] == ["cut off", "cut off", "unchanged"]
    assert "M1  CUT OFF: NO ROUTE" in capsys.readouterr().out
    page = (first / "cut" / "changes.html").read_text(encoding="utf-8")
    assert page.index("Cut off") < page.index("Unchanged")
    assert "is void.</strong>" in page and "There is no way now: do not drive." in page


def test_a_machine_that_is_cut_off_from_where_it_works_stands_where_the_plan_left_it(tmp_path: Path) -> None:
    """It may be there already, and is not searched for anew at every heading."""
    legs = (("M1", "delivery", "east", "west"), ("M2", "relocation", "west", "north-west"))
    moves = [
        {"id": name, "purpose": why, "machine": "SC", "start": start, "goal": goal, "on": DAY, "wet": "true"}
        for name, why, start, goal in legs
    ]
    write_doors(tmp_path / "site", moves=moves)
    walls = [feature(polygon(12.9, a, 13.1, b), id=f"wall-{n}") for n, (a, b) in enumerate(((0, 3), (7, 18)))]
    (tmp_path / "site" / "obstacles.geojson").write_text(geojson(*walls), encoding="utf-8")
    assert main(["plan", str(tmp_path / "site"), "--out", str(tmp_path / "first"), "--issued", ISSUED]) == 0
    assert rerouted(tmp_path, "first", "cut", "--close", "south") == 3
    changes = told(tmp_path, "cut")
    assert changes["M1"][0] == "cut off" and changes["M2"][0] == "unchanged"
    assert changes["M2"][1].endswith("; from where M1, which has no way now, left it before")
    assert moves_of(tmp_path / "cut")["M2"] == moves_of(tmp_path / "first")["M2"]
    assert main(["recheck", str(tmp_path / "cut" / "plan.json"), "--site", str(tmp_path / "site")]) == 8
    assert rerouted(tmp_path, "cut", "wet", "--wet") == 3
    assert told(tmp_path, "wet")["M2"][1].endswith("; M1, which is to bring it there, has no way")
    found = tmp_path / "excavations.geojson"
    found.write_text(geojson(feature(polygon(3, 9, 4.5, 10), id="pit", set_back_m=0.5)), encoding="utf-8")
    assert rerouted(tmp_path, "first", "dug", "--close", "south", "--add", str(found)) == 3
    why = told(tmp_path, "dug")["M2"][1]
    assert why.startswith("searched again") and why.endswith("; from where M1, which has no way now, left it before")


def test_what_had_no_way_has_none_when_more_is_closed(first: Path) -> None:
    rerouted(first, "first", "both", "--close", "south,north")
    assert rerouted(first, "both", "still", "--wet") == 3
    assert told(first, "still")["M1"] == ("unchanged", "it had no way before, and nothing gives it one")


def test_rain_takes_the_dry_only_off_a_move(first: Path) -> None:
    assert rerouted(first, "first", "rain", "--wet") == 0
    changes = told(first, "rain")
    assert changes["M1"][0] == "unchanged" and changes["M3"] == ("changed", "searched again; it may be wet now")
    assert not [one for one in moves_of(first / "rain")["M3"]["controls"] if one["kind"] == "grip"]
    assert recheck(first, "rain") == 0


def test_a_hazard_that_was_found_is_gone_round_and_judged_from_the_set_alone(first: Path) -> None:
    found = first / "excavations.geojson"
    found.write_text(geojson(feature(polygon(14, 3, 16, 8), id="pit", set_back_m=0.5)))
    assert rerouted(first, "first", "pit", "--add", str(found)) == 0
    found.unlink()
    changes = told(first, "pit")
    assert [change for change, _ in changes.values()] == ["changed", "changed", "unchanged"]
    plan = read_plan(first / "pit" / "plan.json")
    assert plan.conditions.added == ("added-2-1-excavations.geojson",)
    assert recheck(first, "pit") == 0
    assert rerouted(first, "pit", "pit-shut", "--close", "south") == 0
    assert {change for change, _ in told(first, "pit-shut").values()} == {"unchanged"}
    assert recheck(first, "pit-shut") == 0


def test_an_added_hazard_that_is_taken_away_from_the_set_is_missed(first: Path) -> None:
    found = first / "excavations.geojson"
    found.write_text(geojson(feature(polygon(14, 3, 16, 8), id="pit", set_back_m=0.5)))
    rerouted(first, "first", "robbed", "--add", str(found))
    (first / "robbed" / "added-2-1-excavations.geojson").unlink()
    assert recheck(first, "robbed") == 6


def test_what_a_plan_was_made_for_is_of_its_set(first: Path) -> None:
    """No name leads out of the set, neither to read there nor to write."""
    for name in ("../excavations.geojson", "excavations.geojson"):
        root = first / f"made-for-{len(name)}"
        root.mkdir()
        document = json.loads((first / "first" / "plan.json").read_text(encoding="utf-8"))
        document["conditions"]["added"], document["outputs"] = [name], []
        (root / "plan.json").write_text(json.dumps(document), encoding="utf-8")
        assert recheck(first, root.name) == 6
        assert rerouted(first, root.name, "led-out", "--wet") == 6


def test_a_plate_that_is_laid_gives_room_so_everything_is_searched_again(first: Path) -> None:
    laid = first / "defects.geojson"
    proven = {"proven_by": "its maker", "proven_on": "2026-11-20", "wheel_limit_kn": 60.0, "state": "proven"}
    plate = feature(polygon(22, 14, 24, 16), id="plate", kind="plate", width_m=2, height_m=0.02, **proven)
    laid.write_text(geojson(plate))
    assert rerouted(first, "first", "plate-laid", "--add", str(laid)) == 0
    assert {why for _, why in told(first, "plate-laid").values()} == {"searched again: it comes out as it was"}


def test_a_machine_that_was_delivered_is_accepted_or_rejected_before_unloading(first: Path, capsys: Captured) -> None:
    assert rerouted(first, "first", "other", "--machine", "SC=SD") == 0
    assert "ACCEPT SD, delivered instead of SC" in capsys.readouterr().out
    assert recheck(first, "other") == 0
    capsys.readouterr()
    (first / "SC9.toml").write_text(PLATE + figures(mass_kg=60000.0))
    assert rerouted(first, "first", "heavy", "--machine", f"SC={first / 'SC9.toml'}") == 3
    said = capsys.readouterr().out
    assert "REJECT before unloading SC9, delivered instead of SC: M1 no route, M2 no route" in said
    assert told(first, "heavy")["M3"][0] == "unchanged"
    assert "REJECT before unloading SC9" in (first / "heavy" / "changes.html").read_text(encoding="utf-8")


def test_a_delivered_machine_s_figures_go_with_the_plan(first: Path) -> None:
    (first / "SC8.toml").write_text(PLATE + figures())
    assert rerouted(first, "first", "plate", "--machine", f"SC={first / 'SC8.toml'}") == 0
    (first / "SC8.toml").unlink()
    assert recheck(first, "plate") == 0
    document = json.loads((first / "plate" / "plan.json").read_text(encoding="utf-8"))
    assert "SC8.toml" in [one["path"] for one in document["outputs"]]


def test_nothing_is_kept_of_a_plan_for_another_folder(first: Path, tmp_path: Path) -> None:
    root = tmp_path / "moved"
    shutil.copytree(first / "site", root / "site")
    shutil.copytree(first / "first", root / "first")
    text = (root / "site" / "site.toml").read_text(encoding="utf-8")
    (root / "site" / "site.toml").write_text(text.replace('revision = "T1"', 'revision = "T2"'), encoding="utf-8")
    assert rerouted(root, "first", "anew") == 0
    why = "the site folder has changed since the plan before (site.toml): it comes out as it was"
    assert told(root, "anew")["M3"] == ("unchanged", why)


def doctored(root: Path, name: str, change: Any) -> None:
    """A copy of the first plan in which somebody changed a move."""
    (root / name).mkdir()
    document = json.loads((root / "first" / "plan.json").read_text(encoding="utf-8"))
    change({move["id"]: move for move in document["moves"]})
    document["outputs"] = []
    (root / name / "plan.json").write_text(json.dumps(document), encoding="utf-8")


def faster(move: dict[str, Any]) -> None:
    """Let people drive a move faster than its machine can."""
    rows = move["poses"]
    at = rows["columns"].index("v_max_mps")
    for row in rows["rows"]:
        row[at] = 3.0


def test_a_kept_move_is_judged_like_any_other(first: Path) -> None:
    """Whoever doctors a plan does not get it back from here: what the second opinion refuses is planned again."""
    doctored(first, "doctored", lambda moves: faster(moves["M3"]))
    assert rerouted(first, "doctored", "mended", "--close", "south") == 0
    assert told(first, "mended")["M3"][0] == "changed"
    assert moves_of(first / "mended")["M3"]["poses"] == moves_of(first / "first")["M3"]["poses"]


def test_what_was_searched_for_after_all_does_not_say_that_it_was_kept(first: Path) -> None:
    doctored(first, "once", lambda moves: faster(moves["M1"]))
    assert rerouted(first, "once", "once-mended", "--wet") == 0
    assert told(first, "once-mended")["M2"] == ("unchanged", "searched again: it comes out as it was")


def test_every_kept_move_of_a_machine_that_is_refused_is_planned_again(first: Path) -> None:
    """Not the first of them only."""

    def both(moves: dict[str, Any]) -> None:
        faster(moves["M1"])
        faster(moves["M2"])

    doctored(first, "twice", both)
    assert rerouted(first, "twice", "both-mended", "--wet") == 0
    mended, old = moves_of(first / "both-mended"), moves_of(first / "first")
    assert [mended[one]["poses"] for one in ("M1", "M2")] == [old[one]["poses"] for one in ("M1", "M2")]


def test_a_move_is_kept_only_where_its_machine_stands_as_it_stood(first: Path) -> None:
    site, before = read_site(first / "site"), read_plan(first / "first" / "plan.json")
    reroute = Reroute(before, (), site, Issue(LATER, "2"), {})
    m1, m2, _ = before.moves
    _, wanted, _ = site.moves

    def stands(**other: Any) -> str:
        done = dataclasses.replace(m1, poses=(*m1.poses[:-1], m1.poses[-1]._replace(**other)))
        return reroute._stands(m2, wanted, [done])

    assert stands() == "nothing near it has changed"
    assert stands(x=m1.poses[-1].x + 0.01) == ""
    assert stands(bearing_deg=m1.poses[-1].bearing_deg + 1.0) == ""
    assert stands(travel_mode="beside_rails_up") == ""
    cut_off = dataclasses.replace(m1, poses=())
    assert reroute._stands(m2, wanted, [cut_off]) == "nothing near it has changed"  # where the plan before left it
    assert dataclasses.replace(reroute, anew="the site has changed")._stands(m2, wanted, [cut_off]) == ""
    earlier = dataclasses.replace(reroute, before=dataclasses.replace(before, moves=()), earlier=before.moves)
    assert earlier._stands(m2, wanted, [m1]) == "its earlier way is open again"
    moved = dataclasses.replace(m1, poses=(*m1.poses[:-1], m1.poses[-1]._replace(x=0.0)))
    assert earlier._stands(m2, wanted, [moved]) == ""


def test_a_machine_that_was_delivered_is_not_taken_to_stand_where_the_one_ordered_was_left(first: Path) -> None:
    """Though it is one of the site's, and the plan before had it, too."""
    site, before = read_site(first / "site"), read_plan(first / "first" / "plan.json")
    reroute, cut_off = Reroute(before, (), site, Issue(LATER, "2"), {}), dataclasses.replace(before.moves[0], poses=())
    assert reroute.was(cut_off) == before.moves[0]
    assert reroute.was(dataclasses.replace(cut_off, machine="SD")).poses == ()


def test_a_way_is_known_only_for_the_same_machine_asked_for_the_same(first: Path) -> None:
    site, before = read_site(first / "site"), read_plan(first / "first" / "plan.json")
    reroute = Reroute(before, (), site, Issue(LATER, "2"), {})
    wanted, machine = site.moves[0], site.machines["SC"]
    assert list(reroute._candidates(wanted)) == [before.moves[0]]
    heavier = dataclasses.replace(machine.figures["mass_kg"], value=machine.value("mass_kg") + 1.0)
    other = dataclasses.replace(machine, figures={**machine.figures, "mass_kg": heavier})
    figures_differ = dataclasses.replace(site, machines={**site.machines, "SC": other})
    for differs in ({"site": figures_differ}, {"anew": "the site folder has changed"}):
        assert not list(dataclasses.replace(reroute, **differs)._candidates(wanted)), differs
    asked: tuple[dict[str, Any], ...] = (
        {"id": "M9"}, {"machine": "SD"}, {"configuration": "raised"}, {"start": "east"}, {"goal": "north-west"},
        {"via": ("north-west",)}, {"on": None}, {"wet": False},
    )  # fmt: skip
    for differs in asked:
        assert not list(reroute._candidates(dataclasses.replace(wanted, **differs))), differs


@pytest.mark.parametrize(("away_m", "why"), [(4.001, "4 m clear of ramp; bound 1.000 still holds"), (3.999, "")])
def test_a_move_is_kept_only_where_all_that_is_new_is_far_enough_from_its_body(
    first: Path, away_m: float, why: str
) -> None:
    """As far as anything tells on a pose (docs/design.md), whether it is closed or found."""
    site, before = read_site(first / "site"), read_plan(first / "first" / "plan.json")
    wanted, move = site.moves[2], before.moves[2]
    (_, _, east, _) = shapely.union_all(outlines(move.poses, site.machines["SD"], "stowed")).bounds
    thing = shapely.box(east + away_m, 0.0, east + away_m + 1.0, 18.0)
    closed = dataclasses.replace(site, areas=(*site.areas, Area("ramp", "ramp", thing, ALWAYS)))
    assert Reroute(before, (), closed, Issue(LATER, "2"), {})._stands(move, wanted, []) == why
    found = Issue(LATER, "2", None, Conditions(added=("ramp",)))
    assert Reroute(before, (), site, found, {"ramp": thing})._stands(move, wanted, []) == why


@pytest.mark.parametrize("more", [{"closed": ("south",)}, {"added": ("pit",)}])
def test_a_move_that_was_planned_with_less_room_is_searched_again(first: Path, more: dict[str, Any]) -> None:
    """With more room there may be a better way, so that its bound says nothing."""
    site, before = read_site(first / "site"), read_plan(first / "first" / "plan.json")
    reroute, wanted, move = Reroute(before, (), site, Issue(LATER, "2"), {}), site.moves[2], before.moves[2]
    assert reroute._stands(move, wanted, []) == "nothing near it has changed"
    assert reroute._stands(dataclasses.replace(move, under=dataclasses.replace(move.under, **more)), wanted, []) == ""


def test_a_move_that_is_said_to_need_less_open_than_it_does_is_not_kept(first: Path) -> None:
    """Its way leads through the south door, whatever its plan says that it was made under."""
    doctored(first, "lying", lambda moves: moves["M1"]["under"].update(closed=["south"]))
    assert rerouted(first, "lying", "found-out", "--close", "south") == 0
    assert {area for leg in moves_of(first / "found-out")["M1"]["legs"] for area in leg["areas"]} == {"north"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("--close", "east"), 'there is no area "east"'),
        (("--open", "east"), 'there is no area "east"'),
        (("--machine", "XX=SD"), 'there is no machine "XX"'),
        (("--machine", "SC=XX"), 'there is no machine "XX"'),
        (("--add", "places.geojson"), 'no layer of hazards is called "places"'),
        (("--add", "excavations.geojson"), 'there is no file "excavations.geojson"'),
    ],
)
def test_what_is_not_there_is_a_fault(first: Path, capsys: Captured, change: tuple[str, ...], said: str) -> None:
    assert rerouted(first, "first", "nothing", *change) == 6
    assert said in capsys.readouterr().err
    assert not (first / "nothing").exists()


def test_an_area_opened_against_its_dates_is_a_control_and_a_closure_that_comes_ends_the_plan(tmp_path: Path) -> None:
    dated = {"south": f"{DAY}; 2026-12-20/2026-12-24", "north": "2026-11-01/2026-12-31"}
    write_doors(tmp_path / "site", closed=dated)
    out = str(tmp_path / "first")
    assert main(["plan", str(tmp_path / "site"), "--out", out, "--issued", ISSUED]) == 3
    assert rerouted(tmp_path, "first", "open", "--open", "south") == 0
    move = moves_of(tmp_path / "open")["M1"]
    assert move["verdict"] == "pass with controls"
    (control,) = (one for one in move["controls"] if one["kind"] == "opened area")
    assert "south door (south) is taken as open against the site's own dates" in control["text"]
    assert recheck(tmp_path, "open") == 0


def test_a_plan_and_its_moves_end_before_the_next_closure_that_meets_them(tmp_path: Path) -> None:
    dated = {"south": "2026-12-05/2026-12-06; 2026-12-20/2026-12-24", "north": "2026-12-11/2026-12-12"}
    write_doors(tmp_path / "site", closed=dated)
    main(["plan", str(tmp_path / "site"), "--out", str(tmp_path / "first"), "--issued", ISSUED])
    moves = moves_of(tmp_path / "first")
    assert [moves[one["id"]]["valid_until"] for one in MOVES] == ["2026-12-04", "2026-12-19", None]
    assert read_plan(tmp_path / "first" / "plan.json").valid_until == "2026-12-19"
    page = (tmp_path / "first" / "map.html").read_text(encoding="utf-8")
    assert 'data-until="2026-12-04"' in page and 'data-until="2026-12-19"' in page
