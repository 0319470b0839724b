"""The limits a board file states itself; they go before those of the limit set."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.standards.limit import Limit, between, limit, relative

if TYPE_CHECKING:
    from rastertap.board.model import Timing

DEFAULT_LINE_RATE_PPM = 1000.0
"""For a stated line or field rate without a tolerance; common practice, no source."""
_SOURCE = "board file"


def stated_limits(timing: Timing) -> dict[str, Limit]:
    """Turn what a board file states into limits, by quantity.

    A line rate is the stated one, or the pixel clock over the pixels of a line with the clock's tolerance; a
    field rate is the stated one, or follows from line rate and lines per field.
    """
    found = [*_rates(timing), *_counts(timing)]
    if timing.hsync_width_us is not None:
        low, high = (Fraction(repr(width)) / 1_000_000 for width in timing.hsync_width_us)
        found.append(between("hsync_width_s", low, high, source=_SOURCE, trust="stated"))
    if timing.vsync_width_lines is not None:
        low, high = (Fraction(repr(width)) for width in timing.vsync_width_lines)
        found.append(between("vsync_width_lines", low, high, source=_SOURCE, trust="stated"))
    return {entry.key: entry for entry in found}


def _rates(timing: Timing) -> list[Limit]:
    ppm = timing.line_rate_tolerance_ppm
    line_rate, source = timing.line_rate_hz, _SOURCE
    if line_rate is None and (line_rate := timing.clocked_line_rate_hz) is not None:
        source = f"{_SOURCE}: pixel clock / pixels per line"
        ppm = ppm or timing.pixel_clock_tolerance_ppm
    part = Fraction(repr(ppm or DEFAULT_LINE_RATE_PPM)) / 1_000_000
    found = []
    if line_rate is not None:
        found.append(relative("line_rate_hz", line_rate, part, source=source, trust="stated"))
        period = relative("line_period_s", 1 / line_rate, part, source=source, trust="stated")
        found.append(period)
    field_rate = timing.field_rate_hz
    if field_rate is None and line_rate is not None and timing.lines_per_field is not None:
        field_rate = line_rate * len(timing.lines_per_field) / _lines(timing.lines_per_field)
    if field_rate is not None:
        found.append(relative("field_rate_hz", field_rate, part, source=source, trust="stated"))
    return found


def _lines(counts: tuple[float, ...]) -> Fraction:
    return sum((Fraction(count) for count in counts), Fraction(0))


def _counts(timing: Timing) -> list[Limit]:
    counts = timing.lines_per_field
    if counts is None:
        return []
    low, high = Fraction(min(counts)), Fraction(max(counts))
    interlaced = timing.mode.interlaced if timing.interlaced is None and timing.mode else timing.interlaced
    found = [_count("lines_per_field", low, high)]
    if interlaced is not None:
        fields = 2 if interlaced else 1
        found.append(_count("lines_per_frame", low * fields, high * fields))
    return found


def _count(key: str, low: Fraction, high: Fraction) -> Limit:
    return limit(key, low if low == high else None, low, high, source=_SOURCE, trust="stated")
