"""Each check of the catalogue has a test that fails when the second opinion makes it no longer: by not making it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from routeplan.hazards.catalogue import CATALOGUE, CheckKind

ROOT = Path(__file__).parents[2]
#: Runs tests while what is offered for one check is not heard. Its words are the check, then the tests.
DEAF = """
import sys
import pytest
from routeplan.recheck.ledger import Ledger
kind, *tests = sys.argv[1:]
heard = Ledger.offer
def offer(self, of, *args, **kwargs):
    if of != kind:
        heard(self, of, *args, **kwargs)
Ledger.offer = offer
sys.exit(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests]))
"""
#: Judged by the rows and by where bodies meet walkways, with nothing that is offered.
BY_ROWS = frozenset({"turning", "walkways"})
OFFERED = [line for line in CATALOGUE if line.kind not in BY_ROWS]


@pytest.mark.parametrize("line", OFFERED, ids=[line.kind for line in OFFERED])
def test_without_its_rule_a_test_of_the_catalogue_fails(line: CheckKind) -> None:
    tests = [test for test in line.tests if test.startswith("tests/recheck/")]
    ran = subprocess.run(
        [sys.executable, "-c", DEAF, line.kind, *tests], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert tests and ran.returncode == pytest.ExitCode.TESTS_FAILED, ran.stdout[-600:]
