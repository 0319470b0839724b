"""A clock that is disturbed, sampled so seldom that the disturbance hides in its own edges."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.capture.model import Channel
from rastertap.checks.wiring_runts import against_the_rhythm

if TYPE_CHECKING:
    from numpy.typing import NDArray

SAMPLES, TICKS_A_STEP = 200_000, 100.0


def sampled(cycle: float, *, duty: float, jitter: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Levels of a clock of ``cycle`` samples at every sample."""
    edges = np.arange(0.3, SAMPLES, cycle)
    rises = edges + rng.normal(0, jitter, edges.size)
    falls = edges + duty * cycle + rng.normal(0, jitter, edges.size)
    levels = np.zeros(SAMPLES, np.uint8)
    for rise, fall in zip(np.ceil(rises).astype(int), np.ceil(falls).astype(int), strict=True):
        levels[rise:fall] = 1
    return levels


def channel(levels: NDArray[np.uint8]) -> Channel:
    changes = np.flatnonzero(np.diff(levels)) + 1
    ticks = np.rint(changes * TICKS_A_STEP).astype(np.int64)
    return Channel("CLK", int(levels[0]), ticks, levels[changes])


@pytest.mark.parametrize("cycle", [2.71, 3.3845, 4.0001, 7.05, 23.4])
@pytest.mark.parametrize("duty", [0.42, 0.5, 0.6])
def test_a_clean_clock_keeps_to_its_rhythm(cycle: float, duty: float) -> None:
    clean = channel(sampled(cycle, duty=duty, jitter=0.01 * cycle, rng=np.random.default_rng(1)))
    assert against_the_rhythm(clean, cycle * TICKS_A_STEP, TICKS_A_STEP).size == 0


@pytest.mark.parametrize("cycle", [2.71, 3.3845, 7.05])
def test_each_sample_that_is_flipped_is_found_but_those_at_the_edges(cycle: float) -> None:
    rng = np.random.default_rng(2)
    levels = sampled(cycle, duty=0.5, jitter=0.01 * cycle, rng=rng)
    flipped = np.sort(rng.choice(np.arange(10, SAMPLES - 600, 3), 2000, replace=False))
    levels[flipped] ^= 1
    found = np.rint(
        against_the_rhythm(channel(levels), cycle * TICKS_A_STEP, TICKS_A_STEP) / TICKS_A_STEP
    ).astype(int)
    assert set(found) <= set(flipped)
    # Two edges a cycle, on each side of which 6 % of a cycle are not looked at.
    assert found.size / flipped.size == pytest.approx(1 - 4 * 0.06, abs=0.06)


def test_a_pulse_is_told_once_by_where_it_begins() -> None:
    levels = sampled(23.4, duty=0.5, jitter=0.1, rng=np.random.default_rng(3))
    starts = [int(s) for s in np.arange(1, 100) * 1000 if (s - 0.3) / 23.4 % 0.5 < 0.25]
    starts = [s for s in starts if (s - 0.3) / 23.4 % 0.5 > 0.1]
    for start in starts:
        levels[start : start + 3] ^= 1
    found = against_the_rhythm(channel(levels), 23.4 * TICKS_A_STEP, TICKS_A_STEP)
    assert [int(t) for t in found] == [round(s * TICKS_A_STEP) for s in starts]
    assert all(b - a > 1 for a, b in pairwise(starts))


def test_a_clock_of_too_few_cycles_has_no_rhythm() -> None:
    few = channel(sampled(3.4, duty=0.5, jitter=0.0, rng=np.random.default_rng(4))[:600])
    assert against_the_rhythm(few, 340.0, TICKS_A_STEP).size == 0
