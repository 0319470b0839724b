"""Faults of the video chip itself, with a sound clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.faults.base import NOTHING, ChipDraft, ChipFault, LinesDraft

if TYPE_CHECKING:
    from numpy.typing import NDArray


def _level(active: NDArray[np.bool_], polarity: str) -> NDArray[np.uint8]:
    return (active if polarity == "positive" else ~active).astype(np.uint8)


@dataclass(frozen=True)
class MissingVsync(ChipFault):
    """No vertical sync in each ``every``-th field (1: never any), on vsync and csync alike."""

    name = "chip-missing-vsync"
    strikes = True
    every: int = 1

    def edit_outputs(self, chip: ChipDraft) -> NDArray[np.int64]:
        """Take vsync away from a quarter field before its place to a quarter field after."""
        self.require(self.every >= 1, "every is 1 or more")
        source, period = chip.source, chip.source.clocks_per_field
        since = chip.raster_clock - source.vsync_start + period // 4
        hit = (since // period) % self.every == self.every - 1
        near = hit & (since % period < period // 2)
        if "vsync" in chip.levels:
            chip.levels["vsync"][near] = 0 if source.vsync_polarity == "positive" else 1
        if source.composite is not None:
            line = (chip.raster_clock - source.hsync_start) % source.pixels_per_line
            plain = _level(line < source.hsync_width, source.composite.polarity)
            chip.levels["csync"][near] = plain[near]
        return chip.raster_clock[np.flatnonzero(hit & (since % period == period // 4))]


@dataclass(frozen=True)
class LostLine(ChipFault):
    """One whole line is left out of each ``every``-th field: picture row ``row``, or any (-1, at random)."""

    name = "chip-lost-line"
    strikes = True
    every: int = 1
    row: int = -1

    def edit_lines(self, lines: LinesDraft) -> NDArray[np.int64]:
        """Set the lost lines' lengths to 0."""
        source, lengths = lines.source, lines.lengths
        height = source.active.height
        self.require(self.every >= 1 and self.row < height, f"every is 1 or more, row below {height}")
        frame_lines, whole = source.lines_per_frame, -(-source.clocks_per_field // source.pixels_per_line)
        fields = np.arange(self.every - 1, lengths.size // frame_lines * source.fields_per_frame, self.every)
        first = fields // source.fields_per_frame * frame_lines + fields % source.fields_per_frame * whole
        rows = lines.rng.integers(0, height, fields.size) if self.row < 0 else np.full(fields.size, self.row)
        lost = first + source.active.y + rows
        lengths[lost] = 0
        return lost * source.pixels_per_line


@dataclass(frozen=True)
class ShortLine(ChipFault):
    """Each ``every``-th line ends ``clocks`` pixel clocks early."""

    name = "chip-short-line"
    strikes = True
    every: int
    clocks: int = 1

    def edit_lines(self, lines: LinesDraft) -> NDArray[np.int64]:
        """Shorten the lines."""
        self.require(self.every >= 1, "every is 1 or more")
        source, lengths = lines.source, lines.lengths
        self.require(0 < self.clocks < source.pixels_per_line, f"a line has {source.pixels_per_line} clocks")
        short = np.arange(self.every - 1, lengths.size, self.every)
        lengths[short] = np.maximum(lengths[short] - self.clocks, 0)
        return (short + 1) * source.pixels_per_line - self.clocks


@dataclass(frozen=True)
class HsyncGlitch(ChipFault):
    """A false pulse of ``clocks`` on hsync (and csync) in the active part of each ``every``-th line."""

    name = "chip-hsync-glitch"
    strikes = True
    every: int
    clocks: int = 1

    def edit_outputs(self, chip: ChipDraft) -> NDArray[np.int64]:
        """Invert the sync for the glitch's width."""
        source, line = chip.source, chip.source.pixels_per_line
        self.require(
            self.every >= 1 and 0 < self.clocks < source.active.width, "every and clocks are 1 or more"
        )
        self.require(bool(chip.levels.keys() & {"hsync", "csync"}), "the source has neither hsync nor csync")
        lines = np.arange(self.every - 1, chip.raster_clock[-1] // line, self.every)
        starts = (
            lines * line
            + source.active.x
            + chip.rng.integers(0, source.active.width - self.clocks, lines.size)
        )
        hit = np.isin(chip.raster_clock, (starts[:, np.newaxis] + np.arange(self.clocks)).ravel())
        for name in chip.levels.keys() & {"hsync", "csync"}:
            chip.levels[name][hit] ^= 1
        return starts


@dataclass(frozen=True)
class StuckBit(ChipFault):
    """Colour bit ``bit`` stays at ``level`` inside the chip."""

    name = "chip-stuck-bit"
    bit: int
    level: int = 0

    def edit_outputs(self, chip: ChipDraft) -> NDArray[np.int64]:
        """Hold the bit."""
        bits = chip.source.colour_bits
        self.require(0 <= self.bit < bits and self.level in (0, 1), f"bit is 0..{bits - 1}, level 0 or 1")
        mask = np.uint32(1 << self.bit)
        chip.codes[:] = chip.codes | mask if self.level else chip.codes & ~mask
        return NOTHING


@dataclass(frozen=True)
class NoisyBit(ChipFault):
    """Colour bit ``bit`` is wrong for one pixel clock in ``one_in``, at random."""

    name = "chip-noisy-bit"
    strikes = True
    bit: int
    one_in: int = 1000

    def edit_outputs(self, chip: ChipDraft) -> NDArray[np.int64]:
        """Flip the bit."""
        bits = chip.source.colour_bits
        self.require(0 <= self.bit < bits and self.one_in >= 1, f"bit is 0..{bits - 1}, one_in is 1 or more")
        hit = np.flatnonzero(chip.rng.random(chip.codes.size) < 1 / self.one_in)
        chip.codes[hit] ^= np.uint32(1 << self.bit)
        return chip.raster_clock[hit]
