"""Limits of the 625- and 525-line broadcast and studio standards.

Letters are those of BT.470-6 Table 1-1 and 1-2 (a line blanking, b sync to end of blanking, c front porch, d
line sync, p equalising pulse, q broad pulse, r serration). Section numbers are those of the project's
references; the originals were read as transcriptions, not as printed. Where documents disagree its section 12
is followed:

- 625 front porch: BT.1700 prints 1.2 us, which breaks its own a = b + c; 1.5 us is used;
- 625 line blanking: the later text (12 +0/-0.3 us), not Report 624's 12 +-0.3 us;
- back porches are b - d, not the 5.7 and 4.7 us of secondary tables;
- 625 serration +-0.2 us on air (BT.470), +-0.1 us in the studio (BT.1700);
- 525 line rate: +-0.0003 % on air (BT.470); 2/455 of the subcarrier's 10 Hz in the studio;
- 525 broad pulse: H/2 - 4.7 us is 27.078 us; 27.1 us is its rounding;
- 525 field blanking: 1272.611 us computed; the printed 1272.62 rounds H.
"""

from __future__ import annotations

from fractions import Fraction

from rastertap.standards.limit import Limit, around, between, limit, relative
from rastertap.standards.modes import LINE_RATE_525, LINE_RATE_625

SUBCARRIER_PAL = Fraction(17_734_475, 4)
"""Hz; (1135/4 + 1/625) line rates, BT.470-6 Table 2 (seen; as a fraction derived)."""
SUBCARRIER_NTSC = Fraction(39_375_000, 11)
"""Hz; 63/88 x 5 MHz = 455/2 line rates, SMPTE 170M 11.1 (seen; as a fraction derived)."""

_470_LINE = "BT.470-6 Table 1-1"
_470_FIELD = "BT.470-6 Table 1-2"
_1700_LINE = "BT.1700 Table 2"
_1700_FIELD = "BT.1700 Table 3"
_170M_LINE = "SMPTE 170M Table 2"
_170M_FIELD = "SMPTE 170M Table 3"


def _rates(line_rate: Fraction, tolerance: Fraction, lines: int, line_limit: Limit) -> tuple[Limit, ...]:
    """Give everything that follows from the line rate: periods, field rate, counts."""
    part = tolerance / line_rate
    half = Fraction(lines, 2)
    follows = f"follows the line rate: {lines}/2 lines per field"
    return (
        line_limit,
        relative("line_period_s", 1 / line_rate, part, source="1 / line rate", trust="derived"),
        relative("field_rate_hz", line_rate / half, part, source=follows, trust="derived"),
        relative("field_period_s", half / line_rate, part, source=follows, trust="derived"),
        around(
            "lines_per_field", half, "0", "0", source=f"half of {lines}, BT.470-6 Table 1", trust="derived"
        ),
        around("lines_per_frame", Fraction(lines), "0", "0", source="BT.470-6 Table 1"),
    )


def _field_sync(half_lines: int, line_rate: Fraction, serration: str, source: str) -> tuple[Limit, ...]:
    """Give the field sync of ``half_lines`` broad pulses; it ends with the last pulse or the last gap."""
    lines = Fraction(half_lines, 2)
    how = f"{half_lines} half-lines; low: to the end of the last broad pulse; {source}"
    counted = f"2 x {float(lines):g} H; {source}"
    number = Fraction(half_lines)
    low = lines - Fraction(serration) * line_rate
    return (
        limit("vsync_width_lines", lines, low, lines, source=how, trust="derived"),
        around("broad_pulses", number, "0", "0", source=counted, trust="derived"),
        around("equalising_pulses", number, "0", "0", source=counted, trust="derived"),
    )


_COMMON_625 = (
    around("line_blanking_s", "12e-6", "0.3e-6", "0", source=f"a: {_470_LINE}; {_1700_LINE}"),
    around("front_porch_s", "1.5e-6", "0", "0.3e-6", source=f"c: {_470_LINE}; BT.1700 Table 5"),
    around(
        "sync_to_active_s",
        "10.5e-6",
        "0.6e-6",
        "0",
        source=f"b: {_470_LINE}, for information; limits a - c",
        trust="derived",
    ),
    around("back_porch_s", "5.8e-6", "0.8e-6", "0.2e-6", source=f"b - d of {_470_LINE}", trust="derived"),
    around("hsync_width_s", "4.7e-6", "0.2e-6", "0.2e-6", source=f"d: {_470_LINE}; {_1700_LINE}"),
    around("equalising_pulse_s", "2.35e-6", "0.1e-6", "0.1e-6", source=f"p: {_470_FIELD}; {_1700_FIELD}"),
    around(
        "field_blanking_s", "1612e-6", "0.3e-6", "0", source=f"j: 25 H + a; {_470_FIELD}", trust="derived"
    ),
    around("blanking_to_equalising_s", "3e-6", "2e-6", "2e-6", source=f"k: {_470_FIELD}; {_1700_FIELD}"),
)

BROADCAST_625 = (
    *_rates(
        LINE_RATE_625,
        LINE_RATE_625 / 1_000_000,
        625,
        around(
            "line_rate_hz",
            LINE_RATE_625,
            "0.015625",
            "0.015625",
            source="BT.470-6 Table 1: 0.0001 %, colour",
        ),
    ),
    around(
        "line_period_instantaneous_s",
        "64e-6",
        "0.032e-6",
        "0.032e-6",
        source="BT.470-6 Table 1-1 note 3, some countries",
    ),
    between("line_rate_drift_hz_per_s", "0", "0.1", source="BT.470-6 Table 1 note 8, colour"),
    *_COMMON_625,
    *_field_sync(5, LINE_RATE_625, "4.9e-6", _470_FIELD),
    around(
        "broad_pulse_s",
        "27.3e-6",
        "0.2e-6",
        "0.2e-6",
        source=f"q: {_470_FIELD}; limits from q + r = H/2",
        trust="derived",
    ),
    around("serration_s", "4.7e-6", "0.2e-6", "0.2e-6", source=f"r: {_470_FIELD}"),
    around("subcarrier_hz", SUBCARRIER_PAL, "5", "5", source="BT.470-6 Table 2"),
)

STUDIO_625 = (
    *_rates(
        LINE_RATE_625,
        Fraction("0.003125"),
        625,
        around(
            "line_rate_hz",
            LINE_RATE_625,
            "0.003125",
            "0.003125",
            source="BT.1700 Table 1: 0.00002 %",
        ),
    ),
    *_COMMON_625,
    *_field_sync(5, LINE_RATE_625, "4.8e-6", _1700_FIELD),
    around("broad_pulse_s", "27.3e-6", "0.1e-6", "0.1e-6", source=f"q: {_1700_FIELD}"),
    around("serration_s", "4.7e-6", "0.1e-6", "0.1e-6", source=f"r: {_1700_FIELD}"),
    around("subcarrier_hz", SUBCARRIER_PAL, "1", "1", source="BT.1700 Table 1"),
)

_COMMON_525 = (
    around("hsync_width_s", "4.7e-6", "0.1e-6", "0.1e-6", source=f"d: {_470_LINE}; {_170M_LINE}"),
    around("equalising_pulse_s", "2.3e-6", "0.1e-6", "0.1e-6", source=f"p: {_470_FIELD}; {_170M_FIELD}"),
    around(
        "broad_pulse_s",
        1 / LINE_RATE_525 / 2 - Fraction("4.7e-6"),
        "0.1e-6",
        "0.1e-6",
        source=f"q: H/2 - r; 27.1 us in {_470_FIELD}; limits those of r",
        trust="derived",
    ),
    around("serration_s", "4.7e-6", "0.1e-6", "0.1e-6", source=f"r: {_470_FIELD}; {_170M_FIELD}"),
    around(
        "blanking_to_equalising_s", "1.5e-6", "0.1e-6", "0.1e-6", source=f"k: {_470_FIELD}; {_1700_FIELD}"
    ),
    around("subcarrier_hz", SUBCARRIER_NTSC, "10", "10", source="BT.470-6 Table 2; 170M 11.1"),
    between("subcarrier_drift_hz_per_s", "0", "0.1", source="SMPTE 170M 11.1"),
    between("subcarrier_jitter_s", "0", "1e-9", source="SMPTE 170M 11.1"),
)

BROADCAST_525 = (
    *_rates(
        LINE_RATE_525,
        LINE_RATE_525 * Fraction(3, 1_000_000),
        525,
        relative(
            "line_rate_hz",
            LINE_RATE_525,
            Fraction(3, 1_000_000),
            source="BT.470-6 Table 1: 0.0003 %, colour",
        ),
    ),
    between("line_rate_drift_hz_per_s", "0", "0.1", source="BT.470-6 Table 1 note 8, colour"),
    around("line_blanking_s", "10.9e-6", "0.2e-6", "0.2e-6", source=f"a: {_470_LINE}"),
    between("front_porch_s", "1.27e-6", "2.22e-6", source=f"c: {_470_LINE}"),
    between("sync_to_active_s", "9.2e-6", "10.3e-6", source=f"b: {_470_LINE}"),
    between(
        "back_porch_s",
        "4.4e-6",
        "5.7e-6",
        source=f"b - d of {_470_LINE}, both at their ends",
        trust="derived",
    ),
    *_COMMON_525,
    *_field_sync(6, LINE_RATE_525, "4.8e-6", _470_FIELD),
    between(
        "field_blanking_s",
        19 / LINE_RATE_525 + Fraction("10.7e-6"),
        21 / LINE_RATE_525 + Fraction("11.1e-6"),
        source=f"j: (19 to 21) H + a; {_470_FIELD}",
        trust="derived",
    ),
)

STUDIO_525 = (
    *_rates(
        LINE_RATE_525,
        Fraction(20, 455),
        525,
        around(
            "line_rate_hz",
            LINE_RATE_525,
            Fraction(20, 455),
            Fraction(20, 455),
            source="SMPTE 170M 11.1-11.2: 2/455 of the subcarrier's 10 Hz",
            trust="derived",
        ),
    ),
    limit(
        "line_blanking_s",
        Fraction("10.7e-6"),
        Fraction("10.5e-6"),
        Fraction("11.0e-6"),
        source=f"a: {_1700_LINE}; nominal b + c",
    ),
    around("front_porch_s", "1.5e-6", "0.1e-6", "0.1e-6", source=f"c: {_170M_LINE}; {_1700_LINE}"),
    around("sync_to_active_s", "9.2e-6", "0.1e-6", "0.2e-6", source=f"b: {_170M_LINE}; {_1700_LINE}"),
    around(
        "back_porch_s",
        "4.5e-6",
        "0.2e-6",
        "0.3e-6",
        source=f"b - d of {_170M_LINE}, both at their ends",
        trust="derived",
    ),
    *_COMMON_525,
    *_field_sync(6, LINE_RATE_525, "4.8e-6", _170M_FIELD),
    around(
        "field_blanking_s",
        20 / LINE_RATE_525 + Fraction("1.5e-6"),
        "0.1e-6",
        "0.1e-6",
        source=f"j: 20 H + 1.5 us (19 H where lines 20, 282 carry picture); {_170M_FIELD}",
        trust="derived",
    ),
)
