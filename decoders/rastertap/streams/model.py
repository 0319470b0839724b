"""What the built-in decoders give: pixel clock, sync and colour bus, in capture ticks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import gcd
from statistics import median
from typing import TYPE_CHECKING, Literal, get_args

from rastertap.measured import Measured
from rastertap.streams.tally import NOTHING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.roles import Polarity
    from rastertap.standards.colour_set import ColourSet
    from rastertap.streams.clock_record import ClockRecord
    from rastertap.streams.recovery_phase import Recovered
    from rastertap.streams.tally import Tally

ClockEdge = Literal["rising", "falling"]
SyncKind = Literal["separate", "composite", "blanking", "vertical", "embedded"]
"""Where the sync comes from: hsync and vsync, one channel of both, a blanking window, a field pulse and the
colour bus's own lines, codes in the bus."""
CompositeStyle = Literal["equalised", "serrated", "line-serrated", "plain"]
"""Field sync of a composite: broad pulses with equalising pulses; half-line pulses without equalising ones;
broken once a line, as XOR does; one pulse, as AND of two negative syncs does."""


@dataclass(frozen=True, eq=False)
class PixelClock:
    """The pixel clock's edges and what they say of it.

    Parameters
    ----------
    source : "tapped" or "recovered"
        Whether a channel carries it.
    channel : str
        Its name; empty when recovered.
    edges : ndarray of int64, shape (n,)
        Rising edges, ticks, strictly increasing.
    period : Measured
        Of one cycle, ticks, missing and extra edges left out.
    period_jitter, cycle_jitter : Measured or None
        Standard deviation of the period, and of the change from one period to the next, the analyser's
        own step taken out, ticks; None when not measured (recovered).
    duty : Measured or None
        High time over period, 0..1; None when not measured.
    missing : ndarray of int64, shape (m,)
        Times (ticks) at which a cycle should have come and did not, one entry a gap.
    extra : ndarray of int64, shape (k,)
        Times of edges that came between two good ones.
    record : ClockRecord or None
        Everything measured of a tapped clock.
    recovered : Recovered or None
        How a recovered clock was found.
    """

    source: Literal["tapped", "recovered"]
    channel: str
    edges: NDArray[np.int64]
    period: Measured
    period_jitter: Measured | None
    cycle_jitter: Measured | None
    duty: Measured | None
    missing: NDArray[np.int64]
    extra: NDArray[np.int64]
    record: ClockRecord | None = None
    recovered: Recovered | None = None


@dataclass(frozen=True, eq=False)
class Lines:
    """Scan lines, in order.

    Parameters
    ----------
    starts : ndarray of int64, shape (n,)
        Leading edge of each line's sync pulse, ticks; interpolated where ``measured`` is False.
    measured : ndarray of bool, shape (n,)
        Whether the edge was in the capture.
    widths : ndarray of int64, shape (n,)
        Width of the pulse that begins the line, ticks; 0 where not measured.
    """

    starts: NDArray[np.int64]
    measured: NDArray[np.bool_]
    widths: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Fields:
    """Fields that begin in the capture, in order, one entry a field-sync pulse.

    Parameters
    ----------
    starts : ndarray of int64, shape (m,)
        Leading edge of the field sync, ticks.
    first_line : ndarray of int64, shape (m,)
        Index into `Lines` of the first line of the field: row 0. Of no use once pieces are joined.
    offset : ndarray of float64, shape (m,)
        Lines from the field sync's leading edge to the start of row 0; differs by half a line
        between the two fields of an interlaced frame.
    widths : ndarray of int64, shape (m,)
        Width of the field sync, ticks; 0 where its end is not in the capture.
    lines : ndarray of float64, shape (m,)
        Lines to the next field sync, to the nearest half when interlaced, else whole; NaN for the last.
    """

    starts: NDArray[np.int64]
    first_line: NDArray[np.int64]
    offset: NDArray[np.float64]
    widths: NDArray[np.int64]
    lines: NDArray[np.float64]


EventKind = Literal["glitch", "missing", "short", "long", "displaced", "width"]
EVENT_KINDS: tuple[EventKind, ...] = get_args(EventKind)
"""A sync edge where none belongs; no line sync where one was due; a line shorter or longer than the rest, so
that all after it move; a line sync too early or late by itself; one of another width than the rest."""


@dataclass(frozen=True, eq=False)
class Events:
    """What happens to the sync now and then: the first of each kind, and how many there were.

    Parameters
    ----------
    kind : ndarray of int8, shape (n,)
        Index into `EVENT_KINDS`.
    times : ndarray of int64, shape (n,)
        Ticks, in order.
    lines : ndarray of int32, shape (n,)
        Lines from the first line of the field (0), or -1 before the first field.
    places : ndarray of float64, shape (n,)
        Where in the line, 0..1.
    extents : ndarray of float64, shape (n,)
        Ticks: a glitch's width; by how much a line is too long, or its sync late; a sync's width.
    counts : ndarray of int64, shape (len(EVENT_KINDS),)
        All of each kind, those left out included.
    """

    kind: NDArray[np.int8]
    times: NDArray[np.int64]
    lines: NDArray[np.int32]
    places: NDArray[np.float64]
    extents: NDArray[np.float64]
    counts: NDArray[np.int64]

    def count(self, kind: EventKind) -> int:
        """Count the events of a kind."""
        return int(self.counts[EVENT_KINDS.index(kind)])

    def of(self, kind: EventKind) -> NDArray[np.int64]:
        """Return the places of a kind in the arrays, int64."""
        found: NDArray[np.int64] = (self.kind == EVENT_KINDS.index(kind)).nonzero()[0]
        return found


@dataclass(frozen=True, eq=False)
class Intervals:
    """What was measured of every line and field, ticks unless said otherwise; pieces add up.

    Parameters
    ----------
    step : float
        Sampling step.
    runs : int
        Unbroken runs of lines that ``line_period`` was measured in.
    style : CompositeStyle or None
        Of a composite sync's field sync.
    window : str
        Where the porches come from: ``display_enable``, ``blank``, ``codes`` (embedded), ``picture`` (its own
        edge) or empty.
    tallies : mapping of str to Tally
        By quantity: ``line_period``, ``hsync_width``, ``equalising_pulse``, ``broad_pulse``, ``serration``,
        ``front_porch``, ``back_porch``, ``sync_to_active``, ``line_blanking``, ``field_blanking``,
        ``blanking_to_equalising``, ``vsync_width``; counts a field: ``broad_pulses``,
        ``equalising_before``, ``equalising_after``, ``active_lines``; ``active_words``, ``line_words``
        (embedded codes: words from SAV to EAV, and from EAV to EAV); ``lines_to_active`` (lines);
        ``field_blanking_to_sync``; ``picture_from``, ``picture_to`` (colour bus, from and to line sync);
        ``field_phase`` (lines from line sync to field sync).
    """

    step: float
    runs: int
    style: CompositeStyle | None
    window: str
    tallies: Mapping[str, Tally]

    def of(self, quantity: str) -> Tally:
        """Return the tally of a quantity, an empty one when it was not measured."""
        return self.tallies.get(quantity, NOTHING)


@dataclass(frozen=True, eq=False)
class Sync:
    """Line and field sync.

    Parameters
    ----------
    kind : SyncKind
        Which signals it came from.
    channels : tuple of str
        Those channels.
    lines, fields : Lines, Fields
        Every line and field found; once pieces are joined, the lines are dropped.
    line_period, line_width : Measured
        Of the line and of its sync pulse, ticks.
    line_polarity, field_polarity : Polarity or None
        Level of the pulses; None for a field sync that is not there.
    field_width : Measured or None
        Of the field sync, in lines.
    interlaced : bool or None
        None when fewer than two fields begin in the capture.
    glitches : ndarray of int64
        Times of edges that begin no line and belong to no field sync.
    steps : ndarray of int64
        Indices of lines that are so much longer or shorter than the others that the line phase jumps; dropped
        once pieces are joined (see ``events``).
    intervals : Intervals
        Statistics of all lines and fields.
    events : Events
        What does not fit.
    protection_errors : int
        Embedded codes whose protection bits do not fit; 0 for other kinds.
    window : Channel or None
        Display enable as codes embedded in the bus have it; dropped once pieces are joined.
    """

    kind: SyncKind
    channels: tuple[str, ...]
    lines: Lines
    fields: Fields
    line_period: Measured
    line_width: Measured
    line_polarity: Polarity
    field_polarity: Polarity | None
    field_width: Measured | None
    interlaced: bool | None
    glitches: NDArray[np.int64]
    steps: NDArray[np.int64]
    intervals: Intervals
    events: Events
    protection_errors: int = 0
    window: Channel | None = None


@dataclass(frozen=True)
class BitDelay:
    """When one bit of the bus changes after the clock edge, as sums that join.

    Parameters
    ----------
    channel : str
    count : int
        Changes.
    total, squares : float
        Sum of their delays after the rising edge, ticks, and of the squares.
    step : float
        The analyser's step, ticks.
    """

    channel: str
    count: int
    total: float
    squares: float
    step: float

    @property
    def mean(self) -> float:
        """Mean delay, ticks: edge and change are seen equally late on average."""
        return self.total / self.count if self.count else 0.0

    @property
    def spread(self) -> float:
        """Standard deviation of the delay, ticks, what the analyser's grid adds taken out."""
        if not self.count:
            return 0.0
        from rastertap.streams.clock_jitter import true_scatter

        variance = max(self.squares / self.count - self.mean**2, 0.0)
        return self.step * true_scatter(variance / self.step**2, self.mean / self.step)

    def joined(self, later: BitDelay) -> BitDelay:
        """Add the changes of a later piece."""
        return replace(
            self,
            count=self.count + later.count,
            total=self.total + later.total,
            squares=self.squares + later.squares,
        )


@dataclass(frozen=True, eq=False)
class SamplingPoint:
    """Where in the pixel period the bus is read.

    Parameters
    ----------
    delay : float
        From the clock's rising edge to the sampling point, ticks.
    phase : float, 0..1
        The same in pixel periods.
    margin_before, margin_after : Measured
        From the last change before, and to the first change after, ticks.
    changes : ndarray of int64, shape (bits, bins)
        Histogram of each bit's changes over the pixel period, bin 0 starting at the rising edge.
    stray : int
        Changes that fell inside the quiet window.
    bits : tuple of BitDelay
        When each bit changes, bit 0 first.
    unseen : float, 0..1
        Part of the analyser's step in which no clock edge is due: delays are unsure by as much of a step.
    second : float or None
        From the rising edge to the sampling point of the cycle's other pixel, ticks, where there are two.
    cycles_per_pixel : int
        Clock cycles to a pixel: above 1 the picture's pixels are that much wider than the clock allows.
    pixels_per_cycle : int
        2 when the bus changes on both clock edges.
    """

    delay: float
    phase: float
    margin_before: Measured
    margin_after: Measured
    changes: NDArray[np.int64]
    stray: int
    bits: tuple[BitDelay, ...] = ()
    second: float | None = None
    unseen: float = 1.0
    cycles_per_pixel: int = 1
    pixels_per_cycle: int = 1

    @property
    def reads(self) -> tuple[float, ...]:
        """Sampling points of the pixels of a cycle, ticks after the rising edge, in order."""
        return (self.delay,) if self.second is None else (self.delay, self.second)

    def off_the_middle(self) -> tuple[Measured | None, ...]:
        """How much later than the median of the bits each changes, ticks; None of a still one."""
        known = sorted(b.mean for b in self.bits if b.count)
        # Of two neither is the middle: the later one stands for it, so that the other is off by all between.
        middle = median(known) if len(known) > 2 else max(known, default=0.0)  # noqa: PLR2004
        return tuple(
            Measured(b.mean - middle, b.step * (self.unseen / 3**0.5 + 1 / (6 * b.count) ** 0.5), "ticks")
            if b.count
            else None
            for b in self.bits
        )

    def joined(self, later: SamplingPoint) -> SamplingPoint:
        """Take the changes of a later piece in: the tighter margins, both histograms."""
        return replace(
            self,
            margin_before=min(self.margin_before, later.margin_before, key=lambda m: m.value),
            margin_after=min(self.margin_after, later.margin_after, key=lambda m: m.value),
            changes=self.changes + later.changes,
            stray=self.stray + later.stray,
            bits=tuple(b.joined(c) for b, c in zip(self.bits, later.bits, strict=True)),
            unseen=min(self.unseen, later.unseen),
            cycles_per_pixel=gcd(self.cycles_per_pixel, later.cycles_per_pixel),
        )


@dataclass(frozen=True, eq=False)
class ColourBus:
    """The colour bus and how to read it.

    Parameters
    ----------
    family : str
        Name of the colour set; ``coded`` when the codes have no known meaning.
    bits : tuple of Channel
        Bit 0 (least significant) first.
    colours : ColourSet or None
        What colour each code is; None when that is not known.
    colours_from : str
        Where the colours come from, or why they are not known.
    sampling : SamplingPoint
        Where the bus is read.
    """

    family: str
    bits: tuple[Channel, ...]
    colours: ColourSet | None
    colours_from: str
    sampling: SamplingPoint
