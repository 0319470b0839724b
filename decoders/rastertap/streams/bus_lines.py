"""Line ends where only a field pulse was tapped: the colour bus goes dark at one place in every line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError
from rastertap.streams.lines import LINES_FOR_ANCHOR, LONGEST_LINE_S, SHORTEST_LINE_S
from rastertap.streams.rhythm import dominant_interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Capture, Channel
    from rastertap.streams.pulses import Pulses

SHORTEST_DARK_S, LONGEST_DARK_S = 1.5e-6, 50e-6
"""Line blanking, with a dark border: from less than a front porch and line sync to most of a slow line."""
BAND = 1.25
"""Dark times up to this much longer than the shortest count as one kind."""
RECURS = 0.3
"""Part of the time that intervals between line ends must fill: field blanking, dark lines have none."""
AS_GOOD = 0.9
NO_RHYTHM = (
    "only a field pulse was tapped, and the colour bus goes dark at no place that recurs from line to line"
    " (no border, and the picture ends now here, now there), so no line rate can be told from it: tap the"
    " line sync"
)


def line_ends(bits: Sequence[Channel], fields: Pulses, capture: Capture, step: float) -> NDArray[np.int64]:
    """Find where picture or border ends in the lines, by the dark time after it that recurs most.

    Parameters
    ----------
    bits : sequence of Channel
        Colour bus.
    fields : Pulses
        Field sync or field blanking: the bus is dark in them.
    capture : Capture
        For its tick.
    step : float
        Sampling step, ticks.

    Raises
    ------
    DecodeError
        When nothing recurs at a line rate.
    """
    if not bits:
        raise DecodeError("only a field pulse was tapped, and no colour bus that would show the lines")
    times = np.unique(np.concatenate([bit.ticks for bit in bits]))
    lengths = np.diff(times)
    second = 1 / float(capture.tick)
    dark = _codes(bits, times[:-1]) == _dark_code(bits, fields)
    kept = dark & (lengths >= SHORTEST_DARK_S * second) & (lengths < LONGEST_DARK_S * second)
    starts, lengths = times[:-1][kept], lengths[kept]
    found = []
    shortest = SHORTEST_DARK_S * second
    while shortest < LONGEST_DARK_S * second:
        band = starts[(lengths >= shortest) & (lengths < BAND * shortest + 2 * step)]
        rhythm = dominant_interval(band, step)
        if band.size >= LINES_FOR_ANCHOR and SHORTEST_LINE_S < rhythm.period / second < LONGEST_LINE_S:
            found.append((rhythm.share, shortest, band))
        shortest *= np.sqrt(BAND)
    best = max((share for share, _, _ in found), default=0.0)
    if best < RECURS:
        raise DecodeError(NO_RHYTHM)
    ends: NDArray[np.int64] = max((f for f in found if f[0] >= AS_GOOD * best), key=lambda f: f[1])[2]
    return ends


def _codes(bits: Sequence[Channel], times: NDArray[np.int64]) -> NDArray[np.uint32]:
    """Code of the bus just after each time."""
    codes = np.zeros(times.size, np.uint32)
    for place, bit in enumerate(bits):
        levels = np.concatenate((np.array([bit.initial], np.uint8), bit.levels)).astype(np.uint32)
        codes |= levels[np.searchsorted(bit.ticks, times, side="right")] << np.uint32(place)
    return codes


def _dark_code(bits: Sequence[Channel], fields: Pulses) -> int:
    """Code that the bus has in the middle of most field pulses."""
    values, counts = np.unique(_codes(bits, fields.starts + fields.widths // 2), return_counts=True)
    return int(values[np.argmax(counts)]) if values.size else 0
