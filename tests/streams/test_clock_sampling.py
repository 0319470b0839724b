"""Where in the pixel the bus changes, bit by bit, and where it is read."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.analyse import Request, analyse
from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.card import card_for
from rastertap.bench.faults import parse_fault
from rastertap.bench.machines import MACHINES
from rastertap.bench.make import make_capture
from rastertap.capture.read import read_capture
from rastertap.decode import decode

from .clock_signal import Signal, bus_context, raster

if TYPE_CHECKING:
    from pathlib import Path

    from rastertap.streams.model import SamplingPoint

HZ = 9_000_117.0
PERIOD = 1e12 / HZ


def sampling(bus, rate_hz: float, clock: Signal) -> SamplingPoint:  # noqa: ANN001 - a test's bus
    found: SamplingPoint = decode(bus_context(bus, rate_hz, clock=clock)).streams["colour_bus"].sampling
    return found


def clock_for(bus, every: int = 1) -> Signal:  # noqa: ANN001
    rise = bus.boundaries[::every]
    return Signal(rise, rise + 0.5 * PERIOD * every)


@pytest.mark.parametrize("rate", [31e6, 50e6, 100e6, 200e6])
def test_each_bits_delay_is_right_far_below_the_step(rate: float) -> None:
    bus = raster(HZ, pixels=512, lines=150, skew_ps=(0.0, 0.0, 7_300.0))
    point = sampling(bus, rate, clock_for(bus))
    delays = [b.mean for b in point.bits]
    assert delays == pytest.approx([12_000, 12_000, 19_300], abs=600)


@pytest.mark.parametrize("rate", [31e6, 100e6])
def test_the_true_margins_are_within_the_measured_ones(rate: float) -> None:
    bus = raster(HZ, pixels=512, lines=150, skew_ps=(0.0, 3_000.0, 9_000.0))
    point = sampling(bus, rate, clock_for(bus))
    before, after = point.delay - 21_000, PERIOD + 12_000 - point.delay
    assert abs(point.margin_before.value - before) <= 2 * point.margin_before.uncertainty
    assert abs(point.margin_after.value - after) <= 2 * point.margin_after.uncertainty


def test_a_bits_own_scatter_is_told_from_the_grids() -> None:
    bus = raster(HZ, pixels=512, lines=150, jitter_ps=3_000)
    still = raster(HZ, pixels=512, lines=150)
    assert sampling(bus, 100e6, clock_for(bus)).bits[0].spread == pytest.approx(3_000, rel=0.15)
    assert sampling(still, 100e6, clock_for(still)).bits[0].spread < 700


def test_pixels_two_clocks_wide_are_recognised() -> None:
    bus = raster(HZ, pixels=512, lines=150, cycles_per_pixel=2)
    assert sampling(bus, 100e6, clock_for(bus)).cycles_per_pixel == 2
    fine = raster(HZ, pixels=512, lines=150)
    assert sampling(fine, 100e6, clock_for(fine)).cycles_per_pixel == 1


def test_a_bus_on_both_clock_edges_is_read_after_each() -> None:
    """Two pixels a clock: the second one's sampling point lies after the falling edge."""
    bus = raster(2 * HZ, pixels=512, lines=150)
    rise = bus.boundaries[::2]
    context = bus_context(bus, 150e6, clock=Signal(rise, rise + 0.5 * PERIOD))
    streams = decode(context).streams
    assert streams["pixel_clock"].source == "tapped"
    assert streams["pixel_clock"].period.value == pytest.approx(PERIOD, rel=1e-5)
    point = streams["colour_bus"].sampling
    assert point.pixels_per_cycle == 2
    assert point.reads[1] - point.reads[0] == pytest.approx(PERIOD / 2, rel=0.02)
    # Changes come 12 ns after each edge: between them lies half a cycle, less what the grid hides.
    assert 12_000 < point.reads[0] < PERIOD / 2 + 12_000
    assert point.margin_before.value + point.margin_after.value == pytest.approx(PERIOD / 2, abs=7_000)


def test_two_pixels_a_clock_need_samples_enough_for_each() -> None:
    """At 1.9 samples a pixel the clock could be an alias as well."""
    bus = raster(2 * HZ, pixels=512, lines=150)
    rise = bus.boundaries[::2]
    decoded = decode(bus_context(bus, 3.8 * HZ, clock=Signal(rise, rise + 0.5 * PERIOD)))
    assert "pixel_clock" not in decoded.streams or decoded.streams["pixel_clock"].source == "recovered"


def test_an_aliased_clock_is_refused() -> None:
    """9 MHz at 14.4 MS/s looks like 5.4 MHz; the bus gives it away."""
    bus = raster(HZ, pixels=512, lines=150)
    decoded = decode(bus_context(bus, 1.6 * HZ, clock=clock_for(bus)))
    assert "pixel_clock" not in decoded.streams
    assert "undersampled" in decoded.missing["pixel_clock"]


@pytest.mark.parametrize(
    "fault", ["aggressor=D0,width_ns=25,chance=0.05", "aggressor=D1,width_ns=40,chance=1"]
)
def test_crosstalk_on_one_bit_costs_the_capture_no_clock(tmp_path: Path, fault: str) -> None:
    """The bench's wires, not this package's decoders: D0 is the clock, D1 hsync, D5 a colour bit."""
    source = MACHINES["marlow85-50"].source
    analyser = replace(Analyser(plug(source)), fields=1.2)
    made = make_capture(source, analyser, [parse_fault(f"crosstalk:to=D5,{fault}")], card_for(source), seed=3)
    made.write_vcd(tmp_path / "made.vcd")
    analysis = analyse(read_capture(tmp_path / "made.vcd"), Request())
    assert analysis.evidence.pixel_clock is not None
    assert analysis.evidence.pixel_clock.source == "tapped"
    assert analysis.verdict.place == "taps"
    assert "D5" in analysis.verdict.text


def test_statistics_of_two_halves_join_to_those_of_the_whole() -> None:
    bus = raster(HZ, pixels=512, lines=150)
    cut = bus.boundaries.size // 2
    halves = [
        replace(bus, boundaries=bus.boundaries[part], levels=bus.levels[:, part], jitter=bus.jitter[part])
        for part in (slice(None, cut), slice(cut, None))
    ]
    first, second = (sampling(half, 100e6, clock_for(half)) for half in halves)
    whole = sampling(bus, 100e6, clock_for(bus))
    joined = first.joined(second)
    assert sum(b.count for b in joined.bits) == pytest.approx(sum(b.count for b in whole.bits), rel=1e-3)
    assert joined.bits[0].mean == pytest.approx(whole.bits[0].mean, abs=20)
    assert int(joined.changes.sum()) == pytest.approx(int(whole.changes.sum()), rel=1e-3)
    assert np.isfinite(joined.margin_before.value)


@pytest.mark.parametrize("late_ns", [20.0, 40.0, 80.0])
def test_a_bit_late_by_half_a_cycle_and_more_is_not_torn_in_two(late_ns: float) -> None:
    bus = raster(HZ, pixels=512, lines=150, skew_ps=(0.0, 0.0, late_ns * 1e3))
    point = sampling(bus, 100e6, clock_for(bus))
    bit = point.bits[2]
    assert bit.spread < 2_500  # a quarter of the analyser's step
    assert (bit.mean - 12_000 - late_ns * 1e3 + PERIOD / 2) % PERIOD - PERIOD / 2 == pytest.approx(0, abs=600)
