"""A colour set that is easier to tell apart and keeps its hues.

Greys stay grey and every other colour keeps the direction of its Pb, Pr; how light and how strong it is may
change, within what R'G'B' can show. Black and white stay as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.standards.colour import WHITE_MILLIVOLTS, component_millivolts, rgb_millivolts
from rastertap.standards.colour_set import rgb_of_component, to_bytes

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS = 24
"""Lightnesses and strengths tried for each colour in each round."""
MOST_ROUNDS = 60
ROUNDING = 1e-6
GREY_MILLIVOLTS = 3.0
"""A colour with less Pb and Pr than this has no hue."""


@dataclass(frozen=True, eq=False)
class Distinct:
    """A changed set: R'G'B' of each colour, and the smallest distance of a pair before and after, in mV.

    The distance of two colours is the larger of their differences on the axes: half of it is the best margin
    that thresholds can give them.
    """

    table: NDArray[np.uint8]
    before: float
    after: float


def axis_levels(table: NDArray[np.uint8], axes: str) -> NDArray[np.float64]:
    """Levels in mV on the axes ``ypbpr`` or ``rgb``, shape (colours, 3)."""
    return component_millivolts(table) if axes == "ypbpr" else rgb_millivolts(table)


def _candidates(colour: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Colours of the same hue, every lightness and strength that R'G'B' can show."""
    _, pb, pr = colour
    strength = float(np.hypot(pb, pr))
    lightness = np.linspace(0, WHITE_MILLIVOLTS, STEPS)
    strengths = np.linspace(0.15, 1, STEPS) * WHITE_MILLIVOLTS if strength > GREY_MILLIVOLTS else np.zeros(1)
    direction = np.array([pb, pr]) / strength if strength > GREY_MILLIVOLTS else np.zeros(2)
    grid = np.array([(li, *(s * direction)) for li in lightness for s in strengths])
    rgb = rgb_of_component(grid / WHITE_MILLIVOLTS)
    inside = ((rgb > -ROUNDING) & (rgb < 1 + ROUNDING)).all(axis=1)
    return to_bytes(rgb[inside])


def _nearest(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance of each colour from the nearest other one."""
    apart = np.abs(levels[:, np.newaxis] - levels).max(axis=2)
    np.fill_diagonal(apart, np.inf)
    return np.asarray(apart.min(axis=1))


def more_distinct(table: NDArray[np.uint8], axes: str) -> Distinct:
    """Change lightness and strength so that the nearest two colours are as far apart as can be found.

    Parameters
    ----------
    table : ndarray of uint8, shape (colours, 3)
    axes : "ypbpr" or "rgb"

    Returns
    -------
    Distinct
        Never worse than the set given. Found by moving the colour of the nearest pair again and again: a good
        set, not proven the best.
    """
    current = table.copy()
    hues = component_millivolts(table)
    fixed = [tuple(row) in {(0, 0, 0), (255, 255, 255)} for row in table.tolist()]
    choices = [np.empty((0, 3), np.uint8) if f else _candidates(h) for f, h in zip(fixed, hues, strict=True)]
    levels = axis_levels(current, axes)
    before = float(_nearest(levels).min())
    for _ in range(MOST_ROUNDS):
        if not any(
            _move(current, levels, index, choices[index], axes) for index in np.argsort(_nearest(levels))
        ):
            break
    return Distinct(current, before, float(_nearest(levels).min()))


def _move(
    current: NDArray[np.uint8],
    levels: NDArray[np.float64],
    index: int,
    choices: NDArray[np.uint8],
    axes: str,
) -> bool:
    """Move one colour to where its nearest other one is farthest, if that is farther than now."""
    if not len(choices):
        return False
    others = np.delete(levels, index, axis=0)
    tried = axis_levels(choices, axes)
    apart = np.abs(tried[:, np.newaxis] - others).max(axis=2).min(axis=1)
    best = int(np.argmax(apart))
    now = float(np.abs(levels[index] - others).max(axis=1).min())
    if apart[best] <= now + ROUNDING:
        return False
    current[index], levels[index] = choices[best], tried[best]
    return True
