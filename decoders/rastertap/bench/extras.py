"""Signals on an analyser's spare channels that have nothing to do with the video chip."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.wave import FS_PER_NS, FS_PER_S, Wave, constant

if TYPE_CHECKING:
    from collections.abc import Callable

EXTRAS = ("low", "high", "noise", "tone", "other_clock")
"""Names that a channel can carry beside the source's own signals and its ``cpu_clock``."""

FLOATING_MEAN_NS = 4_000.0
TONE_HZ = 440.0
OTHER_CLOCK_PERIOD_FS = FS_PER_S // 3_686_400


def floating(rng: np.random.Generator, span_fs: int) -> Wave:
    """Give an unconnected input: changes at random times, 4 us apart in the mean."""
    mean = FLOATING_MEAN_NS * FS_PER_NS
    gaps = rng.exponential(mean, int(span_fs / mean * 1.2) + 100)
    times = np.unique(np.cumsum(np.rint(gaps).astype(np.int64) + 1))
    return Wave(int(rng.integers(2)), times[times < span_fs])


def tone(rng: np.random.Generator, span_fs: int) -> Wave:
    """Give a one-bit sound output: a 440 Hz square wave at any phase."""
    half = int(FS_PER_S / TONE_HZ / 2)
    return Wave(0, np.arange(int(rng.integers(1, half)), span_fs, half))


def other_clock(rng: np.random.Generator, span_fs: int) -> Wave:
    """Give a clock that is not derived from the pixel clock: 3.6864 MHz at any phase."""
    half = OTHER_CLOCK_PERIOD_FS // 2
    return Wave(0, np.arange(int(rng.integers(1, half)), span_fs, half))


def extra(name: str, rng: np.random.Generator, span_fs: int) -> Wave:
    """Give one of `EXTRAS` from the source's first clock to ``span_fs``."""
    makers: dict[str, Callable[[np.random.Generator, int], Wave]] = {
        "low": lambda _rng, _span: constant(0),
        "high": lambda _rng, _span: constant(1),
        "noise": floating,
        "tone": tone,
        "other_clock": other_clock,
    }
    return makers[name](rng, span_fs)
