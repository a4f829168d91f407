"""Run the command line as ``python -m routeplan``."""

from __future__ import annotations

import sys

from routeplan.cli.main import main

sys.exit(main())
