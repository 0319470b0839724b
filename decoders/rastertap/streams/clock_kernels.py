"""Compiled loops over every clock edge: arrays in, arrays out, nothing raised."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_INTERVALS = 100_000
"""Intervals of each length that are summed: of longer recordings some stretches are left out, evenly."""
STRETCH = 512
WINDOW = 16
LOOK_AHEAD = 8
"""Edges by which it is told whether a late edge has another phase or cycles missing before it."""


@kernel
def _lateness_from(edges: NDArray[np.int64], i: int, due: float, period: float, near: float) -> float:
    """Mean lateness of the edge ``i`` and those that follow it evenly: one alone is on the grid."""
    total = edges[i] - due
    k = 1
    while k < LOOK_AHEAD and i + k < edges.size and abs(edges[i + k] - edges[i + k - 1] - period) <= near:
        total += edges[i + k] - due - k * period
        k += 1
    lateness: float = total / k
    return lateness


@kernel
def follow(  # noqa: PLR0917 - numba takes arguments by position
    edges: NDArray[np.int64], first: int, period: float, near: float, same: float, gain: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Give each cycle of a clock its number; find edges that are early or late.

    An edge within ``near`` of where the last ones say the next (or a later) cycle begins, begins that cycle.
    One that comes too early is extra when the awaited one comes as well. Otherwise the phase jumps, and what
    follows is counted on from the new phase.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,)
        Rising edges, increasing, ticks.
    first : int
        Index of an edge with which a cycle surely begins; those before it are not looked at.
    period, near : float
        Ticks.
    same : float
        An edge this near (ticks) to its due place, cycles missing or not, has kept the phase.
    gain : float, 0..1
        How far the expected phase follows each edge.

    Returns
    -------
    cycle : ndarray of int64, shape (n,)
        Number of the cycle that the edge begins, 0 for the edge ``first``; -1 for one that begins none.
    gap : ndarray of int64, shape (n,)
        Whole cycles missing just before the edge.
    jump : ndarray of float64, shape (n,)
        Phase jump at the edge, ticks, positive when late; 0 where there is none.
    """
    n = edges.size
    cycle = np.full(n, -1, np.int64)
    gap = np.zeros(n, np.int64)
    jump = np.zeros(n, np.float64)
    cycle[first] = 0
    due = edges[first] + period
    number = np.int64(1)
    for i in range(first + 1, n):
        late = edges[i] - due
        if late < -near:
            j = i + 1
            while j < n and edges[j] < due - near:
                j += 1
            if j < n and edges[j] <= due + near:
                rest = _lateness_from(edges, j, due, period, near)
                if abs(rest) <= same:
                    continue
        if abs(late) > near:
            rest = _lateness_from(edges, i, due, period, near)
            missed = np.int64(np.floor(rest / period + 0.5))
            rest -= missed * period
            if missed < 0:
                rest += missed * period
                missed = np.int64(0)
            if abs(rest) > same:
                if rest < 0 and missed > 0:
                    rest += period
                    missed -= 1
                jump[i] = rest
                due = float(edges[i])
                late = 0.0
            else:
                due += missed * period
                late = edges[i] - due
            gap[i] = missed
            number += missed
        cycle[i] = number
        number += 1
        due += period + gain * late
    return cycle, gap, jump


@kernel
def phase_steps(
    edges: NDArray[np.int64],
    number: NDArray[np.int64],
    stretches: NDArray[np.int64],
    period: float,
    least: float,
) -> NDArray[np.float64]:
    """Find edges at which the phase, averaged over `WINDOW` edges to either side, steps.

    Parameters
    ----------
    edges, number : ndarray of int64, shape (n,)
        Edges in ticks, and the cycles they begin.
    stretches : ndarray of int64, shape (p + 1,)
        Where stretches without a known phase jump begin, then ``n``.
    period, least : float
        Ticks; smaller steps are not looked for.

    Returns
    -------
    ndarray of float64, shape (n,)
        Step in ticks at the edge where it is largest, positive when late; 0 elsewhere.
    """
    found = np.zeros(edges.size, np.float64)
    for r in range(stretches.size - 1):
        low, high = stretches[r], stretches[r + 1]
        if high - low < 2 * WINDOW:
            continue
        before, after = 0.0, 0.0
        for k in range(WINDOW):
            before += (edges[low + k] - edges[low]) - (number[low + k] - number[low]) * period
            after += (edges[low + WINDOW + k] - edges[low]) - (
                number[low + WINDOW + k] - number[low]
            ) * period
        best, place = 0.0, -1
        for i in range(low + WINDOW, high - WINDOW + 1):
            step = (after - before) / WINDOW
            if abs(step) > least and abs(step) > abs(best):
                best, place = step, i
            if place >= 0 and (i - place >= WINDOW or i == high - WINDOW):
                found[place] = best
                best, place = 0.0, -1
            if i < high - WINDOW:
                middle = (edges[i] - edges[low]) - (number[i] - number[low]) * period
                before += middle - (
                    (edges[i - WINDOW] - edges[low]) - (number[i - WINDOW] - number[low]) * period
                )
                after += (
                    (edges[i + WINDOW] - edges[low]) - (number[i + WINDOW] - number[low]) * period - middle
                )
    return found


@kernel
def lagged_sums(  # noqa: PLR0917 - numba takes arguments by position
    edges: NDArray[np.int64],
    runs: NDArray[np.int64],
    span: NDArray[np.int64],
    period: float,
    lags: NDArray[np.int64],
    blocks: int,
) -> NDArray[np.float64]:
    """Sum the deviations of intervals over many cycles, and their squares, in blocks of the recording.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,)
        One edge a cycle, ticks.
    runs : ndarray of int64, shape (r + 1,)
        Where runs of consecutive cycles begin, then ``n``.
    span : ndarray of int64, shape (2,)
        Indices of the first edge from which intervals begin, and of the first from which they do not.
    period : float
        Ticks.
    lags : ndarray of int64, shape (m,)
        Cycles in the interval.
    blocks : int

    Returns
    -------
    ndarray of float64, shape (blocks, m, 3)
        Number of intervals, sum of (interval - lag x period), sum of its square.
    """
    sums = np.zeros((blocks, lags.size, 3), np.float64)
    size = max(span[1] - span[0], 1)
    thin = 1 + size // MOST_INTERVALS
    for r in range(runs.size - 1):
        for k in range(lags.size):
            lag = lags[k]
            ideal = lag * period
            i = max(runs[r], span[0]) - 1
            stop = min(runs[r + 1] - lag, span[1])
            while i + 1 < stop:
                i += 1
                if (i // STRETCH) % thin:
                    i = (i // STRETCH + 1) * STRETCH - 1
                    continue
                off = (edges[i + lag] - edges[i]) - ideal
                b = (i - span[0]) * blocks // size
                sums[b, k, 0] += 1.0
                sums[b, k, 1] += off
                sums[b, k, 2] += off * off
    return sums
