"""All that is kept of a tapped clock: sums that join exactly, whatever the length of the recording."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured
from rastertap.streams.clock_cycles import END_EDGES, grid_coverage, period_of, stretch_sums, unseen_part
from rastertap.streams.clock_events import ClockEvents, find_events
from rastertap.streams.clock_jitter import BLOCKS, LAGS, MOST_BLOCKS, Jitter, find_jitter
from rastertap.streams.clock_kernels import lagged_sums
from rastertap.streams.clock_periods import PeriodTally, tally_periods
from rastertap.streams.clock_spectrum import (
    LOWEST_BIN,
    NO_SPECTRUM,
    SpectralLine,
    Spectrum,
    slow_sway,
    spectrum_of,
    strongest_line,
)
from rastertap.streams.clock_tie import (
    MOST_POINTS,
    Series,
    allan_deviation,
    block_means,
    drift_of,
    least_squares_line,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_cycles import Cycles

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

NEXT_CYCLE = 1.2
"""A high time of more periods than this belongs to a cycle with an edge missing."""
WILD = 0.1
"""Scatter of the period, as a part of it, from which cycles may be miscounted."""
SPECTRUM_SAMPLE_S = 8e-6
"""Time averaged to one sample of the spectrum: lines up to some 60 kHz show, the line rate among them."""
ALLAN_TIMES_S = (1e-3, 1e-2, 0.1, 1.0, 10.0)
FEWEST_FOR_ALLAN = 8


@dataclass(frozen=True, eq=False)
class ClockRecord:
    """Sums over the cycles of a clock.

    Parameters
    ----------
    step, tick_s : float
        The analyser's step in ticks; a tick in seconds.
    reference : float
        Period to which ``lagged`` refers, ticks.
    cycles : int
        Edges that begin a cycle.
    stretches : ndarray of float64, shape (3,)
        From `rastertap.streams.clock_cycles.stretch_sums`.
    lagged : ndarray of float64, shape (blocks, lags, 3)
        From `rastertap.streams.clock_kernels.lagged_sums`.
    coverage : ndarray of int64
        From `rastertap.streams.clock_cycles.grid_coverage`.
    high : ndarray of float64, shape (4,)
        High times: number, sum, least and greatest, ticks.
    series : Series
        Time interval error.
    spectrum : Spectrum
        Of the time interval error.
    events : ClockEvents
        What happens now and then.
    periods : PeriodTally
        How often each length of period came.
    """

    step: float
    tick_s: float
    reference: float
    cycles: int
    stretches: Floats
    lagged: Floats
    coverage: Ints
    high: Floats
    series: Series
    spectrum: Spectrum
    events: ClockEvents
    periods: PeriodTally

    @cached_property
    def _raw_period(self) -> Measured:
        """Mean period with what the grid leaves unsure, ticks."""
        return period_of(self.stretches, self.reference, self.step)

    @cached_property
    def period(self) -> Measured:
        """Mean period in this recording, ticks.

        The ends of a stretch are means of `END_EDGES` edges: scatter of the edges averages out there, but a
        clock that wanders has moved on within them, by ``sqrt(2/3 END_EDGES)`` of a period's scatter.
        """
        ticks, count, stretches = self.stretches
        if not count:
            return self._raw_period
        ends = np.hypot(
            self.jitter.edge * np.sqrt(2 / END_EDGES), self.jitter.walk * np.sqrt(2 * END_EDGES / 3)
        )
        doubt = float(np.hypot(self._raw_period.uncertainty, ends * np.sqrt(stretches) / count))
        if self.jitter.period.value > WILD * self.reference:
            # With so wild a clock a cycle may be counted that was none, or the other way round.
            doubt = float(np.hypot(doubt, self.reference / count))
        return Measured(float(ticks / count), doubt, "ticks")

    @cached_property
    def unseen(self) -> float:
        """Part of the analyser's step in which no edge is due."""
        return unseen_part(self.coverage)

    @cached_property
    def jitter(self) -> Jitter:
        """Jitter, the analyser's step taken out."""
        return find_jitter(self.lagged, self._raw_period, self.step, self.unseen)

    @cached_property
    def duty(self) -> Measured | None:
        """Mean high time over mean period (as DDR2 data sheets average it).

        Sampling adds no bias to the mean of widths that begin anywhere on the grid; what part of the grid no
        edge falls in bounds the bias.
        """
        count, total = self.high[:2]
        if not count:
            return None
        doubt = self.step * float(np.hypot(self.unseen / np.sqrt(3), 1 / np.sqrt(6 * count)))
        return Measured(float(total / count) / self.period.value, doubt / self.period.value, "")

    @cached_property
    def drift(self) -> Measured | None:
        """Change of frequency from end to end, parts per million."""
        walk = float(np.hypot(self.jitter.walk, self._jump_walk))
        return drift_of(self.series, self.period.value, self.step, walk)

    @cached_property
    def _jump_walk(self) -> float:
        """Error that taking out phase jumps adds, shared among the cycles: step / sqrt(6) a jump."""
        return self.step * float(np.sqrt(self.events.jumps.count / 6 / max(self.cycles, 1)))

    @cached_property
    def line(self) -> SpectralLine | None:
        """Strongest periodic part of the time interval error, be it a slow one of the whole recording."""
        period = self.period.value
        if self.series.cycle.size > 2:  # noqa: PLR2004 - a line goes through two
            # All of the series fixes the period, and with it the beats, better than its two ends do.
            period += least_squares_line(self.series.cycle, self.series.error(period))[1]
        found = [
            strongest_line(self.spectrum, period, self.step),
            slow_sway(self.series, period, self.lowest),
        ]
        return max((line for line in found if line is not None), key=lambda s: s.amplitude, default=None)

    @property
    def lowest(self) -> float:
        """Lowest frequency at which the spectrum shows a line, in parts of the clock's."""
        whole = self.spectrum.length * self.spectrum.block
        return LOWEST_BIN / whole if whole else 0.0

    @cached_property
    def tie_rms(self) -> Measured:
        """Time interval error against the best steady clock, ticks; of block means, without the step."""
        error = self.series.error(self.period.value)
        place = np.linspace(-1, 1, error.size)
        rest = error
        if error.size > 2:  # noqa: PLR2004 - a line goes through two
            rest = error - np.polyval(np.polyfit(place, error, 1), place)
        return Measured(float(rest.std()), self.step / np.sqrt(12), "ticks")

    def allan(self) -> list[tuple[float, float, float]]:
        """Allan deviation: (averaging time in s, deviation, what the analyser's step alone may give)."""
        found = []
        series, period = self.series, self.period.value
        interval = series.block * period * self.tick_s
        gaps = np.diff(series.cycle)
        if gaps.size == 0 or not np.allclose(gaps, series.block, rtol=0.02):
            return []
        error = series.error(period) * self.tick_s
        for time in ALLAN_TIMES_S:
            every = round(time / interval)
            if every >= 1 and error.size >= (FEWEST_FOR_ALLAN + 1) * every:
                floor = np.sqrt(3) * self.step * self.tick_s / np.sqrt(12) / (every * interval)
                found.append((every * interval, allan_deviation(error, interval, every), float(floor)))
        return found

    def joined(self, later: ClockRecord) -> ClockRecord:
        """Join with that of a later piece of the recording."""
        period = self.reference
        between = (later.series.ticks[0] - self.series.ticks[-1]) / period
        shift = round(self.series.cycle[-1] + between - later.series.cycle[0])
        lagged = np.concatenate((self.lagged, _referred(later.lagged, later.reference, period)))
        return replace(
            self,
            cycles=self.cycles + later.cycles,
            stretches=self.stretches + later.stretches,
            lagged=_fewer_blocks(lagged),
            coverage=self.coverage + later.coverage,
            high=np.array(
                [
                    *(self.high[:2] + later.high[:2]),
                    min(self.high[2], later.high[2]),
                    max(self.high[3], later.high[3]),
                ]
            ),
            series=self.series.joined(later.series, shift),
            spectrum=self.spectrum.joined(later.spectrum),
            events=self.events.joined(later.events, shift),
            periods=self.periods.joined(later.periods),
        )


def _referred(lagged: Floats, old: float, new: float) -> Floats:
    """Give the sums about another period."""
    moved = lagged.copy()
    shift = LAGS * (old - new)
    moved[:, :, 1] = lagged[:, :, 1] + lagged[:, :, 0] * shift
    moved[:, :, 2] = lagged[:, :, 2] + 2 * shift * lagged[:, :, 1] + lagged[:, :, 0] * shift**2
    return moved


def _fewer_blocks(lagged: Floats) -> Floats:
    """Join blocks two by two, the last ones left as they are, until there are few enough."""
    while lagged.shape[0] > MOST_BLOCKS:
        even = lagged.shape[0] // 2 * 2
        pairs = lagged[:even].reshape(-1, 2, *lagged.shape[1:]).sum(axis=1)
        lagged = np.concatenate((pairs, lagged[even:]))
    return lagged


def record_clock(
    cycles: Cycles, falling: Ints, sync: Ints, span: tuple[int, int], *, step: float, tick_s: float
) -> ClockRecord:
    """Sum up the cycles that begin in ``span``.

    Parameters
    ----------
    cycles : Cycles
        All cycles of the piece.
    falling : ndarray of int64
        Falling edges, ticks.
    sync : ndarray of int64
        Leading edges of a line sync, ticks; may be empty.
    span : (int, int)
        Ticks, from the first up to, not including, the second.
    step, tick_s : float
        The analyser's step in ticks; a tick in seconds.
    """
    low, high = (int(i) for i in np.searchsorted(cycles.edges, span))
    # The interval that begins in the span ends at the first edge after it.
    part = (low, min(high + 1, cycles.edges.size))
    stretches = stretch_sums(cycles, part)
    period = period_of(stretches, cycles.rough_period, step).value
    fine = 1 << max(0, round(np.log2(SPECTRUM_SAMPLE_S / (period * tick_s))))
    series = block_means(cycles, fine, (low, high))
    return ClockRecord(
        step=step,
        tick_s=tick_s,
        reference=period,
        cycles=high - low,
        stretches=stretches,
        lagged=lagged_sums(cycles.edges, cycles.runs, np.array([low, high]), period, LAGS, BLOCKS),
        coverage=grid_coverage(cycles, period, step),
        high=_high_times(cycles, falling, (low, high), period),
        series=series.shorter(MOST_POINTS),
        spectrum=spectrum_of(series, period) if series.cycle.size else NO_SPECTRUM,
        events=find_events(cycles, sync, span),
        periods=tally_periods(cycles, (low, high), period, step),
    )


def _high_times(cycles: Cycles, falling: Ints, part: tuple[int, int], period: float) -> Floats:
    low, high = part[0], min(part[1], cycles.edges.size - 1)
    rising = cycles.edges[low:high]
    after = np.searchsorted(falling, rising, side="right")
    whole = (after < falling.size) & (np.diff(cycles.number[low : high + 1]) == 1)
    width = (falling[after[whole]] - rising[whole]).astype(np.float64)
    width = width[width < NEXT_CYCLE * period]
    if not width.size:
        return np.array([0.0, 0.0, np.inf, 0.0])
    return np.array([width.size, width.sum(), width.min(), width.max()])
