"""Pictures for the simulated source: a test card of our own, and pseudo-random codes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.bench.font import GLYPH_HEIGHT, text_mask

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.bench.source import VideoSource

    Codes = NDArray[np.uint32]

BARS_IN_A_ROW = 32
MOST_BARS = 256


def _bars(height: int, width: int, bits: int) -> Codes:
    """Draw all codes of the set as upright bars, at most 32 in a row (an even choice of 256 of more)."""
    count = min(2**bits, MOST_BARS)
    rows = -(-count // BARS_IN_A_ROW)
    across = -(-count // rows)
    place = np.arange(height)[:, np.newaxis] * rows // height * across + np.arange(width) * across // width
    codes: Codes = (np.minimum(place, count - 1) * (2**bits - 1) // max(count - 1, 1)).astype(np.uint32)
    return codes


def _patterns(height: int, width: int, white: int) -> Codes:
    """Draw upright, level and checked lines one pixel wide, side by side."""
    y, x = np.indices((height, width))
    lit = np.where(x * 3 < width, x & 1, np.where(x * 3 < 2 * width, y & 1, (x + y) & 1))
    patterns: Codes = (lit * white).astype(np.uint32)
    return patterns


def _shapes(height: int, width: int, white: int) -> Codes:
    """Draw a circle one pixel wide and the two diagonals."""
    y, x = (
        np.indices((height, width)) - np.array([(height - 1) / 2, (width - 1) / 2])[:, np.newaxis, np.newaxis]
    )
    radius = min(height, width) / 2 - 1
    circle = np.abs(np.hypot(x, y) - radius) < 0.5  # noqa: PLR2004 - half a pixel to either side
    slope = height / width
    diagonals = (np.abs(y - slope * x) < max(slope, 1) / 2) | (np.abs(y + slope * x) < max(slope, 1) / 2)
    shapes: Codes = ((circle | diagonals) * white).astype(np.uint32)
    return shapes


def _write(area: Codes, lines: Sequence[str], code: int) -> None:
    """Write lines of text into the top left of an area, as far as they fit."""
    for number, line in enumerate(lines):
        mask = text_mask(line)
        top = 2 + number * (GLYPH_HEIGHT + 3)
        part = area[top : top + GLYPH_HEIGHT, 3:]
        part[mask[: part.shape[0], : part.shape[1]].nonzero()] = code


def draw_card(width: int, height: int, bits: int, text: Sequence[str] = ()) -> Codes:
    """Draw the test card.

    From the top: every colour of the set in bars; lines one pixel wide, upright, level, checked; the text;
    a circle and diagonals. A frame one pixel wide in the highest code runs round the extreme edge, so that
    the active area's extent shows.

    Parameters
    ----------
    width, height : int >= 1
    bits : int
        Of the colour bus.
    text : sequence of str
        Lines, as far as they fit.

    Returns
    -------
    ndarray of uint32, shape (height, width)
    """
    white = 2**bits - 1
    card = np.zeros((height, width), np.uint32)
    bars, patterns, words = height * 3 // 10, height * 5 // 10, height * 7 // 10
    if width and bars:
        card[:bars] = _bars(bars, width, bits)
        card[bars:patterns] = _patterns(patterns - bars, width, white)
        _write(card[patterns:words], text, white)
        card[words:] = _shapes(height - words, width, white)
    card[[0, -1], :] = white
    card[:, [0, -1]] = white
    return card


def draw_noise(width: int, height: int, bits: int, seed: int) -> Codes:
    """Draw pseudo-random codes, uint32, shape (height, width); the same for the same seed."""
    rng = np.random.default_rng([seed, 2])
    return rng.integers(0, 2**bits, (height, width), np.uint64).astype(np.uint32)


def fields_of(card: Codes, source: VideoSource) -> Codes:
    """Give a frame's fields (even rows, then odd, when interlaced), shape (fields, height, width)."""
    return np.stack([card[f :: source.fields_per_frame] for f in range(source.fields_per_frame)])


def _frame_size(source: VideoSource) -> tuple[int, int]:
    width, height = source.picture_size
    return width, height * source.fields_per_frame


def card_for(source: VideoSource) -> Codes:
    """Draw the test card for a source, shape (fields per frame, picture height, picture width)."""
    width, height = _frame_size(source)
    rate = f"{float(source.field_rate_hz):.2f} HZ {source.lines_per_frame} LINES"
    text = (source.name, f"{width} X {height}  {source.colour_bits} BIT", rate, "INVENTED")
    return fields_of(draw_card(width, height, source.colour_bits, text), source)


def noise_for(source: VideoSource, seed: int = 0) -> Codes:
    """Draw pseudo-random codes for a source, shape (fields per frame, picture height, picture width)."""
    width, height = _frame_size(source)
    return fields_of(draw_noise(width, height, source.colour_bits, seed), source)


def moving(pictures: Codes, frames: int, *, step: int = 3) -> Codes:
    """Give ``frames`` copies of a frame's fields with a square that moves ``step`` pixels a field.

    Parameters
    ----------
    pictures : ndarray of uint32, shape (n, height, width)
    frames : int >= 1
    step : int

    Returns
    -------
    ndarray of uint32, shape (frames * n, height, width)
    """
    run = np.tile(pictures, (frames, 1, 1))
    height, width = pictures.shape[1:]
    side = max(min(height, width) // 8, 1)
    for index, picture in enumerate(run):
        left = 1 + index * step % max(width - side - 2, 1)
        top = height // 2
        picture[top : top + side, left : left + side] ^= np.uint32(1)
    return run
