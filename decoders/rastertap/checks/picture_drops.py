"""A colour bit that lets go for a while: still through some lines of one field, where it moves in another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from rastertap.frames.model import Frame, Frames

FEWEST_ROWS = 3
"""Whole lines that a bit must stay still for: common practice, no source."""


@dataclass(frozen=True)
class Drop:
    """A bit that stays still (``high`` or not) from one line of a field to another, lines of the raster."""

    bit: int
    high: bool
    field: int
    first: int
    last: int


def find_drop(frames: Frames) -> Drop | None:
    """Compare each complete field with the next of its kind; the first drop, or None.

    A picture that blinks changes other bits too, or does not leave its lines without a change of the bit.
    """
    for kind in frames.areas:
        fields = [f for f in frames.complete if f.field == kind]
        for earlier, later in pairwise(fields):
            if earlier.codes.shape == later.codes.shape and (found := _between(frames, earlier, later)):
                return found
    return None


def _between(frames: Frames, one: Frame, other: Frame) -> Drop | None:
    area = frames.active_of(one)
    if area is None:
        return None
    codes = [np.asarray(area.crop(f.codes)).astype(np.int64) for f in (one, other)]
    apart = codes[0] ^ codes[1]
    mask = int(np.bitwise_or.reduce(apart, axis=None))
    rows = np.flatnonzero(apart.any(axis=1))
    alone = mask & (mask - 1) == 0 and np.ptp(codes[0] & ~mask) > 0
    if not mask or not alone or rows[-1] - rows[0] - 1 < FEWEST_ROWS:
        return None
    # It lets go and comes back within a line: the first and the last are no whole ones.
    still = [np.unique(c[rows[0] + 1 : rows[-1]] & mask).tolist() for c in codes]
    for field, mine, others in ((one, still[0], still[1]), (other, still[1], still[0])):
        if len(mine) == 1 and len(others) > 1:
            bit = mask.bit_length() - 1
            return Drop(bit, bool(mine[0]), field.index, area.y + int(rows[0]), area.y + int(rows[-1]))
    return None
