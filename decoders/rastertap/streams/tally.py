"""Many measurements of one quantity: how often each value came, so that pieces of a capture add up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAX_VALUES = 4096
"""Different values kept; beyond it neighbours are put together, count and mean unharmed."""


@dataclass(frozen=True, eq=False)
class Tally:
    """Values and how often each came.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Increasing.
    counts : ndarray of int64, shape (n,)
        How often each came.
    low, high : float
        The extremes; infinite the wrong way round when there is none.
    """

    values: NDArray[np.float64]
    counts: NDArray[np.int64]
    low: float
    high: float

    @property
    def count(self) -> int:
        """Number of measurements."""
        return int(self.counts.sum())

    @property
    def mean(self) -> float:
        """Mean; NaN without a measurement."""
        return float(np.average(self.values, weights=self.counts)) if self.count else float("nan")

    @property
    def spread(self) -> float:
        """Standard deviation; 0 without a measurement."""
        if not self.count:
            return 0.0
        return float(np.sqrt(np.average((self.values - self.mean) ** 2, weights=self.counts)))

    def quantile(self, part: float) -> float:
        """Value that ``part`` (0..1) of the measurements do not exceed; NaN without one."""
        if not self.count:
            return float("nan")
        place = int(np.searchsorted(np.cumsum(self.counts), part * self.count))
        return float(self.values[min(place, self.values.size - 1)])

    @property
    def usual(self) -> float:
        """Most frequent value, the smallest of several; NaN without a measurement."""
        return float(self.values[np.argmax(self.counts)]) if self.count else float("nan")

    def __add__(self, other: Tally) -> Tally:
        values = np.concatenate((self.values, other.values))
        counts = np.concatenate((self.counts, other.counts))
        return _tally(values, counts, min(self.low, other.low), max(self.high, other.high))


def _tally(values: NDArray[np.float64], counts: NDArray[np.int64], low: float, high: float) -> Tally:
    kept, place = np.unique(values, return_inverse=True)
    number = np.bincount(place, weights=counts, minlength=kept.size).astype(np.int64)
    while kept.size > MAX_VALUES:
        starts = np.arange(0, kept.size, 2)
        total = np.add.reduceat(number, starts)
        kept, number = np.add.reduceat(kept * number, starts) / total, total
    return Tally(kept, number, low, high)


def tally(values: NDArray[np.int64] | NDArray[np.float64]) -> Tally:
    """Count values, float64 or int64, shape (n,); NaN is left out."""
    known = np.asarray(values, np.float64)
    known = known[np.isfinite(known)]
    if not known.size:
        return Tally(np.empty(0), np.empty(0, np.int64), float("inf"), float("-inf"))
    return _tally(known, np.ones(known.size, np.int64), float(known.min()), float(known.max()))


NOTHING = tally(np.empty(0))


def phase_gap(steps_a_period: float, count: int) -> float:
    """Widest gap between the places on the sampling grid at which a steady event falls.

    A clocked event is seen late by 0 to 1 steps, by its place between two samples. Where all events fall on
    few places (their period is nearly a simple fraction of the step) the mean of many is no better than one.

    Parameters
    ----------
    steps_a_period : float > 0
        Sampling steps from one event to the next.
    count : int >= 0
        Number of events.

    Returns
    -------
    float, 0..1
        In steps. The mean of ``count`` sampled intervals that begin at those events is off by no more.
    """
    used = min(count, MAX_VALUES)
    if used < 2:  # noqa: PLR2004 - one place leaves the whole step open
        return 1.0
    places = np.sort((steps_a_period % 1.0) * np.arange(used) % 1.0)
    # Places closer than a thousandth of a step count as one: the period is not known better than that.
    gaps = np.diff(np.concatenate((places, places[:1] + 1.0)))
    return float(min(1.0, gaps.max() + 1e-3))


def interval_measured(found: Tally, step: float, steps_a_period: float, unit: str = "ticks") -> Measured:
    """Mean of sampled intervals that come once a period, with what the sampling leaves open.

    The uncertainty is that of a uniform interval of half-width `phase_gap` steps (GUM 4.3.7), and of the
    mean by the spread of the single measurements.

    Parameters
    ----------
    found : Tally
        Of the intervals, ticks.
    step : float
        Sampling step, ticks.
    steps_a_period : float
        As in `phase_gap`.
    unit : str
        Of the result.
    """
    if not found.count:
        return Measured(float("nan"), float("inf"), unit)
    grid = step * phase_gap(steps_a_period, found.count) / np.sqrt(3)
    own = found.spread / np.sqrt(found.count)
    return Measured(found.mean, float(np.hypot(grid, own)), unit)
