"""What the picture viewer shows: a few fields whole, packed small, and the still picture beside them."""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.report.page.places import row_starts, woven_row_starts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.analyse import Analysis
    from rastertap.frames.look import Look
    from rastertap.frames.model import Frame, Frames
    from rastertap.frames.steadiness import Steadiness

TYPICAL_BYTES, MOST_BYTES = 1_000_000, 5_000_000
"""Size of the packed fields: all that are kept up to the first; the first and the worst up to the second."""
STILL_BYTES = 1_500_000
"""Largest still picture, before base64; of a larger one pixels are left out evenly."""
STILL_WIDTH = 800
"""The still picture is enlarged as long as it is not wider than this."""
MOST_COUNT = 65_535
"""Highest count that a map holds."""


@dataclass(frozen=True)
class Still:
    """The picture without scripts: data URL, size to show it at, and what it shows."""

    url: str
    width: int
    height: int
    alt: str
    title: str


def pack(array: NDArray[np.generic]) -> str:
    """Pack an array: little-endian bytes, deflated, base64."""
    little = np.ascontiguousarray(array).astype(array.dtype.newbyteorder("<"), copy=False)
    return base64.b64encode(zlib.compress(little.tobytes(), 9)).decode("ascii")


def look_of(analysis: Analysis) -> Look:
    """How the bus's codes are drawn, one device pixel for each pixel."""
    from rastertap.frames.look import Look

    bus = analysis.evidence.streams["colour_bus"]
    return Look(len(bus.bits), bus.colours)


def pixel_aspect(frames: Frames) -> float:
    """Width over height of a pixel of a field, for its shape on the screen."""
    from rastertap.frames.aspect import pixel_shape

    lines = float(np.median([n.raster_height for n in frames.notes if n.field != "woven"]))
    return pixel_shape(frames.pixels_per_line, lines).aspect


def enlarged(zoom: int, aspect: float) -> tuple[int, int]:
    """How many device pixels across and down a pixel takes: whole numbers, the smaller one being ``zoom``."""
    if aspect < 1:
        return zoom, max(1, round(zoom / aspect))
    return max(1, round(zoom * aspect)), zoom


def best(frames: Frames) -> Frame:
    """Choose the frame of the still picture: a woven one, else the first complete field, else the first."""
    woven = [f for f in frames.frames if f.field == "woven"]
    return next(iter([*woven, *frames.complete, *frames.frames]))


def still(analysis: Analysis, frames: Frames) -> Still:
    """Make the picture that shows without scripts."""
    from rastertap.frames.images import shown_codes

    frame = best(frames)
    codes = shown_codes(frames, frame)
    picture, every = _bounded(look_of(analysis), codes)
    url = "data:image/png;base64," + base64.b64encode(picture).decode("ascii")
    height, width = codes.shape
    aspect = pixel_aspect(frames) * (2 if frame.field == "woven" else 1)
    wide, high = enlarged(max(1, STILL_WIDTH // width), aspect)
    kind = "two fields woven" if frame.field == "woven" else f"{frame.field} field"
    what = "active area" if frames.active_of(frame) is not None else "whole raster, no picture found in it"
    alt = (
        f"Rebuilt picture: frame {frame.index}, {kind}, {what}, {width} by {height} pixels,"
        f" {np.unique(codes).size} colours"
    )
    thinned = f", one pixel in {every} across and down" if every > 1 else ""
    return Still(url, width * wide, height * high, alt, f"frame {frame.index}, {kind}{thinned}")


def _bounded(look: Look, codes: NDArray[np.unsignedinteger]) -> tuple[bytes, int]:
    """Encode a picture as PNG, of every so many pixels as keep it within `STILL_BYTES`; and that number."""
    from rastertap.frames.png import encode

    every, picture = 1, encode(look.picture(codes))
    while len(picture) > STILL_BYTES:
        every += 1
        picture = encode(look.picture(codes[::every, ::every]))
    return picture, every


def worst(fields: Sequence[Frame]) -> Frame:
    """Choose the field with the most unsure pixels of the complete ones, the first of several."""
    return max([f for f in fields if f.complete] or fields, key=lambda f: int(f.unsure.sum()))


def viewer_data(analysis: Analysis, frames: Frames) -> dict[str, Any]:
    """Pack as many fields as the page's size allows: the first and the worst before others.

    Returns
    -------
    dict
        ``fields`` (codes as places in the table of colours, unsure pixels as bits, times of the rows), the
        table, and what the script needs to say of a pixel.
    """
    fields = [f for f in frames.frames if f.field != "woven"]
    woven = [f for f in frames.frames if f.field == "woven"][:1]
    first = next((f for f in fields if f.complete), fields[0])
    order = list({f.index: f for f in (first, worst(fields), *woven, *fields)}.values())
    used = np.unique(np.concatenate([np.unique(f.codes) for f in order]))
    table = {"codes": pack(used.astype(np.uint32)), "rgb": pack(look_of(analysis).rgb(used))}
    index = np.min_scalar_type(max(used.size - 1, 0))
    packed: list[dict[str, Any]] = []
    maps = {kind: _maps(steady) for kind, steady in frames.steadiness.items()}
    size = sum(len(v) for one in (table, *maps.values()) for v in one.values() if isinstance(v, str))
    for number, field in enumerate(order):
        one = _field(analysis, frames, field, np.searchsorted(used, field.codes).astype(index))
        size += sum(len(v) for v in one.values() if isinstance(v, str))
        if size > (MOST_BYTES if number < 2 else TYPICAL_BYTES):  # noqa: PLR2004 - the first and the worst
            break
        packed.append(one)
    bus, clock = analysis.evidence.streams["colour_bus"], analysis.evidence.streams["pixel_clock"]
    tick = float(analysis.capture.tick)
    return {
        "table": table,
        "item": index.itemsize,
        "bits": len(bus.bits),
        "known": bus.colours is not None,
        "delay": bus.sampling.delay * tick,
        "period": clock.period.value * tick / len(bus.sampling.reads),
        "maps": maps,
        "fields": sorted(packed, key=lambda f: f["index"]),
    }


def _maps(steady: Steadiness) -> dict[str, Any]:
    """Count, for each pixel, its flips that are noise, and its changes that are not."""
    noise = steady.flips.sum(axis=0).astype(np.int64)
    moving = np.clip(steady.changes.astype(np.int64) - 2 * noise, 0, MOST_COUNT)
    height, width = noise.shape
    return {
        "fields": steady.fields,
        "width": width,
        "height": height,
        "noise": pack(np.minimum(noise, MOST_COUNT).astype(np.uint16)),
        "moving": pack(moving.astype(np.uint16)),
    }


def _field(
    analysis: Analysis, frames: Frames, field: Frame, codes: NDArray[np.unsignedinteger]
) -> dict[str, Any]:
    sync, capture = analysis.evidence.streams["sync"], analysis.capture
    area = frames.active_of(field)
    woven = field.field == "woven"
    starts = woven_row_starts(field, frames.frames, sync) if woven else row_starts(field, sync)
    rows = (starts - capture.start) * float(capture.tick)
    return {
        "index": field.index,
        "kind": field.field,
        "complete": field.complete,
        "aspect": pixel_aspect(frames) * (2 if woven else 1),
        "width": field.codes.shape[1],
        "height": field.codes.shape[0],
        "area": None if area is None else [area.x, area.y, area.width, area.height],
        "codes": pack(codes),
        "unsure": pack(np.packbits(field.unsure, axis=None, bitorder="little")),
        "rows": pack(rows.astype(np.float64)),
    }
