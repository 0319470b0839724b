"""The part of the raster with picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.model import Area

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.frames.model import Frame


def blanking_code(frames: Sequence[Frame], width: int) -> int:
    """Most common code in the first ``width`` pixels of the lines: during line sync."""
    codes = np.concatenate([f.codes[:, :width].ravel() for f in frames])
    values, counts = np.unique(codes, return_counts=True)
    return int(values[np.argmax(counts)])


def _bounds(mask: NDArray[np.bool_]) -> Area | None:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not rows.size:
        return None
    return Area(int(columns[0]), int(rows[0]), int(columns[-1] - columns[0] + 1), int(rows[-1] - rows[0] + 1))


def _together(masks: Sequence[NDArray[np.bool_]]) -> NDArray[np.bool_]:
    height = max(m.shape[0] for m in masks)
    together = np.zeros((height, masks[0].shape[1]), bool)
    for mask in masks:
        together[: mask.shape[0]] |= mask
    return together


def find_active(
    frames: Sequence[Frame], blank: int, windows: Sequence[NDArray[np.uint32]] | None
) -> tuple[Area | None, str]:
    """Find the active area over all fields.

    Parameters
    ----------
    frames : sequence of Frame
        Fields, complete ones where there are any.
    blank : int
        Colour code in blanking.
    windows : sequence of ndarray, or None
        Level of the display-enable (or blank) channel over each field's raster.

    Returns
    -------
    Area or None, and how it was found.
    """
    if windows is not None:
        # In the line sync there is no picture, so its level is the shut one.
        shut = int(np.round(np.mean([w[:, :1].mean() for w in windows])))
        area = _bounds(_together([w != shut for w in windows]))
        if area is not None:
            return area, "from display enable or blanking"
    area = _bounds(_together([(f.codes != blank) & ~f.unsure for f in frames]))
    return area, f"where the colour bus differs from its code in line sync ({blank}) in any field"
