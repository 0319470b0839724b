"""The pulses of a composite sync round a field sync: equalising pulses, broad pulses, serrations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.streams.pulses import Pulses
from rastertap.streams.tally import Tally, tally

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import CompositeStyle

NARROW = 0.75
"""An equalising pulse is narrower than this part of a line sync (half of it: BT.470 Table 1-2)."""
HALF = (0.4, 0.6)
"""Lines from one half-line pulse to the next."""
MOST_EQUALISING = 24
"""More half-line pulses in a row belong to no field sync."""


@dataclass(frozen=True, eq=False)
class FieldSyncs:
    """Field syncs of a composite.

    Parameters
    ----------
    pulses : Pulses
        One entry a field sync: leading edge of its first broad pulse, and width to the end of the last.
    first, last : ndarray of int64, shape (m,)
        Indices of the first and last broad pulse among all pulses.
    whole : ndarray of bool, shape (m,)
        False for one that the capture's beginning or end cuts.
    """

    pulses: Pulses
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    whole: NDArray[np.bool_]


def group_broad(pulses: Pulses, period: float, shortest: float, bounds: tuple[int, int]) -> FieldSyncs:
    """Join neighbouring broad pulses into field syncs.

    One that begins with the capture is left out: where it really began is not known.

    Parameters
    ----------
    pulses : Pulses
        Of the composite sync.
    period : float
        Line period, ticks.
    shortest : float
        Width of a broad pulse, ticks.
    bounds : (int, int)
        First and last tick of the capture.
    """
    wide = np.flatnonzero(pulses.widths >= max(shortest, 1))
    starts, ends = pulses.starts[wide], pulses.starts[wide] + pulses.widths[wide]
    if not wide.size:
        none = np.empty(0, np.int64)
        return FieldSyncs(Pulses(pulses.active, none, none), none, none, none.astype(bool))
    new = np.concatenate(([True], starts[1:] - ends[:-1] > period))
    last = np.concatenate((np.flatnonzero(new)[1:] - 1, [starts.size - 1]))
    begin, width = starts[new], ends[last] - starts[new]
    usual = float(np.median(width))
    late = begin - bounds[0] < usual
    cut = (late & (width < usual - 0.2 * period)) | (begin - bounds[0] < period)
    keep = ~cut
    whole = bounds[1] - (begin + width) > period
    found = Pulses(pulses.active, begin[keep], np.where(whole, width, 0)[keep])
    return FieldSyncs(found, wide[new][keep], wide[last][keep], whole[keep])


def _run(pulses: Pulses, index: int, direction: int, period: float, narrow: float) -> list[int]:
    """Equalising pulses that follow (or precede) the broad pulse ``index`` in half-line steps."""
    found: list[int] = []
    while len(found) < MOST_EQUALISING:
        nearest = index + direction
        if not 0 <= nearest < pulses.starts.size or not 0 < pulses.widths[nearest] < narrow:
            break
        apart = abs(int(pulses.starts[nearest] - pulses.starts[index])) / period
        if not HALF[0] < apart < HALF[1]:
            break
        found.append(nearest)
        index = nearest
    return found


def field_pulse_tallies(
    pulses: Pulses, syncs: FieldSyncs, period: float, width: float, counts: NDArray[np.bool_]
) -> tuple[dict[str, Tally], NDArray[np.int64], CompositeStyle | None]:
    """Measure and count the pulses of the field syncs for which ``counts`` (bool, shape (m,)) is true.

    Returns
    -------
    tallies : dict of str to Tally
        ``equalising_pulse``, ``broad_pulse``, ``serration`` (ticks); ``equalising_before``,
        ``equalising_after``, ``broad_pulses`` (a field sync).
    begins : ndarray of int64, shape (m,)
        Leading edge of the first equalising (else broad) pulse of each field sync.
    style : CompositeStyle or None
    """
    equalising: list[int] = []
    broad, gaps, before, after, number = [], [], [], [], []
    begins = syncs.pulses.starts.copy()
    for i, (first, last) in enumerate(zip(syncs.first.tolist(), syncs.last.tolist(), strict=True)):
        ahead = _run(pulses, first, -1, period, NARROW * width)
        behind = _run(pulses, last, 1, period, NARROW * width)
        if ahead:
            begins[i] = pulses.starts[ahead[-1]]
        if not counts[i] or not syncs.whole[i]:
            continue
        equalising += ahead + behind
        inside = np.arange(first, last + 1)
        widths = pulses.widths[inside]
        broad.append(widths)
        gaps.append(pulses.starts[inside[1:]] - (pulses.starts[inside[:-1]] + widths[:-1]))
        before.append(len(ahead))
        after.append(len(behind))
        number.append(inside.size)
    tallies = {
        "equalising_pulse": tally(pulses.widths[np.array(equalising, np.int64)]),
        "broad_pulse": tally(np.concatenate(broad) if broad else np.empty(0)),
        "serration": tally(np.concatenate(gaps) if gaps else np.empty(0)),
        "equalising_before": tally(np.array(before, np.float64)),
        "equalising_after": tally(np.array(after, np.float64)),
        "broad_pulses": tally(np.array(number, np.float64)),
    }
    return tallies, begins, _style(tallies, period)


def _style(tallies: dict[str, Tally], period: float) -> CompositeStyle | None:
    broad = tallies["broad_pulse"]
    if not broad.count:
        return None
    if tallies["broad_pulses"].usual == 1 and not tallies["equalising_pulse"].count:
        return "plain"
    if broad.quantile(0.5) > HALF[1] * period:
        return "line-serrated"
    return "equalised" if tallies["equalising_pulse"].count else "serrated"
