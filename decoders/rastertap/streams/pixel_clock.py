"""The pixel clock from the channel that carries it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.measured import Measured
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.lines import GRID_WORST
from rastertap.streams.model import PixelClock

if TYPE_CHECKING:
    from numpy.typing import NDArray

FEWEST_CYCLES = 100
FEWEST_SAMPLES_A_CYCLE = 2.2
"""Below this the analyser cannot follow both levels of a clock (two are the limit of sampling, and some room)."""


@dataclass(frozen=True)
class TappedPixelClockOptions:
    """Options of the tapped pixel clock decoder.

    Parameters
    ----------
    gap : float
        An interval longer than this many periods has cycles missing.
    extra : float
        An interval shorter than this many periods holds an extra edge.
    """

    gap: float = 1.5
    extra: float = 0.6


class TappedPixelClock:
    """Cycles, jitter, missing and extra edges of the clock that the colour bus keeps to."""

    name: ClassVar[str] = "pixel-clock-tapped"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "pixel clock from the channel that carries it"
    needs: ClassVar[frozenset[str]] = frozenset()
    gives: ClassVar[str] = "pixel_clock"
    Options: ClassVar[type] = TappedPixelClockOptions

    def match(self, context: Context) -> Match:
        """Fit as well as the pixel clock's pin."""
        found = context.pins_with("pixel_clock")
        if not found:
            return Match(0.0, ("no channel behaves like a pixel clock",))
        return Match(found[0].score, (f"pixel clock on {found[0].channel}",))

    def decode(self, context: Context, options: TappedPixelClockOptions) -> PixelClock:
        """Measure the cycles."""
        channel = context.channel_with("pixel_clock")
        if channel is None:
            raise DecodeError("no channel behaves like a pixel clock")
        rising, falling = channel.edges_to(1), channel.edges_to(0)
        if rising.size < FEWEST_CYCLES:
            raise DecodeError(f"only {rising.size} clock cycles in the capture")
        step = context.step
        known = context.capture.sample_period is not None and context.capture.sample_period.known
        intervals = np.diff(rising)
        period = float(np.median(intervals))
        if known and period < FEWEST_SAMPLES_A_CYCLE * step:
            rate = period / step
            raise DecodeError(f"the analyser takes only {rate:.1f} samples a clock cycle: the clock is undersampled")
        period = float(intervals[np.abs(intervals - period) < 0.5 * period].mean())
        ratio = intervals / period
        long = np.flatnonzero(ratio > options.gap)
        good = np.abs(ratio - 1) < min(options.gap - 1, 1 - options.extra)
        cycles = np.round(ratio).astype(np.int64)
        missing = [rising[i] + period * np.arange(1, max(int(cycles[i]), 2)) for i in long]
        return PixelClock(
            source="tapped",
            channel=channel.name,
            edges=rising,
            period=_period(rising, intervals, good, step),
            period_jitter=_jitter(intervals[good].astype(np.float64), step, order=1),
            cycle_jitter=_jitter(np.diff(intervals)[good[1:] & good[:-1]].astype(np.float64), step, order=2),
            duty=_duty(rising, falling, good, step),
            missing=np.concatenate(missing).astype(np.int64) if missing else np.empty(0, np.int64),
            extra=rising[1:][ratio < options.extra],
        )


def _period(
    rising: NDArray[np.int64], intervals: NDArray[np.int64], good: NDArray[np.bool_], step: float
) -> Measured:
    """Mean of the good intervals; a run of them is bounded by two edges, whatever lies between."""
    runs = 1 + int(np.count_nonzero(~good))
    count = int(np.count_nonzero(good))
    value = float(intervals[good].mean())
    if count == intervals.size:
        value = float(rising[-1] - rising[0]) / count
    return Measured(value, GRID_WORST * step * np.sqrt(runs) / count, "ticks")


def _jitter(values: NDArray[np.float64], step: float, *, order: int) -> Measured:
    """Standard deviation of the intervals (order 1) or of their differences (order 2), the step taken out.

    A jitter-free clock on a sampling grid has intervals of only two lengths, a step apart, in the proportion
    that gives the mean; their variance, ``step**2 f (1 - f)``, is what the analyser adds at least. With
    jitter of a step or more it adds ``step**2 / 6`` an interval instead. What of the two applies is not
    known without more, so both bound the result.
    """
    if values.size < FEWEST_CYCLES:
        return Measured(0.0, step, "ticks")
    variance = float(values.var())
    if order == 1:
        fraction = (float(values.mean()) / step) % 1
        least, most = step**2 * fraction * (1 - fraction), step**2 / 6
    else:
        least, most = 0.0, step**2 / 2
    low, high = sorted((max(variance - most, 0.0) ** 0.5, max(variance - least, 0.0) ** 0.5))
    return Measured((low + high) / 2, (high - low) / np.sqrt(12) + step / np.sqrt(12 * values.size), "ticks")


def _duty(
    rising: NDArray[np.int64], falling: NDArray[np.int64], good: NDArray[np.bool_], step: float
) -> Measured:
    """Mean high time over mean period, of the good cycles (as DDR2 data sheets average it, references 8.1)."""
    after = np.searchsorted(falling, rising[:-1], side="right")
    whole = good & (after < falling.size)
    high = falling[after[whole]] - rising[:-1][whole]
    period = float(np.diff(rising)[whole].mean())
    # Sampling adds no bias to a mean width, but an integer ratio can hide up to a step.
    return Measured(float(high.mean()) / period, step / np.sqrt(12) / period, "")
