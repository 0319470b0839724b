"""Pulses of a sync channel: the level it has for less of the time, where each begins and how wide it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH, Capture, Channel
from rastertap.streams.rhythm import Behaviour

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.roles import Polarity


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses that begin in the capture.

    Parameters
    ----------
    active : int
        Their level.
    starts, widths : ndarray of int64, shape (n,)
        Leading edges and widths, ticks; width 0 for one that the capture cuts.
    """

    active: int
    starts: NDArray[np.int64]
    widths: NDArray[np.int64]


def pulses_of(channel: Channel, capture: Capture, step: float) -> Pulses:
    """Find the pulses of a channel; polarity is found, not assumed."""
    behaviour = Behaviour(channel, capture, step)
    starts = channel.edges_to(behaviour.active)
    ends = channel.edges_to(1 - behaviour.active)
    after = np.searchsorted(ends, starts, side="right")
    padded = np.append(ends, starts[-1:] if starts.size else 0)
    return Pulses(behaviour.active, starts, np.where(after < ends.size, padded[after] - starts, 0))


def polarity_of(active: int) -> Polarity:
    """Name the level of the pulses."""
    return "positive" if active == HIGH else "negative"
