"""How codes become pixels of a picture: colours, scale and the shape of a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.png import MAX_PALETTE, Picture

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from rastertap.standards.colour_set import ColourSet

INDEXED_BITS = 8
"""Codes of up to this many bits make an indexed picture."""
SHAPE_UNIT = 100_000
"""Pixels a unit of length across, in the pixel shape that a PNG holds."""


@dataclass(frozen=True, eq=False)
class Look:
    """How the codes of a bus are drawn.

    Parameters
    ----------
    bits : int
        Of the bus.
    colours : ColourSet or None
        None draws evenly spaced greys.
    scale : (int, int)
        Device pixels across and down for each pixel.
    """

    bits: int
    colours: ColourSet | None = None
    scale: tuple[int, int] = (1, 1)

    @property
    def palette(self) -> NDArray[np.uint8] | None:
        """R'G'B' of each index; None for a bus too wide for an indexed picture."""
        if self.bits > INDEXED_BITS:
            return None
        return self.rgb(np.arange(min(1 << self.bits, MAX_PALETTE), dtype=np.uint32))

    def rgb(self, codes: NDArray[np.unsignedinteger]) -> NDArray[np.uint8]:
        """R'G'B' of codes, shape (..., 3)."""
        if self.colours is not None:
            return self.colours.colours(codes)
        top = (1 << self.bits) - 1
        greys = np.rint(np.asarray(codes, np.float64) * 255 / max(top, 1)).astype(np.uint8)
        return np.repeat(greys[..., np.newaxis], 3, axis=-1)

    def enlarged(self, pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Repeat every pixel to scale."""
        across, down = self.scale
        return np.repeat(np.repeat(pixels, down, axis=0), across, axis=1)

    def pixels(self, codes: NDArray[np.unsignedinteger]) -> NDArray[np.uint8]:
        """Palette indices (up to 8 bits) or R'G'B' of codes, to scale."""
        small = codes.astype(np.uint8) if self.bits <= INDEXED_BITS else self.rgb(codes)
        return self.enlarged(small)

    def shape(self, aspect: float | None) -> tuple[int, int] | None:
        """Pixel shape as a PNG holds it, for pixels of this width over height before they are enlarged."""
        if aspect is None:
            return None
        across, down = self.scale
        return SHAPE_UNIT, round(SHAPE_UNIT * aspect * down / across)

    def picture(
        self,
        codes: NDArray[np.unsignedinteger],
        *,
        aspect: float | None = None,
        text: Mapping[str, str] | None = None,
    ) -> Picture:
        """Draw codes."""
        return Picture(self.pixels(codes), self.palette, self.shape(aspect), text or {})
