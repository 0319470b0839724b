"""The video chip: from its clock to the levels on its pins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.faults.base import ChipDraft, LinesDraft
from rastertap.bench.raster import control_levels, frame_codes, with_border
from rastertap.bench.wave import FS_PER_NS, Wave, from_levels
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.bench.faults import ChipFault
    from rastertap.bench.source import VideoSource

ATTEMPTS = 8


@dataclass(frozen=True, eq=False)
class ChipRun:
    """What the chip sent.

    Parameters
    ----------
    waves : dict of str to Wave
        Signal name to its wave; ``pixel_clock`` is not the chip's.
    raster_clock : ndarray of int64, shape (n,)
        For each clock that the chip saw, its place in the endless raster (clocks from the first frame).
    areas : ndarray of uint32, shape (fields, active height, active width)
        The pictures with their border; field n shows ``areas[n % fields]``.
    struck : tuple of ndarray of int64
        For each fault, the raster clocks at which it struck.
    """

    waves: dict[str, Wave]
    raster_clock: NDArray[np.int64]
    areas: NDArray[np.uint32]
    struck: tuple[NDArray[np.int64], ...]


def _raster_clock(
    source: VideoSource, clocks: int, faults: Sequence[ChipFault], seeds: Sequence[Sequence[int]]
) -> tuple[NDArray[np.int64], list[NDArray[np.int64]]]:
    """Place each of the chip's clocks in the raster, leaving out what line faults lose."""
    frames = clocks // source.clocks_per_frame + 2
    for _ in range(ATTEMPTS):
        lengths = np.full(frames * source.lines_per_frame, source.pixels_per_line, np.int64)
        struck = [
            f.edit_lines(LinesDraft(source, lengths, np.random.default_rng(list(s))))
            for f, s in zip(faults, seeds, strict=True)
        ]
        if lengths.sum() >= clocks:
            starts = np.arange(lengths.size) * source.pixels_per_line
            skipped = starts - (np.cumsum(lengths) - lengths)
            return (np.arange(lengths.sum()) + np.repeat(skipped, lengths))[:clocks], struck
        frames *= 2
    raise UsageError("the line faults leave hardly any line", hint="shorten fewer lines, or by less")


def _codes(
    source: VideoSource, raster_clock: NDArray[np.int64], areas: NDArray[np.uint32]
) -> NDArray[np.uint32]:
    """Colour code at each clock; field n shows ``areas[n % len(areas)]``."""
    codes = np.empty(raster_clock.size, np.uint32)
    tables: dict[tuple[int, ...], NDArray[np.uint32]] = {}
    for frame in range(int(raster_clock[-1]) // source.clocks_per_frame + 1):
        begin = frame * source.clocks_per_frame
        part = slice(*np.searchsorted(raster_clock, (begin, begin + source.clocks_per_frame)))
        shown = tuple(
            (frame * source.fields_per_frame + f) % len(areas) for f in range(source.fields_per_frame)
        )
        if shown not in tables:
            tables[shown] = frame_codes(source, [areas[i] for i in shown])
        codes[part] = tables[shown][raster_clock[part] - begin]
    return codes


def _waves(chip: ChipDraft, edges: NDArray[np.int64]) -> dict[str, Wave]:
    source = chip.source
    levels = dict(chip.levels)
    for bit in range(source.colour_bits):
        levels[f"colour{bit}"] = ((chip.codes >> np.uint32(bit)) & 1).astype(np.uint8)
    half = source.cpu_clock_divider // 2
    levels["cpu_clock"] = (np.arange(edges.size) // half & 1).astype(np.uint8)
    return {
        name: from_levels(level, edges, int(level[0])).delayed(round(source.delay_ns(name) * FS_PER_NS))
        for name, level in levels.items()
    }


def run_chip(
    source: VideoSource,
    edges: NDArray[np.int64],
    pictures: NDArray[np.uint32],
    faults: Sequence[ChipFault],
    seeds: Sequence[Sequence[int]],
) -> ChipRun:
    """Clock the chip by ``edges`` (femtoseconds), showing ``pictures`` in turn, one a field.

    Raises
    ------
    UsageError
        When a picture does not fit the source, or a fault cannot be injected.
    """
    areas = np.stack([with_border(source, picture) for picture in pictures])
    raster_clock, lost = _raster_clock(source, edges.size, faults, seeds)
    frame = raster_clock % source.clocks_per_frame
    levels = {name: table[frame] for name, table in control_levels(source).items()}
    chip = ChipDraft(
        source, raster_clock, levels, _codes(source, raster_clock, areas), np.random.default_rng(0)
    )
    changed = []
    for fault, fault_seed in zip(faults, seeds, strict=True):
        chip.rng = np.random.default_rng([*fault_seed, 1])
        changed.append(fault.edit_outputs(chip))
    struck = tuple(np.concatenate(pair) for pair in zip(lost, changed, strict=True))
    return ChipRun(_waves(chip, edges), raster_clock, areas, struck)
