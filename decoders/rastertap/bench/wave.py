"""A two-level signal against time, exact to the femtosecond, and what wires do to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

FS_PER_NS = 1_000_000
FS_PER_S = 10**15
"""Times on the bench are int64 femtoseconds from the source's first clock: 2.5 hours fit."""


@dataclass(frozen=True, eq=False)
class Wave:
    """One signal.

    Parameters
    ----------
    initial : int
        Level (0 or 1) before the first change.
    times : ndarray of int64, shape (n,)
        Femtoseconds, strictly increasing; the level toggles at each.
    """

    initial: int
    times: NDArray[np.int64]

    def level_at(self, times: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Levels just after ``times`` (femtoseconds), uint8, same shape."""
        changes = np.searchsorted(self.times, times, side="right")
        return ((changes + self.initial) & 1).astype(np.uint8)

    def inverted(self) -> Wave:
        """Give the other level throughout."""
        return Wave(1 - self.initial, self.times)

    def delayed(self, delay_fs: int) -> Wave:
        """Give the signal later by ``delay_fs``."""
        return Wave(self.initial, self.times + delay_fs)

    def rising(self) -> NDArray[np.int64]:
        """Give the times of the changes to 1, femtoseconds."""
        return self.times[self.initial :: 2]

    def falling(self) -> NDArray[np.int64]:
        """Give the times of the changes to 0, femtoseconds."""
        return self.times[1 - self.initial :: 2]


def constant(level: int) -> Wave:
    """Give a signal that never changes."""
    return Wave(level, np.empty(0, np.int64))


def from_levels(levels: NDArray[np.uint8], times: NDArray[np.int64], before: int) -> Wave:
    """Give the signal that takes ``levels[i]`` at ``times[i]`` (increasing) and was ``before`` until then."""
    previous = np.empty_like(levels)
    previous[:1] = before
    previous[1:] = levels[:-1]
    return Wave(before, times[levels != previous])


def from_pulses(starts: NDArray[np.int64], ends: NDArray[np.int64]) -> Wave:
    """Give the signal that is 1 from each start to its end; pulses that touch or overlap join."""
    times = np.concatenate((starts, ends))
    steps = np.concatenate((np.ones(starts.size, np.int64), -np.ones(ends.size, np.int64)))
    order = np.argsort(times, kind="stable")
    times, depth = times[order], np.cumsum(steps[order])
    last = np.ones(times.size, np.bool_)
    last[:-1] = times[1:] != times[:-1]
    return from_levels((depth[last] > 0).astype(np.uint8), times[last], 0)


def combine(
    first: Wave, second: Wave, rule: Callable[[NDArray[np.uint8], NDArray[np.uint8]], NDArray[np.uint8]]
) -> Wave:
    """Join two signals by a bitwise rule such as ``np.bitwise_and`` (a wired-AND)."""
    times = np.union1d(first.times, second.times)
    levels = rule(first.level_at(times), second.level_at(times))
    before = rule(np.array([first.initial], np.uint8), np.array([second.initial], np.uint8))
    return from_levels(levels, times, int(before[0]))
