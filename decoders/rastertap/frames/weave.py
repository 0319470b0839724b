"""Putting the two fields of an interlaced frame together."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.model import Frame

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.streams.model import Sync


def weave(fields: Sequence[Frame], sync: Sync) -> list[Frame]:
    """Weave each complete first field with the complete second field that follows it.

    A line's height on the screen is the time since its field sync, so of two rows with one number that of the
    field whose sync came half-way through a line began half a line later after it, and lies below.
    """
    offset = dict(zip(sync.fields.starts.tolist(), sync.fields.offset.tolist(), strict=True))
    woven = []
    for top, below in itertools.pairwise(fields):
        if not (top.complete and below.complete and (top.field, below.field) == ("first", "second")):
            continue
        heights = np.array([offset[top.start], offset[below.start]])
        places = np.rint(2 * (heights - heights.min())).astype(int)
        rows = max(f.codes.shape[0] for f in (top, below))
        codes = np.zeros((2 * rows + 2, top.codes.shape[1]), top.codes.dtype)
        unsure = np.ones(codes.shape, bool)
        for field, place in zip((top, below), places, strict=True):
            codes[place : place + 2 * field.codes.shape[0] : 2] = field.codes
            unsure[place : place + 2 * field.codes.shape[0] : 2] = field.unsure
        woven.append(Frame(0, "woven", codes[: 2 * rows], unsure[: 2 * rows], top.start, complete=True))
    return woven


def woven_rows(woven: Frame, field: Frame) -> slice:
    """Find the rows of a woven frame that one of its kinds of field fills.

    The fields of one kind all lie alike, so the place is that at which a field agrees best with the frame.
    """

    def agree(place: int) -> int:
        rows = woven.codes[place::2]
        height = min(len(rows), len(field.codes))
        return int((rows[:height] == field.codes[:height]).sum())

    return slice(max(range(3), key=agree), None, 2)
