"""Frames as files: PNG of the active area, ``.npy`` of the whole raster."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, cast

import numpy as np

from rastertap.files import write_whole
from rastertap.frames.png import encode

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from rastertap.frames.look import Look
    from rastertap.frames.model import Frame, Frames


def shown_codes(frames: Frames, frame: Frame) -> NDArray[np.unsignedinteger]:
    """Codes of the active area; of the whole raster when there is none, or the field was cut before it."""
    area = frames.active_of(frame)
    shown = frame.codes if area is None else cast("NDArray[np.unsignedinteger]", area.crop(frame.codes))
    return shown if shown.size else frame.codes


def save_frame(
    folder: Path, frames: Frames, frame: Frame, look: Look, *, aspect: float | None, text: Mapping[str, str]
) -> tuple[Path, Path]:
    """Write ``frame-NNN.png`` and ``frame-NNN.npy`` into a folder; return their paths."""
    stem = f"frame-{frame.index:03d}"
    codes = io.BytesIO()
    np.save(codes, frame.codes, allow_pickle=False)
    picture = look.picture(shown_codes(frames, frame), aspect=aspect, text=text)
    write_whole(folder / f"{stem}.png", encode(picture))
    write_whole(folder / f"{stem}.npy", codes.getvalue())
    return folder / f"{stem}.png", folder / f"{stem}.npy"
