"""How much fields differ from each other."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from rastertap.frames.model import Stillness

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from rastertap.frames.model import Area, FieldKind, Frame


def alone(differ: NDArray[np.bool_]) -> float:
    """Part of the differing pixels without a differing neighbour in their line, 0..1."""
    beside = np.zeros_like(differ)
    beside[:, 1:] |= differ[:, :-1]
    beside[:, :-1] |= differ[:, 1:]
    return float((differ & ~beside).sum() / differ.sum())


def compare(fields: Sequence[Frame], areas: Mapping[FieldKind, Area]) -> Stillness:
    """Compare each complete field with the next of its kind; fields whose active areas differ in size are not."""
    found = Stillness()
    for kind, area in areas.items():
        same = [area.crop(f.codes) for f in fields if f.complete and f.field == kind != "woven"]
        for one, other in itertools.pairwise(same):
            if one.shape == other.shape:
                differ = one != other
                count = int(differ.sum())
                found = found.joined(Stillness(1, count, differ.size, alone(differ) if count else 0.0))
    return found
