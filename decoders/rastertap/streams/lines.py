"""From sync edges to scan lines: rate, phase, and what does not fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError
from rastertap.measured import Measured
from rastertap.streams.model import Lines
from rastertap.streams.rhythm import dominant_interval

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Capture

SHORTEST_LINE_S, LONGEST_LINE_S = 8e-6, 110e-6
"""Line periods looked for (9 to 125 kHz): from slow-scan home computers to 800x600 displays."""
LINES_FOR_ANCHOR = 12
GRID_WORST = 1.17 / np.sqrt(3)
"""Standard uncertainty of a rate over a span, in steps over that span: the worst error of a steady clock on a
sampling grid is 1.17 steps (references 8.2, Monte Carlo), taken as the half-width of a uniform interval."""


@dataclass(frozen=True, eq=False)
class LineTrack:
    """Lines, and the edges left over.

    Parameters
    ----------
    lines : Lines
        All lines from the start of the capture to its end.
    period : Measured
        Line period, ticks.
    width : Measured
        Width of the line sync pulse, ticks.
    steps : ndarray of int64
        Lines at which the line phase jumps.
    spare : ndarray of int64
        Indices of the leading edges that begin no line.
    """

    lines: Lines
    period: Measured
    width: Measured
    steps: NDArray[np.int64]
    spare: NDArray[np.int64]


def _anchor(edges: NDArray[np.int64], period: float, tolerance: float) -> int:
    """Index of the edge that most later edges follow at whole line periods."""
    tried = edges[: 40 * LINES_FOR_ANCHOR]
    due = tried[:, None] + period * np.arange(1, LINES_FOR_ANCHOR + 1)
    near = np.clip(np.searchsorted(edges, due), 1, edges.size - 1)
    error = np.minimum(np.abs(edges[near] - due), np.abs(edges[near - 1] - due))
    return int(np.argmax((error <= tolerance).sum(axis=1)))


def track(
    edges: NDArray[np.int64], widths: NDArray[np.int64], capture: Capture, step: float, *, tolerance: float
) -> LineTrack:
    """Find the scan lines in the leading edges of a line sync.

    Parameters
    ----------
    edges : ndarray of int64, shape (n,)
        Leading edges of the sync pulses, ticks.
    widths : ndarray of int64, shape (n,)
        Pulse widths, ticks; 0 for one that the capture cuts.
    capture : Capture
        For its span.
    step : float
        Sampling step, ticks.
    tolerance : float
        How far from due a line may begin, in line periods.

    Raises
    ------
    DecodeError
        When no line rate stands out.
    """
    from rastertap.streams.kernels import track_lines

    rhythm = dominant_interval(edges, step)
    second = float(capture.tick)
    if edges.size < LINES_FOR_ANCHOR or not SHORTEST_LINE_S < rhythm.period * second < LONGEST_LINE_S:
        raise DecodeError("no line rate stands out in the sync edges")
    period, near = rhythm.period, tolerance * rhythm.period + 2 * step
    anchor = _anchor(edges, period, near)
    starts, source, steps = track_lines(edges, anchor, period, near, capture.end)
    mirrored = -edges[::-1].copy()
    back, back_source, back_steps = track_lines(mirrored, edges.size - 1 - anchor, period, near, -capture.start)
    before = back.size - 1
    starts = np.concatenate((-back[:0:-1], starts))
    source = np.concatenate((np.where(back_source < 0, -1, edges.size - 1 - back_source)[:0:-1], source))
    # Backwards, a step at line k lies between lines k and k - 1; forwards it belongs to the later of the two.
    steps = np.concatenate((np.sort(before - back_steps + 1), steps + before))
    measured = source >= 0
    line_widths = np.where(measured, widths[np.clip(source, 0, None)], 0)
    spare = np.setdiff1d(np.arange(edges.size), source[measured])
    fitted = fit_period(starts, measured, steps, period, step)
    known = line_widths[line_widths > 0]
    width = float(np.median(known)) if known.size else 0.0
    # Median of many widths: each is off by the triangular step/sqrt(6); a whole step is lost when all agree.
    spread = step / np.sqrt(12) if known.size else float("inf")
    return LineTrack(Lines(starts, measured, line_widths), fitted, Measured(width, spread, "ticks"), steps, spare)


def fit_period(
    starts: NDArray[np.int64], measured: NDArray[np.bool_], steps: NDArray[np.int64], guess: float, step: float
) -> Measured:
    """Fit the line period to the measured starts, step by step where the phase jumps.

    Runs between jumps are fitted one by one (least squares) and averaged by their length in lines.
    """
    bounds = np.concatenate(([0], steps, [starts.size])).astype(np.int64)
    total, weight = 0.0, 0.0
    for low, high in zip(bounds[:-1], bounds[1:], strict=True):
        index = np.arange(low, high)[measured[low:high]]
        if index.size < 3:  # noqa: PLR2004 - a slope and one to spare
            continue
        slope = float(np.polyfit(index - index[0], (starts[index] - starts[index[0]]).astype(np.float64), 1)[0])
        lines = float(index[-1] - index[0])
        total, weight = total + slope * lines, weight + lines
    if not weight:
        return Measured(guess, step, "ticks")
    return Measured(total / weight, GRID_WORST * step / weight, "ticks")
