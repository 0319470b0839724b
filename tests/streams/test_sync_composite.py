"""Composite syncs of every style, made by the bench: lines stay unbroken through the field sync."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.bench.analyser import Analyser
from rastertap.bench.machines import MARLOW_50
from rastertap.bench.make import make_capture
from rastertap.bench.raster import equalised_sync
from rastertap.bench.source import CompositeSync as Made
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.streams.counts import lines_per_field
from rastertap.streams.interface import Context
from rastertap.streams.sync_composite import CompositeSync, CompositeSyncOptions

from .sync_source import pin

if TYPE_CHECKING:
    from rastertap.streams.model import Sync

STYLES = {"xor": "line-serrated", "or": "plain", "equalised": "equalised"}


def composite(style: str, polarity: str = "negative", **changes: object) -> Sync:
    made = equalised_sync("625", MARLOW_50.pixel_clock_hz, 576) if style == "equalised" else Made(style)  # type: ignore[arg-type]
    made = replace(made, polarity=polarity)  # type: ignore[arg-type]
    source = replace(MARLOW_50, composite=made, **changes)  # type: ignore[arg-type]
    analyser = Analyser((("c", "csync"),), fields=3.2, start_fields=0.4, phase=0.3)
    recorded = make_capture(source, analyser)
    (label, initial, samples) = recorded.channels[0]
    levels = ((np.arange(samples.size) + 1 + initial) % 2).astype(np.uint8)
    channel = Channel(label, initial, samples * 10, levels)
    period = SamplePeriod(10.0, 0.0, known=True)
    capture = Capture("made", Fraction(1, 10**9), 0, recorded.count * 10, (channel,), sample_period=period)
    return CompositeSync().decode(Context(capture, (pin("c", "csync"),)), CompositeSyncOptions())


@pytest.mark.parametrize("polarity", ["negative", "positive"])
@pytest.mark.parametrize("style", list(STYLES))
def test_a_composite_of_any_style_gives_whole_fields_and_no_event(style: str, polarity: str) -> None:
    sync = composite(style, polarity)
    assert set(lines_per_field(sync)) == {312.0}
    assert not sync.events.counts.any()
    assert not sync.steps.size
    assert sync.intervals.style == STYLES[style]
    assert sync.line_polarity == polarity


@pytest.mark.parametrize("style", ["xor", "or"])
@pytest.mark.parametrize("lines", [Fraction(1, 2), Fraction(1), Fraction(3), Fraction(8), Fraction(25)])
def test_a_field_sync_of_half_a_line_or_of_many_lines_is_found(style: str, lines: Fraction) -> None:
    sync = composite(style, vsync_width_lines=lines)
    assert set(lines_per_field(sync)) == {312.0}
    assert not sync.events.counts.any()
    assert sync.field_width is not None
    # XOR turns the line sync over where the two meet, which moves the edges by its width.
    assert sync.field_width.value == pytest.approx(float(lines), abs=0.08)


def test_the_pulses_of_an_equalised_field_sync_are_counted_and_measured() -> None:
    found = composite("equalised").intervals
    # BT.470 Table 1-2, 625 lines, in whole clocks of 9 MHz (references 1.3): 5, 5, 5; 2.33, 27.33, 4.67 us.
    for key in ("equalising_before", "broad_pulses", "equalising_after"):
        assert (found.of(key).low, found.of(key).high) == (5, 5)
    for key, clocks in (("equalising_pulse", 21), ("broad_pulse", 246), ("serration", 42)):
        assert found.of(key).mean == pytest.approx(clocks / 9e6 * 1e9, abs=10)


@pytest.mark.parametrize("start", [0.0, 0.001, 0.004, 0.006, 0.009, 0.98, 0.99])
def test_a_capture_that_begins_within_a_field_sync_takes_no_wrong_start_from_it(start: float) -> None:
    made = equalised_sync("625", MARLOW_50.pixel_clock_hz, 576)
    source = replace(MARLOW_50, composite=made)
    recorded = make_capture(
        source, Analyser((("c", "csync"),), fields=3.1, start_fields=1 + start, phase=0.0)
    )
    (label, initial, samples) = recorded.channels[0]
    levels = ((np.arange(samples.size) + 1 + initial) % 2).astype(np.uint8)
    capture = Capture(
        "made",
        Fraction(1, 10**9),
        0,
        recorded.count * 10,
        (Channel(label, initial, samples * 10, levels),),
        sample_period=SamplePeriod(10.0, 0.0, known=True),
    )
    sync = CompositeSync().decode(Context(capture, (pin("c", "csync"),)), CompositeSyncOptions())
    assert set(lines_per_field(sync)) == {312.0}
    assert not sync.events.counts.any()
