"""The cycles of a clock: which edge begins which, what is missing, what is extra, where the phase jumps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured
from rastertap.streams.clock_kernels import follow
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from numpy.typing import NDArray

NEAR = (0.12, 0.4)
"""Least and greatest distance from its due place, in periods, at which an edge still begins its cycle."""
NEAR_SIGMAS, NEAR_STEPS = 6.0, 1.2
"""The distance in between: robust standard deviations of the period, and steps of the analyser."""
END_EDGES = 16
"""Edges averaged at both ends of a stretch to find its mean period."""
COVERAGE_BINS = 256


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
    jumps: NDArray[np.int64]
    jump_ticks: NDArray[np.float64]
    rough_period: float


def rough_period(edges: NDArray[np.int64]) -> float:
    """Mean of the usual intervals, ticks: a median alone is a whole number of steps."""
    intervals = np.diff(edges)
    middle = float(np.median(intervals))
    return float(intervals[np.abs(intervals - middle) < 0.5 * middle].mean())


def count_cycles(edges: NDArray[np.int64], step: float) -> Cycles:
    """Number the cycles of a clock.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,), n >= 3
        Rising edges, ticks, increasing.
    step : float
        The analyser's step, ticks.
    """
    period = rough_period(edges)
    intervals = np.diff(edges)
    middle = np.median(intervals)
    scatter = 1.4826 * float(np.median(np.abs(intervals - middle)))
    near = float(np.clip((NEAR_SIGMAS * scatter + NEAR_STEPS * step) / period, *NEAR)) * period
    steady = np.abs(intervals - period) < near
    first = int(np.argmax(steady[:-1] & steady[1:]))
    number, gap, jump = follow(edges, first, period, near)
    kept = number >= 0
    late = np.flatnonzero(gap)
    missing = [edges[i] - period * np.arange(gap[i], 0, -1) for i in late]
    begins = edges[kept]
    broken = np.flatnonzero((gap[kept] > 0) | (jump[kept] != 0))
    jumps = np.flatnonzero(jump[kept] != 0)
    ends = np.array([begins.size])
    start = np.array([0])
    return Cycles(
        edges=begins,
        number=number[kept],
        runs=np.concatenate((start, broken, ends)),
        stretches=np.concatenate((start, jumps, ends)),
        extra=edges[first:][~kept[first:]],
        missing=np.rint(np.concatenate(missing)).astype(np.int64) if missing else np.empty(0, np.int64),
        jumps=jumps,
        jump_ticks=jump[kept][jumps],
        rough_period=period,
    )


def mean_period(cycles: Cycles, step: float) -> Measured:
    """Mean period over the recording, phase jumps left out.

    The measurand is what the clock did in this recording: a clock whose phase wanders has another mean in the
    next one. A stretch is measured between the means of a few edges at both its ends; the analyser shifts each
    by less than a step, so that `GRID_WORST` bounds the error.
    """
    ticks, count, shifts = 0.0, 0.0, 0.0
    for low, high in zip(cycles.stretches[:-1], cycles.stretches[1:], strict=True):
        if high - low < 2:  # noqa: PLR2004 - an interval has two ends
            continue
        few = max(1, min(END_EDGES, (high - low) // 4))
        ticks += float(cycles.edges[high - few : high].mean() - cycles.edges[low : low + few].mean())
        count += float(cycles.number[high - few : high].mean() - cycles.number[low : low + few].mean())
        shifts += 1.0
    if not count:
        return Measured(cycles.rough_period, step, "ticks")
    return Measured(ticks / count, GRID_WORST * step * float(np.sqrt(shifts)) / count, "ticks")


def grid_coverage(cycles: Cycles, period: float, step: float) -> NDArray[np.int64]:
    """Count the edges by the part of the analyser's step in which they are due, int64, shape (256,)."""
    low, high = _longest(cycles.stretches)
    origin = float(
        cycles.edges[low : low + END_EDGES].mean() - cycles.number[low : low + END_EDGES].mean() * period
    )
    due = (origin + cycles.number[low:high] * period) / step % 1
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
