"""Where in the pixel period the colour bus is quiet, and so where to read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError
from rastertap.measured import Measured
from rastertap.streams.model import SamplingPoint

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.model import PixelClock

BINS = 120
"""Bins a pixel period: divisible by the small numbers of samples a pixel that captures have."""
STRAY = 1e-3
"""Changes left out, as a share of all, when the quiet window is sought: glitches must not shut it."""


def change_offsets(ticks: NDArray[np.int64], clock: PixelClock) -> NDArray[np.float64]:
    """Ticks from the preceding rising clock edge to each change, int in float64; changes in a gap left out."""
    edges, period = clock.edges, clock.period.value
    cycle = np.searchsorted(edges, ticks, side="right") - 1
    inside = (cycle >= 0) & (cycle < edges.size - 1)
    cycle, ticks = cycle[inside], ticks[inside]
    steady = np.abs(edges[cycle + 1] - edges[cycle] - period) < 0.4 * period  # noqa: PLR2004
    return (ticks[steady] - edges[cycle[steady]]).astype(np.float64)


def _widest_gap(offsets: NDArray[np.float64], period: float) -> tuple[float, float, int]:
    """Widest part of the cycle with hardly any change in it: start, length (ticks), and changes inside."""
    counts = np.bincount((offsets % period / period * BINS).astype(np.int64) % BINS, minlength=BINS)
    values = np.sort(offsets % period)
    # Drop the values in the least populated bins, up to the stray share.
    order = np.argsort(counts, kind="stable")
    dropped = order[np.cumsum(counts[order]) <= STRAY * values.size]
    kept = values[~np.isin((values / period * BINS).astype(np.int64) % BINS, dropped)]
    around = np.diff(np.append(kept, kept[0] + period))
    widest = int(np.argmax(around))
    start, length = float(kept[widest]), float(around[widest])
    inside = (offsets - start) % period
    return start, length, int(((inside > 0) & (inside < length)).sum())


def find_sampling_point(
    bits: Sequence[Channel], clock: PixelClock, step: float, *, fixed_delay: float | None = None
) -> SamplingPoint:
    """Choose the sampling point: the middle of the quiet window, or ``fixed_delay`` ticks after the rising edge.

    Raises
    ------
    DecodeError
        When the bus hardly changes, so that there is nothing to choose by.
    """
    offsets = [change_offsets(bit.ticks, clock) for bit in bits]
    period = clock.period.value
    together = np.concatenate(offsets) if offsets else np.empty(0)
    if not together.size:
        raise DecodeError("the colour bus never changes while the pixel clock runs")
    start, length, stray = _widest_gap(together, period)
    delay = (start + length / 2 if fixed_delay is None else fixed_delay) % period
    before = (delay - start) % period
    histogram = np.stack(
        [np.bincount((o % period / period * BINS).astype(np.int64) % BINS, minlength=BINS) for o in offsets]
    )
    # Both the bus change and the clock edge are seen up to a step late: triangular, step / sqrt(6).
    spread = step / np.sqrt(6)
    return SamplingPoint(
        delay=delay,
        phase=delay / period,
        margin_before=Measured(before, spread, "ticks"),
        margin_after=Measured(length - before, spread, "ticks"),
        changes=histogram,
        stray=stray,
    )
