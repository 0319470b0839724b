"""Clocks and buses seen by an analyser, made with numpy alone: rastertap's bench has no part in it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.streams.interface import Context, Pin
from rastertap.streams.pixel_clock import TappedPixelClock, TappedPixelClockOptions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import PixelClock

PS = Fraction(1, 10**12)


@dataclass(frozen=True, eq=False)
class Signal:
    """True rising and falling edges, picoseconds."""

    rise: NDArray[np.float64]
    fall: NDArray[np.float64]


def steady(hz: float, length_s: float, *, duty: float = 0.5, start_ps: float = 3_217.0) -> Signal:
    period = 1e12 / hz
    rise = start_ps + period * np.arange(int(length_s * hz))
    return Signal(rise, rise + duty * period)


def moved(signal: Signal, by_ps: NDArray[np.float64]) -> Signal:
    return Signal(signal.rise + by_ps, signal.fall + by_ps)


def without(signal: Signal, cycles: NDArray[np.int64] | list[int]) -> Signal:
    return Signal(np.delete(signal.rise, cycles), np.delete(signal.fall, cycles))


def with_pulse(signal: Signal, cycle: int, after_ps: float, width_ps: float) -> Signal:
    at = signal.rise[cycle] + after_ps
    return Signal(np.sort(np.append(signal.rise, at)), np.sort(np.append(signal.fall, at + width_ps)))


def seen(
    times_up: NDArray[np.float64], times_down: NDArray[np.float64], rate_hz: float, name: str = "D0"
) -> Channel:
    """A channel as the analyser records it: each sample holds the level just before it."""
    step = 1e12 / rate_hz
    times = np.concatenate((times_up, times_down))
    levels = np.concatenate((np.ones(times_up.size, np.uint8), np.zeros(times_down.size, np.uint8)))
    order = np.argsort(times, kind="stable")
    sample, levels = np.ceil(times[order] / step).astype(np.int64), levels[order]
    last = np.append(sample[1:] != sample[:-1], True)[: sample.size]
    sample, levels = sample[last], levels[last]
    changed = np.append(True, levels[1:] != levels[:-1])[: levels.size]
    return Channel(name, 0, np.rint(sample[changed] * step).astype(np.int64), levels[changed])


def context_of(
    signal: Signal,
    rate_hz: float,
    *,
    sync: NDArray[np.float64] | None = None,
    span: tuple[int, int] | None = None,
    known: bool = True,
) -> Context:
    channels = [seen(signal.rise, signal.fall, rate_hz)]
    pins = [Pin("D0", "pixel_clock", None, None, 1.0, ())]
    if sync is not None:
        channels.append(seen(sync + 4_700_000, sync, rate_hz, "D1"))
        pins.append(Pin("D1", "hsync", None, "negative", 1.0, ()))
    step = 1e12 / rate_hz
    period = SamplePeriod(step, 0.0, known=True) if known else SamplePeriod(1.0, 0.0, known=False)
    end = int(max(signal.rise[-1], signal.fall[-1]) + step)
    capture = Capture("made", PS, 0, end, tuple(channels), sample_period=period)
    return Context(capture, tuple(pins), span=span)


def clock_of(signal: Signal, rate_hz: float, **more: object) -> PixelClock:
    return TappedPixelClock().decode(context_of(signal, rate_hz, **more), TappedPixelClockOptions())  # type: ignore[arg-type]


@dataclass(frozen=True, eq=False)
class Bus:
    """A bus of random pixels: boundaries (ps), levels after them (bits, boundaries), line syncs (ps)."""

    boundaries: NDArray[np.float64]
    levels: NDArray[np.uint8]
    syncs: NDArray[np.float64]
    delay_ps: float
    jitter: NDArray[np.float64]
    skew_ps: tuple[float, ...] = (0.0, 0.0, 0.0)


def raster(
    hz: float,
    *,
    pixels: int,
    lines: int,
    line_pixels: float | None = None,
    restart_pixels: float | None = None,
    jitter_ps: float = 0.0,
    odd_share: float = 1.0,
    skew_ps: tuple[float, ...] = (0.0, 0.0, 0.0),
    cycles_per_pixel: int = 1,
) -> Bus:
    """Make a bus of three bits: blank in a quarter of the line, random pixels in the rest."""
    rng = np.random.default_rng(7)
    period = 1e12 / hz
    number = np.arange(pixels * lines)
    if restart_pixels is None:
        boundaries = 7_000.0 + number * period
        syncs = 10_000.0 + np.arange(lines) * (line_pixels or pixels) * period
    else:
        line, pixel = np.divmod(number, pixels)
        boundaries = 7_000.0 + (line * restart_pixels + pixel) * period
        syncs = 10_000.0 + np.arange(lines) * restart_pixels * period
    wide = 2 if odd_share < 1 else cycles_per_pixel
    levels = rng.integers(0, 2, (3, number.size), np.uint8)
    levels = np.repeat(levels[:, ::wide], wide, axis=1)[:, : number.size]
    if odd_share < 1:
        odd = rng.random(number.size) < odd_share
        levels[:, odd] = rng.integers(0, 2, (3, int(odd.sum())), np.uint8)
    levels[:, (number % pixels) < pixels // 4] = 0
    return Bus(boundaries, levels, syncs, 12_000.0, rng.standard_normal(number.size) * jitter_ps, skew_ps)


def bus_context(
    bus: Bus, rate_hz: float, *, tap_hz: float | None = None, clock: Signal | None = None
) -> Context:
    """Record a bus; with ``tap_hz`` a clock of that rate on D9, with ``clock`` that one on D0."""
    channels, pins = [], []
    for bit, levels in enumerate(bus.levels):
        changed = np.flatnonzero(np.diff(levels, prepend=np.uint8(0)))
        times = bus.boundaries[changed] + bus.delay_ps + bus.jitter[changed] + bus.skew_ps[bit]
        up = levels[changed] == 1
        channels.append(seen(times[up], times[~up], rate_hz, f"D{bit + 1}"))
        pins.append(Pin(f"D{bit + 1}", "colour", bit, None, 1.0, ()))
    channels.append(seen(bus.syncs + 4_700_000, bus.syncs, rate_hz, "D4"))
    pins.append(Pin("D4", "hsync", None, "negative", 1.0, ()))
    if tap_hz is not None:
        tap = steady(tap_hz, float(bus.boundaries[-1]) * 1e-12)
        channels.append(seen(tap.rise, tap.fall, rate_hz, "D9"))
    if clock is not None:
        channels.append(seen(clock.rise, clock.fall, rate_hz, "D0"))
        pins.append(Pin("D0", "pixel_clock", None, None, 1.0, ()))
    period = SamplePeriod(1e12 / rate_hz, 0.0, known=True)
    end = int(bus.boundaries[-1] + 1e6)
    return Context(Capture("made", PS, 0, end, tuple(channels), sample_period=period), tuple(pins))
