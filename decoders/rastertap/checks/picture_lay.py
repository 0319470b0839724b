"""Laying a known picture on a rebuilt raster: where it may lie, and what of the two is compared there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from rastertap.checks.expected_picture import ExpectedPicture
    from rastertap.frames.model import Area, Frame

NOISE = 0.002
"""Part of the pixels that may differ for a channel still to be the bit: flicker, a blinking cursor. Common
practice, no source."""
RARE = 0.05
"""Part of a bit's rarer level that may differ: a bit that is seldom set must not drown in `NOISE`."""


@dataclass(frozen=True, eq=False)
class Overlap:
    """The picture laid on the raster: flat planes of what is seen and what is expected, as float32."""

    seen: NDArray[np.float32]
    expected: NDArray[np.float32]
    known: NDArray[np.float32]
    shape: tuple[int, int]

    def differing(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Count the known pixels that differ, shape (channels, bits), and the known ones, shape (bits,)."""
        lit = self.expected * self.known
        count = self.known.sum(axis=1)
        differ = self.seen @ self.known.T + lit.sum(axis=1) - 2 * (self.seen @ lit.T)
        return differ, count

    def allowed(self) -> NDArray[np.float32]:
        """Count the pixels that may differ for a channel still to be the bit, shape (bits,)."""
        count = self.known.sum(axis=1)
        lit = (self.expected * self.known).sum(axis=1)
        rarer = np.minimum(lit, count - lit)
        rare = np.where(rarer > 0, np.maximum(RARE * rarer, 1), np.inf)
        return np.asarray(np.minimum(np.maximum(NOISE * count, 1), rare), np.float32)


def places_of(
    picture: ExpectedPicture, frame: Frame, area: Area | None, names: Sequence[str], bits: int
) -> Iterator[tuple[int, int]]:
    """Give places of the picture on the raster to try, the likeliest first."""
    if picture.at is not None:
        yield picture.at
    elif area is not None:
        yield area.x, area.y
    yield from correlated(picture, frame, len(names), bits)


def correlated(picture: ExpectedPicture, frame: Frame, channels: int, bits: int) -> Iterator[tuple[int, int]]:
    """Slide the picture over the raster: the place at which most planes agree best."""
    from scipy.fft import irfft2, next_fast_len, rfft2

    rows, columns = frame.codes.shape[0], frame.codes.shape[1]
    height, width = picture.codes.shape
    size = next_fast_len(rows + height, real=True), next_fast_len(columns + width, real=True)
    total = np.zeros((rows, columns), np.float32)
    wanted = []
    for bit in range(bits):
        known = (picture.known >> np.uint32(bit)) & 1
        plane = (((picture.codes >> np.uint32(bit)) & 1) * 2.0 - 1.0) * known
        plane -= known * (plane.sum() / max(known.sum(), 1))
        wanted.append(np.conj(rfft2(plane.astype(np.float32), size)))
    for bit in range(channels):
        plane = ((frame.codes >> np.uint32(bit)) & 1).astype(np.float32) * 2 - 1
        seen = rfft2(plane - plane.mean(), size)
        agreement = [np.abs(irfft2(seen * w, size)[:rows, :columns]) for w in wanted]
        total += np.maximum.reduce(agreement)
    y, x = np.unravel_index(int(np.argmax(total)), total.shape)
    yield int(x), int(y)


def lay(
    frame: Frame, picture: ExpectedPicture, at: tuple[int, int], channels: int, bits: int
) -> Overlap | None:
    """Lay the picture on the raster; None when they hardly meet."""
    rows, columns = frame.codes.shape
    height, width = picture.codes.shape
    left, top = max(at[0], 0), max(at[1], 0)
    right, bottom = min(at[0] + width, columns), min(at[1] + height, rows)
    if right - left < width // 2 or bottom - top < 1:
        return None
    raster = (slice(top, bottom), slice(left, right))
    part = (slice(top - at[1], bottom - at[1]), slice(left - at[0], right - at[0]))
    codes = frame.codes[raster].astype(np.uint32).ravel()
    sure = (~frame.unsure[raster]).ravel()
    wanted, known = picture.codes[part].ravel(), picture.known[part].ravel()
    lines = np.arange(channels, dtype=np.uint32)[:, np.newaxis]
    shifts = np.arange(bits, dtype=np.uint32)[:, np.newaxis]
    return Overlap(
        ((codes >> lines) & 1).astype(np.float32),
        ((wanted >> shifts) & 1).astype(np.float32),
        (((known >> shifts) & 1) * sure).astype(np.float32),
        (bottom - top, right - left),
    )
