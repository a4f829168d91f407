"""Tiles that outlive a run: what is found with them is what is found without, and nothing rests on them."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from routeplan.hazards.terrain import build_terrain
from routeplan.plan.aids import UNAIDED, Aids
from routeplan.plan.lattices import Lattices
from routeplan.plan.tiles import Store, Tiles, name_of
from routeplan.plan.whole import plan_site
from routeplan.planfile.codec import to_document
from routeplan.planfile.plan import json_text
from routeplan.search.lattice import CheckedLattice
from routeplan.search.motions import Motions, solve_motions
from routeplan.site.changes import ALWAYS
from routeplan.site.model import Area, GridSpec, Obstacle, Site
from tests import worlds

ISSUED = "2026-11-24T12:00:00+00:00"
MACHINE = worlds.scissor(pivots=1.0)
WANTED = worlds.wanted(MACHINE.id, "w", "e")
DAY = dt.date(2026, 12, 1)
NEAR, OFF = box(9.0, 2.0, 11.0, 6.5), box(16.0, 8.0, 17.0, 9.0)


def yard(*closed: Polygon) -> Site:
    """A wall with two doors, and an area in one and away from both."""
    areas = tuple(Area(f"a{n}", "A", shape, ALWAYS if shape in closed else ()) for n, shape in enumerate((NEAR, OFF)))
    walls = box(9.9, -1.0, 10.1, 3.0), box(9.9, 5.5, 10.1, 7.0), box(9.9, 9.5, 10.1, 11.0)
    return worlds.flat_site(
        20.0, 12.0, obstacles=tuple(Obstacle(f"o{n}", wall, "wall", None) for n, wall in enumerate(walls)),
        areas=areas, places=(worlds.place("w", 3.0, 5.0), worlds.place("e", 17.0, 5.0)), machines=(MACHINE,),
        moves=(WANTED,), grid=GridSpec(cell_m=0.5),
    )  # fmt: skip


def written(site: Site, store: Store) -> str:
    return json_text(to_document(plan_site(site, issued=ISSUED, aids=Aids(store=store))))


def lattice(site: Site, store: Store) -> CheckedLattice:
    return Lattices(site, build_terrain(site.ground, site.grid), Aids(store=store)).of(WANTED, MACHINE)


def loaded(store: Store, name: str) -> Tiles | None:
    terrain = build_terrain(yard().ground, yard().grid)
    return store.load(name, {"terrain": terrain, "levels": terrain.levels})


def files(store: Store, kind: str = "tiles") -> list[Path]:
    assert store.folder is not None
    return sorted(store.folder.glob(f"*.{kind}"))


def test_a_day_on_which_more_is_closed_leaves_the_days_before_it_as_they_were() -> None:
    """Its lattice is made from theirs, and nothing of them is lost or closed by that."""
    dated = replace(yard(), areas=(Area("a0", "A", NEAR, ((DAY, DAY),)), *yard().areas[1:]))
    lattices = Lattices(dated, build_terrain(dated.ground, dated.grid), UNAIDED)
    first = lattices.of(replace(WANTED, on=DAY - dt.timedelta(1)), MACHINE)
    was = first.table.copy(), first.poses.copy(), first.hazards.world.nodes.copy()
    other = lattices.of(replace(WANTED, on=DAY), MACHINE)
    assert other is not first and (other.hazards.world.nodes != was[2]).any()
    assert (other.room.taken > first.room.taken).any()
    for now, then in zip((first.table, first.poses, first.hazards.world.nodes), was, strict=True):
        np.testing.assert_array_equal(now, then)


@pytest.mark.parametrize("closed", [(), (NEAR,), (OFF,), (NEAR, OFF)])
def test_a_plan_is_the_same_byte_for_byte(tmp_path: Path, closed: tuple[Polygon, ...]) -> None:
    store = Store(tmp_path / "tiles")
    written(yard(), store)
    (kept,) = files(store)
    bare = written(yard(*closed), Store())
    assert written(yard(*closed), store) == bare
    assert files(store) == [kept]  # those with fewest areas closed


def test_another_run_knows_what_was_looked_at(tmp_path: Path) -> None:
    store = Store(tmp_path / "tiles")
    written(yard(), store)
    looked = [int((lattice(yard(), one).table != 0).sum()) for one in (Store(), store)]
    assert looked[1] > 2 * looked[0]


def test_tiles_of_other_motions_are_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They come from a file of data, which no hash of the sources tells."""
    store = Store(tmp_path / "tiles")
    written(yard(), store)
    bare = int((lattice(yard(), Store()).table != 0).sum())

    def others(**figures: Any) -> Motions:
        motions = solve_motions(**figures)
        return replace(motions, version=motions.version + 1)

    monkeypatch.setattr("routeplan.plan.lattices.solve_motions", others)
    assert int((lattice(yard(), store).table != 0).sum()) == bare


def test_fewer_closed_take_the_place_of_more(tmp_path: Path) -> None:
    store = Store(tmp_path / "tiles")
    written(yard(NEAR), store)
    written(yard(), store)
    (kept,) = files(store)
    assert kept.stem.endswith("-0")


def test_more_closed_are_no_help_where_fewer_are(tmp_path: Path) -> None:
    store = Store(tmp_path / "tiles")
    written(yard(NEAR), store)
    assert written(yard(), store) == written(yard(), Store())


def test_a_damaged_file_is_made_again(tmp_path: Path) -> None:
    store = Store(tmp_path / "tiles")
    bare = written(yard(), store)
    (kept,) = files(store)
    good, name = kept.read_bytes(), kept.stem.rpartition("-")[0]
    kept.write_bytes(good[: len(good) // 2])
    assert written(yard(), store) == bare
    # Not by its size: how small it is packed depends on what the values in it share.
    assert loaded(store, name) is not None


def test_a_bit_that_has_flipped_is_seen(tmp_path: Path) -> None:
    """A table that is wrong would be told as a way that is not there, or as none where there is one."""
    store = Store(tmp_path / "tiles")
    written(yard(), store)
    (kept,) = files(store)
    good, name = kept.read_bytes(), kept.stem.rpartition("-")[0]
    assert loaded(store, name) is not None
    for place in np.linspace(0, len(good) - 1, 100).astype(int):
        kept.write_bytes(good[:place] + bytes([good[place] ^ 4]) + good[place + 1 :])
        assert loaded(store, name) is None, place


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    store = Store(tmp_path / "file" / "tiles")
    assert written(yard(), store) == written(yard(), Store())


def test_what_was_used_last_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    for name, at in (("old.tiles", 1), ("older.note", 0), ("new.tiles", 2)):
        (tmp_path / name).write_bytes(b"x" * 1000)
        os.utime(tmp_path / name, (at, at))
    monkeypatch.setattr("routeplan.plan.tiles.ROOM_BYTES", 10**6)
    written(yard(), store)
    assert {"old.tiles", "older.note", "new.tiles"} <= {path.name for path in tmp_path.iterdir()}
    (size,) = [path.stat().st_size for path in files(store) if path.stem.endswith("-0")]
    monkeypatch.setattr("routeplan.plan.tiles.ROOM_BYTES", size + 2500)
    written(replace(yard(), grid=GridSpec(cell_m=0.4)), store)
    assert not (tmp_path / "old.tiles").exists() and not (tmp_path / "older.note").exists()


def test_a_name_tells_all_that_tiles_are_made_of() -> None:
    site = yard()
    names = [
        name_of(site, MACHINE, "ridden"),
        name_of(replace(site, ground=replace(site.ground, z=site.ground.z + 0.001)), MACHINE, "ridden"),
        name_of(replace(site, obstacles=site.obstacles[1:]), MACHINE, "ridden"),
        name_of(replace(site, surfaces=()), MACHINE, "ridden"),
        name_of(replace(site, layers_given=site.layers_given - {"defects"}), MACHINE, "ridden"),
        name_of(replace(site, grid=GridSpec(cell_m=0.25)), MACHINE, "ridden"),
        name_of(replace(site, thresholds=replace(site.thresholds, route_confidence=0.9)), MACHINE, "ridden"),
        name_of(site, worlds.scissor(pivots=1.0, mass_kg=3001.0), "ridden"),
        name_of(site, MACHINE, "beside_rails_up"),
    ]
    assert len(set(names)) == len(names)
    assert name_of(yard(NEAR), MACHINE, "ridden") == names[0]
    assert name_of(replace(site, moves=(), inputs=(), name="another"), MACHINE, "ridden") == names[0]


def test_a_name_is_the_same_in_every_process() -> None:
    """Words are hashed anew in each process, which must not show."""
    code = "from tests.plan.test_tiles import *; print(name_of(yard(), MACHINE, 'ridden'))"
    told = {
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(told) == 1


def test_nothing_is_kept_unless_somebody_says_where() -> None:
    assert UNAIDED.store.folder is None
