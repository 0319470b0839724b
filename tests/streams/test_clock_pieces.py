"""A clock decoded piece by piece is the clock decoded whole."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from rastertap.streams.pixel_clock import TappedPixelClock, TappedPixelClockOptions

from .clock_signal import Signal, clock_of, context_of, moved, steady, with_pulse, without

HZ = 9_000_117.0


def faulty() -> Signal:
    rng = np.random.default_rng(2)
    signal = steady(HZ, 0.06)
    signal = moved(
        signal,
        rng.standard_normal(signal.rise.size) * 1e3 + np.sin(signal.rise * 1e-12 * 2 * np.pi * 15_625) * 3e3,
    )
    signal = without(signal, np.arange(777, signal.rise.size, 9_999))
    return with_pulse(signal, 200_000, 80_000, 15_000)


def test_pieces_joined_are_the_whole() -> None:
    signal = faulty()
    whole = clock_of(signal, 100e6)
    end = int(signal.rise[-1]) + 20_000
    cuts = [0, 20_000_000_000, 37_000_000_000, end]
    decoder = TappedPixelClock()
    joined = None
    for low, high in pairwise(cuts):
        near = (signal.rise > low - 2e9) & (signal.rise < high + 2e9)
        part = Signal(signal.rise[near], signal.fall[near])
        clock = decoder.decode(context_of(part, 100e6, span=(low, high)), TappedPixelClockOptions())
        joined = clock if joined is None else decoder.join(joined, clock, low)
    assert joined is not None
    assert joined.record is not None
    assert whole.record is not None
    assert joined.record.cycles == whole.record.cycles
    mine, all_ = joined.record.events, whole.record.events
    assert (mine.missing, mine.extra.count, mine.jumps.count) == (
        all_.missing,
        all_.extra.count,
        all_.jumps.count,
    )
    assert np.abs(mine.gaps.at - all_.gaps.at).max() <= 1
    assert mine.gaps.cycle.tolist() == (all_.gaps.cycle + mine.gaps.cycle[0] - all_.gaps.cycle[0]).tolist()
    assert abs(joined.period.value - whole.period.value) <= 3 * joined.period.uncertainty
    assert joined.period_jitter is not None
    assert whole.period_jitter is not None
    assert joined.period_jitter.value == pytest.approx(whole.period_jitter.value, rel=0.05)
    assert joined.duty is not None
    assert whole.duty is not None
    assert joined.duty.value == pytest.approx(whole.duty.value, abs=1e-4)
    mine_periods, all_periods = joined.record.periods, whole.record.periods
    assert mine_periods.counts.tolist() == all_periods.counts.tolist()
    assert mine_periods.edges.tolist() == all_periods.edges.tolist()
    line, whole_line = joined.record.line, whole.record.line
    assert line is not None
    assert whole_line is not None
    assert line.frequency * HZ == pytest.approx(15_625, abs=3 * line.resolution * HZ)
    assert whole_line.amplitude == pytest.approx(3e3, rel=0.1)
    drift, whole_drift = joined.record.drift, whole.record.drift
    assert drift is not None
    assert whole_drift is not None
    assert abs(drift.value - whole_drift.value) <= 3 * whole_drift.uncertainty


def test_what_is_kept_does_not_grow_with_the_recording() -> None:
    clock = clock_of(steady(HZ, 0.03), 100e6)
    assert clock.record is not None
    record = clock.record
    for n in range(1, 60):
        series = replace(clock.record.series, ticks=clock.record.series.ticks + n * 30e9)
        record = record.joined(replace(clock.record, series=series))
    assert record.cycles == 60 * clock.record.cycles
    assert record.series.cycle.size <= 4096
    assert record.lagged.shape[0] <= 32
    assert record.series.cycle[-1] == pytest.approx(1.8 * HZ, rel=1e-3)
