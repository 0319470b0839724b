"""A small source, and a recording read back from its file by pyvcd's tokenizer (not rastertap's reader)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from vcd.reader import TokenKind, tokenize

from rastertap.bench.analyser import Analyser, plug
from rastertap.bench.faults import parse_fault
from rastertap.bench.make import MadeCapture, make_capture
from rastertap.bench.source import Rectangle, VideoSource

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

SMALL = VideoSource(
    name="SMALL",
    pixel_clock_hz=Fraction(5_000_000),
    pixels_per_line=64,
    lines_per_field=Fraction(20),
    active=Rectangle(16, 5, 40, 12),
    colour_bits=4,
    hsync_start=0,
    hsync_width=6,
    vsync_width_lines=Fraction(2),
    default_delay_ns=0.0,
)
"""200 ns a clock and no delay: on a 100 MS/s grid every change falls at most one sample late."""


@dataclass(frozen=True)
class Line:
    """One channel as pyvcd read it: level at the start, times of changes in ns, levels after them."""

    initial: int
    times: NDArray[np.int64]
    levels: NDArray[np.uint8]

    def rising(self) -> NDArray[np.int64]:
        return self.times[self.levels == 1]

    def falling(self) -> NDArray[np.int64]:
        return self.times[self.levels == 0]

    def at(self, times: Any) -> NDArray[np.uint8]:
        known = np.concatenate((np.array([self.initial], np.uint8), self.levels))
        return known[np.searchsorted(self.times, times, side="right")]


@dataclass(frozen=True)
class Recording:
    """What the file says, and what the bench says is true."""

    made: MadeCapture
    end: int
    lines: dict[str, Line]

    def signal(self, name: str) -> Line:
        """The channel that is meant to carry a signal."""
        return self.lines[next(label for label, signal in self.made.analyser.wires if signal == name)]


def read_by_pyvcd(path: Path) -> tuple[int, dict[str, Line]]:
    names: dict[str, str] = {}
    changes: dict[str, list[tuple[int, int]]] = {}
    now = 0
    with path.open("rb") as file:
        for token in tokenize(file):
            if token.kind is TokenKind.VAR:
                names[token.var.id_code] = token.var.reference
                changes[token.var.id_code] = []
            elif token.kind is TokenKind.CHANGE_TIME:
                now = token.time_change
            elif token.kind is TokenKind.CHANGE_SCALAR:
                changes[token.scalar_change.id_code].append((now, int(token.scalar_change.value)))
    lines = {}
    for code, found in changes.items():
        times, levels = np.array(found, np.int64).reshape(-1, 2).T
        lines[names[code]] = Line(int(levels[0]), times[1:], levels[1:].astype(np.uint8))
    return now, lines


@pytest.fixture
def small() -> VideoSource:
    return SMALL


@pytest.fixture
def record(tmp_path: Path) -> Callable[..., Recording]:
    """Make a capture of a source with faults given as text, write it, and read it back."""

    def run(
        source: VideoSource = SMALL, *faults: str, picture: Any = None, seed: int = 1, **settings: Any
    ) -> Recording:
        analyser = replace(Analyser(plug(source, channels=8), phase=0.0), **settings)
        made = make_capture(source, analyser, [parse_fault(text) for text in faults], picture, seed=seed)
        path = tmp_path / "made.vcd"
        made.write_vcd(path)
        end, lines = read_by_pyvcd(path)
        return Recording(made, end, lines)

    return run
