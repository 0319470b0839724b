"""Counts that follow from a sync stream."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import Sync


def lines_per_field(sync: Sync) -> NDArray[np.float64]:
    """Lines of each complete field, to the nearest half, float64, shape (fields,).

    A field sync in tatters seems to begin several fields in one line: what has no line is no field.
    """
    lines = sync.fields.lines
    known: NDArray[np.float64] = lines[np.isfinite(lines) & (lines > 0)]
    return known


def field_periods(sync: Sync) -> NDArray[np.int64]:
    """Ticks from each field sync to the next, int64, shape (fields,)."""
    return np.diff(sync.fields.starts)
