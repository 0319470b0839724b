"""Frames from pixel clock, sync and colour bus."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar, cast

import numpy as np

from rastertap.errors import DecodeError
from rastertap.frames.active import blanking_code, find_active, grown
from rastertap.frames.model import FieldKind, Frame, FrameNote, Frames
from rastertap.frames.raster import LineGrid, line_grid, read_codes, read_times, rows
from rastertap.frames.steadiness import begin, extend
from rastertap.frames.weave import weave
from rastertap.match import Match
from rastertap.streams.counts import lines_per_field
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.role_judges import LONGEST_FIELD_SYNC

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.frames.model import Area
    from rastertap.frames.steadiness import Steadiness
    from rastertap.streams.model import ColourBus, PixelClock, Sync

FEWEST_LINES = 8
"""A shorter piece of a field at the edge of the capture is left out."""
KEPT = 8
"""Frames of a long capture that are kept with all their codes."""


@dataclass(frozen=True)
class FrameOptions:
    """Options of the frame decoder.

    Parameters
    ----------
    weave : bool
        Put the two fields of an interlaced frame together too.
    """

    weave: bool = True


@dataclass(frozen=True)
class _Span:
    """Lines ``first`` up to ``last`` of one field; ``row`` is the row of the first one."""

    first: int
    last: int
    row: int
    start: int
    kind: FieldKind
    complete: bool


class FrameDecoder:
    """Arranges what the bus carries into lines and fields."""

    name: ClassVar[str] = "frames"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "frames: the colour bus read at every pixel clock, arranged by sync"
    needs: ClassVar[frozenset[str]] = frozenset({"pixel_clock", "sync", "colour_bus"})
    gives: ClassVar[str] = "frames"
    Options: ClassVar[type] = FrameOptions

    def match(self, context: Context) -> Match:
        """Fit whenever the three streams are there."""
        return Match(0.9, tuple(sorted(context.streams)))

    def decode(self, context: Context, options: FrameOptions) -> Frames:
        """Read, arrange, find the active area, weave."""
        clock = cast("PixelClock", context.streams["pixel_clock"])
        sync = cast("Sync", context.streams["sync"])
        bus = cast("ColourBus", context.streams["colour_bus"])
        counted = context.counted
        reads = bus.sampling.reads
        grid = line_grid(sync.lines, clock, counted, len(reads))
        if grid.pixels < 1:
            raise DecodeError("no pixel clock runs through the lines")
        spans = _spans(sync)
        if not spans:
            raise DecodeError("no field begins in the capture, and no piece of one is long enough")
        times = read_times(clock, reads)
        codes, unsure = read_codes(bus.bits, times, context.step)
        fields = [
            _frame(i, span, _arrange(span, codes, unsure, grid), len(bus.bits))
            for i, span in enumerate(spans)
        ]
        woven = weave(fields, sync) if options.weave and sync.interlaced else []
        frames = [replace(f, index=i) for i, f in enumerate([*fields, *woven])]
        before = cast("Frames | None", context.before.get("frames"))
        whole = [f for f in fields if f.complete] or fields
        width = max(1, round(sync.line_width.value / clock.period.value * len(reads)))
        blank = blanking_code(whole, width) if before is None else before.blank_code
        windows = None
        if (window := sync.window or _window_channel(context)) is not None:
            levels, doubtful = read_codes([window], times, context.step)
            shown = [_frame(i, s, _arrange(s, levels, doubtful, grid), 1) for i, s in enumerate(spans)]
            windows = _windows([*shown, *(weave(shown, sync) if woven else [])])
            if (vertical := _field_blanking(context, sync)) is not None:
                levels, doubtful = read_codes([vertical], times, context.step)
                shown = [_frame(i, s, _arrange(s, levels, doubtful, grid), 1) for i, s in enumerate(spans)]
                shut = int(sync.field_polarity == "positive")
                shown += weave(shown, sync) if woven else []
                windows = {i: windows[i] & (f.codes != shut) & ~f.unsure for i, f in enumerate(shown)}
        areas, how = find_active(frames, blank, windows)
        if sync.window is not None and windows is not None:
            how = "from the timing codes in the bus (SAV, EAV and V)"
        areas = areas if before is None else grown(before.areas, areas)
        kept = [f for f in frames if counted[0] <= f.start < counted[1]]
        first = len(before.notes) if before is not None else 0
        kept = [replace(f, index=first + i) for i, f in enumerate(kept)]
        steadiness = _steadiness(kept, areas, len(bus.bits), {} if before is None else before.steadiness)
        found = _frames(kept, areas, how, blank, grid, steadiness=steadiness)
        return replace(found, pixels_per_clock=len(reads))

    def join(self, earlier: Frames, later: Frames, at: int) -> Frames:  # noqa: ARG002 - decode() keeps what counts
        """Keep the first few frames and the last ones, and the notes of all.

        What `decode` was given as ``before`` the later piece's statistics on steadiness already hold.
        """
        kept = earlier.frames[:KEPT]
        last = {f.field: f for f in (*earlier.frames, *later.frames) if f.complete}
        same = earlier.pixels_per_line == later.pixels_per_line
        return replace(
            earlier,
            frames=(*kept, *sorted((f for f in last.values() if f not in kept), key=lambda f: f.index)),
            notes=earlier.notes + later.notes,
            areas=later.areas,
            lines_right=earlier.lines_right + (later.lines_right if same else 0),
            lines_counted=earlier.lines_counted + later.lines_counted,
            syncs=earlier.syncs + later.syncs,
            sync_squares=earlier.sync_squares + later.sync_squares,
            shown=np.union1d(earlier.shown, later.shown),
            used=np.union1d(earlier.used, later.used),
            steadiness=later.steadiness,
        )


def _steadiness(
    frames: Sequence[Frame],
    areas: Mapping[FieldKind, Area],
    bits: int,
    before: Mapping[FieldKind, Steadiness],
) -> dict[FieldKind, Steadiness]:
    """Compare the complete fields of each kind with each other, those before them included."""
    found = dict(before)
    for kind in {f.field: None for f in frames if f.complete and f.field != "woven"}:
        same = [f for f in frames if f.complete and f.field == kind]
        if kind not in found:
            shapes = [f.codes.shape for f in same]
            usual = shapes.index(max(shapes, key=shapes.count))
            first = same.pop(usual)
            found[kind] = begin(first, bits, areas.get(kind))
        found[kind] = extend(found[kind], same, areas.get(kind))
    return found


def _frames(
    frames: list[Frame],
    areas: dict[FieldKind, Area],
    how: str,
    blank: int,
    grid: LineGrid,
    *,
    steadiness: dict[FieldKind, Steadiness],
) -> Frames:
    """Note every frame and gather what is said of all of them."""
    crops = {f.index: area.crop(f.codes) for f in frames if (area := areas.get(f.field)) is not None}
    notes = []
    for f in frames:
        area = areas.get(f.field)
        unsure = f.unsure if area is None else area.crop(f.unsure)
        height, width = f.codes.shape
        notes.append(FrameNote(f.index, f.field, f.start, f.complete, width, height, area, int(unsure.sum())))
    fields = [f for f in frames if f.field != "woven"]
    whole = [f for f in fields if f.complete] or fields
    return Frames(
        frames=tuple(frames),
        notes=tuple(notes),
        areas=areas,
        active_from=how,
        blank_code=blank,
        pixels_per_line=grid.pixels,
        lines_right=grid.right,
        lines_counted=grid.counted,
        turn=grid.turn,
        syncs=grid.syncs,
        sync_squares=grid.squares,
        shown=_codes([crops[f.index] for f in whole if f.index in crops]),
        used=_codes([f.codes[~f.unsure] for f in whole]),
        steadiness=steadiness,
    )


def _codes(rasters: Sequence[NDArray[np.generic]]) -> NDArray[np.uint32]:
    found = [np.unique(r) for r in rasters]
    return np.unique(np.concatenate(found)).astype(np.uint32) if found else np.empty(0, np.uint32)


def _windows(levels: list[Frame]) -> dict[int, NDArray[np.bool_]]:
    """Where the channel is not at the level that it has in line sync (no picture), by frame index."""
    shut = round(float(np.mean([f.codes[:, :1].mean() for f in levels if f.field != "woven"])))
    return {i: (f.codes != shut) & ~f.unsure for i, f in enumerate(levels)}


def _spans(sync: Sync) -> list[_Span]:
    """Cut the lines into fields, with the pieces at both ends of the capture."""
    first, lines = sync.fields.first_line, sync.lines.starts
    found: list[_Span] = []
    height = _rows_before(sync)
    begin = int(first[0]) if first.size else 0
    if begin >= FEWEST_LINES:
        kind = _kind(sync, -1)
        found.append(_Span(0, begin, max(height - begin, 0), int(lines[0]), kind, complete=False))
    for i in range(first.size):
        complete = i + 1 < first.size
        last = int(first[i + 1]) if complete else lines.size - 1
        if last - first[i] >= FEWEST_LINES:
            found.append(_Span(int(first[i]), last, 0, int(sync.fields.starts[i]), _kind(sync, i), complete))
    return found


def _rows_before(sync: Sync) -> int:
    """Rows of the field whose sync came before the capture, by the others; 0 when no whole field tells.

    It is of the kind of the second field that begins in the capture, if fields differ.
    """
    fields = sync.fields
    known = lines_per_field(sync)
    if not known.size:
        return 0
    lines = usual = float(np.median(known))
    if known.size > 1 and abs(fields.lines[1] - usual) <= 1:
        lines = float(fields.lines[1])
    # The half line by which the two fields of an interlaced frame differ makes a row in one of them.
    return round(float(lines + fields.offset[0] - fields.offset[1]))


def _kind(sync: Sync, index: int) -> FieldKind:
    """Name the field; -1 is the piece before the first field sync."""
    if not sync.interlaced:
        return "progressive"
    offset = sync.fields.offset
    late = offset[abs(index)] if abs(index) < offset.size else offset[0]
    # A field sync half-way through a line leaves half a line to the next one.
    late_of_all = offset.max() - offset.min() > 0.25 and late > offset.min() + 0.25  # noqa: PLR2004 - half of a half line
    return "second" if late_of_all else "first"


def _arrange(
    span: _Span, codes: NDArray[np.uint32], unsure: NDArray[np.uint8], grid: LineGrid
) -> tuple[NDArray[np.uint32], NDArray[np.bool_]]:
    raster, doubtful = rows(codes, unsure, grid.first[span.first : span.last], grid.pixels)
    above = np.zeros((span.row, grid.pixels))
    return np.concatenate((above.astype(np.uint32), raster)), np.concatenate((above == 0, doubtful))


def _frame(
    index: int, span: _Span, arranged: tuple[NDArray[np.uint32], NDArray[np.bool_]], bits: int
) -> Frame:
    raster, doubtful = arranged
    kept = raster.astype(np.min_scalar_type((1 << bits) - 1))
    return Frame(index, span.kind, kept, doubtful, span.start, span.complete)


def _window_channel(context: Context) -> Channel | None:
    """Channel that says where the picture is, if one was tapped."""
    return context.channel_with("display_enable") or context.channel_with("blank")


def _field_blanking(context: Context, sync: Sync) -> Channel | None:
    """Channel of a field blanking that goes with line blanking on another."""
    if sync.kind != "blanking" or sync.field_width is None or sync.field_width.value <= LONGEST_FIELD_SYNC:
        return None
    return context.channel_with("vsync")
