"""The shape of a pixel: how wide it is on a 4:3 screen for the height of a line.

A screen shows the active part of a line across its width and the active lines of a field down its height.
So the shape follows from the clocks in a line and the lines in a field alone; nothing needs the clock's
frequency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Screen:
    """What a family of timings shows.

    Parameters
    ----------
    lines : float
        In a field, blanking included.
    active_lines : float
        Of them.
    active_part : float
        Part of the line that is shown.
    shape : float
        Width of the screen over its height.
    source : str
    """

    lines: float
    active_lines: float
    active_part: float
    shape: float
    source: str


SCREENS = (
    Screen(312.5, 288, 52 / 64, 4 / 3, "BT.470-6: 52 of 64 us, 576 of 625 lines"),
    Screen(
        262.5,
        241.5,
        52.656 / 63.556,
        4 / 3,
        "BT.470-6, SMPTE 170M: 52.656 of 63.556 us, 483 of 525 lines",
    ),
    Screen(525, 480, 640 / 800, 4 / 3, "640x480: 640 of 800 clocks, 480 of 525 lines"),
    Screen(625, 576, 702 / 864, 4 / 3, "BT.601: 702 of 864 samples, 576 of 625 lines"),
    Screen(628, 600, 800 / 1056, 4 / 3, "800x600: 800 of 1056 clocks, 600 of 628 lines"),
    Screen(750, 720, 1280 / 1650, 16 / 9, "1280x720: 1280 of 1650 clocks, 720 of 750 lines"),
)
"""Families by their lines; the screens' own shapes are from memory."""


@dataclass(frozen=True)
class PixelShape:
    """Width over height of a pixel of one field (or progressive frame), and where that comes from."""

    aspect: float
    source: str

    def woven(self) -> PixelShape:
        """Shape in a frame of two fields: lines are half as high."""
        return PixelShape(self.aspect * 2, self.source)


def pixel_shape(pixels_per_line: float, lines_per_field: float) -> PixelShape:
    """Find the shape of a pixel.

    Parameters
    ----------
    pixels_per_line : float > 0
        Pixel clocks from one line sync to the next.
    lines_per_field : float > 0
        Lines from one field sync to the next.

    Returns
    -------
    PixelShape
        By the family whose line count is nearest.
    """
    screen = min(SCREENS, key=lambda s: abs(math.log(s.lines / lines_per_field)))
    pixel = 1 / (pixels_per_line * screen.active_part)
    line = 1 / (screen.active_lines * screen.shape)
    return PixelShape(pixel / line, screen.source)


def whole_scale(aspect: float, *, largest: int = 8, off: float = 0.03) -> tuple[int, int]:
    """Find whole numbers of square device pixels, across and down, for one pixel.

    Parameters
    ----------
    aspect : float > 0
        Width over height of the pixel.
    largest : int
        Neither number is larger.
    off : float
        The smallest pair whose shape is this near is taken, as a ratio; else the nearest one.

    Returns
    -------
    (int, int)
    """
    pairs = [(x, y) for x in range(1, largest + 1) for y in range(1, largest + 1) if math.gcd(x, y) == 1]

    def error(pair: tuple[int, int]) -> float:
        return abs(math.log(pair[0] / pair[1] / aspect))

    near = [pair for pair in pairs if error(pair) <= math.log1p(off)]
    return min(near, key=lambda pair: (max(pair), error(pair))) if near else min(pairs, key=error)
