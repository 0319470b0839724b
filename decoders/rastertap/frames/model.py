"""Rebuilt frames: colour codes on the raster, and what is known of each pixel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

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


@dataclass(frozen=True, eq=False)
class Frames:
    """All frames of a capture.

    Parameters
    ----------
    frames : tuple of Frame
        In order of time; woven ones last.
    areas : mapping of FieldKind to Area
        The part with picture of each kind of frame: the fields of an interlaced frame may begin a line apart.
        Empty when nothing differs from blanking.
    active_from : str
        How it was found.
    blank_code : int
        Colour code in the line sync.
    pixels_per_line : int
        Pixel clocks in most lines.
    steady_lines : float, 0..1
        Part of the lines that have exactly that many.
    """

    frames: tuple[Frame, ...]
    areas: Mapping[FieldKind, Area]
    active_from: str
    blank_code: int
    pixels_per_line: int
    steady_lines: float

    @property
    def complete(self) -> tuple[Frame, ...]:
        """Complete fields, woven frames left out."""
        return tuple(f for f in self.frames if f.complete and f.field != "woven")

    @property
    def active(self) -> Area | None:
        """Active area of the first kind of field there is."""
        return next(iter(self.areas.values()), None)

    def active_of(self, frame: Frame) -> Area | None:
        """Active area of a frame."""
        return self.areas.get(frame.field)
