"""Clock-like channels, and which of them the pixels keep to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.streams.clock_cycles import rough_period
from rastertap.streams.rhythm import Behaviour, concentration, phases

if TYPE_CHECKING:
    from numpy.typing import NDArray

SLOWEST_CLOCK_S = 1.5e-6
"""Longest period of a clock looked for (0.67 MHz); a line is far longer."""
FEWEST_CYCLES = 200
LOCKED = 0.5
"""Concentration of bus changes within the clock cycle from which the bus keeps to the clock."""
CLEARLY = 0.1
"""By how much the bus must keep better to both edges of a clock than to one, to be of double rate."""
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


def _data_changes(behaviours: dict[str, Behaviour], clocks: dict[str, float]) -> list[NDArray[np.int64]]:
    """Give changes of each channel that may be of the colour bus: busy, and no clock."""
    return [
        b.channel.ticks[:CHANGES_COMPARED]
        for name, b in behaviours.items()
        if name not in clocks and b.edges >= FEWEST_CYCLES
    ]


def _keeping(
    changes: list[NDArray[np.int64]], clock: NDArray[np.int64], rate: int = 1
) -> tuple[float, list[NDArray[np.int64]]]:
    """How well the better half of the channels keep to a clock, and the changes of those that do.

    Half of them: a channel may carry something else, or be full of crosstalk. ``rate`` 2: to both its edges.
    """
    each = sorted(((concentration(rate * phases(c, clock)), i) for i, c in enumerate(changes)), reverse=True)
    better = each[: -(-len(each) // 2)]
    lock = float(np.mean([score for score, _ in better])) if better else 0.0
    return lock, [changes[i] for score, i in each if score >= LOCKED]


def _slot_share(changes: NDArray[np.int64], slow: NDArray[np.int64], parts: int) -> float:
    """Share of changes within one part of the slow clock's cycle, wherever that part begins."""
    phase = np.sort(phases(changes, slow))
    if not phase.size:
        return 0.0
    wrapped = np.concatenate((phase, phase + 1))
    inside = np.searchsorted(wrapped, phase + 1 / parts, side="left") - np.arange(phase.size)
    return float(inside.max() / phase.size)


def pick_pixel_clock(
    behaviours: dict[str, Behaviour],
) -> tuple[dict[str, float], str, int, tuple[str, ...]]:
    """Find the clock-like channels and the one that the pixels keep to.

    Parameters
    ----------
    behaviours : dict of str to Behaviour
        By channel name.

    Returns
    -------
    clocks : dict of str to float
        Score of each clock-like channel.
    chosen : str
        The pixel clock's channel, or empty.
    rate : int
        Pixels a cycle: 2 when the bus changes with both edges.
    why : tuple of str
        The evidence.
    """
    clocks = {name: score for name, b in behaviours.items() if (score := clock_score(b)) > 0}
    if not clocks:
        return clocks, "", 1, ()
    changes = _data_changes(behaviours, clocks)
    edges = {name: behaviours[name].channel.edges_to(HIGH) for name in clocks}
    keeping = {name: _keeping(changes, edges[name]) for name in clocks}
    lock = {name: found[0] for name, found in keeping.items()}
    period = {name: behaviours[name].leading.period for name in clocks}
    # Changes at one place in the cycle agree less at twice its rate; at two places half a cycle apart, more.
    twice = {name: _keeping(changes, edges[name], 2)[0] for name in clocks}
    double = {n for n in clocks if twice[n] >= max(LOCKED, lock[n] + CLEARLY)}
    locked = sorted((n for n in clocks if lock[n] >= LOCKED and n not in double), key=lambda n: period[n])
    if not locked:
        if double:
            chosen = min(double, key=lambda n: period[n])
            return clocks, chosen, 2, (f"the bus changes keep to both its edges ({twice[chosen]:.2f} of 1)",)
        if changes:
            return clocks, "", 1, ("no clock that the colour bus keeps to",)
        fastest = min(clocks, key=lambda n: period[n])
        return clocks, fastest, 1, ("the fastest clock; no bus activity to tell by",)
    chosen = locked[0]
    for slower in locked[1:]:
        parts = round(period[slower] / period[chosen])
        # A divided clock also keeps to the bus, but its pixels fall in several parts of the cycle.
        kept = np.concatenate(keeping[chosen][1])
        if parts > 1 and _slot_share(kept, edges[slower], parts) >= 0.999:  # noqa: PLR2004
            chosen = slower
    return clocks, chosen, 1, (f"the bus changes keep to it ({lock[chosen]:.2f} of 1)",)


def rate_words(b: Behaviour, line: float) -> str:
    """Write a clock's frequency, and its cycles a line when the line period (ticks) is known, not 0."""
    # A clock that stops now and then is as fast as it is while it runs.
    period = rough_period(b.channel.edges_to(HIGH))
    text = f"steady clock, {1e-6 / (period * b.seconds):.4f} MHz"
    if line:
        text += f", about {line / period:.1f} cycles a line"
    return text
