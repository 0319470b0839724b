"""From tracked lines and field-sync pulses to a sync stream with its statistics; and joining two of them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from rastertap.measured import Measured
from rastertap.streams.blanking import picture_tallies, window_channel, window_tallies
from rastertap.streams.events import Found, gather, hidden_step, join_events, odd_widths, uneven_lines
from rastertap.streams.fields import find_fields, positions
from rastertap.streams.lines import GRID_WORST, LineTrack
from rastertap.streams.model import Fields, Intervals, Lines, Sync
from rastertap.streams.tally import Tally, interval_measured, tally

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from rastertap.capture.model import Channel
    from rastertap.roles import Polarity
    from rastertap.streams.interface import Context
    from rastertap.streams.model import CompositeStyle, SyncKind
    from rastertap.streams.pulses import Pulses

_PORCHES = ("front_porch", "back_porch", "sync_to_active")
NO_LINE_SYNC: dict[str, tuple[str, ...]] = {
    "blanking": _PORCHES,
    "embedded": (
        *_PORCHES,
        "line_blanking",
        "field_blanking",
        "field_blanking_to_sync",
        "blanking_to_equalising",
    ),
}
"""What cannot be measured where lines begin with the end of the picture: there is no sync to measure from.
Codes in the bus give digital blanking; the analogue one is another (BT.601: 720 pixels hold its line)."""


@dataclass(frozen=True, eq=False)
class Parts:
    """What a sync decoder found, to be measured and put together.

    Parameters
    ----------
    kind : SyncKind
    channels : tuple of str
    track : LineTrack
        Lines.
    fields_at : Pulses
        Field syncs.
    glitches : ndarray of int64
        Times of stray edges, ticks.
    glitch_widths : ndarray of int64
        Widths of those pulses, ticks.
    line_polarity, field_polarity : Polarity or None
    plain : ndarray of bool, shape (lines,)
        Lines that begin with a plain line sync: not within a field sync or its equalising pulses.
    style : CompositeStyle or None
    tallies : mapping of str to Tally
        What was measured of the field sync's own pulses.
    begins : ndarray of int64, shape (fields,)
        Leading edge of each field sync's first pulse, equalising pulses included.
    fields, interlaced
        When the decoder knows the fields better than by where their syncs fall in the lines.
    protection_errors, window
        As in `Sync`.
    """

    kind: SyncKind
    channels: tuple[str, ...]
    track: LineTrack
    fields_at: Pulses
    glitches: NDArray[np.int64]
    glitch_widths: NDArray[np.int64]
    line_polarity: Polarity
    field_polarity: Polarity | None
    plain: NDArray[np.bool_]
    style: CompositeStyle | None = None
    tallies: Mapping[str, Tally] = field(default_factory=dict)
    begins: NDArray[np.int64] | None = None
    fields: tuple[Fields, bool | None] | None = None
    protection_errors: int = 0
    window: Channel | None = None


def build(context: Context, parts: Parts) -> Sync:
    """Measure all lines and fields, find what does not fit, and put the stream together."""
    step, span, lines = context.step, context.counted, parts.track.lines
    period = parts.track.period
    fields, interlaced = parts.fields or find_fields(parts.fields_at.starts, parts.fields_at.widths, lines)
    least = hidden_step(context.capture)
    uneven, good, begun = uneven_lines(lines, period, step, least)
    known = lines.widths[parts.plain & (lines.widths > 0)]
    usual = float(np.median(known)) if known.size else 0.0
    widths, proper = odd_widths(lines, parts.plain, usual, step, least)
    odd = [
        Found("glitch", parts.glitches, parts.glitch_widths.astype(np.float64)),
        _missing(lines, parts.plain),
        *uneven,
        widths,
    ]
    # Where the picture's own edge stands for the line sync, another edge beside it is no event.
    events = gather(odd if parts.kind != "vertical" else [], lines, fields, span)
    counted = good & (begun >= span[0]) & (begun < span[1])
    inside = (lines.starts >= span[0]) & (lines.starts < span[1])
    role, window = window_channel(context) if parts.window is None else ("codes", parts.window)
    begins = parts.fields_at.starts if parts.begins is None else parts.begins
    tallies: dict[str, Tally] = {
        **parts.tallies,
        "line_period": tally(_good_intervals(lines)[counted]),
        "hsync_width": tally(lines.widths[proper & inside]),
        **_field_tallies(fields, lines, span),
    }
    if window is not None:
        tallies |= window_tallies(window, lines, fields, period, begins=begins, span=span)
        if parts.style != "equalised":
            tallies.pop("blanking_to_equalising", None)
        for unknown in NO_LINE_SYNC.get(parts.kind, ()):
            tallies.pop(unknown, None)
    else:
        role = ""
    bits = tuple(context.capture.channel(p.channel) for p in context.pins_with("colour"))
    shown = picture_tallies(bits, lines, span)
    tallies |= shown
    runs = 1 + int((np.diff(np.flatnonzero(counted)) > 1).sum()) if counted.any() else 1
    where = role or ("picture" if shown else "")
    intervals = Intervals(step, runs, parts.style, where, tallies)
    sync = Sync(
        kind=parts.kind,
        channels=parts.channels,
        lines=lines,
        fields=fields,
        line_period=Measured(period, step, "ticks"),
        line_width=Measured(usual, step, "ticks"),
        line_polarity=parts.line_polarity,
        field_polarity=parts.field_polarity,
        field_width=None,
        interlaced=interlaced,
        glitches=parts.glitches[(parts.glitches >= span[0]) & (parts.glitches < span[1])],
        steps=parts.track.steps,
        intervals=intervals,
        events=events,
        protection_errors=parts.protection_errors,
        window=parts.window,
    )
    return _derived(sync)


def _good_intervals(lines: Lines) -> NDArray[np.int64]:
    return np.diff(lines.starts[lines.measured])


def _missing(lines: Lines, plain: NDArray[np.bool_]) -> Found:
    """Lines without a sync edge, where a plain line sync was due; the capture's ends left out."""
    gone = plain & ~lines.measured
    gone[:1] = gone[-1:] = False
    times = lines.starts[gone]
    return Found("missing", times, np.zeros(times.size))


def _field_tallies(fields: Fields, lines: Lines, span: tuple[int, int]) -> dict[str, Tally]:
    inside = (fields.starts >= span[0]) & (fields.starts < span[1])
    if not inside.any() or lines.starts.size < 2:  # noqa: PLR2004 - a line needs a start and an end
        return {}
    # The nearest line sync counts: a field sync a step before it is not a whole line late.
    place = positions(fields.starts[inside], lines)
    phase = (place + 0.25) % 1 - 0.25
    return {
        "vsync_width": tally(fields.widths[inside & (fields.widths > 0)]),
        "field_phase": tally(phase),
    }


def _derived(sync: Sync) -> Sync:
    """Fill in what follows from the statistics."""
    found, step = sync.intervals, sync.intervals.step
    lines = found.of("line_period")
    period = sync.line_period
    if lines.count:
        value = lines.mean
        # Single edges scatter; only the first and last of each unbroken run of lines tell.
        own = lines.spread * np.sqrt(found.runs) / lines.count
        # The worst case of a steady clock on a sampling grid.
        reach = GRID_WORST * step * np.sqrt(found.runs) / lines.count
        period = Measured(value, float(np.hypot(reach, own)), "ticks")
    width = interval_measured(found.of("hsync_width"), step, period.value / step)
    if not found.of("hsync_width").count:
        width = Measured(0.0, float("inf"), "ticks")
    field_width = None
    vsync = found.of("vsync_width")
    if vsync.count:
        own = max(step / np.sqrt(6), vsync.spread / np.sqrt(vsync.count))
        field_width = Measured(vsync.quantile(0.5) / period.value, own / period.value, "lines")
    return replace(sync, line_period=period, line_width=width, field_width=field_width)


def join_syncs(earlier: Sync, later: Sync, at: int) -> Sync:
    """Join the syncs of two overlapping pieces; per-line arrays are dropped, statistics add up."""
    before, after = earlier.fields.starts < at, later.fields.starts >= at

    def both(name: str) -> NDArray[np.int64]:
        first, second = getattr(earlier.fields, name), getattr(later.fields, name)
        return np.concatenate((first[before], second[after]))

    none = np.empty(0, np.int64)
    tallies = dict(earlier.intervals.tallies)
    for key, found in later.intervals.tallies.items():
        tallies[key] = tallies[key] + found if key in tallies else found
    one, two = earlier.intervals, later.intervals
    broken = _broken(earlier, later)
    intervals = Intervals(
        step=max(one.step, two.step),
        runs=one.runs + two.runs - (0 if broken else 1),
        style=one.style or two.style,
        window=one.window or two.window,
        tallies=tallies,
    )
    joined = replace(
        earlier,
        lines=Lines(none, np.empty(0, bool), none),
        fields=Fields(
            both("starts"),
            both("first_line"),
            both("offset").astype(np.float64),
            both("widths"),
            both("lines").astype(np.float64),
        ),
        field_polarity=earlier.field_polarity or later.field_polarity,
        interlaced=later.interlaced if earlier.interlaced is None else earlier.interlaced,
        glitches=np.concatenate((earlier.glitches, later.glitches))[:MAX_GLITCHES],
        steps=none,
        window=None,
        intervals=intervals,
        events=join_events(earlier.events, later.events),
        protection_errors=earlier.protection_errors + later.protection_errors,
    )
    return _derived(replace(joined, fields=_filled(joined)))


def _filled(sync: Sync) -> Fields:
    """Count the lines of fields that no piece held whole (one without its sync) by their time."""
    fields = sync.fields
    lines = fields.lines.copy()
    unknown = np.flatnonzero(~np.isfinite(lines[:-1]))
    parts = 2 if sync.interlaced else 1
    long = (fields.starts[unknown + 1] - fields.starts[unknown]) / sync.line_period.value
    lines[unknown] = np.round(long * parts) / parts
    return replace(fields, lines=lines)


MAX_GLITCHES = 2000
"""Times of stray edges kept of a long capture; all are counted in the events."""


def _broken(earlier: Sync, later: Sync) -> bool:
    """Whether the runs of lines of two pieces do not meet: one of them had none."""
    return not (earlier.intervals.of("line_period").count and later.intervals.of("line_period").count)
