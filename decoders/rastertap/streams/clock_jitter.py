"""Jitter well below the analyser's step, from the scatter of intervals over one cycle, two, three ...

A clock's edges are seen on the analyser's grid. For an interval of length ``L`` (in steps) that begins
anywhere on the grid, what is seen is one of the two whole numbers about ``L``; over all beginnings its
variance is ``f (1 - f)`` with ``f`` the fraction of ``L``. When ``L`` itself scatters (gaussian, variance
``s**2``) it is

    V(s) = s**2 + 1/6 - sum_j cos(2 pi j f) exp(-2 pi**2 j**2 s**2) / (pi j)**2 ,   j = 1, 2, ...

which follows from the Fourier series of ``f (1 - f)``. ``V`` rises with ``s`` throughout, but hardly when
``f`` is near a half and steeply when it is near 0. Among intervals of 1 to some dozens of cycles some are
always nearly a whole number of steps: those resolve jitter of some hundredths of a step.

How the variance grows with the number of cycles ``m`` tells the kinds apart: edges that scatter round their
place give ``2 s_edge**2`` for every ``m``, periods that vary independently give ``m s_period**2``, a
wandering frequency a part that grows as ``m**2``.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LAGS = np.concatenate((np.arange(1, 33), [40, 48, 56, 64])).astype(np.int64)
BLOCKS = 12
MOST_BLOCKS = 32
FEWEST_INTERVALS = 200
TERMS = np.arange(1, 33)
SIGMAS = np.concatenate(([0.0], np.geomspace(1e-3, 1e3, 241)))
"""Scatter of an interval, in steps, for which V is tabulated."""
PARTS = [list(p) for size in (1, 2, 3) for p in itertools.combinations(range(3), size)]
FINEST = 0.01
"""No jitter finer than this part of a step is claimed to be resolved."""


@dataclass(frozen=True)
class Jitter:
    """How the clock's edges scatter, ticks.

    Parameters
    ----------
    period : Measured
        Standard deviation of the period (JESD65B, as cited in references 8.1).
    cycle : Measured
        Standard deviation of the change from one period to the next (the same).
    edge : float
        Scatter of edges round their place, standard deviation.
    walk : float
        Scatter of periods independent of each other, which adds up, standard deviation.
    """

    period: Measured
    cycle: Measured
    edge: float
    walk: float


def recorded_variance(sigma: Floats, length: Floats) -> Floats:
    """Variance of recorded intervals, in steps squared: module notes' V.

    Parameters
    ----------
    sigma : ndarray, shape (s,)
        True scatter, steps.
    length : ndarray, shape (m,)
        Mean interval, steps.

    Returns
    -------
    ndarray of float64, shape (m, s)
    """
    wave = np.cos(2 * np.pi * length[:, None] * TERMS) / (np.pi * TERMS) ** 2
    damped = np.exp(-2 * np.pi**2 * TERMS[:, None] ** 2 * sigma**2)
    # The terms left out of an undamped series: their mean size is the tail of 1/6 = sum 1/(pi j)**2.
    return np.asarray(np.maximum(sigma**2 + 1 / 6 - wave @ damped, 0.0), np.float64)


def true_scatter(variance: float, length: float) -> float:
    """Give the scatter of an interval from the variance of what was recorded; all in steps."""
    table = np.maximum.accumulate(recorded_variance(SIGMAS, np.array([length]))[0])
    return float(np.interp(variance, table, SIGMAS))


def _pooled(sums: Floats) -> tuple[Floats, Floats]:
    """Variance within blocks for each lag (so that drift between blocks is left out), and its uncertainty."""
    count = sums[:, :, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        within = np.where(count > 1, sums[:, :, 2] - sums[:, :, 1] ** 2 / count, 0.0)
        each = np.where(count > 1, within / (count - 1), np.nan)
        total = np.maximum((count - (count > 0)).sum(axis=0), 1)
        value = within.sum(axis=0) / total
        blocks = np.maximum((count > 1).sum(axis=0), 1)
        spread = np.nansum((each - value) ** 2, axis=0) / np.maximum(blocks - 1, 1) / blocks
    return value, np.sqrt(spread)


def _nonnegative(lags: Floats, values: Floats, weights: Floats) -> Floats:
    """Fit ``A + W m + Q m**2`` with no negative part, by trying every set of parts."""
    design = np.stack((np.ones_like(lags), lags, lags**2), axis=1)
    scale = design.max(axis=0)
    design = design / scale
    square, product = design.T @ (weights[:, None] * design), design.T @ (weights * values)
    best, least = np.zeros(3), 0.0
    for parts in PARTS:
        try:
            found = np.linalg.solve(square[np.ix_(parts, parts)], product[parts])
        except np.linalg.LinAlgError:
            continue
        cost = float(found @ square[np.ix_(parts, parts)] @ found - 2 * found @ product[parts])
        if (found >= 0).all() and cost < least:
            least, best = cost, np.zeros(3)
            best[parts] = found / scale[parts]
    return best


def _kinds(sums: Floats, period: float, period_doubt: float, table: Floats) -> Floats:
    """Edge, period and frequency parts of the variance, steps squared."""
    used = np.flatnonzero(sums[:, :, 0].sum(axis=0) >= FEWEST_INTERVALS)
    lags, rows = LAGS[used].astype(np.float64), table[used]
    variance, doubt = (a[used] for a in _pooled(sums))
    doubt = np.hypot(doubt, np.abs(1 - 2 * (lags * period % 1)) * lags * period_doubt) + 1e-4
    # Less than a steady clock gives shows how far off this lag may be.
    reach = 2 * np.maximum(doubt, rows[:, 0] - variance)
    low, middle, high = (
        np.array([np.interp(v, row, SIGMAS**2) for v, row in zip(variance + sign * reach, rows, strict=True)])
        for sign in (-1, 0, 1)
    )
    weights = 1 / np.maximum(high - low, FINEST**2) ** 2

    def misfit(kinds: Floats) -> float:
        true = np.sqrt(kinds[0] + kinds[1] * lags + kinds[2] * lags**2)
        model = np.array([np.interp(s, SIGMAS, row) for s, row in zip(true, rows, strict=True)])
        return float((((model - variance) / doubt) ** 2).sum())

    # Where V is flat, the scatter that fits best may be 0 though much more is as likely: try the middle too.
    fits = [_nonnegative(lags, values, weights) for values in (middle, (low + high) / 2)]
    return min(fits, key=misfit)


def _rms(kinds: Floats) -> Floats:
    """Period and cycle-to-cycle jitter, edge scatter, period scatter; steps."""
    edge, walk, wander = kinds
    return np.sqrt([edge + walk + wander, 3 * edge + 2 * walk, edge / 2, walk])


def find_jitter(sums: Floats, period: Measured, step: float, unseen: float) -> Jitter:
    """Find the jitter from the summed deviations.

    Parameters
    ----------
    sums : ndarray of float64, shape (blocks, lags, 3)
        From `rastertap.streams.clock_kernels.lagged_sums` for `LAGS`.
    period : Measured
        Ticks.
    step : float
        The analyser's step, ticks.
    unseen : float, 0..1
        Widest part of the step in which no edge is due (1 for a clock locked to the analyser): scatter much
        smaller than it cannot be seen.
    """
    scaled = sums / np.array([1.0, step, step**2])
    length = period.value / step
    table = np.maximum.accumulate(recorded_variance(SIGMAS, np.asarray(LAGS * length, np.float64)), axis=1)
    doubt = period.uncertainty / step
    if scaled[:, 0, 0].sum() < FEWEST_INTERVALS:
        unknown = Measured(0.0, step, "ticks")
        return Jitter(unknown, unknown, 0.0, 0.0)
    found = _rms(_kinds(scaled, length, doubt, table))
    filled = np.flatnonzero(scaled[:, 0, 0] > 0)
    others = np.array([_rms(_kinds(np.delete(scaled, b, axis=0), length, doubt, table)) for b in filled])
    spread = np.sqrt((filled.size - 1) / filled.size * ((others - others.mean(axis=0)) ** 2).sum(axis=0))
    floor = np.hypot(FINEST, unseen / np.sqrt(3))
    sure = np.hypot(spread, floor) * step
    return Jitter(
        Measured(float(found[0] * step), float(sure[0]), "ticks"),
        Measured(float(found[1] * step), float(sure[1]), "ticks"),
        float(found[2] * step),
        float(found[3] * step),
    )
