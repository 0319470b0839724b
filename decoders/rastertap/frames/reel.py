"""The pictures made of many fields, gathered while a capture passes: animation, contact sheet, still, map."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from rastertap.frames import views
from rastertap.frames.aspect import PixelShape, pixel_shape, whole_scale
from rastertap.frames.images import shown_codes
from rastertap.frames.look import Look
from rastertap.frames.png import Animation, Picture, encode
from rastertap.frames.weave import woven_rows
from rastertap.streams.counts import lines_per_field

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.frames.model import Frame, Frames
    from rastertap.frames.steadiness import Steadiness
    from rastertap.streams.model import ColourBus, PixelClock, Sync

    Rgb = NDArray[np.uint8]

THUMB_WIDTH = 256
MOST_THUMBS = 96
"""Of a longer capture every second field is left out, again and again."""


class Reel:
    """Gathers fields piece by piece.

    Parameters
    ----------
    streams : mapping of str to object
        Of the first piece that has frames.
    scale : int
    square : bool
        Use whole numbers across and down that come near the pixel's shape, instead of ``scale``.
    """

    def __init__(self, streams: Mapping[str, Any], *, scale: int, square: bool) -> None:
        bus, sync, frames = cast("ColourBus", streams["colour_bus"]), streams["sync"], streams["frames"]
        self._bits, self._colours = len(bus.bits), bus.colours
        self._scale, self._square = scale, square
        counts = lines_per_field(sync)
        self._shape: PixelShape | None = (
            pixel_shape(frames.pixels_per_line, float(np.median(counts))) if counts.size else None
        )
        self._animation = Animation(self._plain.palette)
        self._thumbs: list[tuple[int, Rgb]] = []
        self._every = 1
        self._seen = 0
        self._before: dict[str, Frame] = {}

    @property
    def _plain(self) -> Look:
        return Look(self._bits, self._colours)

    def aspect(self, frame: Frame | None) -> float | None:
        """Width over height of a pixel of a frame; None when no whole field was measured."""
        if self._shape is None:
            return None
        woven = frame is not None and frame.field == "woven"
        return (self._shape.woven() if woven else self._shape).aspect

    def look(self, frame: Frame | None) -> Look:
        """How a frame is drawn."""
        aspect = self.aspect(frame)
        scale = (self._scale, self._scale)
        if self._square and aspect is not None:
            scale = whole_scale(aspect)
        return Look(self._bits, self._colours, scale)

    def add(self, streams: Mapping[str, Any], *, animated: bool, sheet: bool) -> None:
        """Take in the complete fields of a piece."""
        frames: Frames = streams["frames"]
        for frame in frames.complete:
            codes = shown_codes(frames, frame)
            if animated:
                self._animation.add(self.look(frame).pixels(codes))
            if sheet:
                self._add_thumb(frame.index, self._plain.rgb(codes))

    def _add_thumb(self, index: int, picture: Rgb) -> None:
        if self._seen % self._every == 0:
            self._thumbs.append((index, views.small(picture, THUMB_WIDTH, self.aspect(None) or 1.0)))
        self._seen += 1
        if len(self._thumbs) > MOST_THUMBS:
            self._thumbs, self._every = self._thumbs[::2], self._every * 2

    def extras(
        self, streams: Mapping[str, Any], *, rasters: bool, differences: bool
    ) -> Iterator[tuple[str, bytes]]:
        """Give name and bytes of the further pictures of each field of a piece."""
        frames: Frames = streams["frames"]
        place = _sync_place(streams)
        for frame in frames.frames:
            if frame.field == "woven":
                continue
            look = self.look(frame)
            if rasters:
                drawn = views.raster(look, frame.codes, frames.active_of(frame), place, frame.unsure)
                yield f"raster-{frame.index:03d}.png", self._encoded(look, drawn, frame, {})
            before = self._before.get(frame.field)
            if differences and frame.complete and before is not None:
                drawn = views.difference(look, shown_codes(frames, frame), shown_codes(frames, before))
                title = {"Title": f"frame {frame.index} where it differs from frame {before.index}"}
                yield f"difference-{frame.index:03d}.png", self._encoded(look, drawn, frame, title)
            if frame.complete:
                self._before[frame.field] = frame

    def _encoded(self, look: Look, drawn: Rgb, frame: Frame | None, text: Mapping[str, str]) -> bytes:
        return encode(Picture(look.enlarged(drawn), None, look.shape(self.aspect(frame)), text))

    def animation(self, analysis: Analysis, text: Mapping[str, str]) -> bytes:
        """Every complete field, each for as long as it lasts."""
        frames = cast("Frames", analysis.evidence.frames)
        starts = [n.start for n in frames.notes if n.complete and n.field != "woven"]
        tick = float(analysis.capture.tick)
        each = [(b - a) * tick for a, b in itertools.pairwise(starts)]
        sync = cast("Sync", analysis.evidence.sync)
        whole = float(np.median(np.diff(sync.fields.starts))) * tick if sync.fields.starts.size > 1 else 0.02
        # A field that was cut out of the sequence must not hold the one before it for seconds.
        seconds = [*(s if s < 1.5 * whole else whole for s in each), whole]
        look = self.look(None)
        return self._animation.encode(seconds, shape=look.shape(self.aspect(None)), text=text)

    def sheet(self, analysis: Analysis, text: Mapping[str, str]) -> bytes:
        """Small pictures of the fields, with their time."""
        frames = cast("Frames", analysis.evidence.frames)
        starts = {n.index: (n.field, analysis.capture.seconds(n.start)) for n in frames.notes}
        labels = [f"{i}  {starts[i][0]}  {starts[i][1] * 1e3:.2f} ms" for i, _ in self._thumbs]
        drawn = views.sheet([picture for _, picture in self._thumbs], labels)
        return encode(Picture(drawn, text=text))

    def still(self, analysis: Analysis, text: Mapping[str, str]) -> bytes:
        """Draw what most fields agree on; of an interlaced source both fields woven, if there is a frame."""
        frames = cast("Frames", analysis.evidence.frames)
        frame = consensus_frame(frames)
        return encode(
            self.look(frame).picture(shown_codes(frames, frame), aspect=self.aspect(frame), text=text)
        )

    def steadiness(self, analysis: Analysis, text: Mapping[str, str]) -> bytes:
        """Draw the map of each kind of field, and below it one of each bit that flips."""
        frames, bus = (
            cast("Frames", analysis.evidence.frames),
            cast("ColourBus", analysis.evidence.colour_bus),
        )
        drawn, labels = [], []
        for kind, steady in frames.steadiness.items():
            drawn.append(views.steadiness_map(self._plain, steady, frames.areas.get(kind)))
            labels.append(_said(steady, kind))
            for bit, rate in enumerate(steady.rates):
                if rate > 0:
                    drawn.append(views.bit_map(steady, bit))
                    labels.append(
                        f"bit {bit} ({bus.bits[bit].name or 'no channel'}): flips in {rate:.2e} of pixels"
                    )
        if not drawn:
            raise ValueError("there is no complete field to make a map of")
        width = 2 * drawn[0].shape[1] + 40
        return encode(Picture(views.sheet(drawn, labels, width=width), text=text))


def _said(steady: Steadiness, kind: str) -> str:
    return (
        f"{kind}, {steady.fields} fields: orange {int(steady.flips.sum())} flips, blue {steady.moving} "
        f"pixels change, yellow unsure"
    )


def _sync_place(streams: Mapping[str, Any]) -> views.SyncPlace:
    sync, clock = cast("Sync", streams["sync"]), cast("PixelClock", streams["pixel_clock"])
    per_clock = len(cast("ColourBus", streams["colour_bus"]).sampling.reads)
    columns = round(sync.line_width.value / clock.period.value * per_clock)
    rows = 0
    if sync.field_width is not None and sync.fields.offset.size:
        rows = max(0, round(sync.field_width.value - float(np.median(sync.fields.offset))))
    return views.SyncPlace(columns, rows)


def consensus_frame(frames: Frames) -> Frame:
    """Give a frame with the codes that most fields agree on.

    Raises
    ------
    ValueError
        When there is no complete field.
    """
    if not frames.steadiness:
        raise ValueError("there is no complete field")
    complete = {f.field: f for f in reversed(frames.complete)}
    agreed = {kind: replace(complete[kind], codes=s.consensus) for kind, s in frames.steadiness.items()}
    woven = next((f for f in frames.frames if f.field == "woven"), None)
    if woven is None or len(agreed) == 1:
        return next(iter(agreed.values()))
    codes = woven.codes.copy()
    for kind, frame in agreed.items():
        rows = codes[woven_rows(woven, complete[kind])]
        height = min(len(rows), len(frame.codes))
        rows[:height] = frame.codes[:height]
    return replace(woven, codes=codes)
