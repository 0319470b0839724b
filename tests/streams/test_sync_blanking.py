"""Line and field rate from a blanking or display-enable channel alone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from rastertap.bench.analyser import Analyser
from rastertap.bench.machines import MARLOW_50
from rastertap.bench.make import make_capture
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.errors import DecodeError
from rastertap.streams.counts import lines_per_field
from rastertap.streams.interface import Context
from rastertap.streams.sync_blanking import BlankingSync, BlankingSyncOptions

from .sync_source import pin


def context(signal: str, polarity: str, start: float = 0.37) -> Context:
    key = "blank_polarity" if signal == "blank" else "display_enable_polarity"
    source = replace(MARLOW_50, **{key: polarity})  # type: ignore[arg-type]
    recorded = make_capture(source, Analyser((("w", signal),), fields=3.2, start_fields=start, phase=0.1))
    (label, initial, samples) = recorded.channels[0]
    levels = ((np.arange(samples.size) + 1 + initial) % 2).astype(np.uint8)
    channel = Channel(label, initial, samples * 10, levels)
    period = SamplePeriod(10.0, 0.0, known=True)
    capture = Capture("made", Fraction(1, 10**9), 0, recorded.count * 10, (channel,), sample_period=period)
    return Context(capture, (pin("w", signal),))  # type: ignore[arg-type]


@pytest.mark.parametrize("start", [0.0, 0.1, 0.37, 0.95])
@pytest.mark.parametrize("polarity", ["positive", "negative"])
@pytest.mark.parametrize("signal", ["blank", "display_enable"])
def test_lines_and_fields_come_from_the_window(signal: str, polarity: str, start: float) -> None:
    given = context(signal, polarity, start)
    assert BlankingSync().match(given).score > 0
    sync = BlankingSync().decode(given, BlankingSyncOptions())
    assert set(lines_per_field(sync)) == {312.0}
    assert sync.line_period.value == pytest.approx(64_000, abs=4 * sync.line_period.uncertainty)
    assert not sync.events.counts.any()
    found = sync.intervals
    # 240 of 312 lines and 384 of 576 clocks have picture (9 MHz): bench/machines.py.
    assert found.of("active_lines").usual == 240
    assert found.of("line_blanking").mean == pytest.approx(192 / 9e6 * 1e9, abs=10)
    assert found.of("field_blanking").mean == pytest.approx((72 * 576 + 192) / 9e6 * 1e9, abs=10)
    # Where the line sync is, is not known: no porch may be claimed.
    assert not found.of("front_porch").count
    assert not found.of("back_porch").count


def test_a_real_sync_goes_before_the_window() -> None:
    given = context("blank", "positive")
    assert BlankingSync().match(replace(given, pins=(*given.pins, pin("h", "hsync")))).score == 0
    with pytest.raises(DecodeError, match="blanking window"):
        BlankingSync().decode(replace(given, pins=()), BlankingSyncOptions())
