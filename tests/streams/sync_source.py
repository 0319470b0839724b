"""Sync channels made edge by edge from line lengths, with what is put wrong in them known exactly."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import Capture, Channel, SamplePeriod
from rastertap.streams.interface import Context, Pin

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.roles import Polarity, Role

PS_IN_TICK = 1000
"""Ticks are nanoseconds; the source counts in picoseconds, the analyser samples on its own grid."""


@dataclass
class SyncSource:
    """Separate syncs of whole lines.

    Parameters
    ----------
    line_ps, width_ps : int
        Line period and line sync.
    lines : int
        Lines a field.
    fields : int
        Fields in the recording, and a bit.
    vsync_lines : float
        Width of the field sync.
    vsync_place : float
        Where in its line the field sync begins.
    step_ns : int
        The analyser's step.
    phase_ps : int
        Of its first sample.
    jitter_ps : float
        Of every line sync, rms.
    low : bool
        Whether the pulses are low.
    """

    line_ps: int = 64_000_000
    width_ps: int = 4_700_000
    lines: int = 312
    fields: int = 3
    vsync_lines: float = 3.0
    vsync_place: float = 0.0
    step_ns: int = 10
    phase_ps: int = 3_210
    jitter_ps: float = 0.0
    low: bool = True
    seed: int = 0
    length_off: dict[int, int] = field(default_factory=dict)
    """Line (from the first) to what it is longer by, ps."""
    moved: dict[int, int] = field(default_factory=dict)
    """Line to what its sync alone is late by, ps."""
    widths: dict[int, int] = field(default_factory=dict)
    """Line to the width of its sync, ps."""
    gone: frozenset[int] = frozenset()
    """Lines without a sync pulse."""
    stray: tuple[tuple[int, float, int], ...] = ()
    """(line, place in it, width in ps) of pulses that do not belong."""
    no_vsync: frozenset[int] = frozenset()
    """Fields (from the first whole one, 0) without a field sync."""
    field_off: dict[int, int] = field(default_factory=dict)
    """Field to the lines it has too many."""
    begin_line: int = 100

    def _counts(self) -> list[int]:
        return [self.lines + self.field_off.get(k, 0) for k in range(self.fields)]

    def line_starts(self) -> NDArray[np.int64]:
        total = self.begin_line + sum(self._counts()) + 40
        lengths = np.full(total, self.line_ps, np.int64)
        for line, off in self.length_off.items():
            lengths[line] += off
        return np.concatenate(([0], np.cumsum(lengths))) + 5_000_000

    def field_lines(self) -> list[int]:
        """Line at which each field begins."""
        return [self.begin_line, *(self.begin_line + int(n) for n in np.cumsum(self._counts()))]

    def _sampled(self, edges: list[tuple[int, int]], name: str) -> Channel:
        """Sample pulses given as (start, end) in ps."""
        starts = np.array([e[0] for e in edges], np.int64)
        ends = np.array([e[1] for e in edges], np.int64)
        step = self.step_ns * PS_IN_TICK
        ticks = [-(-(t - self.phase_ps) // step) * self.step_ns for t in (starts, ends)]
        keep = ticks[0] < ticks[1]
        times = np.stack([t[keep] for t in ticks], axis=1).ravel()
        idle = 1 if self.low else 0
        levels = np.tile(np.array([1 - idle, idle], np.uint8), int(keep.sum()))
        return Channel(name, idle, times, levels)

    def channels(self) -> tuple[Channel, Channel]:
        starts = self.line_starts()
        random = np.random.default_rng(self.seed)
        pulses = []
        for line, start in enumerate(starts[:-1].tolist()):
            late = self.moved.get(line, 0) + round(random.normal(0, self.jitter_ps) if self.jitter_ps else 0)
            width = self.widths.get(line, self.width_ps)
            if line not in self.gone:
                pulses.append((start + late, start + late + width))
        for line, place, width in self.stray:
            at = int(starts[line] + place * self.line_ps)
            pulses.append((at, at + width))
        vertical = []
        for number, line in enumerate(self.field_lines()):
            if number not in self.no_vsync:
                at = int(starts[line] + self.vsync_place * self.line_ps)
                vertical.append((at, at + int(self.vsync_lines * self.line_ps)))
        return self._sampled(sorted(pulses), "h"), self._sampled(vertical, "v")

    def capture(self) -> Capture:
        channels = self.channels()
        end = int(self.line_starts()[-1] // PS_IN_TICK)
        period = SamplePeriod(float(self.step_ns), 0.0, known=True)
        return Capture("made", Fraction(1, 10**9), 0, end, channels, sample_period=period)

    def context(self) -> Context:
        polarity: Polarity = "negative" if self.low else "positive"
        return Context(self.capture(), (pin("h", "hsync", polarity), pin("v", "vsync", polarity)))


def pin(channel: str, role: Role, polarity: Polarity | None = None, bit: int | None = None) -> Pin:
    return Pin(channel, role, bit, polarity, 1.0, ("made so",))
