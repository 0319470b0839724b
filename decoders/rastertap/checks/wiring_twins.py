"""Channels that carry one and the same signal, or its opposite."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel

PROBED = 400
"""Places at which two channels are compared before they are compared in full."""


@dataclass(frozen=True)
class Twins:
    """Two channels with the same changes; ``opposite``: at opposite levels."""

    first: str
    second: str
    opposite: bool


def find_twins(channels: Mapping[str, Channel], longest: float) -> tuple[Twins, ...]:
    """Find channels whose levels never differ (or never agree) for longer than ``longest`` ticks."""
    moving = [c for c in channels.values() if c.ticks.size > 1]
    found = []
    for i, one in enumerate(moving):
        for other in moving[i + 1 :]:
            opposite = _together(one, other, longest)
            if opposite is not None:
                found.append(Twins(one.name, other.name, opposite))
    return tuple(found)


def _together(one: Channel, other: Channel, longest: float) -> bool | None:
    """Give False when two channels are always equal, True when always opposite, None when neither."""
    low, high = sorted((one.ticks.size, other.ticks.size))
    if 2 * low < high:
        return None
    span = max(one.ticks[-1], other.ticks[-1]) - min(one.ticks[0], other.ticks[0])
    places = one.ticks[0] + (np.arange(PROBED) * 0.618034 % 1 * span).astype(np.int64)
    differ = float((_at(one, places) != _at(other, places)).mean())
    if 0.2 < differ < 0.8:  # noqa: PLR2004 - skew and crosstalk are a fraction of a pixel
        return None
    ticks = np.concatenate((one.ticks, other.ticks))
    ticks.sort(kind="stable")
    ends = np.append(ticks[1:], ticks[-1])
    # Every change of either flips whether the two are equal.
    unequal: NDArray[np.bool_] = (np.arange(1, ticks.size + 1) + (one.initial != other.initial)) % 2 == 1
    opposite = differ > 0.5  # noqa: PLR2004 - most of the time
    apart = (ends - ticks)[unequal != opposite]
    return opposite if not apart.size or float(apart.max()) <= longest else None


def _at(channel: Channel, places: NDArray[np.int64]) -> NDArray[np.uint8]:
    levels = np.concatenate((np.array([channel.initial], np.uint8), channel.levels))
    return levels[np.searchsorted(channel.ticks, places, side="right")]
