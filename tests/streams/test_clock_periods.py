"""The tally of clock periods against numpy's own histogram of the true edges."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.streams.clock_periods import PeriodTally

from .clock_signal import clock_of, moved, steady, without


def test_each_period_is_counted_in_the_bar_of_its_length() -> None:
    rng = np.random.default_rng(85)
    signal = steady(9e6, 0.01)
    signal = moved(signal, rng.standard_normal(signal.rise.size) * 3e3)
    record = clock_of(without(signal, [500, 501, 7_000]), 100e6).record
    assert record is not None
    edges = np.delete(np.ceil(signal.rise / 10_000), [500, 501, 7_000])
    intervals = np.diff(edges).astype(int)
    steps, counts = np.unique(intervals[intervals < 18], return_counts=True)
    tally = record.periods
    centres = np.rint((tally.edges[:-1] + tally.edges[1:]) / 2 / 10_000).astype(int)
    found = {int(c): int(n) for c, n in zip(centres, tally.counts, strict=True) if n}
    assert found == dict(zip(steps.tolist(), counts.tolist(), strict=True))
    assert (tally.least, tally.greatest) == (steps[0] * 10_000, steps[-1] * 10_000)


def test_bars_of_other_widths_are_added_where_their_middles_are() -> None:
    fine = PeriodTally(1.0, 9, np.array([1, 2, 3]), 9, 11)
    coarse = PeriodTally(3.0, 3, np.array([5, 7]), 8, 13)
    joined = fine.joined(coarse)
    assert joined.first == 9
    assert joined.counts.tolist() == [6, 2, 3, 7]
    assert (joined.least, joined.greatest) == (8, 13)
    none = PeriodTally(1.0, 0, np.empty(0, np.int64), 0, 0)
    assert none.joined(fine) is fine
    assert fine.joined(none) is fine


@pytest.mark.parametrize("most", [1, 4, 7, 100])
def test_fewer_bars_hold_as_many_periods(most: int) -> None:
    tally = PeriodTally(3.0, 9, np.arange(1, 18), 26, 76)
    bounds, counts = tally.fewer(most)
    assert counts.size <= most
    assert counts.sum() == tally.counts.sum()
    assert bounds.size == counts.size + 1
    assert bounds[0] == tally.edges[0]
    assert bounds[-1] >= tally.edges[-1]


def test_a_clock_that_scatters_over_many_steps_fills_a_bounded_number_of_bars() -> None:
    signal = steady(0.7e6, 0.02)
    record = clock_of(
        moved(signal, np.random.default_rng(1).standard_normal(signal.rise.size) * 5e4), 2e9
    ).record
    assert record is not None
    assert 100 < record.periods.counts.size <= 601
    assert record.periods.counts.sum() > 0.99 * signal.rise.size
