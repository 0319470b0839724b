"""How much room each tap has: narrowest pulse, short pulses, setup and hold, and the lowest sample rate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.wiring import explain

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from rastertap.checks.interface import Evidence
    from rastertap.streams.model import ColourBus

SAMPLES_A_CYCLE = 3.0
"""Samples a pixel clock cycle from which every pixel is read surely: common practice, no source."""
STEPS_IN_WINDOW = 2.0
"""Sampling steps that the quiet part of the bus must last: its two ends are each seen up to a step late."""
STRAY = 1e-3
"""Part of a bit's changes that may be glitches and set no margin."""


@dataclass(frozen=True)
class Margin:
    """Room of one channel.

    Parameters
    ----------
    narrowest_s : float or None
        Shortest pulse of either level, seconds, to the analyser's step; None with fewer than two changes.
    short_pulses : int
        Pulses too short to mean anything.
    setup_s, hold_s : float or None
        Of a colour bit: from its last change before the sampling point, and to its first one after, seconds.
    """

    narrowest_s: float | None
    short_pulses: int
    setup_s: float | None = None
    hold_s: float | None = None


@dataclass(frozen=True)
class SafeRate:
    """The lowest sample rate that still reads every pixel.

    Parameters
    ----------
    rate_hz : float
        Samples in a second.
    why : str
        What sets it.
    """

    rate_hz: float
    why: str


def margins(evidence: Evidence) -> Mapping[str, Margin]:
    """Give the room of every channel, by its name; of a long capture, as seen in its first piece."""
    found = explain(evidence).looks
    tick = float(evidence.capture.tick)
    bits = _bit_margins(evidence.colour_bus, evidence) if evidence.colour_bus is not None else {}
    room = {}
    for name, one in found.by_channel.items():
        widths = np.diff(found.channels[name].ticks)
        narrowest = float(widths.min()) * tick if widths.size else None
        room[name] = Margin(narrowest, int(one.runts.size), *bits.get(name, (None, None)))
    return room


def _bit_margins(bus: ColourBus, evidence: Evidence) -> dict[str, tuple[float | None, float | None]]:
    """Measure setup and hold of each bit, seconds."""
    clock = evidence.pixel_clock
    if clock is None:
        return {}
    period = clock.period.value * float(evidence.capture.tick)
    found = {}
    for bit, changes in zip(bus.bits, bus.sampling.changes, strict=True):
        if bit.name:
            before, after = _distances(changes, bus.sampling.phase)
            found[bit.name] = (
                None if before is None else before * period,
                None if after is None else after * period,
            )
    return found


def _distances(changes: NDArray[np.int64], phase: float) -> tuple[float | None, float | None]:
    """Distance from the nearest change before, and to the nearest after, in pixel periods."""
    counts = np.asarray(changes)
    busy = np.flatnonzero(counts > STRAY * counts.sum())
    if not busy.size:
        return None, None
    # The end of a bin towards the sampling point bounds what is in it.
    before = (phase - (busy + 1) / counts.size) % 1
    after = (busy / counts.size - phase) % 1
    return float(before.min()), float(after.min())


def lowest_safe_rate(evidence: Evidence) -> SafeRate | None:
    """Work out the lowest sample rate that would still be safe; None without a pixel clock."""
    clock, bus = evidence.pixel_clock, evidence.colour_bus
    if clock is None:
        return None
    period = clock.period.value * float(evidence.capture.tick)
    rates = [(SAMPLES_A_CYCLE / period, f"{SAMPLES_A_CYCLE:g} samples a pixel clock cycle")]
    if clock.duty is not None and 0 < clock.duty.value < 1:
        narrow = min(clock.duty.value, 1 - clock.duty.value) * period
        rates.append((1 / narrow, f"a sample in every clock pulse, {narrow * 1e9:.0f} ns at the shortest"))
    if bus is not None:
        point = bus.sampling
        window = (point.margin_before.value + point.margin_after.value) * float(evidence.capture.tick)
        quiet = f"{STEPS_IN_WINDOW:g} samples while the colour bus is quiet"
        if window > 0:
            rates.append((STEPS_IN_WINDOW / window, f"{quiet}, {window * 1e9:.0f} ns of each pixel"))
    rate, why = max(rates)
    return SafeRate(rate, why)
