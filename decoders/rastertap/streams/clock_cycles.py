"""The cycles of a clock: which edge begins which, what is missing, what is extra, where the phase jumps."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured
from rastertap.streams.clock_jitter import true_scatter
from rastertap.streams.clock_kernels import WINDOW, follow, phase_steps
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from numpy.typing import NDArray

NEAR = (0.12, 0.48)
"""Least and greatest distance from its due place, in periods, at which an edge still begins its cycle."""
NEAR_SIGMAS, NEAR_STEPS = 6.0, 1.2
"""The distance in between: standard deviations of the period, and steps of the analyser."""
WILD_SIGMAS, WILD = 5.5, 0.9
"""The same for periods that scatter wildly: standard deviations, and periods at most."""
SAME_PHASE = 0.25
"""An edge this near (periods) to its due place, cycles missing or not, has kept the phase."""
LEAST_STEP, STEP_SLIP, STEP_SIGMAS = 0.12, 1.15, 5.0
"""Phase steps sought: at least this part of a period; this many steps of the analyser and deviations."""
STANDS_OUT = (1.6, 2.6)
"""Intervals further from the middle than so many steps and quartile distances are not counted as scatter."""
END_EDGES = 16
"""Edges averaged at both ends of a stretch to find its mean period."""
COVERAGE_BINS, MOST_COVERED = 256, 60_000
"""Bins, and edges counted in them at most (evenly chosen)."""
FEWEST_SLIPS, ROUNDED, SLIP_UNEVEN = 3, 2.0, 0.01
"""Slips needed; ticks by which rounded stamps make them differ; part by which their distances may differ."""
SOME = 10_007
"""Intervals looked at for their median; a prime, so that nothing regular is met too often."""


@dataclass(frozen=True, eq=False)
class Cycles:
    """A clock's cycles in order.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,)
        Edge with which each begins, ticks.
    number : ndarray of int64, shape (n,)
        Its number; missing cycles are counted too.
    runs : ndarray of int64, shape (r + 1,)
        Indices at which runs of cycles without any event begin, then ``n``.
    stretches : ndarray of int64, shape (p + 1,)
        The same for stretches without a phase jump (missing cycles may be in them).
    extra : ndarray of int64
        Edges that begin no cycle, ticks.
    missing : ndarray of int64
        When each missing cycle was due, ticks.
    gap : ndarray of int64, shape (n,)
        Cycles missing just before each edge.
    jumps : ndarray of int64, shape (p - 1,)
        Indices of the edges at which the phase jumps.
    jump_ticks : ndarray of float64, shape (p - 1,)
        By how much, positive when late.
    rough_period : float
        Ticks, good enough to count cycles by.
    """

    edges: NDArray[np.int64]
    number: NDArray[np.int64]
    runs: NDArray[np.int64]
    stretches: NDArray[np.int64]
    extra: NDArray[np.int64]
    missing: NDArray[np.int64]
    gap: NDArray[np.int64]
    jumps: NDArray[np.int64]
    jump_ticks: NDArray[np.float64]
    rough_period: float

    def at(self, times: NDArray[np.int64]) -> NDArray[np.float64]:
        """Count the cycles, missing ones too, from the first one to each time (ticks)."""
        index = np.clip(np.searchsorted(self.edges, times, side="right") - 1, 0, self.edges.size - 1)
        return np.asarray(self.number[index] + (times - self.edges[index]) / self.rough_period, np.float64)


def typical(intervals: NDArray[np.int64]) -> float:
    """Median of some of the intervals: of all of them, nearly all equal, it is slow."""
    return float(np.median(intervals[:: max(1, intervals.size // SOME)]))


def rough_period(edges: NDArray[np.int64]) -> float:
    """Mean of the usual intervals, ticks: a median alone is a whole number of steps."""
    intervals = np.diff(edges)
    middle = typical(intervals)
    return float(intervals[np.abs(intervals - middle) < 0.5 * middle].mean())


def _scatter(intervals: NDArray[np.int64], period: float, step: float) -> float:
    """Give the standard deviation of the usual intervals, ticks, the grid's part taken out."""
    some = intervals[:: 1 + intervals.size // MOST_COVERED]
    usual = some[np.abs(some - period) < 0.5 * period]
    part = period / step % 1
    return float(np.sqrt(max(float(usual.var()) - step**2 * part * (1 - part), 0.0)))


def _near(scatter: float, step: float) -> float:
    """How far from its due place an edge still begins its cycle; all in periods.

    Half-way to the next cycle at most, unless the periods scatter so much that edges often go beyond.
    """
    if WILD_SIGMAS * scatter > NEAR[1]:
        return min(WILD_SIGMAS * scatter, WILD)
    return float(np.clip(NEAR_SIGMAS * scatter + NEAR_STEPS * step, *NEAR))


def _least_step(edges: NDArray[np.int64], number: NDArray[np.int64], period: float, step: float) -> float:
    """Least phase step that is sought, ticks: above the grid's own slips and the wandering of the phase.

    Means over `WINDOW` edges to either side scatter less than intervals over as many cycles do, whether edges
    or periods scatter; intervals with a step in them are left out as far as they stand out.
    """
    apart = number[WINDOW:] - number[:-WINDOW] == WINDOW
    off = (edges[WINDOW:] - edges[:-WINDOW])[apart] - WINDOW * period
    if off.size:
        low, middle, high = np.quantile(off[:: 1 + off.size // SOME], (0.25, 0.5, 0.75))
        off = off[np.abs(off - middle) <= max(STANDS_OUT[0] * step, STANDS_OUT[1] * (high - low))]
    noise = true_scatter(float(off.var()) / step**2, WINDOW * period / step) * step if off.size else 0.0
    return float(max(LEAST_STEP * period, STEP_SLIP * step + STEP_SIGMAS * noise))


def _gain(intervals: NDArray[np.int64], period: float) -> float:
    """How far to follow each edge: wholly where periods scatter on their own, half where edges do.

    Edges that scatter round their place make a long interval follow a short one (correlation -1/2).
    """
    off = intervals[:MOST_COVERED] - period
    off[np.abs(off) > 0.5 * period] = 0
    spread = float(off @ off)
    return 1.0 + float(np.clip(off[1:] @ off[:-1] / spread, -0.5, 0.0)) if spread else 0.5


def count_cycles(edges: NDArray[np.int64], step: float) -> Cycles:
    """Find the cycles of a clock and number them.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,), n >= 3
        Rising edges, ticks, increasing.
    step : float
        The analyser's step, ticks.
    """
    period = rough_period(edges)
    intervals = np.diff(edges)
    near = _near(_scatter(intervals, period, step) / period, step / period) * period
    steady = np.abs(intervals - period) < min(near, NEAR[1] * period)
    first = int(np.argmax(steady[:-1] & steady[1:]))
    same = min(near, SAME_PHASE * period) if near <= NEAR[1] * period else 0.5 * period
    number, gap, jump = follow(edges, first, period, near, same, _gain(intervals, period))
    kept = number >= 0
    late = np.flatnonzero(gap)
    missing = [edges[i] - period * np.arange(gap[i], 0, -1) for i in late]
    begins, number, jump = edges[kept], number[kept], jump[kept]
    known = np.concatenate(([0], np.flatnonzero(jump), [begins.size]))
    jump += phase_steps(begins, number, known, period, _least_step(begins, number, period, step))
    jumps = np.flatnonzero(jump)
    broken = np.flatnonzero((gap[kept] > 0) | (jump != 0))
    ends = np.array([begins.size])
    start = np.array([0])
    return Cycles(
        edges=begins,
        number=number,
        runs=np.concatenate((start, broken, ends)),
        stretches=np.concatenate((start, jumps, ends)),
        extra=edges[first:][~kept[first:]],
        gap=gap[kept],
        missing=np.rint(np.concatenate(missing)).astype(np.int64) if missing else np.empty(0, np.int64),
        jumps=jumps,
        jump_ticks=jump[jumps],
        rough_period=period,
    )


def slipping_step(cycles: Cycles) -> float:
    """Find the analyser's step where only the clock's slips show it, in ticks; 0 when nothing does.

    A clock very near to a whole number of steps is seen as perfectly even, but for one step too many (or too
    few) each time that it has slipped by one: jumps all alike, at even distances, a whole part of the period.
    """
    sizes, apart = np.abs(cycles.jump_ticks), np.diff(cycles.number[cycles.jumps])
    if sizes.size < FEWEST_SLIPS or abs(np.sign(cycles.jump_ticks).sum()) != sizes.size:
        return 0.0
    steps = round(cycles.rough_period / float(sizes.mean()))
    alike = np.ptp(sizes) <= ROUNDED and np.ptp(apart) <= ROUNDED + SLIP_UNEVEN * float(apart.mean())
    # From slip to slip the clock gains or loses one step.
    slip = float(np.sign(cycles.jump_ticks[0]) / apart.mean())
    step = cycles.rough_period / (steps + slip) if steps > 1 else 0.0
    near = abs(step - float(sizes.mean())) <= ROUNDED + SLIP_UNEVEN * step
    return step if alike and near else 0.0


def stretch_sums(cycles: Cycles, part: tuple[int, int]) -> NDArray[np.float64]:
    """Sum over the stretches within a part of the edges (indices): ticks, cycles, number of stretches.

    Their ratio is the mean period in this recording: a clock whose phase wanders has another one in the next.
    A stretch is measured between the means of a few edges at both its ends; the analyser shifts each by less
    than a step, so that `GRID_WORST` bounds the error.
    """
    ticks, count, shifts = 0.0, 0.0, 0.0
    bounds = np.unique(np.clip(cycles.stretches, *part))
    for low, high in pairwise(bounds.tolist()):
        if high - low < 2:  # noqa: PLR2004 - an interval has two ends
            continue
        few = max(1, min(END_EDGES, (high - low) // 4))
        ticks += float(cycles.edges[high - few : high].mean() - cycles.edges[low : low + few].mean())
        count += float(cycles.number[high - few : high].mean() - cycles.number[low : low + few].mean())
        shifts += 1.0
    return np.array([ticks, count, shifts])


def period_of(sums: NDArray[np.float64], guess: float, step: float) -> Measured:
    """Mean period from `stretch_sums`, ticks; ``guess`` where no stretch is long enough."""
    ticks, count, shifts = sums
    if not count:
        return Measured(guess, step, "ticks")
    return Measured(float(ticks / count), float(GRID_WORST * step * np.sqrt(shifts) / count), "ticks")


def grid_coverage(cycles: Cycles, period: float, step: float) -> NDArray[np.int64]:
    """Count edges by the part of the analyser's step in which they are due, int64, shape (256,)."""
    low, high = _longest(cycles.stretches)
    origin = float(
        cycles.edges[low : low + END_EDGES].mean() - cycles.number[low : low + END_EDGES].mean() * period
    )
    some = cycles.number[low : high : 1 + (high - low) // MOST_COVERED]
    due = (origin + some * period) / step % 1
    return np.bincount((due * COVERAGE_BINS).astype(np.int64) % COVERAGE_BINS, minlength=COVERAGE_BINS)


def unseen_part(coverage: NDArray[np.int64]) -> float:
    """Widest part of the step in which no edge is due, 0..1; 1 for a clock locked to the analyser."""
    there = np.flatnonzero(coverage)
    if there.size == 0:
        return 1.0
    return float((np.diff(np.append(there, there[0] + coverage.size)).max() - 1) / coverage.size)


def _longest(bounds: NDArray[np.int64]) -> tuple[int, int]:
    best = int(np.argmax(np.diff(bounds)))
    return int(bounds[best]), int(bounds[best + 1])
