"""The pixel clock where no channel carries it: recovered from the edges of the colour bus and the sync."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar, cast

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.clock_cycles import period_of
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.model import PixelClock
from rastertap.streams.pixel_clock import TappedPixelClock, TappedPixelClockOptions
from rastertap.streams.recovery_phase import PhaseCourse, boundaries, describe, follow_phase
from rastertap.streams.recovery_rate import LineChanges, changes_by_line, finer_grid, pixel_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.model import Sync

FEWEST_LINES = 16
FEWEST_AGREEMENT = 0.7
SCORE = 0.4
"""A recovered clock never matches as well as a tapped one."""


@dataclass(frozen=True)
class RecoveredPixelClockOptions:
    """Options of the recovered pixel clock decoder.

    Parameters
    ----------
    frequency_hz : float or None
        Pixel rate to look for (within a pixel a line) instead of the one that the bus shows.
    """

    frequency_hz: float | None = None


class RecoveredPixelClock:
    """Pixel rate and phase from the colour changes, line by line where need be."""

    name: ClassVar[str] = "pixel-clock-recovered"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "pixel clock recovered from colour bus and sync, when none can be tapped"
    needs: ClassVar[frozenset[str]] = frozenset({"sync"})
    gives: ClassVar[str] = "pixel_clock"
    Options: ClassVar[type] = RecoveredPixelClockOptions

    def match(self, context: Context) -> Match:
        """Fit when there is a colour bus."""
        bits = context.pins_with("colour")
        if not bits:
            return Match(0.0, ("no colour bus to recover a pixel clock from",))
        return Match(SCORE, (f"the changes of {len(bits)} colour bits",))

    def decode(self, context: Context, options: RecoveredPixelClockOptions) -> PixelClock:
        """Find rate, phase and boundaries."""
        sync = cast("Sync", context.streams["sync"])
        changes = _changes(context)
        starts = sync.lines.starts
        if starts.size < FEWEST_LINES:
            raise DecodeError(f"only {starts.size} lines to recover a pixel clock from")
        found = changes_by_line(changes, starts)
        tick_s = float(context.capture.tick)
        rate = options.frequency_hz
        frequency = rate * tick_s if rate else pixel_rate(found, context.step, tick_s)
        course = _course(found, starts, frequency, context.step)
        told, period = describe(course, found, starts, context.step)
        if told.agreement < FEWEST_AGREEMENT:
            raise DecodeError(
                f"the colour changes keep to a pixel rate of {1e-6 / (period.value * tick_s):.3f} MHz"
                f" only loosely (agreement {told.agreement:.2f} of 1)"
            )
        none = np.empty(0, np.int64)
        return PixelClock(
            source="recovered",
            channel="",
            edges=boundaries(course, starts, context.capture.start, context.capture.end),
            period=period,
            period_jitter=None,
            cycle_jitter=None,
            duty=None,
            missing=none,
            extra=none,
            recovered=replace(told, why=_why_not_tapped(context)),
        )

    def join(self, earlier: PixelClock, later: PixelClock, at: int) -> PixelClock:  # noqa: ARG002
        """Join the sums."""
        first, second = earlier.recovered, later.recovered
        if first is None or second is None:
            return earlier
        sums = np.add(first.sums, second.sums)
        lines = first.lines + second.lines
        told = replace(
            first,
            kind=first.kind if first.kind == second.kind else "wandering",
            agreement=(first.agreement * first.lines + second.agreement * second.lines) / lines,
            lines=lines,
            sums=tuple(sums.tolist()),
        )
        period = period_of(sums, earlier.period.value, _step_of(earlier))
        return replace(earlier, edges=np.empty(0, np.int64), period=period, recovered=told)


def _why_not_tapped(context: Context) -> str:
    """Why the channel that seems to carry the clock does not serve; empty when there is none."""
    if context.channel_with("pixel_clock") is None:
        return ""
    try:
        TappedPixelClock().decode(context, TappedPixelClockOptions())
    except DecodeError as error:
        return error.message
    return ""


def _step_of(clock: PixelClock) -> float:
    """Give the step that a recovered clock's uncertainty was made from."""
    if clock.recovered is None:
        return 0.0
    _, cycles, stretches = clock.recovered.sums
    one = period_of(np.array([1.0, cycles, stretches]), 1.0, 1.0)
    return clock.period.uncertainty / one.uncertainty


def _changes(context: Context) -> NDArray[np.int64]:
    """All times at which the bus changes; bits that change together count once."""
    bits = [context.capture.channel(p.channel).ticks for p in context.pins_with("colour")]
    if not bits:
        raise DecodeError("no colour bus to recover a pixel clock from")
    return np.unique(np.concatenate(bits))


def _course(found: LineChanges, starts: NDArray[np.int64], frequency: float, step: float) -> PhaseCourse:
    """Follow the phase; on a finer grid when changes stand off the first one."""
    course = follow_phase(found, starts, frequency, step)
    finer = finer_grid(course.off)
    return course if finer == 1 else follow_phase(found, starts, course.frequency * finer, step)
