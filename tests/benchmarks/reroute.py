"""How long a re-route takes beside a whole plan: ``python -m tests.benchmarks.reroute [SITE ...]``.

Each command runs as a user runs it, in a process of its own, with kernels that are compiled. For each area that any way
leads through, and for one that none does, the ratio of the re-route that closes it to the plan. Without a site: the
samples and a yard of four million cells.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.large_yard import write_large_yard

SAMPLES = Path(__file__).parents[2] / "sample_sites"


def seconds(*arguments: str) -> float:
    """How long a command takes."""
    begins = time.perf_counter()
    subprocess.run([sys.executable, "-m", "routeplan", *arguments], check=False, capture_output=True)
    return time.perf_counter() - begins


def measured(site: Path, folder: Path) -> Iterator[str]:
    """A line for the plan, and one for each area that is closed."""
    whole_s = seconds("plan", str(site), "--out", str(folder / "plan"))
    moves = json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))["moves"]
    areas = sorted({area for move in moves for leg in move["legs"] for area in leg["areas"]})
    yield f"{site.name}: plan of {len(moves)} moves {whole_s:.1f} s"
    for area in areas:
        change = ("--site", str(site), "--close", area, "--out", str(folder / area))
        again_s = seconds("reroute", str(folder / "plan" / "plan.json"), *change)
        told = json.loads((folder / area / "changes.json").read_text(encoding="utf-8"))["moves"]
        other = sum(one["change"] != "unchanged" for one in told)
        yield f"  {area} closed, {other} of {len(told)} moves changed: {again_s:.1f} s, ratio {again_s / whole_s:.2f}"


def main(sites: list[Path]) -> None:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        chosen = sites or [*sorted(SAMPLES.iterdir()), write_large_yard(folder / "large_yard")]
        for number, site in enumerate(chosen):
            for line in measured(site, folder / str(number)):
                print(line, flush=True)


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
