"""The program on a day of the samples, whatever day it is: the second opinion refuses a plan whose last day is over."""

from __future__ import annotations

import datetime as dt
import sys
from types import SimpleNamespace

from routeplan.cli import recheck
from routeplan.cli.main import main


class SampleDay(dt.date):
    """Today, as the tutorial has it."""

    @classmethod
    def today(cls) -> SampleDay:
        """The day of issue of its plans."""
        return cls(2026, 11, 30)


if __name__ == "__main__":
    setattr(recheck, "dt", SimpleNamespace(date=SampleDay))  # noqa: B010
    sys.exit(main())
