"""Pieces of a long capture, decoded one by one and joined, say the same as the whole."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.streams.sync_separate import SeparateSync, SeparateSyncOptions
from rastertap.streams.tally import MAX_VALUES, phase_gap, tally

from .sync_source import SyncSource

if TYPE_CHECKING:
    from rastertap.streams.interface import Context
    from rastertap.streams.model import Sync

OVERLAP = 22_000_000
"""Ns: a whole field and a bit."""


def pieces(context: Context, number: int) -> Sync:
    """Decode in overlapping pieces and join them."""
    capture, decoder = context.capture, SeparateSync()
    bounds = np.linspace(capture.start, capture.end + 1, number + 1).astype(int).tolist()
    joined: Sync | None = None
    for low, high in itertools.pairwise(bounds):
        begin, end = max(capture.start, low - OVERLAP), min(capture.end, high + OVERLAP)
        channels = tuple(c.between(begin, end) for c in capture.channels)
        part = replace(capture, start=begin, end=end, channels=channels)
        sync = decoder.decode(replace(context, capture=part, span=(low, high)), SeparateSyncOptions())
        joined = sync if joined is None else decoder.join(joined, sync, low)
    assert joined is not None
    return joined


SOURCES = {
    "clean": SyncSource(fields=8),
    "jitter": SyncSource(fields=8, jitter_ps=8_000, seed=5, line_ps=63_555_556, lines=262),
    "wrong": SyncSource(
        fields=8,
        field_off={2: -1, 5: -1},
        gone=frozenset({300, 1500}),
        length_off={700: 111_000},
        stray=((900, 0.4, 80_000), (2000, 0.5, 4_700_000)),
        no_vsync=frozenset({4}),
    ),
}


@pytest.mark.parametrize("number", [2, 3, 5])
@pytest.mark.parametrize("name", list(SOURCES))
def test_joined_pieces_count_exactly_what_the_whole_counts(name: str, number: int) -> None:
    context = SOURCES[name].context()
    whole, joined = SeparateSync().decode(context, SeparateSyncOptions()), pieces(context, number)
    assert joined.events.counts.tolist() == whole.events.counts.tolist()
    assert joined.events.times.tolist() == whole.events.times.tolist()
    assert joined.events.lines.tolist() == whole.events.lines.tolist()
    assert joined.fields.starts.tolist() == whole.fields.starts.tolist()
    assert np.array_equal(joined.fields.lines, whole.fields.lines, equal_nan=True)
    for key, one in whole.intervals.tallies.items():
        other = joined.intervals.of(key)
        assert (one.count, one.low, one.high) == (other.count, other.low, other.high), key
        if one.count:
            assert other.mean == pytest.approx(one.mean, rel=1e-12), key


@pytest.mark.parametrize("name", list(SOURCES))
def test_joined_pieces_measure_the_same_rates_and_keep_no_line(name: str) -> None:
    context = SOURCES[name].context()
    whole, joined = SeparateSync().decode(context, SeparateSyncOptions()), pieces(context, 4)
    assert not joined.lines.starts.size
    for one, other in ((whole.line_period, joined.line_period), (whole.line_width, joined.line_width)):
        assert abs(one.value - other.value) <= one.uncertainty + other.uncertainty
    assert joined.interlaced == whole.interlaced


def test_a_tally_of_too_many_values_keeps_count_mean_and_extremes() -> None:
    random = np.random.default_rng(3)
    values = random.normal(64_000, 30, 50_000)
    joined = tally(values[:20_000]) + tally(values[20_000:])
    assert joined.values.size <= MAX_VALUES
    assert joined.count == values.size
    assert joined.mean == pytest.approx(values.mean(), rel=1e-12)
    assert (joined.low, joined.high) == (values.min(), values.max())
    assert joined.spread == pytest.approx(values.std(), rel=1e-3)
    assert joined.quantile(0.5) == pytest.approx(np.median(values), abs=0.1)


@pytest.mark.parametrize(
    ("period", "width"), [(6400.0, 470.3), (6355.55, 470.7), (6400.25, 469.5), (2542.2, 188.2)]
)
def test_the_mean_of_sampled_widths_is_no_further_off_than_the_phase_gap(period: float, width: float) -> None:
    # The analyser in a line: a change at t shows at the first sample at or after t. Steps of 1; 600 lines.
    worst = 0.0
    for first in np.linspace(0, 1, 25):
        starts = first + period * np.arange(600)
        measured = np.ceil(starts + width) - np.ceil(starts)
        worst = max(worst, abs(measured.mean() - width))
    assert worst <= phase_gap(period, 600)


def test_events_on_one_place_of_the_grid_leave_the_whole_step_open() -> None:
    assert phase_gap(6400.0, 600) == pytest.approx(1.0, abs=2e-3)
    assert phase_gap(6400.5, 600) == pytest.approx(0.5, abs=2e-3)
    assert phase_gap(6400.618034, 600) < 0.01
