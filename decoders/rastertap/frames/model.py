"""Rebuilt frames: colour codes on the raster, and what is known of each pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    from rastertap.frames.steadiness import Steadiness

FieldKind = Literal["progressive", "first", "second", "woven"]


@dataclass(frozen=True)
class Area:
    """A rectangle on the raster, in pixel clocks and lines from its top left corner."""

    x: int
    y: int
    width: int
    height: int

    def crop(self, raster: NDArray[np.generic]) -> NDArray[np.generic]:
        """Cut the rectangle out of a raster, shape (height, width)."""
        return raster[self.y : self.y + self.height, self.x : self.x + self.width]


@dataclass(frozen=True, eq=False)
class Frame:
    """One field, or two woven.

    Parameters
    ----------
    index : int
        Place in the capture, from 0; fields first, woven frames after them.
    field : FieldKind
        ``first``: the field whose sync begins with a line; ``second``: half-way through one.
    codes : ndarray of uint8, uint16 or uint32, shape (lines, pixels)
        Colour code of each pixel clock from the line sync's leading edge; row 0 is the first line that
        begins with or after the field sync.
    unsure : ndarray of bool, shape (lines, pixels)
        The bus changed within a sampling step of the sampling point, or no clock edge was there.
    start : int
        Leading edge of the field sync, ticks; of the capture's first line for a field cut at its start.
    complete : bool
        Whether the field begins and ends in the capture.
    """

    index: int
    field: FieldKind
    codes: NDArray[np.unsignedinteger]
    unsure: NDArray[np.bool_]
    start: int
    complete: bool


@dataclass(frozen=True)
class FrameNote:
    """What is kept of every frame of a long capture.

    Parameters
    ----------
    index, field, start, complete
        As in `Frame`.
    raster_width, raster_height : int
        Pixels and lines of the whole raster.
    area : Area or None
        Its active area.
    unsure : int
        Unsure pixels in the active area (on the raster, when there is none).
    """

    index: int
    field: FieldKind
    start: int
    complete: bool
    raster_width: int
    raster_height: int
    area: Area | None
    unsure: int


@dataclass(frozen=True, eq=False)
class Frames:
    """The frames of a capture.

    Parameters
    ----------
    frames : tuple of Frame
        In order of time, woven ones after the fields of their piece. Of a long capture only the first few,
        and the last complete one of each kind.
    notes : tuple of FrameNote
        Of all frames.
    areas : mapping of FieldKind to Area
        The part with picture of each kind of frame: the fields of an interlaced frame may begin a line apart.
        Empty when nothing differs from blanking.
    active_from : str
        How it was found.
    blank_code : int
        Colour code in the line sync.
    pixels_per_line : int
        Pixels, blanking included, in most lines: one a pixel clock cycle, or two.
    lines_right, lines_counted : int
        Lines that have exactly that many, and all whose length was measured.
    shown, used : ndarray of uint32
        Codes that occur in the active area, and anywhere on the raster, of the complete fields (of all, when
        none is complete), sorted.
    steadiness : mapping of FieldKind to Steadiness
        How the complete fields of each kind agree; woven frames are not compared.
    turn : bool
        Every second line has a pixel more, as where a line is a half clock longer than a whole number.
    syncs, sync_squares : int, float
        Line syncs compared with the clock, and the sum of the squares of how far each was off, pixels.
    pixels_per_clock : int
        2 when the bus changes with both edges of the pixel clock.
    """

    frames: tuple[Frame, ...]
    notes: tuple[FrameNote, ...]
    areas: Mapping[FieldKind, Area]
    active_from: str
    blank_code: int
    pixels_per_line: int
    lines_right: int
    lines_counted: int
    shown: NDArray[np.uint32]
    used: NDArray[np.uint32]
    steadiness: Mapping[FieldKind, Steadiness]
    pixels_per_clock: int = 1
    turn: bool = False
    syncs: int = 0
    sync_squares: float = 0.0

    @property
    def line_pixels(self) -> int | float:
        """Pixels of a line, blanking included; with a half where every second line has one more."""
        return self.pixels_per_line + 0.5 if self.turn else self.pixels_per_line

    @property
    def sync_scatter(self) -> float:
        """By how much the line syncs lie off their usual place in the clock cycle, pixels rms."""
        return math.sqrt(self.sync_squares / self.syncs) if self.syncs else 0.0

    @property
    def clocks_per_line(self) -> int | float:
        """Pixel clock cycles in a line; with a half where a cycle has two pixels or lines differ in turn."""
        clocks = self.line_pixels / self.pixels_per_clock
        return int(clocks) if clocks.is_integer() else clocks

    @property
    def clock_words(self) -> str:
        """Say how many pixel clocks a line has, and how many pixels where that is another number."""
        text = f"{self.clocks_per_line} pixel clocks a line"
        if self.turn:
            unit = "" if self.pixels_per_clock == 1 else " pixels"
            text += f", {self.pixels_per_line} and {self.pixels_per_line + 1}{unit} in turn"
        if self.pixels_per_clock == 1:
            return text
        return f"{text}, {self.line_pixels:g} pixels on both their edges"

    @property
    def steady_lines(self) -> float:
        """Part of the lines that have the usual number of pixel clocks, 0..1."""
        return self.lines_right / self.lines_counted if self.lines_counted else 0.0

    @property
    def complete(self) -> tuple[Frame, ...]:
        """Complete fields among the frames kept, woven frames left out."""
        return tuple(f for f in self.frames if f.complete and f.field != "woven")

    @property
    def fields_complete(self) -> int:
        """Number of complete fields in the whole capture."""
        return sum(n.complete and n.field != "woven" for n in self.notes)

    @property
    def active(self) -> Area | None:
        """Active area of the first kind of field there is."""
        return next(iter(self.areas.values()), None)

    def active_of(self, frame: Frame) -> Area | None:
        """Active area of a frame."""
        return self.areas.get(frame.field)
