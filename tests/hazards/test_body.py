"""The record that kernels see of a machine: one type for all sample machines, and no row that holds nothing."""

from __future__ import annotations

import numpy as np
import pytest

from routeplan.hazards.body import build_body, new_body, proven_from
from routeplan.site.read import read_site
from tests.samples import SAMPLES


def test_the_machines_of_both_samples_are_of_one_type_so_that_kernels_are_compiled_once() -> None:
    kinds = {
        build_body(site, machine, configuration, ridden=ridden).dtype
        for site in (read_site(sample.folder) for sample in SAMPLES.values())
        for machine in site.machines.values()
        for configuration in machine.configurations.values()
        for ridden in (True, False)
    }
    assert len(kinds) == 1


@pytest.mark.parametrize("n", [0, 1, 256, 257, 1000])
def test_all_rows_are_kept_and_no_others_are_told(n: int) -> None:
    table = np.arange(1.0, 1.0 + 3 * n).reshape(n, 3)
    body = new_body({"reach": 2.0}, {"proven": np.zeros(2)}, {"undersides": table})
    assert np.array_equal(body.rows("undersides"), table)
    assert body.n_undersides == n


def test_other_margins_leave_the_body_as_it_was() -> None:
    body = new_body({"reach": 2.0}, {"proven": np.zeros(2)}, {"undersides": np.ones((1, 3))})
    other = proven_from(body, np.array([0.5, 1.0]))
    assert body.proven.tolist() == [0.0, 0.0]
    assert other.proven.tolist() == [0.5, 1.0]
    assert other.reach == 2.0
