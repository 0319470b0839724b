"""Pictures that show more than the picture: whole raster, differences, steadiness, contact sheet.

All are R'G'B', uint8, shape (height, width, 3), one pixel a pixel clock; `Look.enlarged` makes them larger.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.frames.look import Look
    from rastertap.frames.model import Area
    from rastertap.frames.steadiness import Steadiness

    Rgb = NDArray[np.uint8]
    Codes = NDArray[np.unsignedinteger]

# Orange, blue, yellow: told apart with every common kind of colour blindness.
SYNC_TINT, BLANK_TINT, UNSURE_TINT = (230, 120, 0), (40, 70, 140), (255, 230, 0)
NOISE_TINT, MOVING_TINT = (255, 90, 0), (60, 140, 255)
TINTED = 0.6
"""Part of the tint in a tinted pixel."""
DIMMED = 0.35
"""Brightness left to pixels that are not the subject."""


@dataclass(frozen=True)
class SyncPlace:
    """Where sync lies on a raster: ``columns`` from the left in every line, ``rows`` from the top."""

    columns: int
    rows: int


def _tint(picture: Rgb, mask: NDArray[np.bool_], tint: tuple[int, int, int]) -> None:
    mixed = picture[mask] * (1 - TINTED) + np.array(tint) * TINTED
    picture[mask] = np.rint(mixed).astype(np.uint8)


def raster(look: Look, codes: Codes, area: Area | None, sync: SyncPlace, unsure: NDArray[np.bool_]) -> Rgb:
    """Draw the whole raster: sync tinted orange, blanking blue, unsure pixels of the active area yellow."""
    picture = look.rgb(codes)
    blank = np.ones(codes.shape, bool)
    if area is not None:
        blank[area.y : area.y + area.height, area.x : area.x + area.width] = False
    syncs = np.zeros(codes.shape, bool)
    syncs[:, : sync.columns] = True
    syncs[: sync.rows] = True
    _tint(picture, blank & ~syncs, BLANK_TINT)
    _tint(picture, blank & syncs, SYNC_TINT)
    _tint(picture, ~blank & unsure, UNSURE_TINT)
    return picture


def _dim(picture: Rgb) -> Rgb:
    """Grey and dark, so that colour stands out."""
    grey = picture @ np.array([0.299, 0.587, 0.114])
    return np.repeat((grey * DIMMED).astype(np.uint8)[..., np.newaxis], 3, axis=-1)


def difference(look: Look, codes: Codes, before: Codes) -> Rgb:
    """Draw the later picture's colour where it differs (white for black), the rest dim and grey."""
    height, width = np.minimum(codes.shape, before.shape)
    codes, before = codes[:height, :width], before[:height, :width]
    shown = look.rgb(codes)
    picture, differ = _dim(shown), codes != before
    bright = shown[differ]
    bright[bright.max(axis=1) < 64] = 255  # noqa: PLR2004 - too dark to be seen on the dim rest
    picture[differ] = bright
    return picture


def steadiness_map(look: Look, steady: Steadiness, area: Area | None) -> Rgb:
    """Draw where fields differ over the dim consensus: noise orange, motion blue, unsure pixels yellow.

    The more often, the brighter; the least is still half bright, so that a single flip is seen.
    """
    picture = _dim(look.rgb(steady.consensus))
    noise = steady.flips.sum(axis=0)
    moving = np.clip(steady.changes.astype(np.int64) - 2 * noise.astype(np.int64), 0, None)
    unsure = np.where((noise == 0) & (moving == 0), steady.unsure, 0)
    for counts, tint in ((unsure, UNSURE_TINT), (moving, MOVING_TINT), (noise, NOISE_TINT)):
        _heat(picture, counts, tint)
    return picture if area is None else framed(picture, area)


def bit_map(steady: Steadiness, bit: int) -> Rgb:
    """Draw how often one bit flips by itself: black never, orange to white the more often."""
    picture = np.zeros((*steady.reference.shape, 3), np.uint8)
    _heat(picture, steady.flips[bit], NOISE_TINT)
    return picture


def _heat(
    picture: Rgb, counts: NDArray[np.unsignedinteger | np.signedinteger], tint: tuple[int, int, int]
) -> None:
    where = counts > 0
    if where.any():
        share = 0.5 + 0.5 * counts[where] / counts.max()
        picture[where] = np.rint(share[:, np.newaxis] * np.array(tint)).astype(np.uint8)


def framed(picture: Rgb, area: Area) -> Rgb:
    """Draw a thin line round the active area."""
    found = picture.copy()
    top, bottom = max(area.y - 1, 0), min(area.y + area.height, picture.shape[0] - 1)
    left, right = max(area.x - 1, 0), min(area.x + area.width, picture.shape[1] - 1)
    found[[top, bottom], left : right + 1] = BLANK_TINT
    found[top : bottom + 1, [left, right]] = BLANK_TINT
    return found


def small(picture: Rgb, width: int, aspect: float) -> Rgb:
    """Make a picture ``width`` wide, in its right shape for pixels of an aspect; pixels are averaged."""
    from PIL import Image

    height = max(1, round(picture.shape[0] * width / (picture.shape[1] * aspect)))
    return np.asarray(Image.fromarray(picture).resize((width, height), Image.Resampling.BOX))


def sheet(pictures: Sequence[Rgb], labels: Sequence[str], *, width: int = 1600, gap: int = 8) -> Rgb:
    """Put small pictures with a line of text each side by side, as many across as fit the width."""
    from PIL import Image, ImageDraw, ImageFont

    height = max(p.shape[0] for p in pictures)
    across_each = max(p.shape[1] for p in pictures)
    columns = max(1, min(len(pictures), (width - gap) // (across_each + gap)))
    label_height = 14
    rows = math.ceil(len(pictures) / columns)
    step_x, step_y = across_each + gap, height + label_height + gap
    page = Image.new("RGB", (columns * step_x + gap, rows * step_y + gap), (24, 24, 24))
    draw, font = ImageDraw.Draw(page), ImageFont.load_default(11)
    for index, (picture, label) in enumerate(zip(pictures, labels, strict=True)):
        x, y = gap + index % columns * step_x, gap + index // columns * step_y
        draw.text((x, y), label, fill=(220, 220, 220), font=font)
        page.paste(Image.fromarray(picture), (x, y + label_height))
    return np.asarray(page)
