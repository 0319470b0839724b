"""Reading the bus at every pixel clock and arranging the codes in lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.kernels import read_bit
from rastertap.streams.rhythm import mean_phase, robust_scatter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.model import Lines, PixelClock


@dataclass(frozen=True, eq=False)
class LineGrid:
    """Where each line is in the sequence of pixel clocks.

    Parameters
    ----------
    first : ndarray of int64, shape (lines,)
        Index of the pixel with which the line begins; may lie outside the clock's edges.
    pixels : int
        Pixels (clock cycles, or half cycles) in most lines.
    right, counted : int
        Lines with exactly that many, and all whose length was measured, among those that count.
    turn : bool
        Every second line has one more.
    syncs : int
        Line syncs that were compared with the clock.
    squares : float
        Sum of the squares of how far each was off its usual place in the clock cycle, pixels.
    """

    first: NDArray[np.int64]
    pixels: int
    right: int
    counted: int
    turn: bool = False
    syncs: int = 0
    squares: float = 0.0


def read_codes(
    bits: Sequence[Channel], times: NDArray[np.int64], reach: float
) -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    """Read all bits at each time.

    Parameters
    ----------
    bits : sequence of Channel
        Bit 0 first, two-state.
    times : ndarray of int64, shape (n,)
        Sampling points, ticks, increasing.
    reach : float
        A change closer than this makes the pixel unsure, ticks.

    Returns
    -------
    codes : ndarray of uint32, shape (n,)
    unsure : ndarray of uint8, shape (n,)
        1 where a change is too close.
    """
    codes, unsure = np.zeros(times.size, np.uint32), np.zeros(times.size, np.uint8)
    for bit, channel in enumerate(bits):
        read_bit(times, channel.ticks, channel.initial, bit, reach, codes, unsure)
    return codes, unsure


def read_times(clock: PixelClock, reads: Sequence[float]) -> NDArray[np.int64]:
    """Give the times, ticks, at which the bus is read: ``reads`` ticks after every rising edge."""
    times = np.rint(clock.edges[:, None] + np.asarray(reads)).astype(np.int64)
    return np.asarray(times.ravel(), np.int64)


def line_grid(lines: Lines, clock: PixelClock, span: tuple[int, int], per_cycle: int = 1) -> LineGrid:
    """Find the pixel that each line begins with; lines that start in ``span`` (ticks) are counted.

    The line sync comes at some constant delay after a clock edge. Both are seen on the sampling grid, so a
    delay near zero would fall now before, now after that edge; the mean delay decides for all lines. A sync
    that jitters against the clock by a pixel or so moves no line: the clocks are counted on from its
    neighbours.
    """
    edges, period, starts = clock.edges, clock.period.value, lines.starts
    index = np.clip(np.searchsorted(edges, starts, side="right") - 1, 0, edges.size - 1)
    place = per_cycle * (index + (starts - edges[index]) / period)
    known = lines.measured & (starts >= edges[0]) & (starts <= edges[-1])
    inside = (starts >= span[0]) & (starts < span[1])
    whole = known[1:] & known[:-1] & inside[:-1]
    begins = np.round(place - mean_phase(place[known])).astype(np.int64)
    lengths = begins[1:] - begins[:-1]
    pixels, turn = _length(lengths, whole)
    right = int((whole & _right(lengths, pixels, turn=turn)).sum())
    clocked = known & (starts - edges[index] < 1.5 * period)
    late, reach = _lateness(
        place, (starts * (per_cycle / period)).astype(np.float64), clocked, pixels + turn / 2, turn=turn
    )
    even = place - np.where(np.abs(late) <= reach, late, 0.0)
    common = mean_phase(even[known])
    first = np.round(even - common).astype(np.int64)
    off = (place - common - first)[clocked & inside]
    off = off[np.abs(off) <= reach]
    counted = int(whole.sum()) or lengths.size
    return LineGrid(first, pixels, right, counted, turn, off.size, float((off**2).sum()))


IN_TURN = 0.9
"""Part of the pairs of lines that must be of a line and one a pixel longer, for that to be meant so."""
MOSTLY, TOGETHER = 0.5, 64
"""Part of the lines that are of the usual length as a rule; lines counted together where they are not."""
NEIGHBOURS, MOST_NEIGHBOURS = 101, 1001
"""Lines whose middle one is compared with the others; how many at most, where much jitter asks for more."""
FEWEST = 15
"""Lines without which none is compared."""
SIGMAS, ONE_PIXEL = 4.5, 1.5
"""Of the scatter, and pixels (one, and what the sampling adds): a sync off by no more jitters."""


def _length(lengths: NDArray[np.int64], whole: NDArray[np.bool_]) -> tuple[int, bool]:
    """Pixels that a line has as a rule, and whether every second line has one more."""
    pairs = (lengths[1:] + lengths[:-1])[whole[1:] & whole[:-1]]
    if pairs.size:
        sums, counts = np.unique(pairs, return_counts=True)
        most = int(np.argmax(counts))
        if sums[most] % 2 and counts[most] >= IN_TURN * pairs.size:
            return int(sums[most] // 2), True
    values, counts = np.unique(lengths[whole] if whole.any() else lengths, return_counts=True)
    if counts.max() < MOSTLY * counts.sum() and lengths.size >= 2 * TOGETHER:
        # A sync that jitters by pixels makes lines of many lengths: over many lines they even out.
        ends = np.concatenate((np.zeros(1, np.int64), np.cumsum(lengths)))
        return round(float(np.median(ends[TOGETHER:] - ends[:-TOGETHER])) / TOGETHER), False
    return int(values[np.argmax(counts)]), False


def _right(lengths: NDArray[np.int64], pixels: int, *, turn: bool) -> NDArray[np.bool_]:
    """Whether each line has the usual length; where two lengths come in turn, beside one of the other."""
    if not turn:
        return np.asarray(lengths == pixels)
    pairs = lengths[1:] + lengths[:-1] == 2 * pixels + 1
    beside = np.append(pairs, False) | np.append(False, pairs)
    return np.asarray(beside & ((lengths == pixels) | (lengths == pixels + 1)))


def _lateness(
    place: NDArray[np.float64],
    starts: NDArray[np.float64],
    known: NDArray[np.bool_],
    pixels: float,
    *,
    turn: bool,
) -> tuple[NDArray[np.float64], float]:
    """Give by how much the sync of each line is later than its neighbours' say, and how much is jitter.

    A median along the lines keeps every lasting step of their phase. Lost or added clocks change the count
    only, and a clock that wanders, by hum say, the time only: what agrees better along the lines tells.

    Parameters
    ----------
    place, starts : ndarray of float64, shape (lines,)
        Where the syncs are in the sequence of pixels, and their times in mean pixels.
    known : ndarray of bool, shape (lines,)
        Lines whose sync was measured while the clock ran.
    pixels : float
        Of a line.
    turn : bool
        Whether lines of two lengths come in turn; then every second one is compared.

    Returns
    -------
    late : ndarray of float64, shape (lines,)
        Pixels; 0 where not known.
    reach : float
        Pixels; what is later or earlier than this is no jitter.
    """
    late, lines, reach = np.zeros(starts.size), np.arange(starts.size), ONE_PIXEL
    for parity in (0, 1) if turn else (0,):
        some = np.flatnonzero(known & ((lines % 2 == parity) | (not turn)))
        if some.size < FEWEST:
            continue
        counted, timed = place[some] - some * pixels, starts[some] - some * pixels
        by_count, by_time = (moved - _middle(moved, NEIGHBOURS) for moved in (counted, timed))
        counts = np.abs(by_count).mean() < np.abs(by_time).mean()
        moved, off = (counted, by_count) if counts else (timed, by_time)
        # The median of n is off by some 1.25 / sqrt(n) of the scatter: by a tenth of a pixel at most.
        needed = int((12.5 * robust_scatter(off)) ** 2)
        wanted = min(max(NEIGHBOURS, needed), MOST_NEIGHBOURS, 2 * some.size - 1) | 1
        late[some] = off if wanted == NEIGHBOURS else moved - _middle(moved, wanted)
        reach = max(reach, SIGMAS * robust_scatter(late[some]))
    return late, reach


def _middle(values: NDArray[np.float64], neighbours: int) -> NDArray[np.float64]:
    """Median of each value and its neighbours."""
    padded = np.pad(values, neighbours // 2, mode="symmetric")
    windows = np.lib.stride_tricks.sliding_window_view(padded, neighbours)
    return np.asarray(np.median(windows, axis=1), np.float64)


def rows(
    codes: NDArray[np.uint32], unsure: NDArray[np.uint8], first: NDArray[np.int64], pixels: int
) -> tuple[NDArray[np.uint32], NDArray[np.bool_]]:
    """Arrange codes in lines, shape (lines, pixels); a pixel without a clock edge is 0 and unsure."""
    index = first[:, None] + np.arange(pixels)
    there = (index >= 0) & (index < codes.size)
    index = np.clip(index, 0, codes.size - 1)
    return np.where(there, codes[index], np.uint32(0)), ~there | (unsure[index] != 0)
