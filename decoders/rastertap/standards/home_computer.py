"""Wide limits for machines that were never broadcast sources.

Nearly all are common practice without a source: what a television or monitor of the time locked to and
centred well enough. Pulse shapes within the field sync (equalising, broad, serration) are not limited, as
such machines make them in many ways or not at all.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rastertap.standards.broadcast import SUBCARRIER_NTSC, SUBCARRIER_PAL
from rastertap.standards.limit import Limit, around, between, limit, relative

if TYPE_CHECKING:
    from rastertap.standards.modes import Mode, Trust

PRACTICE: Trust = "common practice, no source"
_SOURCE = "wide, for home computers"

LINE_RATE_PART = Fraction(2, 100)
SUBCARRIER_PART = Fraction(100, 1_000_000)
WIDTH_PART = Fraction(30, 100)
"""How far a fixed mode's sync and porches may be off; common practice, no source."""
FIELD_RATES = {50: ("49", "51.5"), 60: ("58.5", "61.5")}
LINES = {50: (304, 320), 60: (256, 272)}
"""Lines per field without doubling."""


def home_computer(mode: Mode) -> tuple[Limit, ...]:
    """Limits for a machine whose timing is near ``mode``."""
    line_rate = mode.line_rate_hz
    low, high = line_rate * (1 - LINE_RATE_PART), line_rate * (1 + LINE_RATE_PART)
    return (
        relative("line_rate_hz", line_rate, LINE_RATE_PART, source=_SOURCE, trust=PRACTICE),
        limit("line_period_s", 1 / line_rate, 1 / high, 1 / low, source="1 / line rate", trust=PRACTICE),
        _field_rate(mode),
        *_line_counts(mode),
        *(_fixed_widths(mode) if _is_monitor_mode(mode) else _wide_widths(mode)),
        *(() if mode.doubled else _subcarrier(mode)),
    )


def _is_monitor_mode(mode: Mode) -> bool:
    """Whether every pixel of the mode is fixed, and whoever makes it keeps to that (not so at 15 kHz)."""
    return mode.doubled and mode.horizontal is not None


def _field_rate(mode: Mode) -> Limit:
    low, high = FIELD_RATES[mode.nominal_field_rate]
    return limit(
        "field_rate_hz", mode.field_rate_hz, Fraction(low), Fraction(high), source=_SOURCE, trust=PRACTICE
    )


def _line_counts(mode: Mode) -> tuple[Limit, ...]:
    if _is_monitor_mode(mode):
        source = f"the mode's own: {mode.source}"
        exact = (("lines_per_field", mode.lines_per_field[0]), ("lines_per_frame", mode.lines_per_frame))
        return tuple(around(key, n, "0", "0", source=source, trust=mode.trust) for key, n in exact)
    low, high = (n * (2 if mode.doubled else 1) for n in LINES[mode.nominal_field_rate])
    fields = len(mode.lines_per_field)
    return (
        limit(
            "lines_per_field",
            mode.lines_per_field[0],
            Fraction(low),
            Fraction(high),
            source=_SOURCE,
            trust=PRACTICE,
        ),
        limit(
            "lines_per_frame",
            mode.lines_per_frame,
            Fraction(low * fields),
            Fraction(high * fields),
            source=_SOURCE,
            trust=PRACTICE,
        ),
    )


def _wide_widths(mode: Mode) -> tuple[Limit, ...]:
    """Give the widths of a mode that fixes none: those of 15 kHz, halved where the line rate is doubled."""
    scale = Fraction(1, 2) if mode.doubled else Fraction(1)

    def practice(key: str, low: str, high: str) -> Limit:
        return between(key, Fraction(low) * scale, Fraction(high) * scale, source=_SOURCE, trust=PRACTICE)

    # Blanking is wide on purpose: a display-enable pin may be low in the border as well.
    return (
        practice("hsync_width_s", "3.5e-6", "6.5e-6"),
        practice("line_blanking_s", "8e-6", "34e-6"),
        practice("front_porch_s", "0.5e-6", "16e-6"),
        practice("back_porch_s", "1.5e-6", "20e-6"),
        between("vsync_width_lines", "1", "10", source=_SOURCE, trust=PRACTICE),
    )


def _fixed_widths(mode: Mode) -> tuple[Limit, ...]:
    """Give the widths of a mode that fixes its pixels, +-30 %; a field sync may be a line off as well."""
    if mode.horizontal is None or mode.vertical is None or mode.pixel_clock_hz is None:
        raise ValueError(f"{mode.key} does not fix its pixels")
    line, source = mode.horizontal, f"+-30 % (common practice) of {mode.source}"
    widths = {
        "hsync_width_s": line.sync,
        "line_blanking_s": line.total - line.active,
        "front_porch_s": line.front_porch,
        "back_porch_s": line.back_porch,
    }
    lines = Fraction(mode.vertical.sync)
    reach = max(Fraction(1), lines * WIDTH_PART)
    return (
        *(
            relative(key, pixels / mode.pixel_clock_hz, WIDTH_PART, source=source, trust=PRACTICE)
            for key, pixels in widths.items()
        ),
        around("vsync_width_lines", lines, reach, reach, source=source, trust=PRACTICE),
    )


def _subcarrier(mode: Mode) -> tuple[Limit, ...]:
    value = SUBCARRIER_PAL if mode.nominal_field_rate == 50 else SUBCARRIER_NTSC  # noqa: PLR2004 - the 50 Hz family
    source = "+-100 ppm, a plain crystal; value: BT.470-6 Table 2"
    return (relative("subcarrier_hz", value, SUBCARRIER_PART, source=source, trust=PRACTICE),)
