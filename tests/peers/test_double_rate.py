"""Two pixels a clock cycle: Icarus Verilog changes the bus with both edges; every active pixel is read."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.capture.read import read_capture

from .blanking_source import BlankingSource, simulate_blanking

if TYPE_CHECKING:
    from rastertap.analyse import Analysis

CLOCKS, WIDTH = 216, 352
GIVEN = {
    "CLOCKS": CLOCKS,
    "WIDTH": WIDTH,
    "DOUBLE": 1,
    "LINES": 312,
    "INTERLACED": 0,
    "LAST": 616,
    "FIELDS": 2,
}
PINS = {"clock", "colour", "blank"}


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> BlankingSource:
    return simulate_blanking(tmp_path_factory.mktemp("double"), **GIVEN)


def pins(source: BlankingSource) -> Capture:
    capture = read_capture(str(source.vcd))
    return replace(capture, channels=tuple(c for c in capture.channels if c.name.partition("[")[0] in PINS))


def sampled(capture: Capture, rate_hz: int, late: float = 0.0) -> Capture:
    """Sample at a rate, an edge being seen at the next sample; ``late``: ps that falling clock edges and what
    changes with them come late, so that the clock's duty is no half."""
    step = 10**12 / rate_hz
    clock = capture.channel("clock")
    falling = clock.edges_to(0)

    def seen(channel: Channel) -> Channel:
        times = channel.ticks.astype(np.float64)
        since = channel.ticks - 3000 if channel.name != "clock" else channel.ticks
        times = times + late * np.isin(since, falling)
        ticks = np.ceil(times / step).astype(np.int64)
        keep = np.append(np.diff(ticks) > 0, True)
        assert keep.all()
        return replace(channel, ticks=ticks)

    period = SamplePeriod(1.0, 0.0, known=True)
    channels = tuple(seen(c.binary()) for c in capture.channels)
    end = int(capture.end / step)
    return Capture("sampled", Fraction(1, rate_hz), 0, end, channels, sample_period=period)


def assert_every_pixel(analysis: Analysis, source: BlankingSource) -> None:
    clock, frames = analysis.evidence.pixel_clock, analysis.evidence.frames
    assert clock is not None
    assert frames is not None
    assert clock.source == "tapped"
    assert frames.pixels_per_line == 2 * CLOCKS
    assert frames.clocks_per_line == CLOCKS
    compared = 0
    for true in source.fields[1:]:
        begun = [f for f in frames.complete if analysis.capture.seconds(f.start) < true.start_s]
        area = frames.active_of(begun[-1])
        assert area is not None
        assert np.array_equal(area.crop(begun[-1].codes), true.codes)
        compared += 1
    assert compared


def test_a_simulators_double_rate_bus_is_read_on_both_edges(source: BlankingSource) -> None:
    analysis = analyse(pins(source), Request())
    assert_every_pixel(analysis, source)
    assert [(f.id, f.text) for f in analysis.findings if f.result in {"warn", "fail"}] == []
    length = next(f for f in analysis.findings if f.id == "timing.line_length")
    assert f"{CLOCKS} pixel clocks a line, {2 * CLOCKS} pixels on both their edges" in length.text
    assert length.measured == CLOCKS


@pytest.mark.parametrize("late_ns", [0, 25, -25])
@pytest.mark.parametrize("rate", [50_000_000, 100_000_000])
def test_an_analysers_double_rate_capture_is_read_whatever_the_duty(
    rate: int, late_ns: int, source: BlankingSource
) -> None:
    analysis = analyse(sampled(pins(source), rate, late_ns * 1e3), Request())
    assert_every_pixel(analysis, source)
    assert [f.id for f in analysis.findings if f.result == "fail" and not f.id.startswith("clock.duty")] == []
