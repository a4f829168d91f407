"""Kestrel Quay has no false defects where machines are to drive, and its ramp and bank meet both yards."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest

from routeplan.plan.findings import findings
from routeplan.site.read import read_site
from tests.samples import kestrel_quay


def test_the_check_tells_of_the_pothole_in_nobodys_list() -> None:
    hollows = findings(read_site(kestrel_quay.SAMPLE.folder))["hazards"]["unlisted_hollows"]
    unlisted = [(x, y) for x, y, _, _, in_raster, listed in kestrel_quay.POTHOLES if in_raster and not listed]
    assert len(hollows) == len(unlisted) == 1
    assert math.dist(hollows[0]["at"], unlisted[0]) < 0.5 and not hollows[0]["may_be_survey_error"]


def test_the_ramp_meets_both_yards() -> None:
    y = np.array([85.0, 97.0, 107.0, 115.0])
    assert kestrel_quay.ramp_rise(y) == pytest.approx([0.0, 0.48, 1.28, kestrel_quay.LEVEL_CHANGE_M])


def test_the_bank_meets_both_yards() -> None:
    assert kestrel_quay.bank_rise(np.array([95.0, 104.2])) == pytest.approx([0.0, kestrel_quay.LEVEL_CHANGE_M])


def test_every_delivered_machine_is_collected() -> None:
    moves = tomllib.loads((kestrel_quay.SAMPLE.folder / "site.toml").read_text(encoding="utf-8"))["moves"]
    for machine in {move["machine"] for move in moves}:
        own = [move for move in moves if move["machine"] == machine]
        assert [own[0]["purpose"], own[-1]["purpose"]] == ["delivery", "collection"]
        assert all(a["to"] == b["from"] and a["on"] <= b["on"] for a, b in zip(own, own[1:], strict=False))
