"""Reading the bus at every pixel clock and arranging the codes in lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.kernels import read_bit

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
    """

    first: NDArray[np.int64]
    pixels: int
    right: int
    counted: int


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
    delay near zero would fall now before, now after that edge; the mean delay decides for all lines.
    """
    edges, period, starts = clock.edges, clock.period.value, lines.starts
    index = np.clip(np.searchsorted(edges, starts, side="right") - 1, 0, edges.size - 1)
    place = per_cycle * (index + (starts - edges[index]) / period)
    known = lines.measured & (starts >= edges[0]) & (starts <= edges[-1])
    common = float(np.angle(np.exp(2j * np.pi * place[known]).mean()) / (2 * np.pi)) if known.any() else 0.0
    first = np.round(place - common).astype(np.int64)
    whole = known[1:] & known[:-1] & (starts[:-1] >= span[0]) & (starts[:-1] < span[1])
    lengths = np.diff(first)
    values, counts = np.unique(lengths[whole] if whole.any() else lengths, return_counts=True)
    best = int(np.argmax(counts))
    return LineGrid(first, int(values[best]), int(counts[best]), int(counts.sum()))


def rows(
    codes: NDArray[np.uint32], unsure: NDArray[np.uint8], first: NDArray[np.int64], pixels: int
) -> tuple[NDArray[np.uint32], NDArray[np.bool_]]:
    """Arrange codes in lines, shape (lines, pixels); a pixel without a clock edge is 0 and unsure."""
    index = first[:, None] + np.arange(pixels)
    there = (index >= 0) & (index < codes.size)
    index = np.clip(index, 0, codes.size - 1)
    return np.where(there, codes[index], np.uint32(0)), ~there | (unsure[index] != 0)
