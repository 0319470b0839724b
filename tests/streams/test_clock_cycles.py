"""Cycles, missing and extra edges, phase steps, frequency and duty of clocks made with numpy alone."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.errors import DecodeError

from .clock_signal import Signal, clock_of, moved, steady, with_pulse, without

HZ = 9_000_117.0
PERIOD = 1e12 / HZ


def line_syncs(signal: Signal, pixels: int = 576) -> np.ndarray:
    return signal.rise[::pixels] + 15_000.0


@pytest.mark.parametrize("hz", [5e6, 7_159_090.909, 17_734_475 / 2, 13.5e6])
@pytest.mark.parametrize("rate", [24e6, 50e6, 100e6, 83_333_333.0, 500e6])
def test_the_frequency_is_right_within_its_uncertainty(hz: float, rate: float) -> None:
    if rate < 3 * hz:
        pytest.skip("too few samples a cycle")
    clock = clock_of(steady(hz, 0.01), rate)
    assert abs(clock.period.value - 1e12 / hz) <= 3 * clock.period.uncertainty
    assert clock.missing.size == clock.extra.size == 0


def test_the_uncertainty_is_below_1_ppm_at_40_ms_and_100_msps() -> None:
    clock = clock_of(steady(HZ, 0.04), 100e6)
    assert clock.period.uncertainty / clock.period.value < 1e-6


@pytest.mark.parametrize("duty", [0.3, 0.42, 0.5, 0.65])
@pytest.mark.parametrize("rate", [31e6, 100e6])
def test_duty_is_measured_below_four_samples_a_cycle_too(duty: float, rate: float) -> None:
    clock = clock_of(steady(HZ, 0.02, duty=duty), rate)
    assert clock.duty is not None
    assert clock.duty.value == pytest.approx(duty, abs=0.003)
    assert clock.duty.uncertainty < 0.01


def test_every_missing_cycle_is_found_and_none_invented() -> None:
    signal = steady(HZ, 0.02)
    gone = np.array([1_000, 7_777, 7_778, 7_779, 60_000, 100_001])
    clock = clock_of(without(signal, gone), 50e6)
    assert clock.record is not None
    events = clock.record.events
    assert (events.missing, events.gaps.count, events.extra.count, events.jumps.count) == (6, 4, 0, 0)
    assert events.gaps.size.tolist() == [1, 3, 1, 1]
    assert np.abs(events.gaps.at - signal.rise[[1_000, 7_777, 60_000, 100_001]]).max() < 30_000


@pytest.mark.parametrize("after", [0.18, 0.5, 0.7])
def test_a_runt_is_found_wherever_in_the_cycle_it_falls(after: float) -> None:
    signal = with_pulse(steady(HZ, 0.01, duty=0.1), 5_000, after * PERIOD, 8_000)
    clock = clock_of(signal, 200e6)
    assert clock.record is not None
    events = clock.record.events
    assert (events.extra.count, events.missing, events.jumps.count) == (1, 0, 0)
    assert events.extra.size[0] == pytest.approx(after * PERIOD, abs=5_000)


@pytest.mark.parametrize("part", [0.25, 0.5, -0.4, 1.5])
def test_a_stretched_cycle_is_a_phase_jump_and_the_frequency_stays_right(part: float) -> None:
    signal = steady(HZ, 0.02)
    late = np.where(np.arange(signal.rise.size) >= 70_000, part * PERIOD, 0.0)
    clock = clock_of(moved(signal, late), 100e6)
    assert clock.record is not None
    events = clock.record.events
    assert events.jumps.count == 1
    assert abs(events.jumps.at[0] - signal.rise[70_000]) < 12 * PERIOD
    assert abs(clock.period.value - PERIOD) <= 3 * clock.period.uncertainty


def test_what_only_the_tap_misses_is_told_from_what_the_chip_misses() -> None:
    signal = steady(HZ, 0.02)
    gone = np.arange(500, signal.rise.size, 4_321)
    chip = without(signal, gone)
    by_chip = clock_of(chip, 100e6, sync=line_syncs(chip))
    by_tap = clock_of(chip, 100e6, sync=line_syncs(signal))
    assert by_chip.record is not None
    assert by_tap.record is not None
    assert by_chip.record.events.gaps_seen_by == "chip"
    assert by_tap.record.events.gaps_seen_by == "tap"
    # The chip moved on in the cycles that only the tap misses, so that the frames need them.
    assert by_tap.edges.size == signal.rise.size
    assert by_chip.edges.size == signal.rise.size - gone.size


def test_a_clock_that_stops_keeps_its_count() -> None:
    signal = steady(HZ, 0.02)
    clock = clock_of(without(signal, np.arange(50_000, 90_000)), 100e6)
    assert clock.record is not None
    assert (clock.record.events.missing, clock.record.events.gaps.count) == (40_000, 1)


def test_too_slow_an_analyser_is_refused() -> None:
    with pytest.raises(DecodeError, match="undersampled"):
        clock_of(steady(HZ, 0.01), 19e6)


def test_pulses_shorter_than_the_step_are_not_taken_for_missing_cycles() -> None:
    with pytest.raises(DecodeError, match="high time is shorter than the analyser's step"):
        clock_of(steady(HZ, 0.01, duty=0.2), 30e6)


def test_slips_against_a_step_that_nobody_knew_are_no_phase_jumps() -> None:
    """8 MHz, 17 ppm off, at 24 MS/s: 3.00005 samples a cycle, so that only the slips show the step."""
    clock = clock_of(steady(8e6 * (1 - 17e-6), 0.03), 24e6, known=False)
    assert clock.record is not None
    assert clock.record.events.jumps.count == 0
    assert clock.record.step == pytest.approx(1e12 / 24e6, rel=1e-4)


def test_a_simulators_clock_is_exact() -> None:
    signal = Signal(np.arange(1, 40_001) * 125_000.0, np.arange(1, 40_001) * 125_000.0 + 62_500)
    clock = clock_of(signal, 1e12, known=False)
    assert clock.period.value == 125_000
    assert clock.period_jitter is not None
    assert clock.period_jitter.value == 0


@pytest.mark.parametrize("rms_ns", [3.0, 10.0])
def test_no_event_is_invented_in_a_clock_that_wanders(rms_ns: float) -> None:
    rng = np.random.default_rng(8)
    signal = steady(HZ, 0.02)
    clock = clock_of(moved(signal, np.cumsum(rng.standard_normal(signal.rise.size)) * rms_ns * 1e3), 100e6)
    assert clock.record is not None
    events = clock.record.events
    assert (events.missing, events.extra.count, events.jumps.count) == (0, 0, 0)
    mean = (signal.rise[-1] - signal.rise[0]) / (signal.rise.size - 1)
    assert clock.period.value != mean
