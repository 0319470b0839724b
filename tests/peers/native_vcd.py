"""A small VCD parser for the helpers: one stamp or change to a line. Nothing here imports rastertap."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

UNITS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}
UNKNOWN = 2


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
        edges: NDArray[np.int64] = self.times[1:][rise]
        return edges


@dataclass(frozen=True, eq=False)
class Native:
    """A simulator's VCD: bit name -> Wave; ``tick`` in seconds, ``end`` the last stamp."""

    tick: Fraction
    end: int
    waves: dict[str, Wave]


def parse_vcd(path: Path) -> Native:
    """Read a VCD that has one stamp or change to a line, as Icarus, GHDL and pyvcd write it."""
    text = path.read_bytes()
    body_at = text.index(b"\n", text.index(b"$enddefinitions")) + 1
    header = text[:body_at].decode("ascii")
    names = _declared(header)
    ((number, unit),) = re.findall(r"\$timescale\s+(\d+)\s*(\w+)\s+\$end", header)
    lines = _Lines(np.frombuffer(text, np.uint8, offset=body_at))
    waves = {}
    for code, bits in names.items():
        where, levels = lines.changes(code, len(bits))
        for bit, name in enumerate(bits):
            waves[name] = tidy(lines.times[where], levels[:, bit])
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


def tidy(times: NDArray[np.int64], levels: NDArray[np.uint8]) -> Wave:
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
        chosen: NDArray[np.int64] = lines[same]
        return chosen


def _levels(characters: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Level of each digit: 0, 1 or UNKNOWN."""
    table = np.full(256, UNKNOWN, np.uint8)
    table[[ord("0"), ord("L"), ord("l")]] = 0
    table[[ord("1"), ord("H"), ord("h")]] = 1
    return table[characters]
