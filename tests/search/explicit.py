"""A window as an explicit graph: every motion looked at beforehand, every state a node, every motion an edge.

Costs are whole numbers as the search documents them, written here again: a motion costs its length (mm) times eighths
from its byte times 2 forwards and on the spot, 3 backwards; an open one 16 * 100,000 a millimetre more; a change of
gear 3,000 mm * 16. Turns on the spot keep the gear.
"""

from __future__ import annotations

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from routeplan.search.anchors import check_motions
from tests.search.windows import Window, standing

Ints = NDArray[np.int64]
UNIT_PER_MM, OPEN_PER_MM, SWITCH = 16, 16 * 100_000, 3_000 * 16
BLOCKED, OPEN, EIGHTHS, CALM = 255, 64, 63, 8


def every_motion(window: Window) -> Ints:
    """All motions between lattice poses (n, 5): pose before and after, length (mm), byte, 1 on the spot; blocked ones
    too.

    A motion is blocked where the machine may not stand at either end, too: the search looks at ends first.
    """
    grid, motions = window.lattice.grid, window.motions
    heads, prims = np.nonzero(motions.counts)
    rows, cols, which = (a.ravel() for a in np.indices((grid.rows, grid.cols, len(heads))))
    h, p = heads[which], prims[which]
    r, c = rows + motions.d_row[h, p], cols + motions.d_col[h, p]
    inside = (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols)
    rows, cols, h, p, r, c = (a[inside] for a in (rows, cols, h, p, r, c))
    starts = np.column_stack([grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, motions.headings[h]])
    _, verdicts = check_motions(window.hazards, starts, motions.pieces[h, p], brief=True)
    before = (rows * grid.cols + cols) * grid.headings + h
    after = (r * grid.cols + c) * grid.headings + motions.end[h, p]
    stands = _stands(window)
    verdicts[~(stands[before] & stands[after])] = BLOCKED
    spot = (rows == r) & (cols == c)
    return np.column_stack([before, after, motions.length_mm[h, p], verdicts, spot]).astype(np.int64)


def _stands(window: Window) -> NDArray[np.bool_]:
    """Whether the machine may stand at each pose of the lattice."""
    grid = window.lattice.grid
    rows, cols, heads = (a.ravel() for a in np.indices((grid.rows, grid.cols, grid.headings)))
    poses = [grid.x0 + cols * grid.cell_m, grid.y0 + rows * grid.cell_m, window.motions.headings[heads]]
    return standing(window.lattice, np.column_stack(poses))


def every_link(window: Window) -> Ints:
    """Links (n, 5) as ``every_motion`` has them, each looked at again."""
    links = window.lattice.links
    if not links:
        return np.empty((0, 5), np.int64)
    starts = np.array([(link.at.x, link.at.y, link.at.heading) for link in links])
    pieces = np.array([np.pad(link.pieces, ((0, 3 - len(link.pieces)), (0, 0))) for link in links])
    _, verdicts = check_motions(window.hazards, starts, pieces, brief=True)
    bytes_ = [CALM if link.length_mm == 0 else verdict for link, verdict in zip(links, verdicts, strict=True)]
    rows = [(lk.start, lk.goal, lk.length_mm, byte, 0) for lk, byte in zip(links, bytes_, strict=True)]
    return np.array(rows, np.int64)


def edges_of(moves: Ints) -> Ints:
    """Edges (n, 3) between states (2 * pose + gear) and their costs, for motions of which none is blocked."""
    before, after, length, byte, spot = moves.T
    found = []
    for gear in (0, 1):
        opened = length * np.where(byte & OPEN, OPEN_PER_MM, 0)
        ahead = length * (byte & EIGHTHS) * 2 + opened + np.where((spot == 0) & (gear == 1), SWITCH, 0)
        found.append((2 * before + gear, 2 * after + gear * spot, ahead))
        back = length * (byte & EIGHTHS) * 3 + opened + (SWITCH if gear == 0 else 0)
        found.append(tuple(a[spot == 0] for a in (2 * after + gear, 2 * before + 1, back)))
    return np.concatenate([np.column_stack(part) for part in found])


def graph_of(moves: Ints) -> nx.DiGraph:
    """States and the cheapest edge between any two."""
    edges = edges_of(moves)
    graph: nx.DiGraph = nx.DiGraph()
    graph.add_weighted_edges_from(edges[np.argsort(-edges[:, 2], kind="stable")].tolist())
    return graph
