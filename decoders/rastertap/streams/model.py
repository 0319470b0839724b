"""What the built-in decoders give: pixel clock, sync and colour bus, in capture ticks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.measured import Measured
    from rastertap.roles import Polarity

ClockEdge = Literal["rising", "falling"]
SyncKind = Literal["separate", "composite"]


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
    period_jitter, cycle_jitter : Measured
        Standard deviation of the period, and of the change from one period to the next, the analyser's
        own step taken out, ticks.
    duty : Measured
        High time over period, 0..1.
    missing : ndarray of int64, shape (m,)
        Times (ticks) at which a cycle should have come and did not, one entry a cycle.
    extra : ndarray of int64, shape (k,)
        Times of edges that came between two good ones.
    """

    source: Literal["tapped", "recovered"]
    channel: str
    edges: NDArray[np.int64]
    period: Measured
    period_jitter: Measured
    cycle_jitter: Measured
    duty: Measured
    missing: NDArray[np.int64]
    extra: NDArray[np.int64]


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
        Index into `Lines` of the first line of the field: row 0.
    offset : ndarray of float64, shape (m,)
        Lines from the field sync's leading edge to the start of row 0; differs by half a line
        between the two fields of an interlaced frame.
    widths : ndarray of int64, shape (m,)
        Width of the field sync, ticks; 0 where its end is not in the capture.
    """

    starts: NDArray[np.int64]
    first_line: NDArray[np.int64]
    offset: NDArray[np.float64]
    widths: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Sync:
    """Line and field sync.

    Parameters
    ----------
    kind : "separate" or "composite"
        Which signals it came from.
    channels : tuple of str
        Those channels.
    lines, fields : Lines, Fields
        Every line and field found.
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
        Indices of lines that are longer or shorter than the others, so that the line phase jumps.
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
    """

    delay: float
    phase: float
    margin_before: Measured
    margin_after: Measured
    changes: NDArray[np.int64]
    stray: int


@dataclass(frozen=True, eq=False)
class ColourBus:
    """The colour bus and how to read it.

    Parameters
    ----------
    family : str
        ``rgb``, ``rgbi``, ``rrggbb``, ``coded``.
    bits : tuple of Channel
        Bit 0 (least significant) first.
    palette : ndarray of uint8, shape (2**bits, 3), or None
        R'G'B' of each code; None when the colours of the codes are not known.
    palette_source : str
        Where the palette comes from.
    sampling : SamplingPoint
        Where the bus is read.
    """

    family: str
    bits: tuple[Channel, ...]
    palette: NDArray[np.uint8] | None
    palette_source: str
    sampling: SamplingPoint
