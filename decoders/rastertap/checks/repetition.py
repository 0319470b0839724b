"""Whether events come back at a regular interval, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

FEWEST = 3
"""Events from which a rhythm is believed: two intervals that agree."""
AGREE = 0.9
"""Part of the intervals that must fit a rhythm."""
MOST = 0.75
NEARLY_PART = 0.02
"""Most intervals come within this part (or a line) of the usual one: told as "about"."""


def every(numbers: NDArray[np.int64]) -> int | None:
    """Give the step at which whole numbers (in order) come back, or None when there is none."""
    if numbers.size < FEWEST:
        return None
    steps = np.diff(numbers)
    values, counts = np.unique(steps[steps > 0], return_counts=True)
    if not values.size:
        return None
    best = int(values[np.argmax(counts)])
    # One that is missed or comes twice leaves a multiple of the step.
    fits = (steps > 0) & (steps % best == 0)
    return best if fits.mean() >= AGREE and counts.max() >= AGREE * steps.size * 0.5 else None


def _nearly(steps: NDArray[np.int64]) -> str:
    """Say so when most steps are equal but for a few lines, as when a line is lost in between."""
    usual = float(np.median(steps))
    near = np.abs(steps - usual) <= max(1.0, NEARLY_PART * usual)
    return f"about every {usual:.0f} lines" if usual > 1 and near.mean() >= MOST else "at no regular interval"


def ordinal(number: int) -> str:
    """Write ``2`` as ``2nd``."""
    if number % 100 in {11, 12, 13}:
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def in_fields(fields: NDArray[np.int64]) -> str:
    """Say in which fields (their numbers, in order) something happens; empty when that cannot be told."""
    step = every(np.unique(fields))
    if step is None:
        return ""
    return "in every field" if step == 1 else f"in every {ordinal(step)} field"


def in_lines(times: NDArray[np.int64], period: float, lines_per_field: float | None) -> str:
    """Say at which interval of lines events come back.

    Parameters
    ----------
    times : ndarray of int64, shape (n,)
        Ticks, in order.
    period : float
        Line period, ticks.
    lines_per_field : float or None
        A multiple of it is told in fields.
    """
    if times.size == 1:
        return "once in this capture"
    places = np.rint((times - times[:1]) / period).astype(np.int64)
    step = every(places)
    if step is None:
        return "" if times.size < FEWEST else _nearly(np.diff(places))
    if step == 1:
        return "in every line"
    fields = step / lines_per_field if lines_per_field else 0.0
    if fields >= 1 and abs(fields - round(fields)) * (lines_per_field or 0.0) < 1:
        return (
            "once in every field" if round(fields) == 1 else f"once in every {ordinal(round(fields))} field"
        )
    return f"every {step} lines"
