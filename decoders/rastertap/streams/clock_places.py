"""Where in the picture the clock's events fall, and how they repeat: each line, field, every N cycles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal, cast

import numpy as np

from rastertap.errors import DecodeError
from rastertap.match import Match
from rastertap.streams.interface import CONTRACT, Context
from rastertap.streams.rhythm import robust_scatter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.clock_events import Events
    from rastertap.streams.model import PixelClock, Sync

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

Repeats = Literal["each line", "each field", "every N cycles", "bursts", "random", "once", "never"]
MOST_OF = 0.9
"""Part of the lines, fields or distances that must agree to call events regular."""
FEWEST_REGULAR = 4
SAME_PIXEL = 1.5
"""Spread (standard deviation, pixels) within which events fall at the same place of a line."""
SAME_PLACE = 4
"""Cycles by which events of one place may differ from field to field."""
CLOSE = 32
"""Cycles between events of one burst at most."""


@dataclass(frozen=True, eq=False)
class Placed:
    """Events of one kind and where they fall.

    Parameters
    ----------
    at : ndarray of int64, shape (k,)
        Ticks, increasing.
    line : ndarray of int64, shape (k,)
        Lines since the start of the field; -1 where no field has begun.
    pixel : ndarray of float64, shape (k,)
        Cycles since the start of the line.
    period : float
        Of the clock, ticks.
    lines, fields : int
        Lines and fields in which they could have fallen.
    field_ticks : float
        Length of a field; 0 when not known.
    """

    at: Ints
    line: Ints
    pixel: Floats
    period: float
    lines: int
    fields: int
    field_ticks: float

    def joined(self, later: Placed) -> Placed:
        """Join with those of a later piece."""
        return Placed(
            np.concatenate((self.at, later.at)),
            np.concatenate((self.line, later.line)),
            np.concatenate((self.pixel, later.pixel)),
            self.period,
            self.lines + later.lines,
            self.fields + later.fields,
            self.field_ticks or later.field_ticks,
        )

    @property
    def repeats(self) -> Repeats:
        """How the events repeat."""
        if self._a_field_apart():
            return "each field"
        if self.at.size < FEWEST_REGULAR:
            return ("never", "once")[min(self.at.size, 1)] if self.at.size < 2 else "random"  # noqa: PLR2004
        if self.at.size >= MOST_OF * self.lines and _same(self.pixel):
            return "each line"
        if self._each_field():
            return "each field"
        if self.every:
            return "every N cycles"
        close = np.diff(self.at) < CLOSE * self.period
        return "bursts" if close.mean() > 0.5 else "random"  # noqa: PLR2004 - most

    def _a_field_apart(self) -> bool:
        """Whether there is one event a field, always a field after the last."""
        apart = np.diff(self.at)
        return bool(
            self.field_ticks
            and apart.size
            and self.at.size >= self.fields - 1
            and (np.abs(apart - self.field_ticks) <= SAME_PLACE * self.period).all()
        )

    def _each_field(self) -> bool:
        if self.fields < 2 or self.at.size < MOST_OF * self.fields:  # noqa: PLR2004
            return False
        place = self.line + self.pixel / max(float(self.pixel.max()), 1.0) / 2
        rows, counts = np.unique(np.round(place, 2), return_counts=True)
        return bool(rows.size and counts[counts >= max(self.fields - 1, 2)].sum() >= MOST_OF * self.at.size)

    @property
    def every(self) -> int:
        """Cycles from event to event when it is nearly always the same number, else 0."""
        apart = np.rint(np.diff(self.at) / self.period)
        usual = float(np.median(apart)) if apart.size else 0.0
        return int(usual) if usual and (np.abs(apart - usual) <= 1).mean() >= MOST_OF else 0

    @property
    def usual_pixel(self) -> int:
        """Pixel of most events."""
        return round(float(np.median(self.pixel)))


def _same(pixel: Floats) -> bool:
    return robust_scatter(pixel - np.median(pixel)) <= SAME_PIXEL


@dataclass(frozen=True, eq=False)
class ClockPlaces:
    """Places of missing cycles, extra edges and phase jumps."""

    gaps: Placed
    extra: Placed
    jumps: Placed


@dataclass(frozen=True)
class ClockPlacesOptions:
    """Options of the decoder: none."""


class ClockPlacesDecoder:
    """Puts the clock's events on the lines and fields."""

    name: ClassVar[str] = "clock-places"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "where in the line and field the clock's faults fall, and how they repeat"
    needs: ClassVar[frozenset[str]] = frozenset({"pixel_clock", "sync"})
    gives: ClassVar[str] = "clock_places"
    Options: ClassVar[type] = ClockPlacesOptions

    def match(self, context: Context) -> Match:
        """Fit a clock that was tapped."""
        clock = cast("PixelClock", context.streams["pixel_clock"])
        if clock.record is None:
            return Match(0.0, ("the clock was not tapped, so its faults are not seen",))
        return Match(0.9, ("pixel clock and sync are there",))

    def decode(self, context: Context, options: ClockPlacesOptions) -> ClockPlaces:  # noqa: ARG002 - none
        """Place every kind of event."""
        clock = cast("PixelClock", context.streams["pixel_clock"])
        sync = cast("Sync", context.streams["sync"])
        if clock.record is None:
            raise DecodeError("the clock was not tapped, so its faults are not seen")
        events = clock.record.events
        gaps, extra, jumps = (
            _place(kind, sync, clock.period.value, context.counted)
            for kind in (events.gaps, events.extra, events.jumps)
        )
        return ClockPlaces(gaps, extra, jumps)

    def join(self, earlier: ClockPlaces, later: ClockPlaces, at: int) -> ClockPlaces:  # noqa: ARG002
        """Join both."""
        return ClockPlaces(
            earlier.gaps.joined(later.gaps),
            earlier.extra.joined(later.extra),
            earlier.jumps.joined(later.jumps),
        )


def _place(events: Events, sync: Sync, period: float, span: tuple[int, int]) -> Placed:
    starts, fields = sync.lines.starts, sync.fields
    line = np.clip(np.searchsorted(starts, events.at, side="right") - 1, 0, max(starts.size - 1, 0))
    field = np.searchsorted(fields.first_line, line, side="right") - 1
    row = np.where(
        field >= 0, line - fields.first_line[np.clip(field, 0, None)] if fields.first_line.size else 0, -1
    )
    inside = np.diff(np.searchsorted(starts, span))[0]
    begun = np.diff(np.searchsorted(fields.starts, span))[0]
    length = float(np.median(np.diff(fields.starts))) if fields.starts.size > 1 else 0.0
    pixel = (events.at - starts[line]) / period
    return Placed(events.at, row, pixel, period, int(inside), int(begun), length)
