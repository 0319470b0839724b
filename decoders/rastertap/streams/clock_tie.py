"""Time interval error: how early or late the clock is against a steady one, averaged over blocks of cycles.

The series is what slow measures need: drift, and the Allan deviation. Its length is bounded: when it grows
too long, neighbouring blocks are joined.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_cycles import Cycles

    Floats = NDArray[np.float64]

MOST_POINTS = 4096
FEWEST_POINTS = 16


@dataclass(frozen=True, eq=False)
class Series:
    """Mean time of the edges in each block of ``block`` cycles, phase jumps taken out.

    Parameters
    ----------
    block : int
        Cycles in a block, a power of 2.
    cycle : ndarray of float64, shape (n,)
        Mean number of the block's cycles, increasing.
    ticks : ndarray of float64, shape (n,)
        Mean time of their edges.
    """

    block: int
    cycle: Floats
    ticks: Floats

    def error(self, period: float) -> Floats:
        """Time interval error in ticks against a clock of ``period`` ticks; its mean is 0."""
        off = (self.ticks - self.ticks[0]) - (self.cycle - self.cycle[0]) * period
        return np.asarray(off - off.mean(), np.float64)

    def shorter(self, most: int) -> Series:
        """Join neighbouring blocks until there are at most ``most``."""
        block, cycle, ticks = self.block, self.cycle, self.ticks
        while cycle.size > most:
            even = cycle.size // 2 * 2
            cycle, ticks, block = (
                cycle[:even].reshape(-1, 2).mean(1),
                ticks[:even].reshape(-1, 2).mean(1),
                block * 2,
            )
        return Series(block, cycle, ticks)

    def joined(self, later: Series, shift: int) -> Series:
        """Join with that of a later piece, whose cycle numbers are ``shift`` too low."""
        block = max(self.block, later.block)
        first, second = (s.coarser(block) for s in (self, later))
        return Series(
            block,
            np.concatenate((first.cycle, second.cycle + shift)),
            np.concatenate((first.ticks, second.ticks)),
        ).shorter(MOST_POINTS)

    def coarser(self, block: int) -> Series:
        """Join blocks to ``block`` cycles each."""
        return self.shorter(max(1, self.cycle.size * self.block // block)) if block > self.block else self


def block_means(cycles: Cycles, block: int, part: tuple[int, int]) -> Series:
    """Average edges in blocks of ``block`` cycles; blocks half empty are left out.

    Parameters
    ----------
    cycles : Cycles
    block : int
        Cycles.
    part : (int, int)
        Indices into the edges.
    """
    low, high = part
    number = cycles.number[low:high]
    jumps = np.zeros(cycles.edges.size)
    jumps[cycles.jumps] = cycles.jump_ticks
    origin = int(cycles.edges[0])
    ticks = (cycles.edges[low:high] - origin) - np.cumsum(jumps)[low:high]
    index = (number - number[0]) // block
    count = np.bincount(index)
    full = count * 2 > block
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_number = np.bincount(index, number.astype(np.float64)) / count
        mean_ticks = np.bincount(index, ticks) / count
    return Series(block, mean_number[full], mean_ticks[full] + origin)


def drift_of(series: Series, period: float, step: float, walk: float) -> Measured | None:
    """Change of frequency from one end of the recording to the other, parts per million.

    Parameters
    ----------
    series : Series
    period : float
        Ticks.
    step : float
        The analyser's step, ticks.
    walk : float
        Scatter of the periods that adds up (ticks, standard deviation): such a clock's frequency seems to
        drift in any one recording.

    Returns
    -------
    Measured or None
        None when the series is too short.

    Notes
    -----
    The time interval error is projected on the second Legendre polynomial P2; a part ``c P2`` over a span
    ``L`` is a change of frequency of ``-12 c / L``. The analyser moves each edge by at most half a step to
    either side; whatever the pattern, ``c`` is wrong by at most ``5/2 x step/2 x integral |P2| = 0.962
    step``, taken as the half-width of a uniform interval. A random walk of ``walk`` a cycle over N cycles
    gives ``c`` a standard deviation of ``walk sqrt(0.119 N)`` (integral of the covariance). Derived here;
    checked by Monte Carlo in the tests.
    """
    if series.cycle.size < FEWEST_POINTS:
        return None
    span = float(series.cycle[-1] - series.cycle[0])
    place = 2 * (series.cycle - series.cycle[0]) / span - 1
    basis = np.stack((np.ones_like(place), place, (3 * place**2 - 1) / 2), axis=1)
    bend = float(np.linalg.lstsq(basis, series.error(period), rcond=None)[0][2])
    doubt = float(np.hypot(0.962 * step / np.sqrt(3), walk * np.sqrt(0.119 * span)))
    scale = 12 / (span * period) * 1e6
    return Measured(-bend * scale, doubt * scale, "ppm")


def least_squares_line(x: Floats, y: Floats) -> tuple[float, float]:
    """Offset (at x = 0) and slope of the line that fits best."""
    middle = x.mean()
    spread = x - middle
    slope = float(spread @ y / (spread @ spread))
    return float(y.mean() - slope * middle), slope


def allan_deviation(phase: Floats, interval: float, every: int) -> float:
    """Overlapping Allan deviation (NIST SP 1065 eq. 11 as cited in references 8.3).

    Parameters
    ----------
    phase : ndarray of float64, shape (n,)
        Time error at equal intervals.
    interval : float
        Between two of them, in the unit of ``phase``.
    every : int
        Averaging time in intervals, ``2 * every < n``.
    """
    second = phase[2 * every :] - 2 * phase[every:-every] + phase[: -2 * every]
    return float(np.sqrt(np.mean(second**2) / 2) / (every * interval))
