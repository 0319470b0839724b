"""The phase of a recovered pixel clock, line by line: steady, wandering, or counted anew from each line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from rastertap.measured import Measured
from rastertap.streams.clock_tie import least_squares_line
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.recovery_rate import LineChanges

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

Kind = Literal["steady", "line-locked", "restarted", "wandering"]
COHERENT = 0.5
"""Agreement of the lines' phases from which the clock may run on from line to line."""
AS_GOOD = 0.02
"""How much less a simpler course may agree with the changes: steady before restarted before wandering."""
STEADY, STEADY_STEPS = 0.08, 0.3
"""Greatest departure of the phase from a straight course, in periods and in steps, of a steady clock."""
FEW = 4
"""Changes of a line that count as much as the mean of all lines."""
WHOLE = 0.05
"""How near to a whole number the pixels of a line must be for a clock that the lines are divided from."""
NEIGHBOURS = 4
"""Lines to either side over which the phase is averaged to see whether it is steady."""
FEWEST_FOR_MEAN = 40
ROUNDS = 4


@dataclass(frozen=True)
class Recovered:
    """How a recovered clock was found.

    Parameters
    ----------
    kind : Kind
        One clock throughout; one that follows a line rate which is not steady; one that begins anew at each
        line, whatever the line's length; one whose phase is followed line by line.
    agreement : float, 0..1
        How well the changes keep to it (length of the mean phase vector).
    lines : int
        Lines it was recovered from.
    spread : float
        Scatter of the changes about it, standard deviation, ticks (the analyser's step is in it).
    sums : (float, float, float)
        Ticks, cycles and stretches measured, as `rastertap.streams.clock_cycles.stretch_sums`.
    why : str
        Why a channel that seems to carry the clock was not used; empty when there is none.
    """

    kind: Kind
    agreement: float
    lines: int
    spread: float
    sums: tuple[float, float, float]
    why: str = ""


@dataclass(frozen=True, eq=False)
class PhaseCourse:
    """Where the pixel boundaries are.

    Parameters
    ----------
    kind : Kind
    frequency : float
        Cycles a tick.
    line_phase : ndarray of float64, shape (lines,)
        Number of the cycle, whole and part, at the start of each line.
    off : ndarray of float64, shape (n,)
        Place of every change between the boundaries, -0.5 .. 0.5 periods.
    """

    kind: Kind
    frequency: float
    line_phase: Floats
    off: Floats

    @property
    def agreement(self) -> float:
        """How well the changes keep to it, 0..1: length of their mean phase vector."""
        return float(np.abs(np.exp(2j * np.pi * self.off).mean()))


def _wrap(cycles: Floats) -> Floats:
    return np.asarray(cycles - np.round(cycles), np.float64)


def _mean_phase(sums: NDArray[np.complex128]) -> tuple[float, float]:
    """Mean phase in cycles and agreement, of phase vectors weighted by their lengths."""
    total = np.abs(sums).sum()
    mean = sums.sum() / total if total else 0j
    return float(np.angle(mean) / (2 * np.pi)), float(np.abs(mean))


def _course_over_lines(sums: NDArray[np.complex128]) -> tuple[float, float]:
    """Steady advance of the phase from line to line, cycles, and the agreement with it."""
    size = 1 << (4 * sums.size - 1).bit_length()
    spectrum = np.abs(np.fft.fft(sums, size))
    best = int(np.argmax(spectrum))
    left, middle, right = spectrum[best - 1], spectrum[best], spectrum[(best + 1) % size]
    bend = left - 2 * middle + right
    place = best + (0.5 * (left - right) / bend if bend else 0.0)
    total = float(np.abs(sums).sum())
    return float(_wrap(np.array([place / size]))[0]), float(middle / total) if total else 0.0


def follow_phase(found: LineChanges, starts: Ints, frequency: float, step: float) -> PhaseCourse:
    """Find how the pixel clock's phase goes on from line to line, and refine its frequency.

    Parameters
    ----------
    found : LineChanges
        Changes of the bus by line.
    starts : ndarray of int64, shape (lines,)
        Line starts, ticks.
    frequency : float
        Pixel rate, cycles a tick, near enough that a line's pixels can be counted.
    step : float
        The analyser's step, ticks.
    """
    begin = (starts - starts[0]).astype(np.float64)
    running = found.phase_sums(frequency, starts.size) * np.exp(2j * np.pi * (frequency * begin % 1))
    advance, agreement = _course_over_lines(running)
    tried = []
    if agreement > COHERENT:
        # Counted too fast by d, the phase gains d x (line period) cycles a line.
        steady = _steady(found, begin, frequency - advance / found.period, step)
        tried = [steady] if steady is not None else []
    tried += [_restarted(found, frequency, starts.size), _wandering(found, begin, running, frequency)]
    # The grid alone costs a steady clock this much; one counted from the lines' starts twice, as they are on
    # it.
    grid = float(np.sinc(step * frequency))
    best = max(course.agreement for course in tried)
    enough = {"steady": min(best, 0.96 * grid), "restarted": best * grid, "wandering": best}
    return next(course for course in tried if course.agreement >= enough[course.kind] - AS_GOOD)


def _smoothed(values: Floats) -> Floats:
    """Sum over neighbouring lines."""
    return np.asarray(np.convolve(values, np.ones(min(2 * NEIGHBOURS + 1, values.size)), "same"))


def _steady(found: LineChanges, begin: Floats, frequency: float, step: float) -> PhaseCourse | None:
    """Fit one clock to all changes by least squares; None when some line's phase is off it."""
    time = begin[found.line] + found.time
    offset, _ = _mean_phase(np.exp(2j * np.pi * (frequency * time % 1)))
    for _ in range(ROUNDS):
        off = _wrap(frequency * time - offset)
        more, slope = least_squares_line(time, off)
        frequency, offset = frequency - slope, offset + more
    off = _wrap(frequency * time - offset)
    number = _smoothed(np.bincount(found.line, minlength=begin.size).astype(np.float64))
    total = _smoothed(np.bincount(found.line, off, minlength=begin.size).astype(np.float64))
    known = number >= FEWEST_FOR_MEAN
    if np.abs(total[known] / number[known]).max(initial=0.0) > STEADY + STEADY_STEPS * step * frequency:
        return None
    return PhaseCourse("steady", frequency, frequency * begin - offset, off)


def _restarted(found: LineChanges, frequency: float, lines: int) -> PhaseCourse:
    """Fit one phase, counted from the line's start, to all lines."""
    offset, _ = _mean_phase(np.exp(2j * np.pi * (frequency * found.time % 1)))
    for _ in range(ROUNDS):
        off = _wrap(frequency * found.time - offset)
        more, slope = least_squares_line(found.time, off)
        frequency, offset = frequency - slope, offset + more
    off = _wrap(frequency * found.time - offset)
    # A line's start is seen on the analyser's grid; its changes say more exactly where its clock began.
    number = np.bincount(found.line, minlength=lines)
    late = np.bincount(found.line, off, minlength=lines) / (number + FEW)
    return PhaseCourse("restarted", frequency, -offset - late, off)


def _wandering(
    found: LineChanges, begin: Floats, running: NDArray[np.complex128], frequency: float
) -> PhaseCourse:
    """Follow the phase line by line; lines without changes are bridged."""
    known = np.flatnonzero(np.abs(running) > 0)
    phase = np.unwrap(np.angle(running[known]))
    course = np.interp(np.arange(begin.size), known, phase) / (2 * np.pi)
    off = _wrap(frequency * (begin[found.line] + found.time) - course[found.line])
    # The frequency within the lines may differ from the one assumed.
    _, slope = least_squares_line(found.time, off)
    offset = np.bincount(found.line, found.time, minlength=begin.size)
    middle = offset / np.maximum(np.bincount(found.line, minlength=begin.size), 1)
    bridged = np.interp(np.arange(begin.size), known, middle[known])
    line_phase = frequency * begin - course + slope * bridged
    better = frequency - slope
    off = _wrap(line_phase[found.line] + better * found.time)
    return PhaseCourse("wandering", better, line_phase, off)


def boundaries(course: PhaseCourse, starts: Ints, start: int, end: int) -> Ints:
    """Give the pixel boundaries from ``start`` to ``end``, ticks, increasing."""
    if course.kind == "restarted":
        return _lines_of_their_own(course, starts, end)
    # Beyond the first and the last line the clock goes on as it is there.
    first, last = float(starts[0]), float(starts[-1])
    ends = [min(float(start), first - 1), max(float(end), last) + 1]
    knots = np.concatenate((ends[:1], starts, ends[1:]))
    outside = [
        course.line_phase[i] + (e - s) * course.frequency
        for i, e, s in ((0, ends[0], first), (-1, ends[1], last))
    ]
    phase = np.concatenate((outside[:1], course.line_phase, outside[1:]))
    numbers = np.arange(np.ceil(phase[0]), np.floor(phase[-1]) + 1)
    return np.asarray(np.rint(np.interp(numbers, phase, knots)), np.int64)


def _lines_of_their_own(course: PhaseCourse, starts: Ints, end: int) -> Ints:
    """Give the boundaries of a clock that begins anew in each line, up to where the next one's begin."""
    period = 1 / course.frequency
    first = starts + (np.ceil(course.line_phase - 0.5) - course.line_phase) * period
    until = np.append(first[1:] - 0.5 * period, float(end))
    edges = [np.arange(low, high, period) for low, high in zip(first, until, strict=True)]
    return np.asarray(np.rint(np.concatenate(edges)), np.int64)


def describe(
    course: PhaseCourse, found: LineChanges, starts: Ints, step: float
) -> tuple[Recovered, Measured]:
    """Say how the clock was found, and give its period with its uncertainty (ticks).

    The mean over the recording is bounded as that of a tapped clock (`GRID_WORST`); of a clock that starts
    anew in each line, each line is a stretch of its own.
    """
    period = 1 / course.frequency
    lines = int(np.count_nonzero(np.bincount(found.line)))
    span = float(starts[-1] - starts[0])
    kind, stretches = course.kind, 1.0
    cycles = float(course.line_phase[-1] - course.line_phase[0])
    if kind == "restarted":
        cycles, stretches = span / period, float(max(lines, 1))
        pixels = found.period / period
        if abs(pixels - round(pixels)) < WHOLE:
            kind, cycles, stretches = "line-locked", float(round(pixels) * round(span / found.period)), 1.0
    period = span / cycles
    sums = (span, cycles, stretches)
    doubt = GRID_WORST * step * np.sqrt(stretches) / cycles
    told = Recovered(kind, course.agreement, lines, float(course.off.std() * period), sums)
    return told, Measured(period, float(doubt), "ticks")
