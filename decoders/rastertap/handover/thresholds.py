"""Telling colours apart by comparing levels with thresholds: how well given ones do, and the best there are.

A pair of colours is told apart by a threshold that lies between their levels on an axis; its margin there
is the distance of the nearer of the two. Its margin altogether is the largest that any threshold on any
axis gives.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

Marks = tuple[tuple[float, ...], ...]
"""Thresholds in mV, rising, for each axis."""
SOLVER_SECONDS = 20.0
"""For the whole search (16 colours need less than one); what it has found by then is used, and said not to be
proven the best."""
EXACT = 1e-9
MOST_COLOURS = 64


@dataclass(frozen=True, eq=False)
class Judged:
    """What thresholds make of a set of colours.

    Parameters
    ----------
    levels : ndarray of float64, shape (colours, axes)
        mV.
    marks : Marks
        Thresholds of each axis.
    least : float
        Margin in mV below which a pair does not count as told apart: noise and tolerance of the device.
    proven : bool
        Whether no better thresholds exist; False for given ones, and where the search ran out of time.
    """

    levels: NDArray[np.float64]
    marks: Marks
    least: float
    proven: bool = False

    @cached_property
    def margins(self) -> NDArray[np.float64]:
        """Margin of each pair in mV, shape (colours, colours); 0 where no threshold lies between."""
        return margins(self.levels, self.marks)

    @property
    def pairs(self) -> list[tuple[float, int, int]]:
        """Margin and the two colours of every pair, the weakest first."""
        one, other = np.triu_indices(len(self.levels), 1)
        found = zip(self.margins[one, other].tolist(), one.tolist(), other.tolist(), strict=True)
        return sorted(found)

    @property
    def apart(self) -> int:
        """Pairs told apart."""
        return sum(margin >= self.least - EXACT for margin, _, _ in self.pairs)

    @property
    def weakest(self) -> float | None:
        """Margin of the weakest pair that is told apart; None when none is."""
        return min((m for m, _, _ in self.pairs if m >= self.least - EXACT), default=None)

    @property
    def alike(self) -> list[list[int]]:
        """Groups of colours that lie on the same side of every threshold: nothing tells them apart."""
        groups: dict[tuple[int, ...], list[int]] = {}
        for index, row in enumerate(self.levels):
            cell = tuple(int(np.searchsorted(m, v)) for m, v in zip(self.marks, row, strict=True))
            groups.setdefault(cell, []).append(index)
        return [group for group in groups.values() if len(group) > 1]


def margins(levels: NDArray[np.float64], marks: Marks) -> NDArray[np.float64]:
    """Margin of each pair of colours in mV, shape (colours, colours)."""
    found = np.zeros((len(levels), len(levels)))
    for axis, on_axis in enumerate(marks):
        for mark in on_axis:
            away = levels[:, axis] - mark
            between = (away[:, np.newaxis] > 0) != (away[np.newaxis] > 0)
            near = np.minimum(np.abs(away)[:, np.newaxis], np.abs(away)[np.newaxis])
            found = np.maximum(found, np.where(between, near, 0.0))
    return found


def best_thresholds(levels: NDArray[np.float64], each: Sequence[int], least: float) -> Judged:
    """Place thresholds so that most pairs are told apart, and of these the weakest as well as can be.

    Parameters
    ----------
    levels : ndarray of float64, shape (colours, axes)
        mV.
    each : sequence of int >= 0, one an axis
        Most thresholds on each axis.
    least : float > 0
        mV; pairs with a smaller margin do not count.

    Returns
    -------
    Judged

    Raises
    ------
    UsageError
        With fewer than 2 colours, or more than `MOST_COLOURS`.

    Notes ----- Exact. With a margin M, a threshold serves a pair with levels a < b when it lies in [a + M,
    b - M]; it may be moved up to the first upper end of those intervals without losing a pair, so only
    these are candidates. Which candidates to take is a covering problem, solved by branch and bound
    (scipy's ``milp``); the largest M that leaves as many pairs told apart as ``least`` does is found by
    bisection over the half distances of all pairs.
    """
    if not 2 <= len(levels) <= MOST_COLOURS:  # noqa: PLR2004 - a pair
        raise UsageError(
            f"thresholds can be placed for 2 to {MOST_COLOURS} colours, not {len(levels)}",
            hint="choose the codes that matter with --codes",
        )
    one, other = np.triu_indices(len(levels), 1)
    low, high = np.minimum(levels[one], levels[other]), np.maximum(levels[one], levels[other])
    halves = np.unique(np.round((high - low) / 2, 9))
    halves = halves[halves >= least - EXACT]
    deadline = time.monotonic() + SOLVER_SECONDS
    # Half of the time for how many pairs, the rest for how well.
    marks, count, proven = _cover(low, high, each, least, SOLVER_SECONDS / 2)
    if not count:
        return Judged(levels, marks, least, proven)
    good, bad = 0, halves.size
    while bad - good > 1:
        middle = (good + bad) // 2
        left = max(deadline - time.monotonic(), 0.1) / 2
        tried, found, sure = _cover(low, high, each, float(halves[middle]) - EXACT, left)
        proven &= sure
        if found >= count:
            marks, good = tried, middle
        else:
            bad = middle
    return Judged(levels, _polished(levels, marks, least), least, proven)


def _candidates(high: NDArray[np.float64], low: NDArray[np.float64], margin: float) -> NDArray[np.float64]:
    """Upper ends of the intervals that serve a pair on one axis."""
    return np.unique(np.round(high[high - low >= 2 * margin - EXACT] - margin, 9))


def _cover(
    low: NDArray[np.float64], high: NDArray[np.float64], each: Sequence[int], margin: float, seconds: float
) -> tuple[Marks, int, bool]:
    """Choose thresholds that serve most pairs with a margin: the thresholds, pairs served, whether proven."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array, vstack

    places = [_candidates(high[:, a], low[:, a], margin) if n else np.empty(0) for a, n in enumerate(each)]
    axis = np.repeat(np.arange(len(each)), [p.size for p in places])
    place = np.concatenate(places)
    if not place.size:
        return tuple(() for _ in each), 0, True
    serves = (low[:, axis] + margin <= place + EXACT) & (place <= high[:, axis] - margin + EXACT)
    served = serves.any(axis=1)
    serves = serves[served]
    pairs, choices = serves.shape
    # A pair counts (its variable may be 1) only when a threshold that serves it is chosen.
    rows, columns = np.nonzero(serves)
    chosen = coo_array((np.ones(rows.size), (rows, columns)), shape=(pairs, choices + pairs))
    counted = coo_array((-np.ones(pairs), (np.arange(pairs), choices + np.arange(pairs))), shape=chosen.shape)
    budget = coo_array((np.ones(choices), (axis, np.arange(choices))), shape=(len(each), choices + pairs))
    found = milp(
        c=np.concatenate([np.zeros(choices), -np.ones(pairs)]),
        integrality=np.concatenate([np.ones(choices), np.zeros(pairs)]),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(
            vstack([chosen + counted, budget]).tocsr(),
            np.concatenate([np.zeros(pairs), np.full(len(each), -np.inf)]),
            np.concatenate([np.full(pairs, np.inf), np.asarray(each, float)]),
        ),
        options={"time_limit": seconds},
    )
    if found.x is None:
        return tuple(() for _ in each), 0, False
    taken = found.x[:choices] > 0.5  # noqa: PLR2004 - 0 or 1
    marks = tuple(tuple(sorted(place[taken & (axis == a)].tolist())) for a in range(len(each)))
    return marks, int(serves[:, taken].any(axis=1).sum()), found.status == 0


def _polished(levels: NDArray[np.float64], marks: Marks, least: float) -> Marks:
    """Move one threshold at a time to where the margins are best, the weakest first; drop idle ones."""
    places = [_middles(levels[:, a]) for a in range(levels.shape[1])]
    current = [list(m) for m in marks]
    best = _quality(levels, current, least)
    improved = True
    while improved:
        improved = False
        for axis, on_axis in enumerate(current):
            for index in range(len(on_axis)):
                kept = on_axis[index]
                for place in places[axis]:
                    on_axis[index] = place
                    quality = _quality(levels, current, least)
                    if quality > best:
                        best, kept, improved = quality, place, True
                on_axis[index] = kept
    return tuple(tuple(sorted(m)) for m in _without_idle(levels, current, least, best))


def _middles(levels: NDArray[np.float64]) -> list[float]:
    """Give the middles between any two levels of an axis: the best place for a threshold is one of them."""
    distinct = np.unique(np.round(levels, 9))
    middles: list[float] = np.unique((distinct[:, np.newaxis] + distinct) / 2).tolist()
    return middles


def _quality(levels: NDArray[np.float64], marks: list[list[float]], least: float) -> tuple[float, ...]:
    found = margins(levels, tuple(tuple(m) for m in marks))[np.triu_indices(len(levels), 1)]
    apart = np.sort(np.round(found[found >= least - EXACT], 6))
    return (float(apart.size), *apart.tolist())


def _without_idle(
    levels: NDArray[np.float64], marks: list[list[float]], least: float, best: tuple[float, ...]
) -> list[list[float]]:
    for axis, on_axis in enumerate(marks):
        for place in list(on_axis):
            fewer = [list(m) for m in marks]
            fewer[axis] = [m for m in on_axis if m != place]
            if _quality(levels, fewer, least) >= best:
                return _without_idle(levels, fewer, least, best)
    return marks
