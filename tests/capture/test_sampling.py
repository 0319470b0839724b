"""The analyser's step, from times made by sampling clocks on a known grid."""

from __future__ import annotations

import time
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from rastertap.capture.model import Capture, Channel
from rastertap.capture.sampling import infer_sample_period


def capture_of(*channels: Any) -> Capture:
    """A capture whose channels change at the given times."""
    end = max((int(ticks[-1]) for ticks in channels if len(ticks)), default=0)
    made = tuple(
        Channel(f"D{i}", 0, np.asarray(ticks, np.int64), (1 - np.arange(len(ticks)) % 2).astype(np.uint8))
        for i, ticks in enumerate(channels)
    )
    return Capture("test", Fraction(1, 10**9), 0, end, made)


def sampled(
    clock_hz: float, step: Fraction, changes: int, *, duty: float = 0.5, phase: float = 0.3
) -> np.ndarray:
    """Times of a clock's changes as an analyser stamps them: the next sample, rounded to whole ns."""
    number = np.arange(changes)
    edges = (number / 2 + number % 2 * (duty - 0.5) + phase) / clock_hz * 1e9
    samples = np.unique(np.ceil(edges / float(step)).astype(np.int64))
    return (samples * step.numerator + step.denominator // 2) // step.denominator


def agrees(capture: Capture, step: Fraction) -> None:
    found = infer_sample_period(capture)
    assert found.known
    assert abs(found.ticks - float(step)) <= 2 * found.uncertainty_ticks + 1e-12 * float(step)
    span = capture.end / float(step)
    assert found.uncertainty_ticks <= 1 / span


STEPS = [
    *(Fraction(125, 3), Fraction(10), Fraction(5, 2), Fraction(125, 6), Fraction(20)),
    *(Fraction(250, 3), Fraction(100, 3), Fraction(500, 7)),
]


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("clock_hz", [3.5794e6, 1.0213e6])
def test_a_sampled_clock_shows_the_step(step: Fraction, clock_hz: float) -> None:
    agrees(capture_of(sampled(clock_hz, step, 20_000, duty=0.4)), step)


@pytest.mark.parametrize("rate", [16, 48, 64, 80, 112, 160, 192, 240])
@pytest.mark.parametrize("changes", [2_000, 400_000])
def test_stamps_rounded_half_to_even_show_the_step(rate: int, changes: int) -> None:
    """As C's %.0f and Python's round do (IEEE 754); at these rates (MS/s) many samples are at half a ns."""
    step = Fraction(1000, rate)
    number = np.arange(changes)
    samples = np.unique(np.ceil((number / 2 + 0.3) / 5_369_318 * 1e9 / float(step)).astype(np.int64))
    agrees(capture_of([round(int(n) * step) for n in samples]), step)


def test_a_line_sync_alone_shows_the_step_or_nothing() -> None:
    """A slow signal alone shows a step that is much finer only poorly: then it must not be claimed."""
    for step in (Fraction(125, 3), Fraction(5, 2), Fraction(10)):
        capture = capture_of(sampled(15_734.3, step, 20_000, duty=0.07))
        if infer_sample_period(capture).known:
            agrees(capture, step)
        else:
            assert step < 5


@pytest.mark.parametrize("step", STEPS)
def test_several_channels_together_show_the_step(step: Fraction) -> None:
    clock = sampled(3.4771e6, step, 100_000)
    sync = sampled(15_625.3, step, 400, duty=0.07)
    agrees(capture_of(sync, clock, []), step)


@pytest.mark.parametrize("multiples", [(2, 3), (2, 3, 7), (4, 6, 9), (40, 61, 97)])
def test_the_step_is_found_when_it_never_occurs_as_a_gap(multiples: tuple[int, ...]) -> None:
    step = Fraction(125, 3)
    samples = np.cumsum(np.random.default_rng(1).choice(multiples, 20_000))
    agrees(capture_of((samples * 125 + 1) // 3), step)


@pytest.mark.parametrize("tick_per_ns", [1000, 10**6])
def test_finer_ticks_show_the_step_finer(tick_per_ns: int) -> None:
    step = Fraction(125, 3) * tick_per_ns
    samples = np.unique(np.ceil(np.arange(20_000) * 3.39).astype(np.int64))
    agrees(capture_of((samples * step.numerator + 1) // step.denominator), step)


def test_the_uncertainty_covers_the_truth_for_any_step() -> None:
    """Any step: nearly always within two standard uncertainties, and always within four."""
    rng = np.random.default_rng(5)
    off = []
    for _ in range(40):
        step = float(rng.uniform(5, 200))
        samples = np.cumsum(rng.integers(1, 6, 3000))
        found = infer_sample_period(capture_of(np.round(samples * step + rng.uniform()).astype(np.int64)))
        assert found.known
        off.append(abs(found.ticks - step) / found.uncertainty_ticks)
    assert max(off) < 4
    assert sorted(off)[37] < 2


@pytest.mark.parametrize(
    "channels",
    [
        [np.arange(1, 5000) * 20],
        [np.cumsum(np.tile([19, 20], 3000))],
        [np.cumsum(np.tile([15, 24], 3000))],
        [np.cumsum(np.tile([20, 20], 3000)), np.cumsum(np.tile([40, 80, 200], 300))],
        [np.cumsum(np.tile([19, 20], 3000)), np.cumsum(np.tile([39], 300))],
    ],
)
def test_a_simulated_clock_is_not_taken_for_the_analyser_s(channels: list[Any]) -> None:
    """The clock changes at every step of the grid, or the gaps only alternate."""
    found = infer_sample_period(capture_of(*channels))
    assert (found.ticks, found.uncertainty_ticks, found.known) == (1.0, 0.0, False)


@pytest.mark.parametrize("channels", [[], [[]], [[5]], [[3, 8]], [[1], [4]], [[10, 20, 50]]])
def test_a_few_changes_show_nothing(channels: list[Any]) -> None:
    assert not infer_sample_period(capture_of(*channels)).known


def test_times_on_no_grid_show_the_tick() -> None:
    rng = np.random.default_rng(2)
    close = infer_sample_period(capture_of(np.cumsum(rng.integers(3, 1000, 5000))))
    assert (close.ticks, close.known) == (1.0, True)
    far = infer_sample_period(capture_of(np.cumsum(rng.integers(10_000, 10**6, 5000))))
    assert (far.ticks, far.known) == (1.0, False)


def test_changes_off_the_grid_forbid_it() -> None:
    rng = np.random.default_rng(3)
    ticks = np.cumsum(rng.integers(1, 6, 3000)) * 10
    assert infer_sample_period(capture_of(ticks)).ticks == 10.0
    ticks[::50] += rng.integers(1, 9, 60)
    assert infer_sample_period(capture_of(ticks)).ticks == 1.0


def test_tens_of_millions_of_changes_are_quick() -> None:
    samples = np.cumsum(np.random.default_rng(4).integers(1, 6, 10_000_000))
    capture = capture_of((samples * 125 + 1) // 3)
    begin = time.process_time()
    agrees(capture, Fraction(125, 3))
    assert time.process_time() - begin < 3
