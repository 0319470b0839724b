"""What goes wrong with a clock now and then, and whether the chip had it too or only the tap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_cycles import Cycles

    Ints = NDArray[np.int64]

SeenBy = Literal["chip", "tap", "unknown"]
"""Whether the chip's lines bear the event too ("chip": the generator's fault), or not (the lead's), or no
telling."""
MOST_EVENTS = 20_000
"""Events of one kind kept with their times; beyond, only the count goes on."""
VOTES = 3
"""Lines with an event in them from which it is told who saw the events."""
WHOLE_LINE, SURE = 0.4, 0.3
"""How far a line's length may be from the usual (a part of it); how near a whole cycle an event must cost."""


@dataclass(frozen=True, eq=False)
class Events:
    """Events of one kind.

    Parameters
    ----------
    count : int
        How many there were.
    at : ndarray of int64, shape (k,)
        When, ticks, increasing; the first `MOST_EVENTS`.
    cycle : ndarray of int64, shape (k,)
        Number of the cycle at which each struck, missing ones counted.
    size : ndarray of float64, shape (k,)
        Cycles missing in a row; ticks of a phase jump; ticks from the cycle's start to an extra edge.
    """

    count: int
    at: Ints
    cycle: Ints
    size: NDArray[np.float64]

    def joined(self, later: Events, shift: int) -> Events:
        """Join with those of a later piece, whose cycle numbers are ``shift`` too low."""
        room = max(MOST_EVENTS - self.at.size, 0)
        return Events(
            self.count + later.count,
            np.concatenate((self.at, later.at[:room])),
            np.concatenate((self.cycle, later.cycle[:room] + shift)),
            np.concatenate((self.size, later.size[:room])),
        )


@dataclass(frozen=True, eq=False)
class ClockEvents:
    """Every kind of event.

    Parameters
    ----------
    gaps : Events
        Missing cycles; one entry a gap, ``size`` cycles long.
    extra : Events
        Edges that begin no cycle.
    jumps : Events
        Phase jumps: a cycle stretched or cut, or a clock that was stopped and started anew.
    missing : int
        Cycles missing in all.
    gaps_seen_by, extra_seen_by : SeenBy
    """

    gaps: Events
    extra: Events
    jumps: Events
    missing: int
    gaps_seen_by: SeenBy
    extra_seen_by: SeenBy

    def joined(self, later: ClockEvents, shift: int) -> ClockEvents:
        """Join with those of a later piece."""
        return ClockEvents(
            self.gaps.joined(later.gaps, shift),
            self.extra.joined(later.extra, shift),
            self.jumps.joined(later.jumps, shift),
            self.missing + later.missing,
            later.gaps_seen_by if self.gaps_seen_by == "unknown" else self.gaps_seen_by,
            later.extra_seen_by if self.extra_seen_by == "unknown" else self.extra_seen_by,
        )


def _events(at: Ints, cycle: Ints, size: NDArray[np.float64] | Ints, span: tuple[int, int]) -> Events:
    inside = (at >= span[0]) & (at < span[1])
    kept = np.flatnonzero(inside)[:MOST_EVENTS]
    return Events(int(np.count_nonzero(inside)), at[kept], cycle[kept], size[kept].astype(np.float64))


def find_events(cycles: Cycles, sync: Ints, span: tuple[int, int]) -> ClockEvents:
    """Gather the events that fall in ``span`` (ticks), and who saw them.

    Parameters
    ----------
    cycles : Cycles
        The clock.
    sync : ndarray of int64
        Leading edges of a line sync, by which the chip's own count of cycles shows; may be empty.
    span : (int, int)
        From the first tick up to, not including, the second.
    """
    edges, number = cycles.edges, cycles.number
    long = np.flatnonzero(cycles.gap)
    first_missing = np.rint(edges[long] - cycles.gap[long] * cycles.rough_period).astype(np.int64)
    before = np.clip(np.searchsorted(edges, cycles.extra, side="right") - 1, 0, None)
    missing = (cycles.missing >= span[0]) & (cycles.missing < span[1])
    return ClockEvents(
        gaps=_events(first_missing, number[long] - cycles.gap[long], cycles.gap[long], span),
        extra=_events(cycles.extra, number[before], cycles.extra - edges[before], span),
        jumps=_events(edges[cycles.jumps], number[cycles.jumps], cycles.jump_ticks, span),
        missing=int(np.count_nonzero(missing)),
        gaps_seen_by=_seen_by(cycles, sync, cycles.missing, sign=1),
        extra_seen_by=_seen_by(cycles, sync, cycles.extra, sign=-1),
    )


def _seen_by(cycles: Cycles, sync: Ints, times: Ints, *, sign: int) -> SeenBy:
    """Tell by the length of the lines: a chip that lacked a cycle makes its line a cycle longer.

    Counted in due cycles, lines grow by none for each event in them when only the tap has it, and by one (for
    an extra edge: shrink by one) when the chip has it too.
    """
    if sync.size < VOTES or not times.size:
        return "unknown"
    length = np.diff(cycles.at(sync))
    struck = np.diff(np.searchsorted(times, sync)).astype(np.float64)
    broken = np.diff(np.searchsorted(cycles.edges[cycles.jumps], sync)) > 0
    whole = ~broken & (np.abs(length - np.median(length)) < WHOLE_LINE * np.median(length))
    struck, length = struck[whole], length[whole]
    about = struck - struck.mean() if struck.size else struck
    if np.count_nonzero(struck) < VOTES or not about.any():
        return "unknown"
    longer = float(about @ length / (about @ about)) * sign
    return "chip" if abs(longer - 1) < SURE else "tap" if abs(longer) < SURE else "unknown"


def edges_of_the_chip(cycles: Cycles, events: ClockEvents) -> Ints:
    """Give the edges on which the chip moved on: without what only the tap misses or adds.

    Returns
    -------
    ndarray of int64
        Ticks, increasing.
    """
    edges = cycles.edges
    if events.gaps_seen_by == "tap":
        edges = np.union1d(edges, cycles.missing)
    if events.extra_seen_by == "chip":
        edges = np.union1d(edges, cycles.extra)
    return edges
