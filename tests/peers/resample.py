"""An asynchronous logic analyser in numpy, with a small VCD parser. Nothing here imports rastertap.

A change at time t shows at the first sample instant >= t. Unknown levels (x, z, U ...) are sampled as low: an
analyser knows high and low only.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from numpy.typing import NDArray

    from .simulate import Simulated, TrueField

UNITS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}
UNKNOWN = 2
IDENTIFIERS = "".join(chr(code) for code in range(33, 127))


@dataclass(frozen=True, eq=False)
class Wave:
    """One bit: times of its changes in ticks (the first is its initial value), and the level from each on."""

    times: NDArray[np.int64]
    levels: NDArray[np.uint8]

    def at(self, times: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Levels just after each of ``times``."""
        return self.levels[np.maximum(np.searchsorted(self.times, times, side="right") - 1, 0)]

    def edges_to(self, level: int) -> NDArray[np.int64]:
        """Times of the changes to ``level``; the initial value is not a change, nor is leaving x."""
        rise = (self.levels[1:] == level) & (self.levels[:-1] == 1 - level)
        return self.times[1:][rise]


@dataclass(frozen=True, eq=False)
class Native:
    """A simulator's VCD: bit name -> Wave; ``tick`` in seconds, ``end`` the last stamp."""

    tick: Fraction
    end: int
    waves: dict[str, Wave]


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


def parse_vcd(path: Path) -> Native:
    """Read a VCD that has one stamp or change to a line, as Icarus, GHDL and pyvcd write it."""
    text = path.read_bytes()
    body_at = text.index(b"\n", text.index(b"$enddefinitions")) + 1
    header = text[:body_at].decode("ascii")
    names = _declared(header)
    number, unit = re.search(r"\$timescale\s+(\d+)\s*(\w+)\s+\$end", header).groups()
    lines = _Lines(np.frombuffer(text, np.uint8, offset=body_at))
    waves = {}
    for code, bits in names.items():
        where, levels = lines.changes(code, len(bits))
        for bit, name in enumerate(bits):
            waves[name] = _tidy(lines.times[where], levels[:, bit])
    return Native(Fraction(int(number), 10 ** UNITS[unit]), int(lines.times[-1]), waves)


def _declared(header: str) -> dict[str, list[str]]:
    """Identifier code -> names of its bits, bit 0 first; of aliases the outermost is kept."""
    scopes: list[str] = []
    codes: dict[str, list[str]] = {}
    pattern = r"\$scope\s+\w+\s+(\S+)\s+\$end|\$(upscope)|\$var\s+\w+\s+(\d+)\s+(\S+)\s+(\w+)\s*\S*\s*\$end"
    for scope, up, size, code, name in re.findall(pattern, header):
        if scope:
            scopes.append(scope)
        elif up:
            scopes.pop()
        elif code and code not in codes:
            full = ".".join([*scopes, name])
            codes[code] = [full] if int(size) == 1 else [f"{full}[{bit}]" for bit in range(int(size))]
    return codes


def _tidy(times: NDArray[np.int64], levels: NDArray[np.uint8]) -> Wave:
    """Keep the last change at each time, and only real changes."""
    last = np.append(times[1:] != times[:-1], True)
    times, levels = times[last], levels[last]
    real = np.append(True, levels[1:] != levels[:-1])
    return Wave(times[real], levels[real])


class _Lines:
    """The body of a VCD, cut into lines with the time that holds at each."""

    def __init__(self, data: NDArray[np.uint8]) -> None:
        self.data = data
        ends = np.flatnonzero(data == ord("\n"))
        starts = np.append(0, ends[:-1] + 1)
        full = ends > starts
        self.starts, self.ends = starts[full], ends[full]
        first = data[self.starts]
        stamped = np.flatnonzero(first == ord("#"))
        # Which stamp rules a line: the latest one above it (before the first, time 0).
        ruling = np.cumsum(first == ord("#"))
        self.times = np.append(0, self._numbers(stamped))[ruling]
        self.vectors = np.flatnonzero((first == ord("b")) | (first == ord("B")))
        self.scalars = np.flatnonzero(np.isin(first, np.frombuffer(b"01xXzZuUwWlLhH-", np.uint8)))
        spaces = np.flatnonzero(data == ord(" "))
        at = np.searchsorted(spaces, self.starts[self.vectors])
        self.gaps = spaces[at] if len(self.vectors) else at

    def _numbers(self, lines: NDArray[np.int64]) -> NDArray[np.int64]:
        """Decimal numbers after the first character of each of ``lines``."""
        begin, end = self.starts[lines] + 1, self.ends[lines]
        values = np.zeros(len(lines), np.int64)
        for place in range(int((end - begin).max())):
            inside = begin + place < end
            digits = self.data[np.where(inside, begin + place, begin)] - np.uint8(ord("0"))
            values = np.where(inside, values * 10 + digits, values)
        return values

    def changes(self, code: str, width: int) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
        """Line numbers of the changes of ``code``, and the levels of its bits, shape (n, width)."""
        if width == 1:
            lines = self._with_code(self.scalars, self.starts[self.scalars] + 1, code)
            if len(lines):
                return lines, _levels(self.data[self.starts[lines]])[:, None]
        chosen = self._with_code(np.arange(len(self.vectors)), self.gaps + 1, code)
        lines = self.vectors[chosen]
        begin, gap = self.starts[lines] + 1, self.gaps[chosen]
        levels = np.empty((len(lines), width), np.uint8)
        top = _levels(self.data[begin])
        for bit in range(width):
            inside = gap - 1 - bit >= begin
            written = _levels(self.data[np.where(inside, gap - 1 - bit, begin)])
            # A shorter number is filled with 0, or with its own top digit where that is x or z.
            levels[:, bit] = np.where(inside, written, np.where(top == 1, 0, top))
        return lines, levels

    def _with_code(self, lines: NDArray[np.int64], begin: NDArray[np.int64], code: str) -> NDArray[np.int64]:
        ends = self.ends[lines if lines is self.scalars else self.vectors]
        same = ends - begin == len(code)
        for place, character in enumerate(code.encode("ascii")):
            same[same] = self.data[begin[same] + place] == character
        return lines[same]


def _levels(characters: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Level of each digit: 0, 1 or UNKNOWN."""
    table = np.full(256, UNKNOWN, np.uint8)
    table[[ord("0"), ord("L"), ord("l")]] = 0
    table[[ord("1"), ord("H"), ord("h")]] = 1
    return table[characters]


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
    if not 0 <= start_s < start_s + duration_s <= span_s:
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
    return _tidy(moved[inside], low[inside])


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
