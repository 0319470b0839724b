"""Frames as files: indexed PNG of the active area, ``.npy`` of the whole raster."""

from __future__ import annotations

import io
import os
from typing import TYPE_CHECKING, cast

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from PIL.Image import Image

    from rastertap.frames.model import Frame, Frames

INDEXED_BITS = 8
"""Codes of up to this many bits make an indexed PNG."""


def palette_or_grey(palette: NDArray[np.uint8] | None, bits: int) -> NDArray[np.uint8]:
    """R'G'B' of each code; evenly spaced greys when the colours are not known, shape (2**bits, 3)."""
    if palette is not None:
        return palette[: 1 << bits]
    codes = np.arange(1 << bits)
    levels = np.rint(codes * 255 / max(codes[-1], 1)).astype(np.uint8)
    return np.stack([levels] * 3, axis=1)


def frame_image(
    frames: Frames, frame: Frame, palette: NDArray[np.uint8] | None, bits: int, *, scale: int = 2
) -> Image:
    """Draw the active area (the whole raster when there is none), every pixel ``scale`` by ``scale``."""
    from PIL import Image as Images

    area = frames.active_of(frame)
    codes = frame.codes if area is None else cast("NDArray[np.unsignedinteger]", area.crop(frame.codes))
    large = np.repeat(np.repeat(codes, scale, axis=0), scale, axis=1)
    colours = palette_or_grey(palette, bits)
    if bits > INDEXED_BITS:
        return Images.fromarray(colours[large])
    image = Images.fromarray(large.astype(np.uint8)).convert("L")
    image = image.copy()
    image.putpalette(colours.tobytes())
    return image


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place and rename it: no half-written file is left. Makes parent folders."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.part{os.getpid()}")
    try:
        beside.write_bytes(data)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def save_frame(
    folder: Path,
    frames: Frames,
    frame: Frame,
    palette: NDArray[np.uint8] | None,
    bits: int,
    *,
    scale: int = 2,
) -> tuple[Path, Path]:
    """Write ``frame-NNN.png`` and ``frame-NNN.npy`` into a folder; return their paths."""
    stem = f"frame-{frame.index:03d}"
    png, codes = io.BytesIO(), io.BytesIO()
    frame_image(frames, frame, palette, bits, scale=scale).save(png, "PNG", optimize=False)
    np.save(codes, frame.codes, allow_pickle=False)
    write_whole(folder / f"{stem}.png", png.getvalue())
    write_whole(folder / f"{stem}.npy", codes.getvalue())
    return folder / f"{stem}.png", folder / f"{stem}.npy"
