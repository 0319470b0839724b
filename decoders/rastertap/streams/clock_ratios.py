"""The pixel clock against line rate, subcarrier and other clocks: whole ratios, locked or not."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar, cast

import numpy as np

from rastertap.match import Match
from rastertap.measured import Measured
from rastertap.streams.clock_cycles import count_cycles, period_of, stretch_sums
from rastertap.streams.interface import CONTRACT, Context

if TYPE_CHECKING:
    from rastertap.capture.model import Channel
    from rastertap.streams.model import PixelClock, Sync

FEWEST_EDGES = 2000
SLOWEST_S = 4e-6
STEADY_SHARE = 0.9
"""Part of the intervals that must be within a tenth (and two steps) of the usual one in a clock."""
LARGEST_DENOMINATOR = 12
SLIP = 0.25
"""How near to a whole number of pixels a line must be to be compared with it."""
HALF_SLIP = 0.01
"""The same for a half pixel more, which few sources have."""
LOCKED_PPM = 0.5
"""A ratio this near (ppm) to a small fraction, or within three uncertainties, is taken as locked."""
NEAR_PART = 1e-3
"""How near (relative) a ratio must be to a small fraction to be compared with it."""


@dataclass(frozen=True, eq=False)
class Ratio:
    """Frequency of the pixel clock over another one, on one timebase: its error drops out.

    Parameters
    ----------
    name : str
        What the pixel clock is compared with.
    ratio : Measured
        Pixel clock over it.
    nearest : Fraction or None
        Small fraction (or whole number of pixels a line) that it may be; None when none is near.
    sums : ndarray of float64, shape (3,)
        Of the other: ticks, cycles, stretches.
    step : float
        Ticks.
    """

    name: str
    ratio: Measured
    nearest: Fraction | None
    sums: np.ndarray[tuple[int], np.dtype[np.float64]]
    step: float

    @property
    def off_ppm(self) -> float | None:
        """Distance from the nearest fraction, parts per million."""
        return None if self.nearest is None else (self.ratio.value / float(self.nearest) - 1) * 1e6

    @property
    def locked(self) -> bool | None:
        """Whether the two are locked: the ratio is the fraction as exactly as it could be measured."""
        if self.off_ppm is None:
            return None
        doubt = self.ratio.uncertainty / self.ratio.value * 1e6
        return abs(self.off_ppm) <= max(3 * doubt, LOCKED_PPM)


@dataclass(frozen=True, eq=False)
class ClockRatios:
    """All ratios that were found."""

    ratios: tuple[Ratio, ...]


@dataclass(frozen=True)
class ClockRatiosOptions:
    """Options of the decoder: none."""


class ClockRatiosDecoder:
    """Compares the pixel clock with the line rate and with other clocks."""

    name: ClassVar[str] = "clock-ratios"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = (
        "pixel clock against line rate, subcarrier and other clocks: whole ratios, locked or not"
    )
    needs: ClassVar[frozenset[str]] = frozenset({"pixel_clock", "sync"})
    gives: ClassVar[str] = "clock_ratios"
    Options: ClassVar[type] = ClockRatiosOptions

    def match(self, context: Context) -> Match:
        """Fit whenever there is a pixel clock."""
        return Match(0.9, tuple(sorted(context.streams)))

    def decode(self, context: Context, options: ClockRatiosOptions) -> ClockRatios:  # noqa: ARG002 - none
        """Measure the ratios."""
        clock = cast("PixelClock", context.streams["pixel_clock"])
        sync = cast("Sync", context.streams["sync"])
        line = sync.line_period
        lines = np.array([line.value, 1.0, (line.uncertainty / context.step / 0.675) ** 2])
        found = [_ratio("line rate", clock.period, lines, context.step, whole=True)]
        for pin in context.pins:
            if pin.role in {"other", "subcarrier"}:
                sums = _clock_sums(context.capture.channel(pin.channel), context)
                if sums is not None:
                    kind = "subcarrier" if pin.role == "subcarrier" else "clock"
                    found.append(
                        _ratio(f"{kind} on {pin.channel}", clock.period, sums, context.step, whole=False)
                    )
        return ClockRatios(tuple(found))

    def join(self, earlier: ClockRatios, later: ClockRatios, at: int) -> ClockRatios:  # noqa: ARG002
        """Keep the ratios of the piece that measured them better."""
        better = {r.name: r for r in later.ratios}
        return ClockRatios(
            tuple(min((r, better.get(r.name, r)), key=lambda x: x.ratio.uncertainty) for r in earlier.ratios)
        )


def _clock_sums(channel: Channel, context: Context) -> np.ndarray[tuple[int], np.dtype[np.float64]] | None:
    """Sum up a channel's cycles when it is a clock; else None."""
    edges = channel.edges_to(1)
    if edges.size < FEWEST_EDGES:
        return None
    intervals = np.diff(edges)
    usual = float(np.median(intervals[:: max(1, intervals.size // 4001)]))
    near = np.abs(intervals - usual) <= 0.1 * usual + 2 * context.step
    if usual * float(context.capture.tick) > SLOWEST_S or near.mean() < STEADY_SHARE:
        return None
    cycles = count_cycles(edges, context.step)
    low, high = (int(i) for i in np.searchsorted(cycles.edges, context.counted))
    return stretch_sums(cycles, (low, high))


def _pixels_a_line(value: float) -> Fraction:
    """Give the nearest whole number, or a half one where two lines have a whole number of pixels."""
    half = Fraction(round(2 * value), 2)
    return half if abs(value - half) <= HALF_SLIP else Fraction(round(value))


def _ratio(
    name: str,
    clock: Measured,
    sums: np.ndarray[tuple[int], np.dtype[np.float64]],
    step: float,
    *,
    whole: bool,
) -> Ratio:
    other = period_of(sums, clock.value, step)
    value = other.value / clock.value
    doubt = value * float(np.hypot(other.uncertainty / other.value, clock.uncertainty / clock.value))
    near = _pixels_a_line(value) if whole else Fraction(value).limit_denominator(LARGEST_DENOMINATOR)
    close = (
        near > 0
        and abs(value / float(near) - 1) < NEAR_PART
        and (whole is False or abs(value - float(near)) < SLIP)
    )
    return Ratio(name, Measured(value, doubt, ""), near if close else None, sums, step)
