"""The picture arranged by its own lines: what a known picture is looked for in when sync or bits are lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.model import Frame
from rastertap.frames.raster import read_codes
from rastertap.streams.lines import LONGEST_LINE_S, SHORTEST_LINE_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.model import ColourBus, PixelClock

LONGEST_S = 0.06
"""Part of a recording that is looked at: a field of any kind is in it wherever it begins."""
AS_GOOD = 0.95
"""Of lengths at which the picture repeats nearly as well, the shortest is the line."""


def own_lines(
    bits: Sequence[Channel], clock: PixelClock, bus: ColourBus, *, step: float, second: float
) -> tuple[Frame, ...]:
    """Cut what the bits show into lines of the length at which it repeats best.

    Where a line begins is not known: the second of the two rasters is cut half a line later, so that in one
    of them no picture is cut in two.

    Parameters
    ----------
    bits : sequence of Channel
        Bit 0 of the codes first.
    clock, bus
        When to read them.
    step, second : float
        Sampling step, and a second, in ticks.

    Returns
    -------
    tuple of Frame
        None when nothing repeats at a line rate.
    """
    edges = clock.edges[: np.searchsorted(clock.edges, clock.edges[0] + LONGEST_S * second)]
    times = np.rint(edges + bus.sampling.delay).astype(np.int64)
    codes, unsure = read_codes(bits, times, step)
    shortest, longest = (round(s * second / clock.period.value) for s in (SHORTEST_LINE_S, LONGEST_LINE_S))
    length = _line_length(codes, len(bits), shortest, longest)
    if not length:
        return ()
    made = []
    for index, begin in enumerate((0, length // 2)):
        lines = (codes.size - begin) // length
        part = slice(begin, begin + lines * length)
        shape = lines, length
        raster, doubtful = codes[part].reshape(shape), unsure[part].reshape(shape).astype(bool)
        made.append(Frame(index, "progressive", raster, doubtful, int(edges[begin]), complete=False))
    return tuple(made)


def _line_length(codes: NDArray[np.uint32], bits: int, shortest: int, longest: int) -> int:
    """Give the pixel clocks after which the codes repeat best; 0 when there are too few to tell."""
    from scipy.fft import irfft, next_fast_len, rfft

    if codes.size < 4 * longest:
        return 0
    size = next_fast_len(codes.size + longest, real=True)
    power = np.zeros(size // 2 + 1, np.float64)
    for bit in range(bits):
        plane = ((codes >> np.uint32(bit)) & 1).astype(np.float64)
        power += np.abs(rfft(plane - plane.mean(), size)) ** 2
    lags = np.arange(shortest, longest + 1)
    likeness = irfft(power, size)[lags] / (codes.size - lags)
    if likeness.max() <= 0:
        return 0
    # A picture repeats after two lines as well; what is as good and shorter is the line.
    peak = (likeness > np.roll(likeness, 1)) & (likeness > np.roll(likeness, -1))
    good = np.flatnonzero(peak & (likeness >= AS_GOOD * likeness.max()))
    return int(lags[good[0] if good.size else np.argmax(likeness)])
