"""How often each length of the clock's period came: a tally that joins, for long captures too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_cycles import Cycles

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

WITHIN = 0.6
"""Intervals further from the mean period than this part of it are missing or extra edges, told elsewhere."""
MOST_BARS = 600


@dataclass(frozen=True, eq=False)
class PeriodTally:
    """Periods by length.

    Parameters
    ----------
    width : float
        Of a bar, ticks: an odd number of the analyser's steps, so that no period falls between two bars.
    first : int
        Bar ``i`` is centred on ``(first + i) * width`` ticks.
    counts : ndarray of int64, shape (bars,)
        Periods in each.
    least, greatest : int
        Shortest and longest period, ticks; 0 when there is none.
    """

    width: float
    first: int
    counts: Ints
    least: int
    greatest: int

    @property
    def edges(self) -> Floats:
        """Bounds of the bars, ticks, float64, shape (bars + 1,)."""
        return np.asarray((self.first - 0.5 + np.arange(self.counts.size + 1)) * self.width, np.float64)

    def joined(self, later: PeriodTally) -> PeriodTally:
        """Add those of a later piece, whose bars may be of another width."""
        if not later.counts.size:
            return self
        if not self.counts.size:
            return later
        centres = (later.first + np.arange(later.counts.size)) * later.width
        bars = np.floor(centres / self.width + 0.5).astype(np.int64)
        first = min(self.first, int(bars[0]))
        counts = np.zeros(max(self.first + self.counts.size, int(bars[-1]) + 1) - first, np.int64)
        counts[self.first - first : self.first - first + self.counts.size] += self.counts
        np.add.at(counts, bars - first, later.counts)
        return PeriodTally(
            self.width, first, counts, min(self.least, later.least), max(self.greatest, later.greatest)
        )

    def fewer(self, most: int) -> tuple[Floats, Ints]:
        """Bounds and counts of wider bars, at most ``most`` of them."""
        together = -(-self.counts.size // most) if self.counts.size else 1
        starts = np.arange(0, self.counts.size, together)
        bounds = (self.first - 0.5 + np.append(starts, starts[-1] + together)) * self.width
        return bounds, np.add.reduceat(self.counts, starts)


def tally_periods(cycles: Cycles, part: tuple[int, int], period: float, step: float) -> PeriodTally:
    """Count the whole periods that begin with the edges of ``part`` (indices).

    Parameters
    ----------
    cycles : Cycles
    part : (int, int)
        From the first edge up to, not including, the second.
    period, step : float
        Mean period and the analyser's step, ticks.
    """
    low, high = part[0], min(part[1] + 1, cycles.edges.size)
    intervals = np.diff(cycles.edges[low:high])
    whole = np.diff(cycles.number[low:high]) == 1
    good = intervals[whole & (np.abs(intervals - period) < WITHIN * period)]
    steps = int(np.ceil(2 * WITHIN * period / step / MOST_BARS))
    width = step * (steps + 1 - steps % 2)
    if not good.size:
        return PeriodTally(width, 0, np.empty(0, np.int64), 0, 0)
    bars = np.floor(good / width + 0.5).astype(np.int64)
    first = int(bars.min())
    return PeriodTally(width, first, np.bincount(bars - first), int(good.min()), int(good.max()))
