"""Drift, modulation and the analyser's own beats."""

from __future__ import annotations

import numpy as np
import pytest

from .clock_signal import clock_of, moved, steady

HZ = 9_000_117.0


@pytest.mark.parametrize("peak_ns", [0.3, 2.0, 15.0])
@pytest.mark.parametrize("line_hz", [15_625.0, 4_321.0])
def test_a_modulation_is_found_with_its_rate_and_swing(peak_ns: float, line_hz: float) -> None:
    signal = steady(HZ, 0.04)
    swing = np.sin(2 * np.pi * line_hz * signal.rise * 1e-12) * peak_ns * 1e3
    clock = clock_of(moved(signal, swing), 100e6)
    assert clock.record is not None
    line = clock.record.line
    assert line is not None
    assert line.frequency * HZ == pytest.approx(line_hz, abs=2 * line.resolution * HZ)
    assert line.amplitude == pytest.approx(peak_ns * 1e3, rel=0.1)


@pytest.mark.parametrize(
    "hz", [9e6 * (1 - 13e-6), 8e6 * (1 + 21e-6), 6.75e6 * (1 + 17e-6), 7_159_090.9 * (1 - 8e-6)]
)
@pytest.mark.parametrize("rate_mhz", [24, 50, 100, 200])
def test_beats_with_the_analysers_grid_are_no_modulation(hz: float, rate_mhz: int) -> None:
    clock = clock_of(steady(hz, 0.04), rate_mhz * 1e6)
    assert clock.record is not None
    assert clock.record.line is None


@pytest.mark.parametrize(("peak_ns", "hz"), [(300.0, 50.0), (40.0, 60.0), (15.0, 100.0), (900.0, 47.0)])
@pytest.mark.parametrize("ppm", [0.0, 150.0])
def test_hum_too_slow_for_the_spectrum_is_found_beside_drift(peak_ns: float, hz: float, ppm: float) -> None:
    signal = steady(HZ, 0.05)
    part = signal.rise / signal.rise[-1]
    swing = np.sin(2 * np.pi * hz * signal.rise * 1e-12 + 1.0) * peak_ns * 1e3
    noise = np.random.default_rng(5).standard_normal(signal.rise.size) * 2e3
    bent = swing + noise - 0.5 * ppm * 1e-6 * part**2 * signal.rise[-1]
    clock = clock_of(moved(signal, bent), 100e6)
    assert clock.record is not None
    line = clock.record.line
    assert line is not None
    assert line.frequency * HZ == pytest.approx(hz, abs=line.resolution * HZ)
    assert line.amplitude == pytest.approx(peak_ns * 1e3, rel=0.05)


def test_less_than_two_swings_are_no_hum() -> None:
    signal = steady(HZ, 0.05)
    swing = np.sin(2 * np.pi * 25.0 * signal.rise * 1e-12) * 300e3
    clock = clock_of(moved(signal, swing), 100e6)
    assert clock.record is not None
    assert clock.record.line is None


def test_noise_alone_shows_no_line() -> None:
    rng = np.random.default_rng(4)
    signal = steady(HZ, 0.04)
    for scatter in (
        rng.standard_normal(signal.rise.size) * 2e3,
        np.cumsum(rng.standard_normal(signal.rise.size)) * 300,
    ):
        clock = clock_of(moved(signal, scatter), 100e6)
        assert clock.record is not None
        assert clock.record.line is None


@pytest.mark.parametrize("ppm", [-30.0, 8.0, 200.0])
def test_drift_is_right_within_its_uncertainty(ppm: float) -> None:
    signal = steady(HZ, 0.04)
    part = signal.rise / signal.rise[-1]
    bent = -0.5 * ppm * 1e-6 * part**2 * signal.rise[-1]
    clock = clock_of(moved(signal, bent), 100e6)
    assert clock.record is not None
    drift = clock.record.drift
    assert drift is not None
    assert abs(drift.value - ppm) <= 3 * drift.uncertainty + 0.01 * abs(ppm)
    assert drift.uncertainty < 3


def test_a_steady_clocks_drift_is_never_wrong_by_more_than_the_bound() -> None:
    """0.962 step, whatever the beat with the grid (derivation in `rastertap.streams.clock_tie.drift_of`)."""
    for n in range(30):
        clock = clock_of(steady(8e6 * (1 + n * 1.7e-6), 0.005, start_ps=331.0 * n), 100e6)
        assert clock.record is not None
        drift = clock.record.drift
        assert drift is not None
        assert abs(drift.value) <= np.sqrt(3) * drift.uncertainty


def test_a_wandering_clocks_drift_has_the_spread_that_is_claimed() -> None:
    rng = np.random.default_rng(9)
    signal = steady(HZ, 0.005)
    ratios = []
    for _ in range(40):
        clock = clock_of(moved(signal, np.cumsum(rng.standard_normal(signal.rise.size)) * 1e3), 100e6)
        assert clock.record is not None
        drift = clock.record.drift
        assert drift is not None
        ratios.append(drift.value / drift.uncertainty)
    assert np.std(ratios) == pytest.approx(1.0, abs=0.35)
