"""Where in the pixel period the colour bus is quiet, and so where to read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError
from rastertap.measured import Measured
from rastertap.streams.clock_cycles import unseen_part
from rastertap.streams.model import BitDelay, SamplingPoint
from rastertap.streams.rhythm import mean_phase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.model import PixelClock

BINS = 120
"""Bins a pixel period: divisible by the small numbers of samples a pixel that captures have."""
LONGEST_RUN, FEWEST_RUNS, ALL_BUT = 64, 200, 0.997
"""Distances between changes that are looked at (cycles), how many are needed, how many may not fit."""
DOUBLE = (0.7, 0.4)
"""Agreement of the changes' places at twice the clock, at least, and at the clock, at most, of a double-rate
bus."""
STRAY = 1e-3
"""Changes left out, as a share of all, when the quiet window is sought: glitches must not shut it."""


def change_offsets(ticks: NDArray[np.int64], clock: PixelClock) -> NDArray[np.float64]:
    """Give the ticks from the rising clock edge before to each change; changes in a gap are left out."""
    edges, period = clock.edges, clock.period.value
    cycle = np.searchsorted(edges, ticks, side="right") - 1
    inside = (cycle >= 0) & (cycle < edges.size - 1)
    cycle, ticks = cycle[inside], ticks[inside]
    steady = np.abs(edges[cycle + 1] - edges[cycle] - period) < 0.4 * period
    return np.asarray(ticks[steady] - edges[cycle[steady]], np.float64)


def _quiet(offsets: NDArray[np.float64], period: float, pixels: int) -> list[tuple[float, float, int]]:
    """Find the widest quiet parts of the cycle, one a pixel: start, length (ticks), changes inside."""
    counts = np.bincount((offsets % period / period * BINS).astype(np.int64) % BINS, minlength=BINS)
    values = np.sort(offsets % period)
    # Drop the values in the least populated bins, up to the stray share.
    order = np.argsort(counts, kind="stable")
    dropped = order[np.cumsum(counts[order]) <= STRAY * values.size]
    kept = values[~np.isin((values / period * BINS).astype(np.int64) % BINS, dropped)]
    around = np.diff(np.append(kept, kept[0] + period))
    found = []
    for widest in np.argsort(around, kind="stable")[::-1][:pixels]:
        start, length = float(kept[widest]), float(around[widest])
        inside = (offsets - start) % period
        found.append((start, length, int(((inside > 0) & (inside < length)).sum())))
    return found


def _bit_delays(
    bits: Sequence[Channel], offsets: list[NDArray[np.float64]], period: float, step: float
) -> tuple[BitDelay, ...]:
    """Sum up when each bit changes, each round its own mean, which is within half a period of that of all."""
    together = np.concatenate(offsets)
    centre = mean_phase(together / period) * period
    found = []
    for bit, offset in zip(bits, offsets, strict=True):
        own = mean_phase((offset - centre) / period) * period + centre
        near = (offset - own + period / 2) % period - period / 2 + own
        found.append(BitDelay(bit.name, near.size, float(near.sum()), float((near**2).sum()), step))
    return tuple(found)


def cycles_per_pixel(bits: Sequence[Channel], clock: PixelClock) -> int:
    """How many clock cycles the bus needs for a pixel: its changes are always a multiple of so many apart."""
    ticks = np.unique(np.concatenate([b.ticks for b in bits])) if bits else np.empty(0, np.int64)
    apart = np.diff(ticks) / clock.period.value
    whole = (apart > 0.5) & (apart < LONGEST_RUN)  # noqa: PLR2004 - at least one cycle, rounded
    apart = np.round(apart[whole]).astype(np.int64)
    if apart.size < FEWEST_RUNS:
        return 1
    fitting = [m for m in (4, 3, 2) if (apart % m == 0).mean() > ALL_BUT]
    return fitting[0] if fitting else 1


def pixels_per_cycle(offsets: NDArray[np.float64], period: float) -> int:
    """2 when the bus changes at two places half a cycle apart, about as often at each; else 1."""
    turn = np.exp(2j * np.pi * offsets / period)
    once, twice = np.abs(turn.mean()), np.abs((turn**2).mean())
    return 2 if twice > DOUBLE[0] and once < DOUBLE[1] else 1


def _distances(delay: float, windows: list[tuple[float, float, int]], period: float) -> tuple[float, float]:
    """Give the ticks from the changes before a sampling point, and to those after it."""
    each = [((delay - start) % period, length) for start, length, _ in windows]
    before, length = min(each)
    return before, length - before


def find_sampling_point(
    bits: Sequence[Channel], clock: PixelClock, step: float, *, fixed: Sequence[float] = ()
) -> SamplingPoint:
    """Choose the sampling point: the middle of the quiet window.

    Parameters
    ----------
    bits : sequence of Channel
        Colour bus.
    clock : PixelClock
        Its clock.
    step : float
        Sampling step, ticks.
    fixed : sequence of float
        Ticks after the rising edge to read at instead, one a pixel of the cycle; where one is given of two,
        the other follows half a cycle later.

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
    pixels = pixels_per_cycle(together, period)
    windows = _quiet(together, period, pixels)
    chosen = [start + length / 2 for start, length, _ in windows]
    if fixed:
        chosen = [fixed[0], *fixed[1:], fixed[0] + period / 2][:pixels]
    reads = sorted(delay % period for delay in chosen)
    around = [_distances(delay, windows, period) for delay in reads]
    histogram = np.stack(
        [np.bincount((o % period / period * BINS).astype(np.int64) % BINS, minlength=BINS) for o in offsets]
    )
    # Change and clock edge are each seen up to a step late: the true margin is longer by up to a step. How
    # much of it shows depends on how far the changes come round the grid; uniform in between (GUM 4.3.7).
    spread = step / np.sqrt(12)
    return SamplingPoint(
        delay=reads[0],
        phase=reads[0] / period,
        margin_before=Measured(min(before for before, _ in around) + step / 2, spread, "ticks"),
        margin_after=Measured(min(after for _, after in around) + step / 2, spread, "ticks"),
        changes=histogram,
        stray=sum(stray for _, _, stray in windows),
        bits=_bit_delays(bits, offsets, period / pixels, step),
        second=reads[1] if pixels > 1 else None,
        unseen=1.0 if clock.record is None else unseen_part(clock.record.coverage),
        cycles_per_pixel=cycles_per_pixel(bits, clock),
        pixels_per_cycle=pixels,
    )
