"""An asynchronous logic analyser in numpy. Nothing here imports rastertap.

A change at time t shows at the first sample instant >= t. Unknown levels (x, z, U ...) are sampled as low: an
analyser knows high and low only.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from .native_vcd import UNITS, UNKNOWN, Wave, parse_vcd, tidy

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from numpy.typing import NDArray

    from .simulate import Simulated, TrueField

IDENTIFIERS = "".join(chr(code) for code in range(33, 127))


@dataclass(frozen=True, eq=False)
class Resampled:
    """What the analyser recorded.

    Parameters
    ----------
    path : Path
        The VCD.
    channels : dict of str to (str, int or None)
        Channel -> role and bit, or ``("static_low", None)`` and ``("static_high", None)``.
    start_s : float
        Simulated time of sample 0.
    rate_hz, ppm, samples
        Nominal rate, timebase error, number of samples.
    fields : tuple of TrueField
        The fields that lie whole in the recording, vertical sync to vertical sync, with ``start_s`` still in
        simulated time.
    """

    path: Path
    channels: dict[str, tuple[str, int | None]]
    start_s: float
    rate_hz: int
    ppm: float
    samples: int
    fields: tuple[TrueField, ...]

    def recorded_s(self, simulated_s: float) -> float:
        """Place a simulated time in the file, seconds: the analyser's clock stretches what it measures."""
        return (simulated_s - self.start_s) * (1 + self.ppm * 1e-6)


def resample(
    simulated: Simulated,
    out_path: Path,
    *,
    rate_hz: int,
    seed: int,
    ppm: float = 0.0,
    start_s: float | None = None,
    duration_s: float | None = None,
    timescale: str = "1 ns",
    omit: Collection[str] = (),
    static: tuple[int, int] = (1, 1),
) -> Resampled:
    """Sample a simulator's capture as an asynchronous analyser would, and write its VCD.

    Parameters
    ----------
    simulated : Simulated
        Its pins (``truth["roles"]``) are recorded in a random order as D0, D1, ...
    out_path : Path
        The VCD to write.
    rate_hz : int
        Nominal samples a second.
    seed : int
        Of the channel order and of the start.
    ppm : float
        How fast the analyser's own clock runs: with +50 every recorded time is 50 ppm too long.
    start_s : float, optional
        Simulated time of sample 0; any time that leaves two whole fields when left out.
    duration_s : float, optional
        Simulated time recorded; to the end when left out.
    timescale : str
        Of the file; stamps are rounded to it (1 ns is exact for 50, 100, 200 MS/s and rounds 24 MS/s).
    omit : collection of str
        Roles without a tap, e.g. ``{"pixel_clock"}``.
    static : (int, int)
        How many inputs that never move are added: low, high.
    """
    random = np.random.default_rng(seed)
    native = parse_vcd(simulated.vcd)
    taps = [
        (role, bit, native.waves[name])
        for name, (role, bit) in simulated.truth["roles"].items()
        if role not in omit
    ]
    nothing = np.zeros(1, np.int64)
    taps += [("static_low", None, Wave(nothing, np.zeros(1, np.uint8)))] * static[0]
    taps += [("static_high", None, Wave(nothing, np.ones(1, np.uint8)))] * static[1]
    taps = [taps[place] for place in random.permutation(len(taps))]

    span_s = float(native.end * native.tick)
    if start_s is None:
        latest = float(simulated.fields[-2:][0].start_s)
        start_s = random.uniform(0, latest)
    if duration_s is None:
        duration_s = span_s - start_s
    # start + (span - start) may come out a rounding error past the span.
    if not 0 <= start_s < start_s + duration_s <= span_s * (1 + 1e-12):
        raise ValueError(f"{start_s} s + {duration_s} s is not inside the simulation of {span_s} s")
    step = 1 / (rate_hz * (1 + ppm * 1e-6)) / float(native.tick)  # ticks, real
    samples = int(duration_s / float(native.tick) / step)
    sampled = [_sampled(wave, start_s / float(native.tick), step, samples) for _, _, wave in taps]
    _write(out_path, sampled, rate_hz, samples, timescale)
    channels = {f"D{place}": (role, bit) for place, (role, bit, _) in enumerate(taps)}
    whole = _whole_fields(simulated, start_s, start_s + duration_s)
    return Resampled(out_path, channels, start_s, rate_hz, ppm, samples, whole)


def _sampled(wave: Wave, start: float, step: float, samples: int) -> Wave:
    """Wave in sample numbers: each change moved to the first sample instant at or after it."""
    moved = np.maximum(np.ceil((wave.times - start) / step).astype(np.int64), 0)
    low = np.where(wave.levels == UNKNOWN, 0, wave.levels).astype(np.uint8)
    inside = moved < samples
    return tidy(moved[inside], low[inside])


def _whole_fields(simulated: Simulated, start_s: float, end_s: float) -> tuple[TrueField, ...]:
    period = float(simulated.truth["lines_per_field"] * simulated.truth["pixels_per_line"])
    period /= float(simulated.truth["clock_hz"])
    return tuple(
        one
        for one in simulated.fields
        if start_s < float(one.start_s) and float(one.start_s) + period < end_s
    )


def _write(path: Path, waves: list[Wave], rate_hz: int, samples: int, timescale: str) -> None:
    """Write the sampled waves; every stamp and every change has a line of its own."""
    number, unit = timescale.split()
    per_sample = Fraction(10 ** UNITS[unit], rate_hz * int(number))
    codes = IDENTIFIERS[: len(waves)]
    header = (
        f"$version 8-bit pattern recorder $end\n$timescale {timescale} $end\n$scope module recorder $end\n"
    )
    header += "".join(f"$var wire 1 {code} D{place} $end\n" for place, code in enumerate(codes))
    header += "$upscope $end\n$enddefinitions $end\n"
    when = np.concatenate([wave.times for wave in waves])
    level = np.concatenate([wave.levels for wave in waves])
    which = np.repeat(np.arange(len(waves)), [len(wave.times) for wave in waves])
    order = np.argsort(when, kind="stable")
    when = when[order]
    new = np.append(True, when[1:] != when[:-1])
    stamps = _rounded(when[new], per_sample)
    last = int(_rounded(np.array([samples - 1]), per_sample)[0])
    digits = np.array([len(str(limit)) for limit in (0, *(10**n for n in range(1, 19)))])
    width = digits[np.searchsorted(10 ** np.arange(1, 19), stamps, side="right")]

    # Each change takes 3 bytes ("1!\n"); the first of a time has its stamp's line before it.
    before = np.zeros(len(when), np.int64)
    before[new] = width + 2
    ends = np.cumsum(before + 3)
    body = np.empty(int(ends[-1]), np.uint8)
    body[ends - 3] = level[order] + ord("0")
    body[ends - 2] = np.frombuffer(codes.encode("ascii"), np.uint8)[which[order]]
    body[ends - 1] = ord("\n")
    line_end = ends[new] - 4
    body[line_end] = ord("\n")
    body[line_end - width - 1] = ord("#")
    rest = stamps.copy()
    for place in range(int(width.max())):
        inside = place < width
        body[line_end[inside] - 1 - place] = rest[inside] % 10 + ord("0")
        rest //= 10
    tail = f"#{last}\n" if last > stamps[-1] else ""
    path.write_bytes(header.encode("ascii") + body.tobytes() + tail.encode("ascii"))


def _rounded(samples: NDArray[np.int64], per_sample: Fraction) -> NDArray[np.int64]:
    """Sample numbers in stamps, halves up."""
    top, bottom = per_sample.as_integer_ratio()
    return (2 * samples * top + bottom) // (2 * bottom)
