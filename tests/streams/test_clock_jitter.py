"""Jitter below the analyser's step, against clocks of known jitter and a Monte Carlo of the formula."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.streams.clock_jitter import recorded_variance, true_scatter

from .clock_signal import clock_of, moved, steady

NS = 1e3


@pytest.mark.parametrize("length", [3.0, 3.5556, 11.1111, 7.25])
@pytest.mark.parametrize("sigma", [0.0, 0.05, 0.3, 1.5])
def test_the_variance_of_recorded_intervals_follows_the_formula(length: float, sigma: float) -> None:
    rng = np.random.default_rng(3)
    start = rng.random(400_000)
    recorded = np.ceil(start + length + sigma * rng.standard_normal(start.size)) - np.ceil(start)
    predicted = recorded_variance(np.array([sigma]), np.array([length]))[0, 0]
    assert recorded.var() == pytest.approx(predicted, abs=4e-3 + 0.005 * predicted)


def test_the_scatter_comes_back_from_the_variance() -> None:
    for sigma, length in ((0.1, 9.01), (0.5, 4.4), (2.0, 3.7)):
        variance = recorded_variance(np.array([sigma]), np.array([length]))[0, 0]
        assert true_scatter(float(variance), length) == pytest.approx(sigma, rel=0.03)


@pytest.mark.parametrize("hz", [6_750_000, 7_159_090.909, 8_867_237.5])
@pytest.mark.parametrize("rate_mhz", [24, 50, 100, 200])
def test_a_clock_without_jitter_shows_none(hz: float, rate_mhz: int) -> None:
    clock = clock_of(steady(hz * (1 + 17e-6), 0.02), rate_mhz * 1e6)
    assert clock.period_jitter is not None
    assert clock.period_jitter.value < 0.2 * NS
    assert clock.period_jitter.uncertainty < 0.5 * NS


@pytest.mark.parametrize("rms_ns", [0.5, 2.0, 10.0])
@pytest.mark.parametrize("rate_mhz", [24, 100])
def test_edges_that_scatter_give_root_2_in_the_period_and_root_6_from_one_to_the_next(
    rms_ns: float, rate_mhz: int
) -> None:
    rng = np.random.default_rng(5)
    signal = steady(6_751_234.0, 0.02)
    clock = clock_of(
        moved(signal, rng.standard_normal(signal.rise.size) * rms_ns * NS / np.sqrt(2)), rate_mhz * 1e6
    )
    assert clock.period_jitter is not None
    assert clock.cycle_jitter is not None
    assert clock.period_jitter.value == pytest.approx(rms_ns * NS, rel=0.1, abs=0.2 * NS)
    assert clock.cycle_jitter.value == pytest.approx(np.sqrt(3) * rms_ns * NS, rel=0.1, abs=0.35 * NS)


def test_periods_that_wander_are_told_from_edges_that_scatter() -> None:
    rng = np.random.default_rng(6)
    signal = steady(8_000_123.0, 0.02)
    clock = clock_of(moved(signal, np.cumsum(rng.standard_normal(signal.rise.size)) * 2 * NS), 100e6)
    assert clock.record is not None
    jitter = clock.record.jitter
    assert jitter.walk == pytest.approx(2 * NS, rel=0.1)
    assert jitter.edge < 0.3 * NS
    assert jitter.cycle.value == pytest.approx(np.sqrt(2) * 2 * NS, rel=0.1)


def test_a_clock_locked_to_the_analyser_says_that_its_jitter_is_hidden() -> None:
    clock = clock_of(steady(12_500_000.0, 0.01), 100e6)
    assert clock.record is not None
    assert clock.period_jitter is not None
    assert clock.record.unseen > 0.9
    assert clock.period_jitter.uncertainty > 5 * NS
