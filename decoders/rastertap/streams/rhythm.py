"""How a channel behaves over time: its pulses, and the interval at which they come back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH, LOW, Capture, Channel

if TYPE_CHECKING:
    from numpy.typing import NDArray

CYCLES_FOR_PERIOD = 4_000
MAX_INTERVALS = 200_000
"""Intervals looked at to find a rhythm; more do not make the answer better."""
TOLERANCE = 0.004
"""Relative spread within which intervals count as equal: common practice, no source."""
STEADY, JITTERING, KEPT = 0.9, 0.1, 0.98
"""Share of one interval below which jitter may be the reason; how much intervals that jitter spread, relative
(1 us rms in a line of 64 us); share of them from which it is jitter: common practice, no source."""


@dataclass(frozen=True)
class Rhythm:
    """The interval at which something comes back.

    Parameters
    ----------
    period : float
        Ticks; 0 when nothing comes back.
    share : float, 0..1
        Part of the time that intervals of this length fill.
    """

    period: float
    share: float


def dominant_interval(times: NDArray[np.int64], step: float, *, tolerance: float = TOLERANCE) -> Rhythm:
    """Find the interval that fills most of the time between ``times``.

    Parameters
    ----------
    times : ndarray of int64, shape (n,)
        Increasing, ticks.
    step : float > 0
        Sampling step, ticks: intervals two steps apart count as equal.
    tolerance : float
        Relative spread within which intervals count as equal besides.
    """
    return _fullest(np.sort(np.diff(times[: MAX_INTERVALS + 1])), step, tolerance)


def _fullest(intervals: NDArray[np.int64], step: float, tolerance: float) -> Rhythm:
    """Find which of the intervals, in order of length, fills most of the time together with those like it."""
    if not intervals.size:
        return Rhythm(0.0, 0.0)
    reach = np.searchsorted(intervals, intervals * (1 + tolerance) + 2.2 * step, side="right")
    total = np.concatenate((np.zeros(1), np.cumsum(intervals, dtype=np.float64)))
    filled = total[reach] - total[:-1]
    best = int(np.argmax(filled))
    inside = intervals[best : reach[best]]
    return Rhythm(float(inside.mean()), float(filled[best] / total[-1]))


def leading_rhythm(times: NDArray[np.int64], step: float) -> Rhythm:
    """Find the dominant interval; where times jitter widely, yet all keep to one rhythm, that one."""
    intervals = np.sort(np.diff(times[: MAX_INTERVALS + 1]))
    found = _fullest(intervals, step, TOLERANCE)
    if found.share < STEADY:
        loose = _fullest(intervals, step, JITTERING)
        return loose if loose.share >= KEPT else found
    return found


@dataclass(frozen=True, eq=False)
class Behaviour:
    """What one channel does, without a guess at what it is.

    Parameters
    ----------
    channel : Channel
        Two-state.
    capture : Capture
        The recording it is from.
    step : float
        Sampling step, ticks.
    """

    channel: Channel
    capture: Capture
    step: float

    @property
    def edges(self) -> int:
        """Number of level changes."""
        return self.channel.ticks.size

    @cached_property
    def high(self) -> float:
        """Part of the time that the channel is high, 0..1."""
        bounds = np.concatenate(([self.capture.start], self.channel.ticks, [self.capture.end]))
        levels = np.concatenate(([self.channel.initial], self.channel.levels))
        span = bounds[-1] - bounds[0]
        return float(np.diff(bounds)[levels == HIGH].sum() / span) if span else float(levels[0])

    @cached_property
    def active(self) -> int:
        """The level of the pulses: the one that the channel has for less of the time."""
        return LOW if self.high > 0.5 else HIGH  # noqa: PLR2004 - half

    @cached_property
    def pulses(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Start times and widths (ticks) of the whole pulses of the active level."""
        starts = self.channel.edges_to(self.active)
        ends = self.channel.edges_to(1 - self.active)
        if ends.size and (not starts.size or ends[0] < starts[0]):
            ends = ends[1:]
        return starts[: ends.size], ends - starts[: ends.size]

    @cached_property
    def leading(self) -> Rhythm:
        """Rhythm of the pulses' leading edges."""
        return leading_rhythm(self.channel.edges_to(self.active), self.step)

    @cached_property
    def width(self) -> float:
        """Median pulse width, ticks; 0 without a whole pulse."""
        return float(np.median(self.pulses[1])) if self.pulses[1].size else 0.0

    @cached_property
    def steady_width(self) -> float:
        """Part of the pulses whose width is the median, within two steps or 5 %."""
        widths = self.pulses[1]
        if not widths.size:
            return 0.0
        return float((np.abs(widths - self.width) <= max(2.2 * self.step, 0.05 * self.width)).mean())

    @property
    def seconds(self) -> float:
        """Seconds in a tick."""
        return float(self.capture.tick)


def phases(times: NDArray[np.int64], clock: NDArray[np.int64]) -> NDArray[np.float64]:
    """Place each time within the clock cycle it falls in, 0..1; times outside the clock are left out.

    A gap in the clock is bridged with its usual period.
    """
    if clock.size < 2:  # noqa: PLR2004 - two edges make a cycle
        return np.empty(0)
    cycle = np.searchsorted(clock, times, side="right") - 1
    inside = (cycle >= 0) & (cycle < clock.size - 1)
    cycle, times = cycle[inside], times[inside]
    period = float(np.median(np.diff(clock[:CYCLES_FOR_PERIOD])))
    length = (clock[cycle + 1] - clock[cycle]).astype(np.float64)
    length = np.where(length > 1.5 * period, period, length)
    return np.asarray((times - clock[cycle]) / length % 1, np.float64)


def mean_phase(phase: NDArray[np.float64]) -> float:
    """Give the direction of the mean vector of phases, -0.5..0.5 cycles; 0 when there are none."""
    return float(np.angle(np.exp(2j * np.pi * phase).mean()) / (2 * np.pi)) if phase.size else 0.0


def robust_scatter(values: NDArray[np.floating]) -> float:
    """Give the standard deviation that goes with the median distance from 0 (normal); 0 without values."""
    return 1.4826 * float(np.median(np.abs(values))) if values.size else 0.0


def concentration(phase: NDArray[np.float64]) -> float:
    """How much phases agree: length of their mean vector, 0 (spread evenly) to 1 (all equal)."""
    return float(np.abs(np.exp(2j * np.pi * phase).mean())) if phase.size else 0.0
