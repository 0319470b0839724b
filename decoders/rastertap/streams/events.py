"""What happens to the sync now and then: stray edges, missing pulses, lines and pulses unlike the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.model import EVENT_KINDS, EventKind, Events, Fields, Lines
from rastertap.streams.rhythm import robust_scatter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Capture

MAX_EVENTS = 500
"""Events kept of each kind; all are counted."""
STEPS = 2.2
"""A sampled interval of a steady source varies by one step to either side; this many are more than that."""
SIGMAS = 8.0
"""Beyond this many (robust) standard deviations a line is unlike the rest."""
LEAST_PART = 1e-4
"""Deviations below this part of a line are no event: 6 ns at 15 kHz, half a clock of 80 MHz."""
HIDDEN = 1.2
"""More than one step; a pixel clock's cycle is two of its shortest stays or more."""
SIMULATOR_TICK_S = 1e-10
"""Analysers write times in steps of their own or in nanoseconds; a finer tick is a simulator's."""
LONGEST_STEP_S = 150e-9
"""An analyser slower than this (7 MS/s) follows no pixel clock (common practice, no source)."""
WIDTH_PART = 0.08
"""A line sync that differs by more than this part from the usual width is an event."""


@dataclass(frozen=True, eq=False)
class Found:
    """Events of one kind: times (ticks) and extents (ticks), shape (n,)."""

    kind: EventKind
    times: NDArray[np.int64]
    extents: NDArray[np.float64]


def hidden_step(capture: Capture) -> float:
    """Give a deviation, ticks, that an analyser's step which the times do not show could explain.

    Where a clock is sampled a whole number of times a cycle, the times look like those of a simulator; the
    step is then no longer than the shortest stay of any channel at a level.
    """
    known = capture.sample_period is not None and capture.sample_period.known
    if known or float(capture.tick) < SIMULATOR_TICK_S:
        return 0.0
    stays = [int(np.diff(c.ticks).min()) for c in capture.channels if c.ticks.size > 1]
    return min(HIDDEN * min(stays, default=0), LONGEST_STEP_S / float(capture.tick))


def _threshold(deviation: NDArray[np.float64], period: float, step: float) -> float:
    """How far a line may be off without being an event."""
    scatter = robust_scatter(deviation - np.median(deviation)) if deviation.size else 0.0
    return max(STEPS * step, SIGMAS * scatter + step, LEAST_PART * period)


def uneven_lines(
    lines: Lines, period: float, step: float, least: float
) -> tuple[list[Found], NDArray[np.bool_], NDArray[np.int64]]:
    """Find lines too short or too long by more than ``least``, and line syncs displaced by themselves.

    Returns
    -------
    found : list of Found
        ``short``, ``long``, ``displaced``.
    good : ndarray of bool, shape (k,)
        For each interval between successive measured lines: whether it is one line of the usual length.
    starts : ndarray of int64, shape (k,)
        Where each of those begins, ticks.
    """
    known = np.flatnonzero(lines.measured)
    times, apart = lines.starts[known], np.diff(known)
    deviation = np.diff(times) - apart * period
    near = max(_threshold(deviation[apart == 1], period, step), least)
    odd = np.abs(deviation) > near
    # An edge off by itself makes one interval too short and the next too long by the same.
    back = odd[:-1] & odd[1:] & (np.abs(deviation[:-1] + deviation[1:]) <= near)
    first = np.flatnonzero(back)
    first = first[np.concatenate(([True], np.diff(first) > 1))] if first.size else first
    single = odd.copy()
    single[first], single[first + 1] = False, False
    jumped, size = times[1:], deviation
    return (
        [
            Found("short", jumped[single & (size < 0)], size[single & (size < 0)]),
            Found("long", jumped[single & (size > 0)], size[single & (size > 0)]),
            Found("displaced", times[first + 1], deviation[first]),
        ],
        ~odd & (apart == 1),
        times[:-1],
    )


def odd_widths(
    lines: Lines, shown: NDArray[np.bool_], usual: float, step: float, least: float
) -> tuple[Found, NDArray[np.bool_]]:
    """Find line syncs of another width, among those ``shown`` (bool, shape (lines,)) to be plain line syncs.

    Returns
    -------
    found : Found
    good : ndarray of bool, shape (lines,)
        Plain line syncs of the usual width.
    """
    known = shown & (lines.widths > 0)
    deviation = lines.widths - usual
    near = max(STEPS * step, SIGMAS * robust_scatter(deviation[known]) + step, WIDTH_PART * usual, least)
    odd = known & (np.abs(deviation) > near)
    return Found("width", lines.starts[odd], lines.widths[odd].astype(np.float64)), known & ~odd


def gather(found: Sequence[Found], lines: Lines, fields: Fields, span: tuple[int, int]) -> Events:
    """Put events in order of time, each with its place in the field; those outside ``span`` are dropped."""
    kinds, times, extents = [], [], []
    counts = np.zeros(len(EVENT_KINDS), np.int64)
    for one in found:
        inside = (one.times >= span[0]) & (one.times < span[1])
        number = EVENT_KINDS.index(one.kind)
        counts[number] += int(inside.sum())
        times.append(one.times[inside][:MAX_EVENTS])
        extents.append(one.extents[inside][:MAX_EVENTS])
        kinds.append(np.full(times[-1].size, number, np.int8))
    at = np.concatenate(times) if times else np.empty(0, np.int64)
    order = np.argsort(at, kind="stable")
    at = at[order]
    line, place = _where(at, lines, fields)
    return Events(
        np.concatenate(kinds)[order] if kinds else np.empty(0, np.int8),
        at,
        line,
        place,
        np.concatenate(extents)[order] if extents else np.empty(0),
        counts,
    )


def _where(
    times: NDArray[np.int64], lines: Lines, fields: Fields
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    if not times.size or lines.starts.size < 2:  # noqa: PLR2004 - a line needs a start and an end
        return np.full(times.size, -1, np.int32), np.zeros(times.size)
    index = np.clip(np.searchsorted(lines.starts, times, side="right") - 1, 0, lines.starts.size - 2)
    place = (times - lines.starts[index]) / (lines.starts[index + 1] - lines.starts[index])
    field = np.searchsorted(fields.starts, times, side="right") - 1
    first = (
        fields.first_line[np.clip(field, 0, None)] if fields.starts.size else np.zeros(times.size, np.int64)
    )
    line = np.where(field >= 0, np.maximum(index - first, 0), -1)
    return line.astype(np.int32), place


def join_events(earlier: Events, later: Events) -> Events:
    """Put the events of two spans after one another."""
    kind = np.concatenate((earlier.kind, later.kind))
    keep = np.zeros(kind.size, bool)
    for number in range(len(EVENT_KINDS)):
        keep[np.flatnonzero(kind == number)[:MAX_EVENTS]] = True
    return Events(
        kind[keep],
        np.concatenate((earlier.times, later.times))[keep],
        np.concatenate((earlier.lines, later.lines))[keep],
        np.concatenate((earlier.places, later.places))[keep],
        np.concatenate((earlier.extents, later.extents))[keep],
        earlier.counts + later.counts,
    )
