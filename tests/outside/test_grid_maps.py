"""Public grid maps with published lengths of shortest ways, through the search's own kernels.

From the benchmark sets of N. Sturtevant, "Benchmarks for Grid-Based Pathfinding" (2012; title from memory), as the npm
package pathfinding 0.4.18 carries them: two maps of games and one of rooms, 8 neighbours, no corner cut. Its fourth,
losttemple, does not hold what its scenarios say and is left out. A drawn tenth of the scenarios runs by default, all
2963 when the environment variable ``ROUTEPLAN_FULL`` is set.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from routeplan.search.best_first import UNIT_PER_MM
from tests.data_fetch import PATHFINDING, DataFile, fetch_or_skip
from tests.outside.grid_maps import SIDE, GridMap, Scenario, read_map, read_scenarios

#: Map, scenarios, how many there are; first digits of sha256 as first fetched.
MAPS = {
    "arena": (
        DataFile(PATHFINDING, "benchmark/map/arena.map", "4d30b489dcfa3d60"),
        DataFile(PATHFINDING, "benchmark/scen/arena.map.scen", "08890faa842f8c13"), 160,
    ),
    "lak304d": (
        DataFile(PATHFINDING, "benchmark/map/lak304d.map", "1fe5937fb42c701d"),
        DataFile(PATHFINDING, "benchmark/scen/lak304d.map.scen", "ce2b5fad9ed01fc6"), 773,
    ),
    "64room": (
        DataFile(PATHFINDING, "benchmark/map/64room_000.map", "1b696b39499b7917"),
        DataFile(PATHFINDING, "benchmark/scen/64room_000.map.scen", "8824530b3f0701e4"), 2030,
    ),
}  # fmt: skip
#: Published lengths have six digits: half of the last is 5e-6 at most, and a diagonal is rounded by 2.5e-6.
TOLERANCE = 1e-5


def scenarios_of(name: str) -> tuple[GridMap, list[Scenario]]:
    """A map, and all of its scenarios or a drawn tenth of them."""
    cells, asked, count = MAPS[name]
    data = fetch_or_skip((cells, asked))
    scenarios = read_scenarios(data[asked.path].decode())
    assert len(scenarios) == count
    if not os.environ.get("ROUTEPLAN_FULL"):
        drawn = np.random.default_rng(20261124).choice(count, count // 10, replace=False)
        scenarios = [scenarios[n] for n in drawn]
    return GridMap(read_map(data[cells.path].decode())), scenarios


@pytest.mark.parametrize("name", MAPS)
def test_published_lengths(name: str) -> None:
    grid, scenarios = scenarios_of(name)
    cols = grid.free.shape[1]
    for scenario in scenarios:
        start = scenario.start[0] * cols + scenario.start[1]
        exact = int(grid.bounds(scenario, corners=False)[start])
        loose = grid.bounds(scenario, corners=True)
        assert loose[start] <= exact == grid.search(scenario, loose), scenario
        length = exact / (SIDE * UNIT_PER_MM)
        assert length == pytest.approx(scenario.length, rel=TOLERANCE), scenario
