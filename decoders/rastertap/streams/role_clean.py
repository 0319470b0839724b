"""Channels without the pulses that are too short to mean anything, so that crosstalk does not hide a role."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel

RUNT = 0.4
"""A pulse shorter than this many pixel periods is no pixel and no sync: common practice, no source."""
SHORTEST_FIELD_PULSE_S = 1e-6
"""A level of a field sync or blanking shorter than this is crosstalk or ringing: common practice."""


def runts(channel: Channel, shortest: float) -> NDArray[np.int64]:
    """Start times of the pulses, of either level, shorter than ``shortest`` ticks."""
    times: NDArray[np.int64] = channel.ticks[:-1][np.diff(channel.ticks) < shortest]
    return times


def settled(channel: Channel, shortest: float) -> Channel:
    """Keep the levels that last at least ``shortest`` ticks; a shorter one counts as the level before it.

    The first and the last level are kept: how long they last is not known.
    """
    ticks = channel.ticks
    short = np.diff(ticks) < shortest
    if not short.any():
        return channel
    lasts = np.append(~short, True)
    times, levels = ticks[lasts], channel.levels[lasts]
    before = np.concatenate((np.array([channel.initial], np.uint8), levels[:-1]))
    changed = levels != before
    return replace(channel, ticks=times[changed], levels=levels[changed])
