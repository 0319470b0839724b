"""The pixel clock from the channel that carries it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.measured import Measured
from rastertap.streams.clock_cycles import Cycles, count_cycles, grid_coverage, mean_period, unseen_part
from rastertap.streams.clock_jitter import BLOCKS, LAGS, find_jitter
from rastertap.streams.clock_kernels import lagged_sums
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.model import PixelClock

if TYPE_CHECKING:
    from numpy.typing import NDArray

FEWEST_CYCLES = 100
FEWEST_SAMPLES_A_CYCLE = 2.2
"""Below this the analyser cannot follow both levels of a clock (two are the limit of sampling, and some room)."""


NEXT_CYCLE = 1.2
"""A high time of more periods than this belongs to a cycle with an edge missing."""


@dataclass(frozen=True)
class TappedPixelClockOptions:
    """Options of the tapped pixel clock decoder: none."""


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

    def decode(self, context: Context, options: TappedPixelClockOptions) -> PixelClock:  # noqa: ARG002
        """Measure the cycles."""
        channel = context.channel_with("pixel_clock")
        if channel is None:
            raise DecodeError("no channel behaves like a pixel clock")
        rising, falling = channel.edges_to(1), channel.edges_to(0)
        if rising.size < FEWEST_CYCLES:
            raise DecodeError(f"only {rising.size} clock cycles in the capture")
        step = context.step
        known = context.capture.sample_period is not None and context.capture.sample_period.known
        shortest = float(np.median(np.diff(rising)))
        if known and shortest < FEWEST_SAMPLES_A_CYCLE * step:
            rate = shortest / step
            raise DecodeError(
                f"the analyser takes only {rate:.1f} samples a clock cycle: the clock is undersampled"
            )
        cycles = count_cycles(rising, step)
        period = mean_period(cycles, step)
        unseen = unseen_part(grid_coverage(cycles, period.value, step))
        sums = lagged_sums(cycles.edges, cycles.runs, period.value, LAGS, BLOCKS)
        jitter = find_jitter(sums, period, step, unseen)
        return PixelClock(
            source="tapped",
            channel=channel.name,
            edges=cycles.edges,
            period=period,
            period_jitter=jitter.period,
            cycle_jitter=jitter.cycle,
            duty=_duty(cycles, falling, period.value, step, unseen),
            missing=cycles.missing,
            extra=cycles.extra,
        )


def _duty(cycles: Cycles, falling: NDArray[np.int64], period: float, step: float, unseen: float) -> Measured:
    """Mean high time over mean period, of the good cycles (as DDR2 data sheets average it, references 8.1).

    Sampling adds no bias to the mean of widths that begin anywhere on the grid; what part of the grid no edge
    falls in bounds the bias.
    """
    after = np.searchsorted(falling, cycles.edges[:-1], side="right")
    whole = (after < falling.size) & (np.diff(cycles.number) == 1)
    high = falling[after[whole]] - cycles.edges[:-1][whole]
    high = high[high < NEXT_CYCLE * period]
    if not high.size:
        return Measured(float("nan"), 1.0, "")
    doubt = step * float(np.hypot(unseen / np.sqrt(3), 1 / np.sqrt(6 * high.size)))
    return Measured(float(high.mean()) / period, doubt / period, "")
