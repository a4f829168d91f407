"""Make the levels and layers of a sample site anew: ``python -m tests.samples NAME [OUTDIR]``."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.samples import SAMPLES

if len(sys.argv) not in (2, 3) or sys.argv[1] not in SAMPLES:
    sys.exit(f"usage: python -m tests.samples {{{','.join(SAMPLES)}}} [OUTDIR]")
sample = SAMPLES[sys.argv[1]]
sample.write(Path(sys.argv[2]) if len(sys.argv) == 3 else sample.folder)
