"""Pulses too short to mean anything, and the edges about them that may be those of a disturbance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.streams.rhythm import mean_phase
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
SIGMAS = 6.0
"""Standard deviations of its jitter by which a clock's pulse is too short to be its own."""
FEWEST_WIDTHS = 100
RUN = 4
"""Edges of a run of short pulses that are looked at."""
CYCLES_TOGETHER = 256
"""Cycles over which a clock's phase is taken: enough to average an analyser's step to a hundredth of it."""
CLOSE_TO_AN_EDGE = 0.06
"""Part of a cycle about a clock's edges in which its level is not foretold, for the edges jitter."""
MOST_SAMPLES = 4_000_000
"""Samples of a clock that are held against its rhythm: 20 ms at 200 MS/s."""


def pulses_too_short(pin: Pin, channel: Channel, shortest: float, jitter: float) -> NDArray[np.int64]:
    """Find where a channel has a pulse, of either level, too short (ticks) to mean anything.

    Of a clock, whose usual pulses are short: too short for one that jitters by so much (ticks rms).
    """
    if pin.role == "pixel_clock":
        return _extra_edges(channel, jitter)
    return runts(channel, shortest) if pin.role != "other" else np.empty(0, np.int64)


def edges_about(short: NDArray[np.int64], pin: Pin, channel: Channel) -> NDArray[np.int64]:
    """Give the edges about each short pulse, shape (n, 4): any of them may be the disturbance's."""
    return _around(short, channel) if pin.role == "pixel_clock" else _runs(short, channel)


def _extra_edges(channel: Channel, jitter: float) -> NDArray[np.int64]:
    """Where a clock has an extra pulse: by a pulse far shorter than the others, else by an edge too soon."""
    widths = np.diff(channel.ticks)
    if widths.size < FEWEST_WIDTHS:
        return np.empty(0, np.int64)
    usual = min(float(widths[::2].mean()), float(widths[1::2].mean()))
    period = float(widths[::2].mean()) + float(widths[1::2].mean())
    if usual >= FINE * float(widths.min()):
        return _shortest_of_each(channel.ticks, widths, min(CLOCK_RUNT * usual, usual - SIGMAS * jitter))
    found = []
    for level in (0, 1):
        edges = channel.edges_to(level)
        early = min(CLOCK_EARLY * period, period - SIGMAS * jitter)
        found.append(edges[1:][np.diff(edges) < early])
    return np.sort(np.concatenate(found))


def _around(extra: NDArray[np.int64], clock: Channel) -> NDArray[np.int64]:
    """Give the edges about each extra one, shape (n, 4): which of them is the disturbance is not known."""
    if not extra.size:
        return extra
    place = np.searchsorted(clock.ticks, extra)[:, np.newaxis] + np.arange(-1, 3)
    return np.asarray(clock.ticks[np.clip(place, 0, clock.ticks.size - 1)], np.int64)


def against_the_rhythm(clock: Channel, period: float, step: float) -> NDArray[np.int64]:
    """Find the samples, first of each run, at which a clock is not at the level that its rhythm foretells.

    Such a sample is where a disturbance began, also where few samples a cycle hide the clock's own edge in
    it: a pulse that ends as the clock changes leaves no edge of its own.

    Parameters
    ----------
    clock : Channel
        Disturbed now and then.
    period : float
        Its cycle, ticks.
    step : float
        The analyser's, ticks.

    Returns
    -------
    ndarray of int64, shape (n,)
        Ticks; empty where there are too few cycles to know a phase.
    """
    cycle = period / step
    (at, rises, doubt), falls = (_phase_track(clock.edges_to(level) / step, cycle) for level in (1, 0))
    if not at.size or not falls[0].size:
        return np.empty(0, np.int64)
    duty = mean_phase(np.interp(at, *falls[:2]) - rises) % 1
    place = np.rint(clock.ticks / step).astype(np.int64)
    samples = np.arange(place[0], min(place[-1], place[0] + MOST_SAMPLES))
    # An edge is seen at the first sample after it: half a step late in the mean.
    phase = ((samples + 0.5) / cycle - np.interp(samples, at, rises)) % 1
    known = np.concatenate((np.array([clock.initial], np.uint8), clock.levels))
    high = known[np.searchsorted(place, samples, side="right")] == HIGH
    within = np.where(phase < duty, np.minimum(phase, duty - phase), np.minimum(phase - duty, 1 - phase))
    doubt = np.maximum(doubt, np.interp(at, falls[0], falls[2]))
    wrong = (high != (phase < duty)) & (within > CLOSE_TO_AN_EDGE + np.interp(samples, at, doubt))
    first = samples[wrong & ~np.insert(wrong[:-1], 0, False)]
    return np.asarray(np.rint(first * step), np.int64)


def _phase_track(
    edges: NDArray[np.float64], cycle: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Give where edges of one kind stand in the cycle, as time goes, and the doubt: samples, cycles, cycles.

    A clock of a whole number of samples a cycle is seen late by the same part of a step at each edge, and
    which part is not known.
    """
    blocks = edges.size // CYCLES_TOGETHER
    each = edges[: blocks * CYCLES_TOGETHER].reshape(blocks, CYCLES_TOGETHER) / cycle
    angle = np.angle(np.exp(2j * np.pi * each).sum(axis=1))
    off = (each - angle[:, np.newaxis] / (2 * np.pi) + 0.5) % 1 - 0.5
    # Edges that are late by all parts of a step alike are a quarter step off their middle in the median.
    doubt = np.maximum(0.5 / cycle - 2 * np.median(np.abs(off), axis=1), 0.0)
    # Where the part changes, it does somewhere between two blocks' middles.
    doubt[1:-1] = np.maximum(doubt[1:-1], np.maximum(doubt[:-2], doubt[2:]))
    return each.mean(axis=1) * cycle, np.unwrap(angle) / (2 * np.pi), doubt


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
