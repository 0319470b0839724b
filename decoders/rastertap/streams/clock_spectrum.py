"""Spectrum of the time interval error, and its strongest line that is not of the analyser's making."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_tie import Series

    Floats = NDArray[np.float64]

LONGEST_SEGMENT = 4096
SHORTEST_SEGMENT = 256
FALSE_ALARM = 1e-4
"""Chance that a spectrum of noise alone shows a line."""
LOBE = 2
"""Bins to either side of a line that a Hann window spreads it over."""
NEIGHBOURS = 24
"""Bins to either side by which a line's surroundings are judged."""
HARMONICS = 4000
BEAT_DOUBT = 0.3
"""Steps by which the period may be wrong over one segment of the spectrum."""
FAINTEST = 0.003
"""Amplitude, in steps, below which no line is sought: the beats' own side lobes are not modelled."""
LOWEST_BIN = 4 * LOBE
"""Bins of a segment below which no line is sought in it: what is left of the drift is there."""
FEWEST_SWINGS, SWAY_PART = 1.8, 0.95
"""Swings that a recording must hold, and part of what is left beside drift that they must explain, for a slow
sway. What wanders at random may swing too: of 1000 walks of the phase none came up to that, of the frequency
26 (simulated)."""


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Mean periodogram (Hann window, segments overlapping by half).

    Parameters
    ----------
    block : int
        Cycles averaged to a sample.
    length : int
        Samples in a segment; 0 when there was not enough for one.
    power : ndarray of float64, shape (length // 2 + 1,)
        Sum over the segments; the mean of its sum over bins is the variance in ticks squared.
    segments : int
    """

    block: int
    length: int
    power: Floats
    segments: int

    def joined(self, later: Spectrum) -> Spectrum:
        """Average with that of a later piece; where they do not fit, the one of more segments is kept."""
        if (self.block, self.length) != (later.block, later.length):
            return max(self, later, key=lambda s: s.length * s.segments)
        return Spectrum(self.block, self.length, self.power + later.power, self.segments + later.segments)

    def frequency(self) -> Floats:
        """Of each bin, in periods of the clock (1 is the clock itself)."""
        return np.arange(self.power.size) / (self.length * self.block)


@dataclass(frozen=True)
class SpectralLine:
    """A periodic part of the time interval error.

    Parameters
    ----------
    frequency : float
        In parts of the clock's frequency.
    resolution : float
        Of it, the same unit (half a bin).
    amplitude : float
        Peak, ticks.
    """

    frequency: float
    resolution: float
    amplitude: float


NO_SPECTRUM = Spectrum(0, 0, np.empty(0), 0)


def spectrum_of(series: Series, period: float) -> Spectrum:
    """Average the periodograms of a series of block means; gaps are bridged by straight lines."""
    place = np.rint((series.cycle - series.cycle[0]) / series.block).astype(np.int64)
    error = np.interp(np.arange(place[-1] + 1), place, series.error(period))
    length = min(LONGEST_SEGMENT, 1 << max(error.size.bit_length() - 1, 0))
    if length < SHORTEST_SEGMENT:
        return NO_SPECTRUM
    window = np.hanning(length + 1)[:-1]
    ramp = np.linspace(-1, 1, length)
    power = np.zeros(length // 2 + 1)
    starts = range(0, error.size - length + 1, length // 2)
    for start in starts:
        part = error[start : start + length]
        part = part - np.polyval(np.polyfit(ramp, part, 2), ramp)
        power += 2 * np.abs(np.fft.rfft(part * window)) ** 2 / (length * float((window**2).sum()))
    return Spectrum(series.block, length, power, len(starts))


def beats_of_the_grid(spectrum: Spectrum, period: float, step: float) -> Floats:
    """Power that a steady clock may show in each bin, for being seen on the analyser's grid.

    The recorded edge is late by a sawtooth of one step, whose j-th harmonic has the amplitude ``step / (pi
    j)`` and appears at the frequency ``j period / step`` less the nearest whole number, of the clock's
    frequency.
    """
    j = np.arange(1, HARMONICS + 1)
    cycles = j * (period / step)
    alias = np.abs(cycles - np.round(cycles))
    smoothing = np.abs(np.sinc(alias * spectrum.block) / np.sinc(alias))
    amplitude = step / (np.pi * j) * smoothing
    # What lies above half the sample rate of the series is folded down.
    sampled = alias * spectrum.block
    place = np.rint(np.abs(sampled - np.round(sampled)) * spectrum.length).astype(np.int64)
    # An error of the period moves the j-th beat j times as far; the period is sure to a part of a step a
    # segment.
    reach = np.ceil(BEAT_DOUBT * j).astype(np.int64) + 2 * LOBE
    size = spectrum.power.size
    change = np.zeros(size + 1)
    np.add.at(change, np.clip(place - reach, 0, size), amplitude**2 / 2)
    np.add.at(change, np.clip(place + reach + 1, 0, size), -(amplitude**2) / 2)
    return np.cumsum(change)[:size]


def _beside(power: Floats) -> Floats:
    """Power of as many bins as a line takes, just below or just above it: steep noise is no line."""
    width = 2 * LOBE + 1
    level = np.convolve(np.pad(power, 2 * width, mode="edge"), np.ones(width), "valid")
    return np.asarray(np.maximum(level[: power.size], level[-power.size :]), np.float64)


def strongest_line(spectrum: Spectrum, period: float, step: float) -> SpectralLine | None:
    """Find the strongest line that stands out of its surroundings and is no beat with the analyser's grid.

    Parameters
    ----------
    spectrum : Spectrum
    period, step : float
        Ticks.
    """
    if not spectrum.segments:
        return None
    power = spectrum.power / spectrum.segments
    size = power.size
    lobe = np.convolve(power, np.ones(2 * LOBE + 1), "same")
    padded = np.pad(power, NEIGHBOURS, mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
    floor = np.median(around, axis=1) / np.log(2)
    beats = beats_of_the_grid(spectrum, period, step)
    # A periodogram of noise is exponential; the mean of several is closer to its expectation (gamma).
    wanted = floor * (2 * LOBE + 1) * (1 + np.log(size / FALSE_ALARM) / np.sqrt(spectrum.segments))
    clear = (
        (lobe > wanted)
        & (lobe > 4 * beats)
        & (lobe > (FAINTEST * step) ** 2 / 2)
        & (lobe > 4 * _beside(power))
    )
    clear[:LOWEST_BIN] = False
    clear[size - LOBE :] = False
    if not clear.any():
        return None
    best = int(np.argmax(np.where(clear, lobe, 0)))
    near = np.arange(best - LOBE, best + LOBE + 1)
    peak = float((near * power[near]).sum() / power[near].sum())
    unit = 1 / (spectrum.length * spectrum.block)
    smoothing = float(np.sinc(peak * unit * spectrum.block) / np.sinc(peak * unit))
    amplitude = np.sqrt(2 * max(lobe[best] - floor[best] * near.size, 0.0)) / smoothing
    return SpectralLine(peak * unit, unit / 2, float(amplitude))


def slow_sway(series: Series, period: float, highest: float) -> SpectralLine | None:
    """Find a swing too slow for the spectrum, as of hum: a sine beside a drift, through the whole recording.

    Parameters
    ----------
    series : Series
        Of the whole recording.
    period : float
        Ticks.
    highest : float
        Frequency from which the spectrum tells, in parts of the clock's.
    """
    span = float(series.cycle[-1] - series.cycle[0]) if series.cycle.size else 0.0
    if series.cycle.size < SHORTEST_SEGMENT or highest * span <= FEWEST_SWINGS:
        return None
    place = (series.cycle - series.cycle[0]) / span
    drift = np.vander(2 * place - 1, 3)
    error = series.error(period)
    rest = error - drift @ np.linalg.lstsq(drift, error, rcond=None)[0]

    def left(swings: float) -> tuple[float, Floats]:
        """Give what is left of the error beside drift and a sine of so many swings, and its two parts."""
        turn = 2 * np.pi * swings * place
        model = np.column_stack((drift, np.cos(turn), np.sin(turn)))
        fit = np.linalg.lstsq(model, error, rcond=None)[0]
        return float(((error - model @ fit) ** 2).sum()), fit[3:]

    even = np.interp(np.linspace(0, 1, rest.size), place, rest)
    coarse = np.abs(np.fft.rfft(even, 4 * rest.size))
    swings = np.arange(coarse.size) * (rest.size - 1) / (4 * rest.size)
    coarse[(swings < FEWEST_SWINGS) | (swings > highest * span)] = 0
    near = swings[np.argmax(coarse)] + np.linspace(-0.3, 0.3, 25)
    tried = [(*left(s), float(s)) for s in near if s >= FEWEST_SWINGS]
    total = float((rest**2).sum())
    if not tried or not total:
        return None
    unexplained, sine, best = min(tried, key=lambda t: t[0])
    if unexplained > (1 - SWAY_PART) * total:
        return None
    return SpectralLine(best / span, 0.1 / span, float(np.hypot(*sine)))
