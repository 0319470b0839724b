"""A small part of the seeded grid (tests/benchmarks/sync_grid.py): every fault found, clean sources quiet."""

from __future__ import annotations

import pytest

from ..benchmarks.sync_grid import CASES, Case, run  # noqa: TID252 - tests are no package

FAULTS = [case for case in CASES if case.fault]


@pytest.mark.parametrize("seed", [100, 101])
def test_a_clean_source_has_nothing_to_warn_of(seed: int) -> None:
    for case in CASES:
        if not case.fault:
            assert run(case, seed) == {}


@pytest.mark.parametrize(("number", "case"), list(enumerate(FAULTS)), ids=[c.label for c in FAULTS])
def test_a_fault_of_the_chip_is_found_by_its_finding(number: int, case: Case) -> None:
    found = run(case, 200 + number)
    assert case.wanted <= {key for key, result in found.items() if result == "fail"}
