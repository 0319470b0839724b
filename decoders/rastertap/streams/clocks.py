"""Clock-like channels, and which of them the pixels keep to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.streams.rhythm import Behaviour, concentration, phases

if TYPE_CHECKING:
    from numpy.typing import NDArray

SLOWEST_CLOCK_S = 1.5e-6
"""Longest period of a clock looked for (0.67 MHz); a line is far longer."""
FEWEST_CYCLES = 200
LOCKED = 0.5
"""Concentration of bus changes within the clock cycle from which the bus keeps to the clock."""
CHANGES_COMPARED = 20_000


def clock_score(b: Behaviour) -> float:
    """Judge a steady rate far above the line rate, kept up for most of the capture."""
    rising = b.channel.edges_to(HIGH)
    if rising.size < FEWEST_CYCLES:
        return 0.0
    period = b.leading.period
    if not 0 < period * b.seconds < SLOWEST_CLOCK_S or b.leading.share < 0.7:  # noqa: PLR2004
        return 0.0
    covered = rising.size * period / max(b.capture.end - b.capture.start, 1)
    return float(min(1.0, b.leading.share * min(1.0, covered)))


def _data_changes(behaviours: dict[str, Behaviour], clocks: dict[str, float]) -> NDArray[np.int64]:
    """Give changes of the channels that may be the colour bus: busy, and no clock."""
    found = [
        b.channel.ticks[:CHANGES_COMPARED]
        for name, b in behaviours.items()
        if name not in clocks and b.edges >= FEWEST_CYCLES
    ]
    return np.concatenate(found) if found else np.empty(0, np.int64)


def _slot_share(changes: NDArray[np.int64], slow: NDArray[np.int64], parts: int) -> float:
    """Share of changes within one part of the slow clock's cycle, wherever that part begins."""
    phase = np.sort(phases(changes, slow))
    if not phase.size:
        return 0.0
    wrapped = np.concatenate((phase, phase + 1))
    inside = np.searchsorted(wrapped, phase + 1 / parts, side="left") - np.arange(phase.size)
    return float(inside.max() / phase.size)


def pick_pixel_clock(
    behaviours: dict[str, Behaviour], line: float
) -> tuple[dict[str, float], str, tuple[str, ...]]:
    """Find the clock-like channels and the one that the pixels keep to.

    Parameters
    ----------
    behaviours : dict of str to Behaviour
        By channel name.
    line : float
        Line period in ticks, 0 when not known.

    Returns
    -------
    clocks : dict of str to float
        Score of each clock-like channel.
    chosen : str
        The pixel clock's channel, or empty.
    why : tuple of str
        The evidence.
    """
    clocks = {name: score for name, b in behaviours.items() if (score := clock_score(b)) > 0}
    if not clocks:
        return clocks, "", ()
    changes = _data_changes(behaviours, clocks)
    edges = {name: behaviours[name].channel.edges_to(HIGH) for name in clocks}
    lock = {name: concentration(phases(changes, edges[name])) for name in clocks}
    period = {name: behaviours[name].leading.period for name in clocks}
    locked = sorted((n for n in clocks if lock[n] >= LOCKED), key=lambda n: period[n])
    if not locked:
        if changes.size >= FEWEST_CYCLES:
            return clocks, "", ("no clock that the colour bus keeps to",)
        fastest = min(clocks, key=lambda n: period[n])
        return clocks, fastest, (_rate(behaviours[fastest], line), "the fastest clock; no bus activity to tell by")
    chosen = locked[0]
    for slower in locked[1:]:
        parts = round(period[slower] / period[chosen])
        # A divided clock also keeps to the bus, but its pixels fall in several parts of the cycle.
        if parts > 1 and _slot_share(changes, edges[slower], parts) >= 0.999:  # noqa: PLR2004
            chosen = slower
    return clocks, chosen, (_rate(behaviours[chosen], line), f"the bus changes keep to it ({lock[chosen]:.2f} of 1)")


def _rate(b: Behaviour, line: float) -> str:
    rising = b.channel.edges_to(HIGH)
    frequency = (rising.size - 1) / (float(rising[-1] - rising[0]) * b.seconds)
    text = f"steady clock, {frequency / 1e6:.4f} MHz"
    if line:
        text += f", about {line * (rising.size - 1) / float(rising[-1] - rising[0]):.1f} cycles a line"
    return text
