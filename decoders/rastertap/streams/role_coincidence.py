"""Whose edges does something happen beside? Tells which channel disturbs another, or is picked up by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel

MOST_TIMES = 20_000
BESIDE = 0.9
"""Part of the happenings that must stand beside a channel's edges to blame it: common practice, no source."""
NO_CHANCE = 1.5
"""How many times more often than by chance they must do so."""
ACCIDENT = 1e-3
"""Probability at which so many coincidences may be accidents."""
SPARE = 0.02
"""Part of the happenings that the true source may miss, for a pulse can fall between two samples."""


@dataclass(frozen=True)
class Blame:
    """Channels whose edges explain the happenings.

    Parameters
    ----------
    channels : tuple of str
        The best one first; more than one when they cannot be told apart.
    share : float, 0..1
        Part of the happenings beside edges of the first.
    """

    channels: tuple[str, ...]
    share: float


def beside(times: NDArray[np.int64], edges: NDArray[np.int64], reach: float) -> NDArray[np.bool_]:
    """Whether each time is within ``reach`` ticks of an edge."""
    if not edges.size:
        return np.zeros(times.size, bool)
    after = np.searchsorted(edges, times)
    right = edges[np.minimum(after, edges.size - 1)]
    left = edges[np.maximum(after - 1, 0)]
    return np.asarray(np.minimum(np.abs(right - times), np.abs(times - left)) <= reach)


def _any_beside(tried: NDArray[np.int64], edges: NDArray[np.int64], reach: float) -> int:
    """Count the happenings of which a time is within ``reach`` of an edge."""
    return int(beside(tried.ravel(), edges, reach).reshape(tried.shape).any(axis=1).sum())


def blame(times: NDArray[np.int64], channels: Iterable[Channel], step: float, span: float) -> Blame | None:
    """Find the channel whose edges the times stand beside, far more often than chance has it.

    Parameters
    ----------
    times : ndarray of int64, shape (n,) or (n, k)
        Happenings, ticks; of k times that one may have had, any counts.
    channels : iterable of Channel
        Those that may be to blame.
    step : float
        Sampling step, ticks: what happens together is seen at most one step apart.
    span : float
        Length of the recording, ticks.
    """
    if not times.size:
        return None
    each = times.reshape(len(times), -1)
    tried = each[:: max(len(each) // MOST_TIMES, 1)]
    count = len(tried)
    choices = 1 + float((np.diff(tried, axis=1) != 0).sum(axis=1).mean())
    found = []
    for channel in channels:
        edges = channel.ticks
        near = _any_beside(tried, edges, 1.01 * step)
        share = near / count
        chance = 1 - (1 - min(1.0, edges.size * 3 * step / max(span, 1))) ** choices
        if share < max(BESIDE, NO_CHANCE * chance) or chance**near > ACCIDENT:
            continue
        exact = _any_beside(tried, edges, 0.01 * step)
        found.append((count - exact, edges.size, share, channel.name))
    if not found:
        return None
    # What the source does shows at the same sample. Of those that miss none, the quietest explains the most.
    missed = min(f[0] for f in found)
    if missed < 0.2 * count:
        found = [f for f in found if f[0] <= missed + max(1, SPARE * count)]
    found.sort(key=lambda f: (f[1], f[0]))
    alike = [f[3] for f in found if f[1] <= 1.2 * found[0][1]]
    return Blame(tuple(alike), found[0][2])
