"""The part of the raster with picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.model import Area

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.frames.model import FieldKind, Frame

GROUP_NEIGHBOURS = 2
"""A pixel with this many neighbours that also show something is no lone flip."""
SEEN_OFTEN = 0.25
"""Part of the fields in which a lone pixel must be seen: common practice, no source."""


def blanking_code(frames: Sequence[Frame], width: int) -> int:
    """Most common code in the first ``width`` pixels of the lines: during line sync."""
    codes = np.concatenate([f.codes[:, :width].ravel() for f in frames])
    values, counts = np.unique(codes, return_counts=True)
    return int(values[np.argmax(counts)])


def _bounds(mask: NDArray[np.bool_], fewest: int) -> Area | None:
    """Rectangle round the rows and columns with at least ``fewest`` pixels of the mask."""
    rows = np.flatnonzero(mask.sum(axis=1) >= fewest)
    columns = np.flatnonzero(mask.sum(axis=0) >= fewest)
    if not rows.size or not columns.size:
        return None
    return Area(int(columns[0]), int(rows[0]), int(columns[-1] - columns[0] + 1), int(rows[-1] - rows[0] + 1))


def _grouped(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Pixels of the mask with two or more of their eight neighbours in it."""
    padded = np.pad(mask.astype(np.uint8), 1)
    beside = padded[:-2] + padded[1:-1] + padded[2:]
    around = beside[:, :-2] + beside[:, 1:-1] + beside[:, 2:]
    return np.asarray(mask & (around > GROUP_NEIGHBOURS))


def _area_of(masks: Sequence[NDArray[np.bool_]]) -> Area | None:
    """Find the rectangle that holds what the fields of one kind show.

    A flip of a noisy bit in blanking must not make it grow: with two fields or more, a pixel that stands
    alone counts only where it is seen in more of them than chance would show.
    """
    height = max(m.shape[0] for m in masks)
    counts = np.zeros((height, masks[0].shape[1]), np.uint32)
    for mask in masks:
        counts[: mask.shape[0]] += mask
    if len(masks) == 1:
        return _bounds(counts > 0, 1)
    kept = counts >= max(2, len(masks) * SEEN_OFTEN)
    often = kept.copy()
    for mask in masks:
        # Beside what is always there a flip has neighbours too: only rare pixels make a group.
        kept[: mask.shape[0]] |= _grouped(mask & ~often[: mask.shape[0]])
    noisy = bool(((counts > 0) & ~kept).any())
    return _bounds(kept, 2 if noisy else 1) or _bounds(counts > 0, 1)


def _one_width(areas: dict[FieldKind, Area]) -> dict[FieldKind, Area]:
    """Give all kinds the same columns."""
    if not areas:
        return areas
    left = min(a.x for a in areas.values())
    right = max(a.x + a.width for a in areas.values())
    return {kind: Area(left, a.y, right - left, a.height) for kind, a in areas.items()}


def grown(areas: Mapping[FieldKind, Area], more: Mapping[FieldKind, Area]) -> dict[FieldKind, Area]:
    """Give the smallest areas that hold those of both."""
    together = dict(areas)
    for kind, b in more.items():
        a = areas.get(kind, b)
        x, y = min(a.x, b.x), min(a.y, b.y)
        right, bottom = max(a.x + a.width, b.x + b.width), max(a.y + a.height, b.y + b.height)
        together[kind] = Area(x, y, right - x, bottom - y)
    return _one_width(together)


def find_active(
    frames: Sequence[Frame], blank: int, windows: Mapping[int, NDArray[np.bool_]] | None
) -> tuple[dict[FieldKind, Area], str]:
    """Find the active area of each kind of frame.

    Parameters
    ----------
    frames : sequence of Frame
        Of those with complete ones of their kind, only the complete ones count.
    blank : int
        Colour code in blanking.
    windows : mapping of int to ndarray of bool, or None
        Where display enable (or blank) shows picture on the raster, by frame index.

    Returns
    -------
    areas : dict of FieldKind to Area
        Empty when there is no picture.
    how : str
        How they were found.
    """
    masks: dict[FieldKind, list[NDArray[np.bool_]]] = {}
    for kind in dict.fromkeys(f.field for f in frames):
        same = [f for f in frames if f.field == kind]
        whole = [f for f in same if f.complete] or same
        masks[kind] = [
            windows[f.index] if windows is not None else (f.codes != blank) & ~f.unsure for f in whole
        ]
    areas = {kind: area for kind, found in masks.items() if (area := _area_of(found)) is not None}
    if windows is not None and not areas:
        return find_active(frames, blank, None)
    if windows is not None:
        return _one_width(areas), "from display enable or blanking"
    how = f"by the picture: outer lines and columns of the blanking code alone ({blank}) are left out"
    return _one_width(areas), how
