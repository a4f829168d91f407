"""Where a machine has room at all, looked at before any search: bounds on costs then lead round what cannot be used."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from routeplan.hazards.arrays import ALL, E_BOUNDARY, E_CLOSED, E_LINES, MIDDLE, Body
from routeplan.hazards.prepare import Hazards, new_scratch
from routeplan.hazards.tile import BLOCKED, Checker, motion_bytes, standing_room
from routeplan.search.anchors import STILL
from routeplan.search.best_first import UNIT_PER_MM
from routeplan.search.motions import Motions
from routeplan.site.model import Site

Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Room:
    """What is known of the lattice's cells and of the displacements between them, whatever the heading.

    Parameters
    ----------
    shut
        (rows, cols) 1 where the origin would lie in something.
    taken
        (rows, cols) 1 where no heading may stand, the shut cells included.
    walked
        (rows, cols) 1 where every heading has the body over a walkway.
    moves
        (n, 3) rows, columns and least cost of every displacement that a motion makes, either way.
    barred
        Ascending ``cell * n + move`` of displacements over taken cells that no motion makes.
    """

    shut: Bytes
    taken: Bytes
    walked: Bytes
    moves: Ints
    barred: Ints


def new_checker(hazards: Hazards, motions: Motions) -> Checker:
    """What the kernels need to check motions of a lattice, closer ones at a glance, with room for one thread."""
    return Checker(
        hazards.world, hazards.body, hazards.blocking, motions.headings, motions.pieces, motions.counts,
        hazards.terrain.stride, STILL[0], True, new_scratch(hazards.body, MIDDLE if hazards.world.closer else ALL),
    )  # fmt: skip


def displacements(motions: Motions) -> Ints:
    """Rows, columns and least cost (n, 3) of every displacement of a motion, either way, in order."""
    moves: dict[tuple[int, int], int] = {}
    for h, p in zip(*np.nonzero(motions.counts), strict=True):
        d = (int(motions.d_row[h, p]), int(motions.d_col[h, p]))
        for way in (d, (-d[0], -d[1])):
            cost = int(motions.length_mm[h, p]) * UNIT_PER_MM
            if d != (0, 0):
                moves[way] = min(moves.get(way, cost), cost)
    return np.array([(*d, cost) for d, cost in sorted(moves.items())], np.int64)


def disc_in_body_m(body: Body) -> float:
    """Radius of the largest disc about the origin that a box of the body covers at every heading, m."""
    boxes = body.rows("boxes")
    return float(max(np.min([-boxes[:, 0], boxes[:, 1], -boxes[:, 2], boxes[:, 3]], axis=0).max(), 0.0))


def _shut(site: Site, hazards: Hazards) -> Bytes:
    terrain, stride = hazards.terrain, hazards.terrain.stride
    shut = (hazards.world.nodes["inside"] & ((1 << E_BOUNDARY) | (1 << E_LINES) | (1 << E_CLOSED))) != 0
    shut |= ~np.isfinite(terrain.level)
    body = hazards.body
    for obstacle in site.obstacles:
        if obstacle.top_m is None:
            r, c, _ = terrain.nodes_within(obstacle.geometry, disc_in_body_m(body) + body.structure_gap)
            shut[r, c] = True
    return np.ascontiguousarray(shut[::stride, ::stride]).astype(np.uint8)


def _walked(site: Site, hazards: Hazards) -> Bytes:
    terrain, stride = hazards.terrain, hazards.terrain.stride
    walked = np.zeros(terrain.level.shape, np.uint8)
    for walkway in site.walkways:
        r, c, _ = terrain.nodes_within(walkway.geometry, disc_in_body_m(hazards.body))
        walked[r, c] = 1
    return np.ascontiguousarray(walked[::stride, ::stride])


def _taken(hazards: Hazards, motions: Motions, shut: Bytes, poses: Bytes) -> Bytes:
    """Cells where no heading may stand; those that are shut are not looked at."""
    taken = shut.copy()
    thirds = np.linspace(0, len(shut), 4).astype(int)
    with ThreadPoolExecutor() as pool:
        parts = [
            pool.submit(standing_room, new_checker(hazards, motions), int(first), int(last), poses, taken)
            for first, last in zip(thirds, thirds[1:], strict=False)
        ]
        for part in parts:
            part.result()
    return taken


def _shifted(cells: Bools, d_row: int, d_col: int) -> Bools:
    """``out[r, c] = cells[r + d_row, c + d_col]``, true beyond the edge."""
    rows, cols = cells.shape
    out = np.ones_like(cells)
    r0, r1, c0, c1 = max(0, -d_row), min(rows, rows - d_row), max(0, -d_col), min(cols, cols - d_col)
    if r0 < r1 and c0 < c1:
        out[r0:r1, c0:c1] = cells[r0 + d_row : r1 + d_row, c0 + d_col : c1 + d_col]
    return out


def _over(taken: Bools, d_row: int, d_col: int) -> tuple[Ints, Ints]:
    """Rows and columns of free cells from which a displacement leads straight over a taken cell to a free one."""
    steps = max(abs(d_row), abs(d_col))
    between = {(round(d_row * i / steps), round(d_col * i / steps)) for i in range(1, steps)}
    over = np.any([_shifted(taken, *step) for step in sorted(between)], axis=0)
    rows, cols = np.nonzero(~taken & ~_shifted(taken, d_row, d_col) & over)
    return np.ascontiguousarray(rows), np.ascontiguousarray(cols)


def _about(taken: Bools, moves: Ints, asked: Bools | None) -> tuple[int, int, Bools]:
    """The part of the cells that displacements from those asked for lead over, and its first row and column."""
    if asked is None or not asked.any():
        return 0, 0, taken
    far = int(np.abs(moves[:, :2]).max())
    (r0, r1), (c0, c1) = (np.flatnonzero(asked.any(axis=axis))[[0, -1]] for axis in (1, 0))
    r0, c0 = max(r0 - far, 0), max(c0 - far, 0)
    return int(r0), int(c0), taken[r0 : r1 + far + 1, c0 : c1 + far + 1]


def _barred(checker: Checker, motions: Motions, moves: Ints, taken: Bytes, table: Bytes, asked: Bools | None) -> Ints:
    """Look at motions that lead over a taken cell, and keep the displacements that none of them makes; from the cells
    that are asked for, if any are.
    """
    n, cols_all = len(moves), taken.shape[1]
    first_row, first_col, about = _about(taken.astype(bool), moves, asked)
    found: list[Ints] = []
    for m, (d_row, d_col) in enumerate(moves[:, :2].tolist()):
        if max(abs(d_row), abs(d_col)) < 2:
            continue
        rows, cols = _over(about, d_row, d_col)
        rows, cols = rows + first_row, cols + first_col
        if asked is not None:
            rows, cols = rows[asked[rows, cols]], cols[asked[rows, cols]]
        possible = np.zeros(len(rows), bool)
        for sign, r, c in ((1, rows, cols), (-1, rows + d_row, cols + d_col)):
            fits = (motions.counts > 0) & (motions.d_row == sign * d_row) & (motions.d_col == sign * d_col)
            for h, p in zip(*np.nonzero(fits), strict=True):
                left = np.flatnonzero(~possible)
                motion_bytes(checker, r[left], c[left], int(h), int(p), table)
                possible[left] = table[r[left], c[left], h, p] != BLOCKED
        found.append((rows * cols_all + cols)[~possible] * n + m)
    return np.sort(np.concatenate(found)) if found else np.empty(0, np.int64)


def look_for_room(site: Site, hazards: Hazards, motions: Motions, *, poses: Bytes, table: Bytes) -> Room:
    """Look at every cell; what is looked at on the way is kept in ``poses`` and ``table`` (``best_first.Lattice``)."""
    shut = _shut(site, hazards)
    taken = _taken(hazards, motions, shut, poses)
    moves = displacements(motions)
    barred = _barred(new_checker(hazards, motions), motions, moves, taken, table, None)
    return Room(shut, taken, _walked(site, hazards), moves, barred)


def look_again(
    before: Room, hazards: Hazards, motions: Motions, *, closed: Bools, near: Bools, about: Bools, poses: Bytes,
    table: Bytes,
) -> Room:
    """The room that is left when areas are closed besides: only what is near them is looked at.

    Parameters
    ----------
    closed
        (rows, cols) cells in those areas.
    near, about
        (rows, cols) cells where a pose may be judged otherwise than before, and those from which a motion leads to one.
    """
    shut = np.where(closed, np.uint8(1), before.shut)
    looked = _taken(hazards, motions, np.where(near, shut, np.uint8(1)), poses)
    taken = np.where(near, looked, before.taken)
    barred = _barred(new_checker(hazards, motions), motions, before.moves, taken, table, about)
    kept = before.barred[~about.ravel()[before.barred // len(before.moves)]]
    return replace(before, shut=shut, taken=taken, barred=np.sort(np.concatenate([kept, barred])))
