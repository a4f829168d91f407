"""An object with large arrays in a file: it comes back as it was, or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from routeplan.plan.mapped import PAGE, SMALL, Damaged, read_mapped, write_mapped

RNG = np.random.default_rng(11)
FULL = RNG.integers(1, 255, SMALL + 3 * PAGE + 17, dtype=np.uint8)
EMPTY = np.zeros(9 * SMALL + 5, np.uint8)
SPARSE = EMPTY.copy()
SPARSE[[0, 5 * PAGE + 3, 7 * PAGE, SPARSE.size - 1]] = 1, 2, 3, 4
RECORDS = np.zeros((40, 500), [("far", np.float32), ("inside", np.uint16)])
RECORDS["far"] = RNG.random((40, 500))
SHARED = np.arange(SMALL, dtype=np.float64)


def written(tmp_path: Path, value: object, **given: object) -> Path:
    path = tmp_path / "it"
    write_mapped(path, value, given)
    return path


@pytest.mark.parametrize("array", [FULL, EMPTY, SPARSE, RECORDS, SHARED.reshape(2, -1), np.arange(3)], ids=range(6))
def test_arrays_come_back_as_they_were(tmp_path: Path, array: np.ndarray[Any, Any]) -> None:
    name, back, other = read_mapped(written(tmp_path, ("it", array, {1: array})), {})
    assert (name, back.dtype, back.shape) == ("it", array.dtype, array.shape)
    assert back.tobytes() == array.tobytes() and other[1] is back


def test_what_is_mostly_zeros_takes_little_room(tmp_path: Path) -> None:
    assert written(tmp_path, SPARSE).stat().st_size < SPARSE.nbytes / 8


def test_what_whoever_reads_has_anyway_is_not_written(tmp_path: Path) -> None:
    path = written(tmp_path, [SHARED, FULL], levels=SHARED)
    assert path.stat().st_size < SHARED.nbytes
    mine = SHARED.copy()
    assert read_mapped(path, {"levels": mine})[0] is mine


@pytest.mark.parametrize("array", [FULL, SPARSE], ids=("full", "sparse"))
def test_what_is_read_belongs_to_whoever_reads_it(tmp_path: Path, array: np.ndarray[Any, Any]) -> None:
    path = written(tmp_path, array)
    one, other = read_mapped(path, {}), read_mapped(path, {})
    one[:] = 7
    assert np.array_equal(other, array) and np.array_equal(read_mapped(path, {}), array)


def test_a_bit_that_has_flipped_anywhere_is_seen(tmp_path: Path) -> None:
    path = written(tmp_path, ["it", FULL[: SMALL + 5], SPARSE])
    good = path.read_bytes()
    places = {*range(len(good) - 600, len(good)), *np.linspace(0, len(good) - 1, 300).astype(int).tolist()}
    for place in sorted(places):
        path.write_bytes(good[:place] + bytes([good[place] ^ 1]) + good[place + 1 :])
        with pytest.raises(Damaged):
            read_mapped(path, {})


@pytest.mark.parametrize("left", [0, 1, 10, 30, SMALL, -1, -30])
def test_a_file_that_is_cut_short_is_seen(tmp_path: Path, left: int) -> None:
    path = written(tmp_path, FULL)
    path.write_bytes(path.read_bytes()[:left])
    with pytest.raises(Damaged):
        read_mapped(path, {})


def test_a_file_that_goes_on_is_seen(tmp_path: Path) -> None:
    path = written(tmp_path, FULL)
    path.write_bytes(path.read_bytes() + b"\0")
    with pytest.raises(Damaged):
        read_mapped(path, {})


def test_where_there_is_no_file_it_says_so(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        read_mapped(tmp_path / "none", {})
