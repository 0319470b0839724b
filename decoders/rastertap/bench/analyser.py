"""The logic analyser: asynchronous sampling of the channels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.bench.clock import exact_multiples
from rastertap.bench.extras import EXTRAS
from rastertap.bench.wave import FS_PER_NS, FS_PER_S, Wave
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.bench.source import VideoSource

MOST_SAMPLES = 400_000_000
"""Four seconds at 100 MS/s; the instants then take 3.2 GB."""

Wires = tuple[tuple[str, str], ...]
"""(channel label, signal name) in the analyser's order."""


@dataclass(frozen=True)
class Analyser:
    """One recording's settings.

    Parameters
    ----------
    wires : tuple of (label, signal)
        What each channel is meant to carry; the order is that of the file and of the connector.
    rate_hz : Fraction
        Samples in a second, by the analyser's own reckoning.
    timebase_ppm : float
        How fast the analyser's clock really runs: with +50 it samples 50 ppm more often than it says, and
        every frequency read from the file is 50 ppm low.
    jitter_ns : float
        Gaussian error (rms) of each sampling instant.
    phase : float, 0..1, or None
        Where in a sample period the first sample falls, counted from the start; None: at random by the seed.
    start_fields : float >= 0
        Where the recording starts, in fields from the first field's start (as designed, without faults).
    fields : float > 0
        Its length in fields (as designed); ``duration_s`` instead when not None.
    duration_s : float or None
    stamps : {"ns", "exact"}
        Times in the file: whole nanoseconds (rounded when the sample period is none), or samples counted in
        an exact tick, the largest of 1, 10, 100 s .. fs that divides the sample period.
    """

    wires: Wires
    rate_hz: Fraction = Fraction(100_000_000)
    timebase_ppm: float = 0.0
    jitter_ns: float = 0.0
    phase: float | None = None
    start_fields: float = 0.37
    fields: float = 2.6
    duration_s: float | None = None
    stamps: Literal["ns", "exact"] = "ns"

    def __post_init__(self) -> None:
        """Refuse settings that give no recording."""
        labels = [label for label, _ in self.wires]
        for wrong, message in (
            (not labels, "there is no channel"),
            (len(set(labels)) != len(labels), "two channels have one label"),
            (
                any(not label or not label.isascii() or " " in label for label in labels),
                "a label is one ASCII word",
            ),
            (self.rate_hz <= 0, f"a sample rate of {self.rate_hz} Hz"),
            (abs(self.timebase_ppm) >= 1e5, f"a timebase {self.timebase_ppm} ppm off"),  # noqa: PLR2004 - 10 %
            (self.jitter_ns < 0 or self.start_fields < 0, "jitter and start must not be negative"),
            (
                (self.duration_s if self.duration_s is not None else self.fields) <= 0,
                "the recording has no length",
            ),
        ):
            if wrong:
                raise UsageError(f"analyser: {message}", hint="correct the analyser's settings")

    @property
    def sample_period_fs(self) -> Fraction:
        """True time between samples."""
        return Fraction(FS_PER_S) / (self.rate_hz * (1 + Fraction(str(self.timebase_ppm)) / 10**6))


def plug(
    source: VideoSource,
    *,
    channels: int = 16,
    extras: tuple[str, ...] = (),
    scramble: int | None = None,
    label: str = "D{}",
) -> Wires:
    """Connect a source's signals in their order, then the extras, then nothing (low).

    Parameters
    ----------
    source : VideoSource
    channels : int
        Inputs of the analyser; more when the signals need more.
    extras : tuple of str
        ``cpu_clock`` or names of `rastertap.bench.extras.EXTRAS`.
    scramble : int or None
        Seed by which the signals are dealt to the channels at random.
    label : str
        Channel n is called ``label.format(n)``.
    """
    signals = [*source.signals, *extras]
    signals += ["low"] * (channels - len(signals))
    if scramble is not None:
        signals = [signals[i] for i in np.random.default_rng([scramble, 7]).permutation(len(signals))]
    return tuple((label.format(n), signal) for n, signal in enumerate(signals))


def check_signal(source: VideoSource, signal: str) -> str:
    """Return ``signal``; UsageError when neither the source nor the bench has one of that name."""
    known = (*source.signals, "cpu_clock", *EXTRAS)
    if signal not in known:
        raise UsageError(f"no signal '{signal}' on {source.name}", hint=f"there are: {', '.join(known)}")
    return signal


@dataclass(frozen=True, eq=False)
class Sampling:
    """The instants at which the analyser looks.

    Parameters
    ----------
    start_fs : int
        True time of the first sample without jitter.
    count : int
        Samples taken.
    instants : ndarray of int64, shape (count,)
        True times, femtoseconds, increasing.
    """

    start_fs: int
    count: int
    instants: NDArray[np.int64]

    def first_sample_at_or_after(self, times: NDArray[np.int64]) -> NDArray[np.int64]:
        """Give the first sample at or after each time: 0 before the recording, ``count`` after it."""
        return np.searchsorted(self.instants, times, side="left")

    def record(self, wave: Wave) -> tuple[int, NDArray[np.int64]]:
        """Sample a wave.

        Returns
        -------
        initial : int
            Level at sample 0.
        samples : ndarray of int64, shape (n,)
            Samples at which the level differs from the sample before, increasing, 1 .. count - 1.
        """
        seen = self.first_sample_at_or_after(wave.times)
        # A level that comes and goes between two samples is not seen: only an odd number of changes shows.
        first = np.flatnonzero(np.append(True, seen[1:] != seen[:-1])) if seen.size else np.empty(0, np.int64)
        odd = np.diff(np.append(first, seen.size)) & 1 == 1
        samples = seen[first[odd]]
        before = samples == 0
        initial = wave.initial ^ int(before.sum() & 1)
        return initial, samples[~before & (samples < self.count)]


def take_samples(analyser: Analyser, source: VideoSource, seed: int) -> Sampling:
    """Work out the sampling instants.

    Raises
    ------
    UsageError
        When there would be more than `MOST_SAMPLES`, or the recording ends after more than an hour.
    """
    rng = np.random.default_rng([seed, 1])
    period = analyser.sample_period_fs
    field_fs = FS_PER_S / source.field_rate_hz
    phase = analyser.phase if analyser.phase is not None else float(rng.random())
    start = round(Fraction(str(analyser.start_fields)) * field_fs + Fraction(phase) * period)
    length = (
        FS_PER_S * Fraction(str(analyser.duration_s))
        if analyser.duration_s is not None
        else (Fraction(str(analyser.fields)) * field_fs)
    )
    count = math.floor(length / period) + 1
    if count > MOST_SAMPLES or start + length > 2**62:
        raise UsageError(
            f"{count} samples over {float(length / FS_PER_S):g} s are too many to simulate",
            hint=f"record fewer fields, or at a lower rate: at most {MOST_SAMPLES} samples",
        )
    instants = start + exact_multiples(count, period)
    if analyser.jitter_ns:
        noise = np.rint(rng.standard_normal(count) * analyser.jitter_ns * FS_PER_NS).astype(np.int64)
        instants = np.maximum.accumulate(instants + noise)
    return Sampling(start, count, instants)
