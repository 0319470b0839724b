"""Where on the raster a time lies, and when a pixel was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.frames.model import Frame, FrameNote
    from rastertap.streams.model import Sync


@dataclass(frozen=True)
class Spot:
    """A place on the raster: field, line and pixel from 0; ``kept``: whether the page shows that field."""

    field: int
    line: int
    pixel: int
    kept: bool


class Places:
    """Turns times into places.

    Parameters
    ----------
    analysis : Analysis
        Of a capture with sync and frames.
    kept : sequence of int
        Indices of the fields that the page shows.
    """

    def __init__(self, analysis: Analysis, kept: Sequence[int]) -> None:
        frames, sync = analysis.evidence.frames, analysis.evidence.sync
        if frames is None or sync is None:
            raise ValueError("without frames and sync there are no places")
        self._sync, self._capture = sync, analysis.capture
        self._notes = [n for n in frames.notes if n.field != "woven"]
        self._starts = np.array([n.start for n in self._notes], np.int64)
        self._pixels, self._kept = frames.pixels_per_line, frozenset(kept)

    def at(self, tick: float) -> Spot | None:
        """Give the place of a time in ticks; None before the first field and after the last."""
        index = int(np.searchsorted(self._starts, tick, side="right")) - 1
        if index < 0:
            return None
        note = self._notes[index]
        starts = row_starts(note, self._sync)
        line = int(np.searchsorted(starts, tick, side="right")) - 1
        after = starts[line + 1] if line + 1 < starts.size else starts[line] + self._sync.line_period.value
        if line < 0 or tick >= after:
            return None
        pixel = int((tick - starts[line]) / (after - starts[line]) * self._pixels)
        return Spot(note.index, line, min(pixel, self._pixels - 1), note.index in self._kept)

    def at_second(self, second: float) -> Spot | None:
        """Give the place of a time in seconds from the start of the capture."""
        return self.at(self._capture.start + second / float(self._capture.tick))


def row_starts(field: Frame | FrameNote, sync: Sync) -> NDArray[np.float64]:
    """Give the time at which each row of a field begins, ticks, float64, shape (rows,).

    Measured where the lines are still held; of a long capture's later pieces, from the field sync on with the
    mean line period.
    """
    height = field.codes.shape[0] if hasattr(field, "codes") else field.raster_height
    period, fields, lines = sync.line_period.value, sync.fields, sync.lines.starts
    known = np.flatnonzero(fields.starts == field.start)
    if known.size and fields.first_line[known[0]] < lines.size:
        return _extended(lines[fields.first_line[known[0]] :][:height], height, period)
    if known.size or not lines.size:
        offset = fields.offset[known[0]] if known.size else float(fields.offset.mean())
        return np.asarray(field.start + (offset + np.arange(height)) * period, np.float64)
    # The piece before the first field sync: its last row ends where the first field begins.
    before = lines[: fields.first_line[0] if fields.first_line.size else None]
    return _extended(before[::-1][:height], height, -period)[::-1]


def woven_row_starts(frame: Frame, fields: Sequence[Frame], sync: Sync) -> NDArray[np.float64]:
    """Give the time at which each row of a woven frame begins, ticks; NaN where its fields are not held.

    Parameters
    ----------
    frame : Frame
        Two fields woven, as `rastertap.frames.weave` does it: the later after its field sync, the lower.
    fields : sequence of Frame
        Among them the two.
    sync : Sync
    """
    rows = np.full(frame.codes.shape[0], np.nan)
    offset = dict(zip(sync.fields.starts.tolist(), sync.fields.offset.tolist(), strict=True))
    after = [f for f in fields if f.field != "woven" and f.start >= frame.start and f.start in offset]
    pair = sorted(after, key=lambda f: f.start)[:2]
    for field in pair:
        place = round(2 * (offset[field.start] - min(offset[f.start] for f in pair)))
        starts = row_starts(field, sync)[: rows[place::2].size]
        rows[place::2][: starts.size] = starts
    return rows


def _extended(known: NDArray[np.int64], height: int, period: float) -> NDArray[np.float64]:
    """Go on from the last known time in steps of ``period``."""
    missing = np.arange(1, height - known.size + 1)
    return np.concatenate((known.astype(np.float64), known[-1] + missing * period))
