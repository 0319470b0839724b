"""From field-sync pulses and scan lines to fields: where each begins, and whether they interlace."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.model import Fields, Lines

if TYPE_CHECKING:
    from numpy.typing import NDArray

LATE = 0.1
"""A field sync up to this much of a line after a line's start still counts that line as the field's first."""


def positions(times: NDArray[np.int64], lines: Lines) -> NDArray[np.float64]:
    """Place times on the scan lines, in lines since the first one; whole numbers are line starts."""
    starts = lines.starts
    index = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, starts.size - 2)
    length = starts[index + 1] - starts[index]
    return np.asarray(index + (times - starts[index]) / length, np.float64)


FOLD = 0.23
"""A common phase before this counts as half a line later, so that rounding does not choose the parity."""


def find_fields(
    times: NDArray[np.int64], widths: NDArray[np.int64], lines: Lines
) -> tuple[Fields, bool | None]:
    """Find the first line of every field, and whether fields interlace.

    Parameters
    ----------
    times, widths : ndarray of int64, shape (m,)
        Leading edges and widths of the field-sync pulses, ticks.
    lines : Lines
        The scan lines.

    Returns
    -------
    fields : Fields
        One entry a pulse.
    interlaced : bool or None
        True when field syncs fall alternately half a line apart; None with fewer than two.
    """
    if not times.size or lines.starts.size < 2:  # noqa: PLR2004 - a line needs a start and an end
        none = np.empty(0, np.int64)
        return Fields(none, none, np.empty(0), none, np.empty(0)), None
    place = positions(times, lines)
    # Doubling the phase folds the two fields of an interlaced frame onto each other.
    common = float(np.angle(np.exp(4j * np.pi * place).mean()) / (4 * np.pi))
    common += 0.5 if common < -FOLD else 0.0
    half = np.round((place - common) * 2).astype(np.int64) % 2
    interlaced = bool((half[1:] != half[:-1]).mean() > 0.5) if half.size > 1 else None  # noqa: PLR2004 - most
    if not interlaced:
        half = np.full(half.size, int(np.round(half.mean())))
    whole = np.round(place - common - half / 2).astype(np.int64)
    after = common + half / 2
    first = whole + (after > LATE)
    offset = first - whole - after
    return (
        Fields(
            times,
            np.clip(first, 0, lines.starts.size - 1),
            offset,
            widths,
            _lines_of(place, first, interlaced=bool(interlaced)),
        ),
        interlaced,
    )


def _lines_of(
    place: NDArray[np.float64], first: NDArray[np.int64], *, interlaced: bool
) -> NDArray[np.float64]:
    """Lines of each field; without interlace whole ones: where in the line its sync falls does not matter."""
    between = np.round(np.diff(place) * 2) / 2 if interlaced else np.diff(first)
    return np.append(between.astype(np.float64), np.nan)
