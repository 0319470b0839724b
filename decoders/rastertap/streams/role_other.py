"""What a channel of no video role looks like: still, floating, an echo, another clock, a bus, serial data."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.streams.rhythm import concentration, phases
from rastertap.streams.role_coincidence import blame

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rastertap.capture.model import Channel
    from rastertap.streams.rhythm import Behaviour

STATIC_LOW, STATIC_HIGH = "static low", "static high"
FLOATING, ECHO = "floating", "echo"
CLOCK, DIVIDED_CLOCK = "another clock", "divided clock"
COLOUR_LIKE = "like a colour bit"
TONE, SERIAL, BUS, FAST, UNKNOWN = "tone", "serial data", "bus", "undersampled", "unknown"
WHOLE = 2e-4
"""How near to a whole ratio a divided clock is, relative: both are seen on one timebase."""
TONES_S = (25e-6, 50e-3)
"""Periods of sound, 20 Hz to 20 kHz and an octave over it."""
LOCKED = 0.5
FEW = 20
TOO_FAST = 0.6
"""Part of the changes that come at the very next sample, from which there are more than are seen."""


def describe(
    b: Behaviour, clock: Channel | None, clocks: Mapping[str, float], others: Sequence[Channel]
) -> tuple[str, tuple[str, ...]]:
    """Say what a channel looks like that has no video role.

    Parameters
    ----------
    b : Behaviour
        The channel.
    clock : Channel or None
        The pixel clock.
    clocks : mapping of str to float
        Clock-like channels with their scores.
    others : sequence of Channel
        The other channels.

    Returns
    -------
    kind : str
        One of the words of this module.
    why : tuple of str
    """
    if not b.edges:
        high = b.channel.initial == HIGH
        return (STATIC_HIGH if high else STATIC_LOW), (f"stays {'high' if high else 'low'}",)
    intervals = np.diff(b.channel.ticks[:20_000])
    if b.edges >= FEW and float((intervals <= 1.01 * b.step).mean()) > TOO_FAST:
        return FAST, ("changes at nearly every sample: too fast for this sample rate",)
    if b.channel.name in clocks:
        return _clock(b, clock)
    if b.edges < FEW:
        return UNKNOWN, (f"only {b.edges} changes in the capture",)
    echo = blame(b.channel.ticks, others, b.step, b.capture.end - b.capture.start)
    if echo is not None:
        return ECHO, (f"{echo.share:.0%} of its changes stand beside edges of {' or '.join(echo.channels)}",)
    return _data(b, clock, intervals)


def _clock(b: Behaviour, clock: Channel | None) -> tuple[str, tuple[str, ...]]:
    rising = b.channel.edges_to(HIGH)
    period = float(rising[-1] - rising[0]) / (rising.size - 1)
    steady = f"steady clock, {1e-6 / (period * b.seconds):.4f} MHz"
    if clock is None:
        return CLOCK, (steady,)
    main = clock.edges_to(HIGH)
    ratio = period / (float(main[-1] - main[0]) / (main.size - 1))
    whole = round(ratio)
    if whole >= 1 and abs(ratio / whole - 1) < WHOLE:
        return DIVIDED_CLOCK, (steady, f"the pixel clock divided by {whole}: CPU or character clock")
    return CLOCK, (steady, f"{ratio:.4f} pixel clocks a cycle: not derived from the pixel clock")


def _data(
    b: Behaviour, clock: Channel | None, intervals: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> tuple[str, tuple[str, ...]]:
    seconds = float(np.median(intervals)) * b.seconds
    if b.leading.share > 0.8 and TONES_S[0] < b.leading.period * b.seconds < TONES_S[1]:  # noqa: PLR2004
        rate = 1 / (b.leading.period * b.seconds)
        return TONE, (f"{rate:.0f} times a second, steady: sound, or a slow clock",)
    if clock is not None:
        lock = concentration(phases(b.channel.ticks[:20_000], clock.edges_to(HIGH)))
        if lock > LOCKED:
            why = f"changes keep to the pixel clock ({lock:.2f} of 1), but go on in line sync"
            return BUS, (why, "an address, data or control line")
    unit = float(np.percentile(intervals, 2))
    parts = intervals / max(unit, 1e-9)
    if unit > 8 * b.step and float((np.abs(parts - np.round(parts)) < 0.1).mean()) > 0.95:  # noqa: PLR2004
        return SERIAL, (f"changes at multiples of {unit * b.seconds * 1e6:.2f} us: serial data",)
    spread = float(intervals.std() / intervals.mean())
    if spread > 0.5:  # noqa: PLR2004 - intervals of chance have 1, a steady signal 0
        why = f"{b.edges} changes at no rhythm, {seconds * 1e6:.2g} us apart in the median"
        return FLOATING, (why, "an open input, or a signal that has nothing to do with the video")
    return UNKNOWN, (f"{b.edges} changes that fit no role",)
