"""Compiled loops of the sync and bus decoders: arrays in, arrays out, nothing raised."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray


@kernel
def _near(edges: NDArray[np.int64], first: int, time: float, tolerance: float) -> int:
    """Index (from ``first``) of the edge closest to ``time`` within ``tolerance``, or -1."""
    n = edges.size
    i = first
    while i < n and edges[i] < time - tolerance:
        i += 1
    best = -1
    nearest = tolerance
    while i < n and edges[i] <= time + tolerance:
        if abs(edges[i] - time) <= nearest:
            nearest = abs(edges[i] - time)
            best = i
        i += 1
    return best


@kernel
def track_lines(  # noqa: PLR0917 - kernels are called by position
    edges: NDArray[np.int64],
    steady: NDArray[np.bool_],
    anchor: int,
    period: float,
    tolerance: float,
    end: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Follow a line rate through sync edges, from ``anchor`` on.

    An edge that comes when it is due begins a line. Where none comes, the line is put where it was due,
    unless the edges from there on keep the same rate at another phase: then the phase steps.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,)
        Leading edges, increasing, ticks.
    steady : ndarray of bool, shape (n,)
        Whether the phase may step to this edge: not to one within a field sync.
    anchor : int
        Index of an edge that begins a line.
    period, tolerance : float
        Line period, and how far from due an edge may come, ticks.
    end : int
        No line begins after this time.

    Returns
    -------
    starts : ndarray of int64
        Line starts.
    source : ndarray of int64
        Index of the edge that begins each, -1 where it was put.
    steps : ndarray of int64
        Lines (indices into ``starts``) at which the phase stepped.
    """
    room = int((end - edges[anchor]) / (0.25 * period)) + 16
    starts = np.empty(room, np.int64)
    source = np.empty(room, np.int64)
    steps = np.empty(room, np.int64)
    starts[0] = edges[anchor]
    source[0] = anchor
    n, k, after = 1, 0, anchor + 1
    while n < room:
        due = starts[n - 1] + period
        if due > end + tolerance:
            break
        found = _near(edges, after, due, tolerance)
        if found < 0:
            i = after
            while i < edges.size and edges[i] < starts[n - 1] + 0.3 * period:
                i += 1
            while i < edges.size and edges[i] < starts[n - 1] + 1.9 * period:
                one = _near(edges, i + 1, edges[i] + period, tolerance)
                two = _near(edges, i + 1, edges[i] + 2 * period, tolerance)
                if steady[i] and one >= 0 and two >= 0 and _near(edges, after, due + period, tolerance) < 0:
                    found = i
                    steps[k] = n
                    k += 1
                    break
                i += 1
        if found >= 0:
            starts[n] = edges[found]
            source[n] = found
            after = found + 1
        else:
            if due > end:
                break
            starts[n] = round(due)
            source[n] = -1
        n += 1
    return starts[:n].copy(), source[:n].copy(), steps[:k].copy()


@kernel
def read_bit(  # noqa: PLR0917 - kernels are called by position
    times: NDArray[np.int64],
    edges: NDArray[np.int64],
    initial: int,
    bit: int,
    reach: float,
    codes: NDArray[np.uint32],
    unsure: NDArray[np.uint8],
) -> None:
    """Read one two-state channel at each time and put it into the codes.

    Parameters
    ----------
    times : ndarray of int64, shape (n,)
        Sampling points, increasing, ticks.
    edges : ndarray of int64, shape (m,)
        The channel's changes; each one toggles it.
    initial : int
        Its level before the first change.
    bit : int
        Where it goes in the code.
    reach : float
        A change closer to the sampling point than this makes the pixel unsure, ticks.
    codes, unsure : ndarray of uint32 and uint8, shape (n,)
        Changed in place.
    """
    j = 0
    level = initial
    for i in range(times.size):
        while j < edges.size and edges[j] <= times[i]:
            level = 1 - level
            j += 1
        if level == 1:
            codes[i] |= np.uint32(1) << np.uint32(bit)
        if (j > 0 and times[i] - edges[j - 1] < reach) or (j < edges.size and edges[j] - times[i] < reach):
            unsure[i] = 1
