"""The pixel rate from the edges of the colour bus alone: the slowest clock that all its changes keep to.

Within one line the changes stand at whole numbers of pixel periods. The Fourier transform of their times is
then as large at the pixel rate as at frequency 0; at lower frequencies it is not, unless no change ever
stands at an odd pixel. The power is averaged over lines, so that the clock need not run on from line to line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

FEWEST_CHANGES = 8
"""A line with fewer changes says nothing of the pixel rate."""
FEWEST_LINES = 4
MOST_LINES = 96
MOST_BINS = 16_384
SLOWEST_S = 1.5e-6
"""Longest pixel period looked for, as for tapped clocks."""
FASTEST_STEPS = 2.2
"""Shortest pixel period looked for, steps of the analyser."""
AS_GOOD = 0.85
"""Part of the best agreement that a slower rate must have to be preferred; see `at_between`."""
FEWEST_AGREEMENT = 0.5
ODD_SHARE, ODD_CHANGES = 0.002, 20
"""Changes on the new points of a finer grid, as a share and in number: then that one is the pixel's."""
NARROW, VALLEY = 0.15, 2.0
"""How near to a point, in its periods; and how many more there than half-way between points (jitter fills
that)."""
FINER = (2, 3)


@dataclass(frozen=True, eq=False)
class LineChanges:
    """Changes of the bus in the lines that have enough of them.

    Parameters
    ----------
    time : ndarray of float64, shape (n,)
        Ticks from the start of the line.
    line : ndarray of int64, shape (n,)
        Index of the line.
    period : float
        Of the line, ticks.
    """

    time: Floats
    line: Ints
    period: float

    def phase_sums(self, frequency: float, lines: int) -> NDArray[np.complex128]:
        """Sum ``exp(2 pi i frequency time)`` over each line's changes, shape (lines,)."""
        wave = np.exp(2j * np.pi * frequency * self.time)
        real = np.bincount(self.line, wave.real, minlength=lines)
        return real + 1j * np.bincount(self.line, wave.imag, minlength=lines)


def changes_by_line(changes: Ints, starts: Ints) -> LineChanges:
    """Sort changes (ticks, increasing) into lines; those outside all lines are left out."""
    line = np.searchsorted(starts, changes, side="right") - 1
    inside = (line >= 0) & (line < starts.size - 1)
    line, time = line[inside], (changes[inside] - starts[line[inside]]).astype(np.float64)
    return LineChanges(time, line, float(np.median(np.diff(starts))))


def pixel_rate(found: LineChanges, step: float, tick_s: float) -> float:
    """Find the pixel rate, cycles a tick, within a part of 1 / (a line's pixels).

    Parameters
    ----------
    found : LineChanges
    step : float
        The analyser's step, ticks.
    tick_s : float
        Seconds.

    Raises
    ------
    DecodeError
        When too few lines have changes, or these keep to no rate.
    """
    counts = np.bincount(found.line)
    busy = np.flatnonzero(counts >= FEWEST_CHANGES)
    if busy.size < FEWEST_LINES:
        raise DecodeError(f"only {busy.size} lines have colour changes enough to recover a pixel clock from")
    chosen = busy[np.linspace(0, busy.size - 1, min(MOST_LINES, busy.size)).astype(np.int64)]
    width = max(step, found.period / MOST_BINS)
    bins = int(found.period * 1.1 / width) + 2
    size = 1 << (2 * bins - 1).bit_length()
    power, norm = np.zeros(size // 2 + 1), 0.0
    for line in chosen.tolist():
        place = np.rint(found.time[found.line == line] / width).astype(np.int64)
        histogram = np.bincount(place[place < bins], minlength=bins)[:bins]
        power += np.abs(np.fft.rfft(histogram, size)) ** 2
        norm += float(histogram.sum()) ** 2
    frequency = np.arange(power.size) / (size * width)
    agreement = power / norm
    low, high = tick_s / SLOWEST_S, 1 / (FASTEST_STEPS * max(step, width))
    allowed = (frequency >= low) & (frequency <= high)
    allowed[1:-1] &= (power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])
    peaks = np.flatnonzero(allowed)
    # Harmonics agree less than the rate itself, for changes are seen up to a step late (sinc**2), or as well.
    enough = AS_GOOD * float(agreement[peaks].max(initial=0.0))
    first = int(peaks[np.argmax(agreement[peaks] >= enough)]) if peaks.size else 0
    if not first or agreement[first] < FEWEST_AGREEMENT * np.sinc(frequency[first] * max(step, width)) ** 2:
        raise DecodeError("the colour changes keep to no pixel rate that the analyser could follow")
    left, middle, right = power[first - 1 : first + 2]
    bend = left - 2 * middle + right
    return float(frequency[first] + (0.5 * (left - right) / bend if bend else 0.0) * frequency[1])


def finer_grid(off: Floats) -> int:
    """Find the number by which to multiply the rate so that changes off the grid are on it; 1: none.

    Parameters
    ----------
    off : ndarray of float64
        Place of every change between the grid's points, -0.5 .. 0.5 periods.
    """
    for finer in FINER:
        place = np.abs(off * finer - np.round(off * finer))
        new = np.round(off * finer) % finer != 0
        on, between = np.count_nonzero(new & (place < NARROW)), np.count_nonzero(place > 0.5 - NARROW)
        if on >= max(ODD_CHANGES, ODD_SHARE * off.size) and on > VALLEY * between:
            return finer
    return 1
