"""The analyser's own step, found from the times of the changes.

An analyser looks at its inputs on a grid of its own. Where the grid is a whole number of ticks, it is the
greatest common divisor of the times. Where the stamps were rounded (24 MS/s written in ns gives gaps of 41
and 42), `rastertap.capture.grid` finds it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.grid import rounded_step
from rastertap.capture.model import SamplePeriod

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from rastertap.capture.model import Capture

    Ints = NDArray[np.int64]

UNKNOWN_STEP = SamplePeriod(1.0, 0.0, known=False)

_FIRST_RUN = 4096
_NEXT_RUNS = 512
_FEWEST_TIMES = 8
_CLOSE_TOGETHER = 64
"""Changes this few ticks apart show that the tick itself is the step (common practice, no source: a clock is
sampled 4 to 64 times in a period)."""


def infer_sample_period(capture: Capture) -> SamplePeriod:
    """Find the analyser's step from the times of the changes.

    Parameters
    ----------
    capture : Capture
        Any number of changes: runs of some hundred to some thousand over the whole span are looked at.

    Returns
    -------
    SamplePeriod
        One tick and not known when there are few changes, when a channel changes at every step, or when the
        gaps only alternate: such a grid is the signals' own, as in a simulator's output. A slow signal alone
        may not show a fine step either.

    Notes
    -----
    The uncertainty of a whole-number step is 0; for others see `rastertap.capture.grid.rounded_step`.
    Rounding errors of a steady grid are not independent, so least squares would promise too much
    (references.md 8.2).
    """
    channels = [channel.ticks for channel in capture.channels if len(channel.ticks)]
    runs = list(_runs(channels, capture.start, capture.end))
    times = np.unique(np.concatenate(runs)) if runs else np.empty(0, np.int64)
    if len(times) < _FEWEST_TIMES:
        return UNKNOWN_STEP

    def is_the_signals(step: float) -> bool:
        alternates = _repeats(runs, step) and not _slips(max(channels, key=len), step)
        return alternates or any(_every_step(ticks, step) for ticks in channels)

    gaps = np.concatenate([np.diff(run) for run in runs])
    common = int(np.gcd.reduce(np.diff(times)))
    found = rounded_step(
        (times - times[0]) // common, gaps // common, lambda step: is_the_signals(step * common)
    )
    if found is not None:
        return SamplePeriod(found[0] * common, found[1] * common, known=True)
    if is_the_signals(common) or (common == 1 and gaps.min() > _CLOSE_TOGETHER):
        return UNKNOWN_STEP
    return SamplePeriod(float(common), 0.0, known=True)


def _runs(channels: list[Ints], start: int, end: int) -> Iterator[Ints]:
    """Give runs of consecutive change times of all channels: one long, then short ones, each twice as far."""
    if not channels:
        return
    begin = min(int(ticks[0]) for ticks in channels)
    first = _run(channels, begin, _FIRST_RUN)
    yield first
    reach = int(first[-1]) - begin + 1
    while begin + reach <= end:
        run = _run(channels, begin + reach, _NEXT_RUNS)
        if len(run):
            yield run
        reach *= 2
    last = _run(channels, max(start, end - reach // 8), _NEXT_RUNS)
    if len(last):
        yield last


def _run(channels: list[Ints], begin: int, count: int) -> Ints:
    """All change times from ``begin`` on, as far as ``count`` of any one channel reach."""
    pieces, horizon = [], np.iinfo(np.int64).max
    for ticks in channels:
        at = int(np.searchsorted(ticks, begin))
        piece = ticks[at : at + count]
        pieces.append(piece)
        if at + count < len(ticks):
            horizon = min(horizon, int(piece[-1]))
    times = np.unique(np.concatenate(pieces))
    return times[times <= horizon][:count]


def _repeats(runs: list[Ints], step: float) -> bool:
    """Whether the gaps, counted in steps, do nothing but alternate between two values throughout.

    So does a simulated clock, its halves even or not. A clock that an analyser samples with a clock of its
    own does not: now and then a half is a step longer or shorter.
    """
    steps = [np.round(np.diff(run) / step) for run in runs]
    return all(bool((run[2:] == run[:-2]).all()) for run in steps)


def _slips(ticks: Ints, step: float) -> bool:
    """Whether the intervals between changes of one direction are now and then a step longer or shorter.

    Near a whole number of samples a cycle this happens too seldom for the runs to show it, and tells an
    analyser from a simulator all the same. A cycle left out lengthens an interval by more than a step.
    """
    intervals = ticks[2:] - ticks[:-2]
    if not len(intervals):
        return False
    off = np.abs(intervals - np.median(intervals))
    return bool(((off > 0.5 * step) & (off < 1.5 * step)).any())


def _every_step(ticks: Ints, step: float) -> bool:
    """Whether the channel changes at every step of the grid."""
    intervals = np.diff(ticks[: _FIRST_RUN + 1])
    return len(intervals) >= _FEWEST_TIMES and bool((np.abs(intervals - step) < 1).all())
