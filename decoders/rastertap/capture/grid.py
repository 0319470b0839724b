"""Grids whose step is no whole number of ticks: which steps explain times that were rounded to ticks.

Candidates come from the spectrum of the gaps between the times. One is a fit when a band of one tick, laid
along its grid, holds every time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

FINEST = 2.2
"""Below about two ticks a rounded grid cannot be told from the ticks themselves."""

_FEWEST_TIMES = 32
"""A step that is no whole number is believed from this many times on: by chance each is on the grid of a step
of P ticks with probability about 1/P."""

_BINS = 1 << 16
_FINER = 16
"""How much finer the spectrum is than the histogram's length gives: a peak must not fall between two bins."""

_GROWTH = 1.3
"""How much further each fit is carried on: four rounded times already tell the count of steps that far."""

_MOST_CANDIDATES = 400
_MOST_FITS = 64
_SCREENED = 1500
_FRACTION = 5e-4
_SAME_WIDTH = 0.01
"""Bands this near in width, in ticks, cannot be told apart (by trial: the true step's band is the narrowest,
and the next step that a slow signal alone allows needs one wider by 0.02 to 0.14)."""

_SEARCH_ROUNDS, _SEARCH_LOSS = 60, 1e-6
"""Thirds taken off when the narrowest band is sought, and ticks by which its width may come out too large."""

_MANY = 3
"""With more fits than this, the best must lie between others: the list is not complete below the last."""


@dataclass(frozen=True)
class Fit:
    """A step that all times lie on, in ticks, and the narrowest band that holds them all."""

    step: float
    width: float
    steps: Floats

    def has_fraction(self, step: float) -> bool:
        """Whether ``step`` is a whole fraction of this one: times that lie on this grid lie on that too."""
        ratio = self.step / step
        return abs(ratio - round(ratio)) < _FRACTION * ratio


def rounded_step(times: Ints, gaps: Ints, refuse: Callable[[float], bool]) -> tuple[float, float] | None:
    """Find the step, not a whole number of ticks, that the times were sampled with.

    Parameters
    ----------
    times : ndarray of int64, shape (n,)
        In ticks from 0, increasing.
    gaps : ndarray of int64
        Between consecutive times, in ticks.
    refuse : callable
        Says of a step that it is the signals' own.

    Returns
    -------
    (step, standard uncertainty) in ticks, or None
        None when there is no such step, or several that explain the times about as well (a slow signal alone
        cannot tell them apart). The step is the middle of all those for which rounding explains every time;
        the uncertainty is that interval's, taken as uniform (half-width over sqrt(3), GUM 4.3.7).
    """
    if len(times) < _FEWEST_TIMES or gaps.min() < FINEST:
        return None
    sparse = times
    if len(times) > _SCREENED:
        sparse = np.concatenate((times[:256], times[256 : -1 : len(times) // _SCREENED], times[-1:]))
    fits = [fit for fit in _fits(sparse, gaps) if not refuse(fit.step)]
    if not fits:
        return None
    chosen = min(fits, key=lambda fit: fit.width)
    if any(fit is not chosen and fit.width < chosen.width + _SAME_WIDTH for fit in fits):
        return None
    if len(fits) > _MANY and chosen.step == min(fit.step for fit in fits):
        return None
    whole = _fit(times, chosen.step)
    return None if whole is None else _interval(whole, times)


def _fits(times: Ints, gaps: Ints) -> Iterator[Fit]:
    """Give the steps that all times lie on, whole fractions of one given before left out."""
    found: list[Fit] = []
    for candidate in _candidates(gaps):
        if any(fit.has_fraction(candidate) for fit in found):
            continue
        fit = _fit(times, candidate)
        if fit is not None and not any(other.has_fraction(fit.step) for other in found):
            found.append(fit)
            yield fit
        if len(found) == _MOST_FITS:
            return


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
        if not len(binned):
            return
        length = _FINER << int(binned.max()).bit_length()
        spectrum = np.fft.rfft(np.bincount(binned).astype(np.float64), length).real / len(binned)
        frequency = np.arange(len(spectrum)) / (length * width)
        shortest_here = FINEST if width == 1 else 8 * width
        # Rounding lowers a true peak by about sinc^2 (a triangular error's spectrum); leave it some room.
        wanted = 0.95 - 1.5 * (1 - np.sinc(frequency * width) ** 2)
        inner = spectrum[1:-1]
        peak = (inner >= spectrum[:-2]) & (inner > spectrum[2:]) & (inner > wanted[1:-1])
        at = np.flatnonzero(peak) + 1
        at = at[((frequency[at] + frequency[1]) * longest >= 1) & (frequency[at] * shortest_here <= 1)]
        yield from (1 / frequency[at[:_MOST_CANDIDATES]]).tolist()
        if width == 1:
            return
        longest, width = shortest_here, max(1, width // 16)


def _fit(times: Ints, step: float) -> Fit | None:
    """Lay a grid of about ``step`` through the times, over a growing span; None when one is off it."""
    count, steps = 4, np.zeros(0)
    offset = 0.0
    while True:
        some = times[:count].astype(np.float64)
        steps = np.round((some - offset) / step)
        if steps[-1] == steps[0]:
            return None
        step, offset = _line(steps, some)
        if step < FINEST or np.abs(some - offset - step * steps).max() > min(1.0, 0.45 * step):
            return None
        if count == len(times):
            return _narrowest(steps, some, step)
        reach = times[0] + (times[count - 1] - times[0]) * _GROWTH
        count = min(len(times), max(count + 1, int(np.searchsorted(times, reach, "right"))))


def _narrowest(steps: Floats, times: Floats, step: float) -> Fit | None:
    """Find the step with the narrowest band that holds every time; None when it is wider than a tick."""
    reach = 2 / float(steps[-1] - steps[0])
    low, high = step - reach, step + reach
    for _ in range(_SEARCH_ROUNDS):  # the width is a convex function of the step
        third = (high - low) / 3
        if np.ptp(times - (low + third) * steps) < np.ptp(times - (high - third) * steps):
            high -= third
        else:
            low += third
    best = (low + high) / 2
    width = float(np.ptp(times - best * steps))
    return Fit(best, width, steps) if width <= _one_tick(times) else None


def _one_tick(times: Floats) -> float:
    """One tick, its two ends included, and what the search and float64 may lose in times as long as these.

    Halves of a tick come on many grids (48 MS/s in ns: 62.5, 187.5); where they are rounded to even, errors
    of +0.5 and -0.5 are both there, and the band that holds all times is a whole tick wide.
    """
    return 1 + _SEARCH_LOSS + 1e-15 * float(abs(times[-1]))


def _interval(fit: Fit, ticks: Ints) -> tuple[float, float]:
    """Middle and standard uncertainty of all steps whose band of one tick holds every time."""
    times = ticks.astype(np.float64)
    allowed = _one_tick(times)
    reach = 2 / float(fit.steps[-1] - fit.steps[0])
    ends = []
    for outside in (fit.step - reach, fit.step + reach):
        inside, edge = fit.step, outside
        for _ in range(40):
            middle = (inside + edge) / 2
            holds = np.ptp(times - middle * fit.steps) <= allowed
            inside, edge = (middle, edge) if holds else (inside, middle)
        ends.append(inside)
    return (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / 2 / math.sqrt(3)


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and offset of the least-squares line."""
    middle = x.mean()
    slope = float(np.dot(x - middle, y) / np.dot(x - middle, x - middle))
    return slope, float(y.mean() - slope * middle)
