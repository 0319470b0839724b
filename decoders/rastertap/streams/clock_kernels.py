"""Compiled loops over every clock edge: arrays in, arrays out, nothing raised."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rastertap.jit import kernel

MOST_INTERVALS = 100_000
"""Intervals of each length that are summed: of longer recordings some stretches are left out, evenly."""
STRETCH = 512


@kernel
def follow(
    edges: NDArray[np.int64], first: int, period: float, near: float, gain: float
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
    number = 1
    for i in range(first + 1, n):
        late = edges[i] - due
        if late < -near:
            j = i + 1
            while j < n and edges[j] < due - near:
                j += 1
            if j < n and edges[j] <= due + near:
                continue
            jump[i] = late
            late = 0.0
            due = float(edges[i])
        elif late > near:
            missed = np.int64(np.floor(late / period + 0.5))
            rest = late - missed * period
            if missed >= 1 and abs(rest) <= near:
                due += missed * period
                late = rest
            else:
                missed = np.int64(late / period)
                jump[i] = late - missed * period
                late = 0.0
                due = float(edges[i])
            gap[i] = missed
            number += missed
        cycle[i] = number
        number += 1
        due += period + gain * late
    return cycle, gap, jump


@kernel
def lagged_sums(
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
