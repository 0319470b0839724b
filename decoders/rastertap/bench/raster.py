"""One frame of a source as tables: the level of every output at every pixel clock."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.bench.source import CompositeSync, VideoSource
from rastertap.errors import UsageError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.roles import Polarity

BROADCAST_PULSES = {
    "625": (5, Fraction("2.35e-6"), Fraction("4.7e-6")),
    "525": (6, Fraction("2.3e-6"), Fraction("4.7e-6")),
}
"""Half-line pulses in each sequence, equalising pulse (p) and serration (r) in seconds: BT.470 Table 1-2."""


def equalised_sync(
    system: Literal["625", "525"],
    pixel_clock_hz: Fraction,
    pixels_per_line: int,
    polarity: Polarity = "negative",
) -> CompositeSync:
    """Give broadcast composite sync in whole pixel clocks, nearest to BT.470 Table 1-2.

    The broad pulse is what the serration leaves of half a line (q + r = H/2, BT.1700 Fig. 5).
    """
    count, equalising, serration = BROADCAST_PULSES[system]
    return CompositeSync(
        "equalised",
        polarity,
        before=count,
        broad=count,
        after=count,
        equalising_clocks=round(equalising * pixel_clock_hz),
        broad_clocks=pixels_per_line // 2 - round(serration * pixel_clock_hz),
    )


def _vsync_starts(source: VideoSource) -> list[int]:
    return [source.vsync_start + f * source.clocks_per_field for f in range(source.fields_per_frame)]


def _hsync(source: VideoSource) -> NDArray[np.bool_]:
    line = (
        np.arange(source.pixels_per_line) - source.hsync_start
    ) % source.pixels_per_line < source.hsync_width
    return np.tile(line, source.lines_per_frame)


def _vsync(source: VideoSource) -> NDArray[np.bool_]:
    active = np.zeros(source.clocks_per_frame, np.bool_)
    width = int(source.vsync_width_lines * source.pixels_per_line)
    for start in _vsync_starts(source):
        active[np.arange(start, start + width) % active.size] = True
    return active


def _equalised(source: VideoSource, sync: CompositeSync) -> NDArray[np.bool_]:
    """Line sync with half-line pulses round vsync, which begins with the first broad pulse."""
    half, odd = divmod(source.pixels_per_line, 2)
    if odd or (source.vsync_start_clock - source.hsync_start) % half:
        raise UsageError(
            f"video source '{source.name}': equalised csync: vsync must begin with hsync or half a line on",
            hint="set vsync_start_clock to hsync_start or half a line on; an even number of clocks a line",
        )
    if not (0 < sync.equalising_clocks < half and 0 < sync.broad_clocks < half):
        raise UsageError(
            f"video source '{source.name}': an equalising or broad pulse does not fit in half a line",
            hint="use rastertap.bench.raster.equalised_sync for the broadcast widths",
        )
    active = _hsync(source)
    for start in _vsync_starts(source):
        pulses = range(-sync.before, sync.broad + sync.after)
        active[np.arange(start + pulses[0] * half, start + (pulses[-1] + 1) * half) % active.size] = False
        for pulse in pulses:
            width = sync.broad_clocks if 0 <= pulse < sync.broad else sync.equalising_clocks
            active[np.arange(start + pulse * half, start + pulse * half + width) % active.size] = True
    return active


def _composite(source: VideoSource, sync: CompositeSync) -> NDArray[np.bool_]:
    if sync.style == "equalised":
        return _equalised(source, sync)
    return _hsync(source) | _vsync(source) if sync.style == "or" else _hsync(source) ^ _vsync(source)


def active_lines(source: VideoSource, field: int) -> NDArray[np.int64]:
    """Frame lines of one field's active rows, shape (active height,).

    The second field's rows come ``ceil(lines_per_field)`` lines after the first's, that is half a line lower.
    """
    offset = -(-source.clocks_per_field // source.pixels_per_line) * (field % source.fields_per_frame)
    return (source.active.y + offset + np.arange(source.active.height)) % source.lines_per_frame


def _display(source: VideoSource) -> NDArray[np.bool_]:
    grid = np.zeros((source.lines_per_frame, source.pixels_per_line), np.bool_)
    for field in range(source.fields_per_frame):
        grid[active_lines(source, field), source.active.x : source.active.x + source.active.width] = True
    return grid.ravel()


def _level(active: NDArray[np.bool_], polarity: Polarity) -> NDArray[np.uint8]:
    return (active if polarity == "positive" else ~active).astype(np.uint8)


def control_levels(source: VideoSource) -> dict[str, NDArray[np.uint8]]:
    """Level of each sync and blanking output at each clock of a frame, uint8, shape (clocks_per_frame,)."""
    levels: dict[str, NDArray[np.uint8]] = {}
    if source.separate_sync:
        levels["hsync"] = _level(_hsync(source), source.hsync_polarity)
        levels["vsync"] = _level(_vsync(source), source.vsync_polarity)
    if source.composite is not None:
        levels["csync"] = _level(_composite(source, source.composite), source.composite.polarity)
    if source.blank_polarity is not None:
        levels["blank"] = _level(~_display(source), source.blank_polarity)
    if source.display_enable_polarity is not None:
        levels["display_enable"] = _level(_display(source), source.display_enable_polarity)
    return levels


def with_border(source: VideoSource, picture: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Give the whole active area of one field, shape (active height, active width).

    Raises
    ------
    UsageError
        When the picture is not of the source's `picture_size`, or a code needs more bits than the bus has.
    """
    width, height = source.picture_size
    if picture.shape != (height, width):
        raise UsageError(
            f"the picture is {picture.shape[1]} x {picture.shape[0]}, the source shows {width} x {height}",
            hint="make the picture for this source (rastertap.bench.card.card_for)",
        )
    if int(picture.max()) >> source.colour_bits:
        raise UsageError(
            f"colour code {int(picture.max())} does not fit in {source.colour_bits} bits",
            hint="make the picture with the source's number of colour bits",
        )
    if source.border is None:
        return picture
    area = np.full((source.active.height, source.active.width), source.border.code, np.uint32)
    area[source.border.top :, source.border.left :][:height, :width] = picture
    return area


def frame_codes(source: VideoSource, fields: list[NDArray[np.uint32]]) -> NDArray[np.uint32]:
    """Colour code at each clock of a frame, shape (clocks_per_frame,), from its fields' active areas."""
    grid = np.full((source.lines_per_frame, source.pixels_per_line), source.blanking_code, np.uint32)
    for index, area in enumerate(fields):
        grid[active_lines(source, index), source.active.x : source.active.x + source.active.width] = area
    return grid.ravel()
