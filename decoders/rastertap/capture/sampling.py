"""The analyser's own step, found from the times of the changes.

An analyser looks at its inputs on a grid of its own. Where the grid is a whole number of ticks, it is the
greatest common divisor of the times. Where the stamps were rounded (24 MS/s written in ns gives gaps of 41
and 42), the gaps lie within one tick of multiples of a step that is no whole number: candidates come from
the spectrum of the gaps, and one is believed only when every time over the whole span lies on its grid.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import SamplePeriod

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from rastertap.capture.model import Capture

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

UNKNOWN_STEP = SamplePeriod(1.0, 0.0, known=False)

_FIRST_RUN = 4096
_NEXT_RUNS = 512
_FEWEST_TIMES = 8
_FEWEST_FOR_ROUNDED = 32
"""A step that is no whole number is believed from this many times on: by chance each is on the grid of a step
of P ticks with probability about 1/P."""

_BINS = 1 << 16
_FINEST = 2.2
"""Below about two ticks a rounded grid cannot be told from the ticks themselves."""

_CLOSE_TOGETHER = 64
"""Changes this few ticks apart show that the tick itself is the step (common practice, no source: a clock is
sampled 4 to 64 times in a period)."""

_GROWTH = 1.3
"""How much further each fit is carried on: four rounded times already tell the count of steps that far."""

_MOST_CANDIDATES = 400


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
        gaps only alternate: such a grid is the signals' own, as in a simulator's output.

    Notes
    -----
    The uncertainty of a whole-number step is 0. Else the step is the middle of all steps for which rounding
    explains every time, and its uncertainty that interval's, taken as uniform (half-width over sqrt(3), GUM
    4.3.7). Rounding errors of a steady grid are not independent, so least squares would promise too much
    (references.md 8.2).
    """
    channels = [channel.ticks for channel in capture.channels if len(channel.ticks)]
    runs = list(_runs(channels, capture.start, capture.end))
    times = np.unique(np.concatenate(runs)) if runs else np.empty(0, np.int64)
    if len(times) < _FEWEST_TIMES:
        return UNKNOWN_STEP

    def is_the_signals(step: float) -> bool:
        return _repeats(runs, step) or any(_every_step(ticks, step) for ticks in channels)

    gaps = np.concatenate([np.diff(run) for run in runs])
    common = int(np.gcd.reduce(np.diff(times)))
    for step, uncertainty in _rounded_steps((times - times[0]) // common, gaps // common):
        if not is_the_signals(step * common):
            return SamplePeriod(step * common, uncertainty * common, known=True)
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


def _rounded_steps(times: Ints, gaps: Ints) -> Iterator[tuple[float, float]]:
    """Give the steps from `_FINEST` units on that all times lie on within rounding, with uncertainties."""
    if len(times) < _FEWEST_FOR_ROUNDED or gaps.min() < _FINEST:
        return
    for candidate in _candidates(gaps):
        fitted = _fit(times, candidate)
        if fitted is not None:
            yield fitted


def _candidates(gaps: Ints) -> Iterator[float]:
    """Give steps that the gaps may be multiples of, the longest first.

    The spectrum of the gaps' histogram is high at 1/step. Long gaps are first looked at in coarser bins, so
    that one length of histogram does for every ratio of gap to step.
    """
    shortest = int(gaps.min())
    width = max(1, 1 << max(0, (shortest // 4096).bit_length()))
    longest = shortest + 1.5
    while True:
        binned = (gaps[gaps < (_BINS - 1) * width] + width // 2) // width
        histogram = np.bincount(binned, minlength=_BINS)[:_BINS].astype(np.float64)
        spectrum = np.fft.rfft(histogram, 4 * _BINS).real / max(len(binned), 1)
        frequency = np.arange(len(spectrum)) / (4 * _BINS * width)
        shortest_here = _FINEST if width == 1 else 8 * width
        # Rounding lowers a true peak by about sinc^2 (a triangular error's spectrum); leave it some room.
        wanted = 0.95 - 1.5 * (1 - np.sinc(frequency * width) ** 2)
        peak = (spectrum[1:-1] >= spectrum[:-2]) & (spectrum[1:-1] > spectrum[2:]) & (spectrum > wanted)[1:-1]
        at = np.flatnonzero(peak) + 1
        at = at[((frequency[at] + frequency[1]) * longest >= 1) & (frequency[at] * shortest_here <= 1)]
        yield from (1 / frequency[at[:_MOST_CANDIDATES]]).tolist()
        if width == 1:
            return
        longest, width = shortest_here, max(1, width // 16)


def _fit(times: Ints, step: float) -> tuple[float, float] | None:
    """Lay a grid of about ``step`` through the times, over a growing span; None when one is off it."""
    count, steps = 4, np.zeros(0)
    offset = 0.0
    while True:
        some = times[:count].astype(np.float64)
        steps = np.round((some - offset) / step)
        if steps[-1] == steps[0]:
            return None
        step, offset = _line(steps, some)
        if step < _FINEST or np.abs(some - offset - step * steps).max() > min(1.0, 0.45 * step):
            return None
        if count == len(times):
            return _allowed(steps, some, step)
        reach = times[0] + (times[count - 1] - times[0]) * _GROWTH
        count = min(len(times), max(count + 1, int(np.searchsorted(times, reach, "right"))))


def _allowed(steps: Floats, times: Floats, step: float) -> tuple[float, float] | None:
    """Find all steps for which a band of one tick holds every time; their middle and standard uncertainty."""
    width_allowed = 1 + 1e-15 * abs(times[-1])

    def width(of_step: float) -> float:
        return float(np.ptp(times - of_step * steps))

    reach = 2 / float(steps[-1] - steps[0])
    low, high = step - reach, step + reach
    for _ in range(60):  # the width is a convex function of the step
        third = (high - low) / 3
        if width(low + third) < width(high - third):
            high -= third
        else:
            low += third
    best = (low + high) / 2
    if width(best) > width_allowed:
        return None
    ends = []
    for outside in (best - reach, best + reach):
        inside, edge = best, outside
        for _ in range(40):
            middle = (inside + edge) / 2
            inside, edge = (middle, edge) if width(middle) <= width_allowed else (inside, middle)
        ends.append(inside)
    return (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / 2 / math.sqrt(3)


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and offset of the least-squares line."""
    middle = x.mean()
    slope = float(np.dot(x - middle, y) / np.dot(x - middle, x - middle))
    return slope, float(y.mean() - slope * middle)


def _repeats(runs: list[Ints], step: float) -> bool:
    """Whether the gaps, counted in steps, do nothing but alternate between two values throughout.

    So does a simulated clock, its halves even or not. A clock that an analyser samples with a clock of its
    own does not: now and then a half is a step longer or shorter.
    """
    steps = [np.round(np.diff(run) / step) for run in runs]
    return all(bool((run[2:] == run[:-2]).all()) for run in steps)


def _every_step(ticks: Ints, step: float) -> bool:
    """Whether the channel changes at every step of the grid."""
    intervals = np.diff(ticks[: _FIRST_RUN + 1])
    return len(intervals) >= _FEWEST_TIMES and bool((np.abs(intervals - step) < 1).all())
