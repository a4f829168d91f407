"""The zoo: every broken site folder by its name."""

from __future__ import annotations

from tests.site import (
    zoo_columns,
    zoo_csv,
    zoo_files,
    zoo_keys,
    zoo_levels,
    zoo_lines,
    zoo_moves,
    zoo_outlines,
    zoo_readings,
)

ANIMALS = (
    *zoo_keys.ANIMALS,
    *zoo_moves.ANIMALS,
    *zoo_files.ANIMALS,
    *zoo_levels.ANIMALS,
    *zoo_outlines.ANIMALS,
    *zoo_columns.ANIMALS,
    *zoo_lines.ANIMALS,
    *zoo_csv.ANIMALS,
    *zoo_readings.ANIMALS,
)
