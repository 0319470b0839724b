"""PNG and animated PNG, written: indexed or R'G'B', with pixel shape and texts in the file.

By the PNG specification (third edition, which holds APNG): chunks IHDR, PLTE, pHYs, acTL, fcTL, fdAT, tEXt
(from memory; the tests read every kind back with another library). Frames of an animation are compressed as
they come and only that is kept, so that a long capture fits in memory.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
END = b"\x00\x00\x00\x00IEND\xaeB`\x82"
INDEXED, TRUECOLOUR = 3, 2
MAX_PALETTE = 256
LARGEST_DELAY_PART = 65535
"""A delay is a fraction of two 16-bit numbers."""


@dataclass(frozen=True, eq=False)
class Picture:
    """Something that can be written.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width) or (height, width, 3)
        Palette indices, or R'G'B'.
    palette : ndarray of uint8, shape (n, 3), or None
        R'G'B' of each index, at most 256; None when ``pixels`` are R'G'B'.
    shape : (int, int) or None
        Pixels a unit of length across and down (pHYs without unit): a pixel is as wide for its height as the
        second is for the first.
    text : mapping of str to str
        What a viewer shows as information on the file.
    """

    pixels: NDArray[np.uint8]
    palette: NDArray[np.uint8] | None = None
    shape: tuple[int, int] | None = None
    text: Mapping[str, str] = field(default_factory=dict)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _text_chunks(text: Mapping[str, str]) -> bytes:
    """One tEXt chunk a text; letters outside Latin-1 become question marks, as the kind of chunk demands."""
    made = b""
    for key, value in text.items():
        kept = value.replace("\0", " ").encode("latin-1", "replace")
        made += _chunk(b"tEXt", key.encode("latin-1", "replace")[:79] + b"\0" + kept)
    return made


def _head(picture: Picture) -> bytes:
    height, width = picture.pixels.shape[:2]
    kind = TRUECOLOUR if picture.palette is None else INDEXED
    made = _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, kind, 0, 0, 0))
    if picture.palette is not None:
        made += _chunk(b"PLTE", picture.palette[:MAX_PALETTE].tobytes())
    if picture.shape is not None:
        made += _chunk(b"pHYs", struct.pack(">IIB", *picture.shape, 0))
    return made


def _compressed(pixels: NDArray[np.uint8]) -> bytes:
    """Give the lines, each with filter type 0 (none): best for few flat colours, and quick."""
    lines = pixels.reshape(pixels.shape[0], -1)
    filtered = np.zeros((lines.shape[0], lines.shape[1] + 1), np.uint8)
    filtered[:, 1:] = lines
    return zlib.compress(filtered.tobytes(), 6)


def encode(picture: Picture) -> bytes:
    """Give the bytes of a PNG."""
    data = _chunk(b"IDAT", _compressed(picture.pixels))
    return SIGNATURE + _head(picture) + data + _text_chunks(picture.text) + END


def add_text(path: Path, text: Mapping[str, str]) -> None:
    """Add texts at the end of a PNG written by `encode`: some are known only once the capture is read."""
    with path.open("r+b") as file:
        file.seek(-len(END), 2)
        if file.read(len(END)) != END:
            raise ValueError(f"{path} does not end like a PNG")
        file.seek(-len(END), 2)
        file.write(_text_chunks(text) + END)


def delay(seconds: float) -> Fraction:
    """Nearest time that an animation can hold."""
    found = Fraction(seconds).limit_denominator(LARGEST_DELAY_PART)
    while found.numerator > LARGEST_DELAY_PART:
        found = Fraction(seconds).limit_denominator(max(1, found.denominator // 2))
        if found.denominator == 1:
            return min(found, Fraction(LARGEST_DELAY_PART))
    return found


class Animation:
    """Frames gathered for an animated PNG; each is compressed when it comes.

    Parameters
    ----------
    palette : ndarray of uint8, shape (n, 3), or None
        Of all frames.
    """

    def __init__(self, palette: NDArray[np.uint8] | None) -> None:
        self.palette = palette
        self.size: tuple[int, ...] = ()
        self._frames: list[bytes] = []

    def __len__(self) -> int:
        """Give the number of frames."""
        return len(self._frames)

    def add(self, pixels: NDArray[np.uint8]) -> None:
        """Add a frame; one of another size is cut or filled with index 0 (black) to that of the first."""
        if not self.size:
            self.size = pixels.shape
        if pixels.shape != self.size:
            fitted = np.zeros(self.size, np.uint8)
            height, width = np.minimum(pixels.shape[:2], self.size[:2])
            fitted[:height, :width] = pixels[:height, :width]
            pixels = fitted
        self._frames.append(_compressed(pixels))

    def encode(
        self, seconds: Sequence[float], *, shape: tuple[int, int] | None = None, text: Mapping[str, str]
    ) -> bytes:
        """Give the bytes of the animation, which repeats for ever.

        Parameters
        ----------
        seconds : sequence of float, one a frame
            How long each is shown.
        shape, text
            As `Picture`.
        """
        blank = Picture(np.zeros(self.size, np.uint8), self.palette, shape, text)
        made = [SIGNATURE, _head(blank), _chunk(b"acTL", struct.pack(">II", len(self._frames), 0))]
        sequence = 0
        for index, (data, duration) in enumerate(zip(self._frames, seconds, strict=True)):
            made.append(_frame_control(sequence, self.size, delay(duration)))
            sequence += 1
            if index == 0:
                made.append(_chunk(b"IDAT", data))
            else:
                made.append(_chunk(b"fdAT", struct.pack(">I", sequence) + data))
                sequence += 1
        return b"".join((*made, _text_chunks(text), END))


def _frame_control(sequence: int, size: tuple[int, ...], shown: Fraction) -> bytes:
    place = struct.pack(">IIIII", sequence, size[1], size[0], 0, 0)
    return _chunk(b"fcTL", place + struct.pack(">HHBB", shown.numerator, shown.denominator, 0, 0))
