"""Pulses too short to mean anything, and the edges about them that may be those of a disturbance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.role_clean import runts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.streams.interface import Pin

CLOCK_RUNT = 0.6
"""A clock's pulse shorter than this part of the usual one is none of its own."""
CLOCK_EARLY = 0.65
"""An interval between clock edges of one kind shorter than this many periods holds an extra edge."""
FINE = 3.0
"""How much wider than the shortest pulse the usual one is where the sample rate shows pulses apart."""
FEWEST_WIDTHS = 100
RUN = 4
"""Edges of a run of short pulses that are looked at."""


def pulses_too_short(pin: Pin, channel: Channel, shortest: float) -> NDArray[np.int64]:
    """Find where a channel has a pulse, of either level, too short (ticks) to mean anything."""
    if pin.role == "pixel_clock":
        return _extra_edges(channel)
    return runts(channel, shortest) if pin.role != "other" else np.empty(0, np.int64)


def edges_about(short: NDArray[np.int64], pin: Pin, channel: Channel) -> NDArray[np.int64]:
    """Give the edges about each short pulse, shape (n, 4): any of them may be the disturbance's."""
    return _around(short, channel) if pin.role == "pixel_clock" else _runs(short, channel)


def _extra_edges(channel: Channel) -> NDArray[np.int64]:
    """Where a clock has an extra pulse: by a pulse far shorter than the others, else by an edge too soon."""
    widths = np.diff(channel.ticks)
    if widths.size < FEWEST_WIDTHS:
        return np.empty(0, np.int64)
    usual = min(float(widths[::2].mean()), float(widths[1::2].mean()))
    period = float(widths[::2].mean()) + float(widths[1::2].mean())
    if usual >= FINE * float(widths.min()):
        return _shortest_of_each(channel.ticks, widths, CLOCK_RUNT * usual)
    found = []
    for level in (0, 1):
        edges = channel.edges_to(level)
        found.append(edges[1:][np.diff(edges) < CLOCK_EARLY * period])
    return np.sort(np.concatenate(found))


def _around(extra: NDArray[np.int64], clock: Channel) -> NDArray[np.int64]:
    """Give the edges about each extra one, shape (n, 4): which of them is the disturbance is not known."""
    if not extra.size:
        return extra
    place = np.searchsorted(clock.ticks, extra)[:, np.newaxis] + np.arange(-1, 3)
    return np.asarray(clock.ticks[np.clip(place, 0, clock.ticks.size - 1)], np.int64)


def _runs(short: NDArray[np.int64], channel: Channel) -> NDArray[np.int64]:
    """Give the edges of each run of short pulses, shape (n, `RUN`): a disturbance beside an edge makes two.

    A run that is longer has its last edge in all places left over, a shorter one too.
    """
    if not short.size:
        return short
    first = np.searchsorted(channel.ticks, short)
    begins = np.insert(np.diff(first) > 1, 0, True)
    ends = first[np.append(np.flatnonzero(begins)[1:], first.size) - 1] + 1
    place = np.minimum(first[begins][:, np.newaxis] + np.arange(RUN), ends[:, np.newaxis])
    return np.asarray(channel.ticks[place], np.int64)


def _shortest_of_each(
    ticks: NDArray[np.int64], widths: NDArray[np.int64], shortest: float
) -> NDArray[np.int64]:
    """Give the shortest pulse of each run of short ones: a glitch also cuts the pulses beside it short."""
    short = np.flatnonzero(widths < shortest)
    if not short.size:
        return np.empty(0, np.int64)
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return np.array([ticks[run[np.argmin(widths[run])]] for run in runs], np.int64)
