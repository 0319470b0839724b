"""Counts that follow from a sync stream."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.fields import positions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import Sync


def lines_per_field(sync: Sync) -> NDArray[np.float64]:
    """Lines of each complete field, to the nearest half, float64, shape (fields,)."""
    between = np.diff(positions(sync.fields.starts, sync.lines)) if sync.fields.starts.size else np.empty(0)
    if sync.interlaced:
        return np.asarray(np.round(between * 2) / 2)
    # Without interlace whole lines are counted: where in the line the field sync falls does not matter.
    return np.diff(sync.fields.first_line).astype(np.float64)


def field_periods(sync: Sync) -> NDArray[np.int64]:
    """Ticks from each field sync to the next, int64, shape (fields,)."""
    return np.diff(sync.fields.starts)
