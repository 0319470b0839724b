"""Whole-number scaling of a picture onto usual screens, and the border left."""

from __future__ import annotations

import math
from dataclasses import dataclass

SCREENS = ((1280, 720), (1920, 1080), (3840, 2160))
"""Width and height of the usual screens, square pixels."""


@dataclass(frozen=True)
class Fit:
    """A picture on a screen.

    Parameters
    ----------
    screen : (int, int)
        Width and height.
    scale : (int, int)
        Screen pixels across and down for each pixel; (0, 0) when the picture is larger than the screen.
    size : (int, int)
        Of the picture on the screen.
    border : (int, int)
        Left over in all, across and down; half of it on each side.
    shape_error : float or None
        How much too wide (+) the picture is for its height, as a part; None when its shape is not known.
    """

    screen: tuple[int, int]
    scale: tuple[int, int]
    size: tuple[int, int]
    border: tuple[int, int]
    shape_error: float | None


def _fit(
    screen: tuple[int, int], picture: tuple[int, int], scale: tuple[int, int], aspect: float | None
) -> Fit:
    size = picture[0] * scale[0], picture[1] * scale[1]
    border = screen[0] - size[0], screen[1] - size[1]
    off = None if aspect is None or not scale[1] else scale[0] / scale[1] / aspect - 1
    return Fit(screen, scale, size, border, off)


def largest_even(screen: tuple[int, int], picture: tuple[int, int], aspect: float | None) -> Fit:
    """Largest scale that is the same across and down."""
    scale = min(screen[0] // picture[0], screen[1] // picture[1])
    return _fit(screen, picture, (scale, scale), aspect)


def largest_in_shape(screen: tuple[int, int], picture: tuple[int, int], aspect: float) -> Fit:
    """Scale, across and down apart, whose shape is right to 6 % and that fills most of the screen.

    When none is so near, the one whose shape is nearest.
    """
    near = 0.06
    pairs = [
        _fit(screen, picture, (x, y), aspect)
        for x in range(1, screen[0] // picture[0] + 1)
        for y in range(1, screen[1] // picture[1] + 1)
    ]
    if not pairs:
        return largest_even(screen, picture, aspect)

    def rank(fit: Fit) -> tuple[float, float]:
        error = abs(math.log1p(fit.shape_error or 0.0))
        return (max(error, math.log1p(near)), -fit.size[0] * fit.size[1])

    return min(pairs, key=rank)
