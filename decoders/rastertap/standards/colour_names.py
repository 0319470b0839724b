"""A word for a colour, so that a person knows which one is meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

HUES = (
    (15, "red"),
    (45, "orange"),
    (70, "yellow"),
    (160, "green"),
    (200, "cyan"),
    (260, "blue"),
    (330, "magenta"),
    (360, "red"),
)
"""Upper end of each hue, degrees on the colour circle: common usage, no source."""
GREYS = ((0.1, "black"), (0.45, "dark grey"), (0.6, "grey"), (0.9, "light grey"), (1.01, "white"))
COLOURLESS, DARK, PALE = 0.12, 0.8, 0.75


def hue(rgb: NDArray[np.uint8]) -> float | None:
    """Angle on the colour circle, degrees, red 0, green 120; None for greys."""
    red, green, blue = (float(v) / 255 for v in rgb)
    high, low = max(red, green, blue), min(red, green, blue)
    if high - low <= COLOURLESS:
        return None
    if high == red:
        turn = (green - blue) / (high - low)
    elif high == green:
        turn = (blue - red) / (high - low) + 2
    else:
        turn = (red - green) / (high - low) + 4
    return 60 * turn % 360


def colour_name(rgb: NDArray[np.uint8]) -> str:
    """Name a colour: ``dark blue``, ``light grey``, ``brown``; colours that are near share a name."""
    high, low = float(np.max(rgb)) / 255, float(np.min(rgb)) / 255
    angle = hue(rgb)
    if angle is None:
        return next(name for limit, name in GREYS if high < limit)
    name = next(name for limit, name in HUES if angle < limit)
    if high < DARK:
        return "brown" if name == "orange" else f"dark {name}"
    return f"light {name}" if (high - low) / high < PALE else name


def distinct_names(table: NDArray[np.uint8]) -> list[str]:
    """Name every colour of a set, with its code's number behind names that come twice."""
    names = [colour_name(row) for row in table]
    return [f"{n} ({i})" if names.count(n) > 1 else n for i, n in enumerate(names)]
