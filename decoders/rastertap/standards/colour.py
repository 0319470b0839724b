"""Colour sets and BT.601 levels.

Every colour table is uint8, shape (codes, 3), R'G'B' with 0 = off and 255 = full; row n is colour code n.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

LUMA_WEIGHTS = (0.299, 0.587, 0.114)
"""Of R', G', B'; BT.601-5 3.5.1 (references 3.1, seen). BT.1700 as transcribed prints B for R, a misprint."""
WHITE_MILLIVOLTS = 700.0
"""Blanking to white; BT.1700 Table 2 (references 1.2, seen)."""
_BROWN = (0xAA, 0x55, 0x00)
_RGBI_DARK_YELLOW = 0b0110
MAX_GREY_BITS = 16
"""A longer table of greys serves nobody: those of 8 bits repeat from 9 bits on."""


def _bits(codes: NDArray[np.int64], bit: int) -> NDArray[np.int64]:
    return (codes >> bit) & 1


def rgb() -> NDArray[np.uint8]:
    """Eight colours; bits 2, 1, 0 = R, G, B, each off or full (from memory; no text was found)."""
    codes = np.arange(8)
    return np.stack([_bits(codes, bit) * 255 for bit in (2, 1, 0)], axis=1).astype(np.uint8)


def rgbi(*, dark_yellow: bool = False) -> NDArray[np.uint8]:
    """Sixteen colours; bits 3..0 = I, R, G, B; level = AA x bit + 55 x I.

    Parameters
    ----------
    dark_yellow : bool
        Show code 6 as AAAA00, as monitors without the circuit that halves its green do, instead of brown.

    Notes
    -----
    The table of the Linux console (references 6, seen); no formal standard was found.
    """
    codes = np.arange(16)
    table = np.stack([_bits(codes, bit) * 0xAA + _bits(codes, 3) * 0x55 for bit in (2, 1, 0)], axis=1)
    if not dark_yellow:
        table[_RGBI_DARK_YELLOW] = _BROWN
    return table.astype(np.uint8)


def rrggbb(order: str = "RrGgBb") -> NDArray[np.uint8]:
    """Sixty-four colours; level = AA x high bit + 55 x low bit (references 6, derived from a seen table).

    Parameters
    ----------
    order : str
        The six bits from the highest down; a capital is the high bit of its colour. Boards and this project
        number them ``RrGgBb``; the published six-bit palette is in ``rgbRGB``.

    Raises
    ------
    ValueError
        When ``order`` does not hold each of R, r, G, g, B, b once.
    """
    if sorted(order) != sorted("RrGgBb"):
        raise ValueError(f"the order of the bits must hold each of R r G g B b once, not {order!r}")
    codes = np.arange(64)
    place = {letter: 5 - i for i, letter in enumerate(order)}
    levels = [_bits(codes, place[c]) * 0xAA + _bits(codes, place[c.lower()]) * 0x55 for c in "RGB"]
    return np.stack(levels, axis=1).astype(np.uint8)


def grey(bits: int) -> NDArray[np.uint8]:
    """Evenly spaced greys, code 0 black: for a bus whose colours are not known.

    Raises
    ------
    ValueError
        When ``bits`` is not 1 to `MAX_GREY_BITS`.
    """
    if not 1 <= bits <= MAX_GREY_BITS:
        raise ValueError(f"greys of 1 to {MAX_GREY_BITS} bits can be made, not {bits}")
    top = 2**bits - 1
    codes = np.arange(top + 1)
    return np.repeat(((codes * 255 * 2 + top) // (2 * top)).astype(np.uint8)[:, None], 3, axis=1)


def from_hex(colours: Sequence[str]) -> NDArray[np.uint8]:
    """Turn ``#RRGGBB`` texts into a table; ValueError names the first that is not one."""
    table = np.empty((len(colours), 3), np.uint8)
    for row, text in zip(table, colours, strict=True):
        if len(text) != len("#RRGGBB") or text[0] != "#":
            raise ValueError(f"not a colour of the form #RRGGBB: {text!r}")
        row[:] = list(bytes.fromhex(text[1:]))
    return table


def colour_table(colour_set: str, bits: int, *, dark_yellow: bool = False) -> NDArray[np.uint8]:
    """Table of a named colour set.

    Parameters
    ----------
    colour_set : str
        ``rgb``, ``rgbi``, ``rrggbb`` or ``grey``.
    bits : int
        Used by ``grey`` only.
    dark_yellow : bool
        Used by ``rgbi`` only.

    Raises
    ------
    ValueError
        When the set has no name or size known here.
    """
    if colour_set == "grey":
        return grey(bits)
    if colour_set == "rgbi":
        return rgbi(dark_yellow=dark_yellow)
    tables = {"rgb": rgb, "rrggbb": rrggbb}
    if colour_set not in tables:
        raise ValueError(f"no colour set is called {colour_set!r}")
    return tables[colour_set]()


def luma(rgb_levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Y' of R'G'B', shape (..., 3) in any scale -> (...,) in the same scale (BT.601-5 3.5.1)."""
    weighted = np.asarray(rgb_levels, np.float64) * np.array(LUMA_WEIGHTS)
    return np.asarray(weighted.sum(axis=-1))


def colour_difference(rgb_levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Normalised Cb, Cr of R'G'B' in 0..1: shape (..., 3) -> (..., 2) in -0.5..0.5.

    0.5/0.886 (B' - Y') and 0.5/0.701 (R' - Y'), exact, not the printed 0.564 and 0.713 (BT.601-5 3.5.2).
    """
    levels = np.asarray(rgb_levels, np.float64)
    y = luma(levels)
    return np.stack([(levels[..., 2] - y) * (0.5 / 0.886), (levels[..., 0] - y) * (0.5 / 0.701)], axis=-1)


def quantised(rgb_levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Y, Cb, Cr codes of 8 bits, unrounded: 219 Y' + 16, 224 C + 128 (BT.601-5 3.5.3); shape (..., 3)."""
    y = luma(rgb_levels)[..., None] * 219.0 + 16.0
    return np.concatenate([y, colour_difference(rgb_levels) * 224.0 + 128.0], axis=-1)


def component_millivolts(table: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Y', Pb, Pr in mV of a colour table, (n, 3) uint8 -> (n, 3): 0..700 and -350..350."""
    levels = np.asarray(table, np.float64) / 255.0
    parts = [luma(levels)[..., None], colour_difference(levels)]
    return np.concatenate(parts, axis=-1) * WHITE_MILLIVOLTS


def rgb_millivolts(table: NDArray[np.uint8]) -> NDArray[np.float64]:
    """R', G', B' in mV of a colour table, (n, 3) uint8 -> (n, 3), 0..700 (BT.1700 Table 2: white 700 mV)."""
    return np.asarray(table, np.float64) * (WHITE_MILLIVOLTS / 255.0)


def bars(level: float = 1.0) -> NDArray[np.float64]:
    """Give the eight colour bars, white to black, R'G'B' of 0 or ``level``, shape (8, 3)."""
    grb = np.array(list(itertools.product((level, 0.0), repeat=3)))
    return grb[:, [1, 0, 2]]
