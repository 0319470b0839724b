"""How the line sync lies to the pixel clock: for a digitiser that makes its own clock from the sync."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH, LOW
from rastertap.streams.rhythm import mean_phase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rastertap.analyse import Analysis

ON_TIME = 0.02
"""Sync edges that come this near to a line after another (as a part of it) begin a line."""


def sync_phase(analysis: Analysis) -> float | None:
    """Ticks from the rising clock edge that a line begins with to the leading edge of its sync, mean.

    Within half a clock of zero; with one pixel a clock, pixel 0 begins with that edge. None when clock or
    sync is not on a channel.
    """
    clock, sync = analysis.evidence.pixel_clock, analysis.evidence.sync
    if clock is None or sync is None or not clock.channel or sync.kind not in {"separate", "composite"}:
        return None
    capture, period = analysis.capture, clock.period.value
    edges = capture.channel(clock.channel).binary().edges_to(HIGH)
    level = HIGH if sync.line_polarity == "positive" else LOW
    starts = capture.channel(sync.channels[0]).binary().edges_to(level)
    between = np.diff(starts) / sync.line_period.value
    starts = starts[1:][np.abs(between - 1) < ON_TIME]
    before = np.searchsorted(edges, starts, side="right") - 1
    inside = (before >= 0) & (before < edges.size - 1)
    if not inside.any():
        return None
    part = (starts[inside] - edges[before[inside]]) / period
    return mean_phase(part) * period


def first_sample(sync_delay: float, period: float, pixel: int, reads: Sequence[float]) -> float:
    """Ticks from the leading edge of line sync to where ``pixel`` is read.

    Parameters
    ----------
    sync_delay : float
        As `sync_phase` gives it.
    period : float
        Of the pixel clock, ticks.
    pixel : int
        Counted from the one that the line begins with.
    reads : sequence of float
        From the rising clock edge to the sampling points of a cycle's pixels, ticks, in order.
    """
    # With two pixels a cycle a line may begin with either: the one that the sync is nearest to.
    index = round(sync_delay / period * len(reads)) + pixel
    cycle, which = divmod(index, len(reads))
    return cycle * period + reads[which] - sync_delay
