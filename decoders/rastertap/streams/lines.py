"""From sync edges to scan lines: rate, phase, and what does not fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.errors import DecodeError
from rastertap.streams.model import Lines
from rastertap.streams.rhythm import leading_rhythm, robust_scatter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.capture.model import Capture

SHORTEST_LINE_S, LONGEST_LINE_S = 8e-6, 110e-6
"""Line periods looked for (9 to 125 kHz): from slow-scan home computers to 800x600 displays."""
NARROW = 0.4
"""Part of the usual width below which a pulse is no line sync; an equalising pulse is half as wide as one."""
JUMP = 0.1
"""Lines; edges that are further than this from whole lines apart have a jump of the phase between them."""
SIGMAS, WIDEST = 6.0, 0.1
"""How far from due a line may begin where all syncs jitter: standard deviations, and lines at most."""
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
    period : float
        Line period, ticks, robust against what happens now and then.
    steps : ndarray of int64
        Lines at which the line phase jumps.
    source : ndarray of int64
        Index of the leading edge that begins each line, -1 where none does.
    spare : ndarray of int64
        Indices of the leading edges that begin no line.
    """

    lines: Lines
    period: float
    steps: NDArray[np.int64]
    source: NDArray[np.int64]
    spare: NDArray[np.int64]


def _anchor(edges: NDArray[np.int64], steady: NDArray[np.bool_], period: float, tolerance: float) -> int:
    """Index of the steady edge that most later edges follow at whole line periods."""
    tried = np.flatnonzero(steady)[: 40 * LINES_FOR_ANCHOR]
    due = edges[tried][:, None] + period * np.arange(1, LINES_FOR_ANCHOR + 1)
    near = np.clip(np.searchsorted(edges, due), 1, edges.size - 1)
    error = np.minimum(np.abs(edges[near] - due), np.abs(edges[near - 1] - due))
    return int(tried[np.argmax((error <= tolerance).sum(axis=1))])


def main_pulses(widths: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Leave out the pulses that are far narrower than most: a glitch in every line is no line rate.

    Equalising pulses stay in; a width of 0 is one that is not known.
    """
    known = widths[widths > 0]
    if not known.size:
        return np.ones(widths.size, np.bool_)
    return np.asarray((widths == 0) | (widths >= NARROW * np.quantile(known, 0.9)), np.bool_)


def line_rhythm(edges: NDArray[np.int64], capture: Capture, step: float) -> float:
    """Find the line period in the leading edges of a line sync, ticks.

    Raises
    ------
    DecodeError
        When no line rate stands out.
    """
    rhythm = leading_rhythm(edges, step)
    seconds = rhythm.period * float(capture.tick)
    if edges.size < LINES_FOR_ANCHOR or not SHORTEST_LINE_S < seconds < LONGEST_LINE_S:
        raise DecodeError("no line rate stands out in the sync edges")
    return rhythm.period


def track(
    edges: NDArray[np.int64],
    widths: NDArray[np.int64],
    capture: Capture,
    step: float,
    *,
    tolerance: float,
    steady: NDArray[np.bool_] | None = None,
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
    steady : ndarray of bool, shape (n,), optional
        Edges to which the line phase may jump; all when left out.

    Raises
    ------
    DecodeError
        When no line rate stands out.
    """
    from rastertap.streams.kernels import track_lines

    main = main_pulses(widths)
    sure = main if steady is None else steady & main
    period = line_rhythm(edges[main], capture, step)
    # Syncs that all jitter are lines where they are, not glitches beside missing ones.
    scatter = robust_scatter(np.diff(edges[main]) - period) / period
    near = max(tolerance, min(SIGMAS * scatter, WIDEST)) * period + 2 * step
    anchor = _anchor(edges, sure, period, near)
    starts, source, steps = track_lines(edges, sure, anchor, period, near, capture.end)
    mirrored, mirrored_sure = -edges[::-1].copy(), sure[::-1].copy()
    back, back_source, back_steps = track_lines(
        mirrored, mirrored_sure, edges.size - 1 - anchor, period, near, -capture.start
    )
    before = back.size - 1
    starts = np.concatenate((-back[:0:-1], starts))
    source = np.concatenate((np.where(back_source < 0, -1, edges.size - 1 - back_source)[:0:-1], source))
    # Backwards, a step at line k lies between lines k and k - 1; forwards it belongs to the later of the two.
    steps = np.concatenate((np.sort(before - back_steps + 1), steps + before))
    measured = source >= 0
    line_widths = np.where(measured, widths[np.clip(source, 0, None)], 0)
    spare = np.setdiff1d(np.arange(edges.size), source[measured])
    usual = usual_period(starts, measured, period)
    return LineTrack(
        Lines(_evened(starts, measured, usual), measured, line_widths), usual, steps, source, spare
    )


def _evened(starts: NDArray[np.int64], measured: NDArray[np.bool_], period: float) -> NDArray[np.int64]:
    """Spread the lines without an edge evenly between those with one, and beyond them at the usual period.

    Put one by one at the first guess of the period, they would be more than a pixel off after some dozens, as
    in a field blanking. Where the phase jumps between two edges they stay.
    """
    known = np.flatnonzero(measured)
    apart = np.diff(known)
    even = np.abs(np.diff(starts[known]) - apart * period) <= JUMP * period
    place = np.arange(starts.size)
    spread = np.interp(place, known, starts[known].astype(np.float64))
    spread = np.where(place < known[0], starts[known[0]] - (known[0] - place) * period, spread)
    spread = np.where(place > known[-1], starts[known[-1]] + (place - known[-1]) * period, spread)
    gap = np.searchsorted(known, place, side="right") - 1
    inside = (gap >= 0) & (gap < even.size)
    settled = ~inside
    settled[inside] = even[gap[inside]]
    return np.where(measured | ~settled, starts, np.rint(spread).astype(np.int64))


def usual_period(starts: NDArray[np.int64], measured: NDArray[np.bool_], guess: float) -> float:
    """Mean of the lines' intervals without those far off: a few odd ones do not move it."""
    known = np.flatnonzero(measured)
    if known.size < 3:  # noqa: PLR2004 - too few to leave any out
        return guess
    each = np.diff(starts[known]) / np.diff(known)
    middle = float(np.median(each))
    reach = max(4 * float(np.median(np.abs(each - middle))), 1e-3 * middle)
    return float(each[np.abs(each - middle) <= reach].mean())
