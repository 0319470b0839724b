"""Timing figures against the published ones, typed in here from the references, not read from the package."""

from __future__ import annotations

from fractions import Fraction

import pytest

from rastertap.standards.broadcast import SUBCARRIER_NTSC, SUBCARRIER_PAL
from rastertap.standards.limits import limits_for
from rastertap.standards.modes import MODES

US = 1e-6


def test_the_525_line_rate_is_exactly_2250000_over_143() -> None:
    # SMPTE 170M 11.1-11.2, as in references.md 1.1: 2/455 of 63/88 x 5 MHz.
    exact = Fraction(2, 455) * Fraction(63, 88) * 5_000_000
    assert exact == Fraction(2_250_000, 143)
    assert MODES["525/60"].line_rate_hz == exact
    # BT.470-6 Table 1 prints 15 734.264, 170M 15 734.265.
    assert float(exact) == pytest.approx(15_734.2645, abs=0.002)


def test_the_525_field_rate_is_exactly_60000_over_1001() -> None:
    # SMPTE 170M 11.3; BT.1700 Table 1 item 3 ("60/1.001"), as in references.md 1.1.
    assert MODES["525/60"].field_rate_hz == Fraction(60_000, 1001)


def test_the_625_line_system_has_15625_lines_and_50_fields_a_second() -> None:
    # BT.470-6 Table 1; BT.1700 Table 1, as in references.md 1.1.
    mode = MODES["625/50"]
    assert (mode.line_rate_hz, mode.field_rate_hz, mode.lines_per_frame) == (15_625, 50, 625)


@pytest.mark.parametrize(
    ("key", "field_rate"),
    [
        # references.md 2.1 (arithmetic done there, printed to nine decimals).
        ("312/50", 50.080_128_205),
        ("313/50", 49.920_127_796),
        ("314/50", 49.761_146_497),
        ("262/60", 60.054_449_367),
        ("263/60", 59.826_105_453),
    ],
)
def test_a_field_of_whole_lines_has_the_published_rate(key: str, field_rate: float) -> None:
    assert float(MODES[key].field_rate_hz) == pytest.approx(field_rate, abs=1e-9)


def test_the_262_and_263_line_rates_are_the_published_fractions() -> None:
    # references.md 2.1.
    assert MODES["262/60"].field_rate_hz == Fraction(1_125_000, 18_733)
    assert MODES["263/60"].field_rate_hz == Fraction(2_250_000, 37_609)


@pytest.mark.parametrize(
    ("key", "clock_hz", "line", "field", "line_khz", "field_hz"),
    [
        # edid-decode --list-vics, VIC 8 and 23, as in references.md 2.2 (run).
        ("240p", 27_000_000, (1440, 38, 124, 114, 1716), (240, 4, 3, 15, 262), 15.734, 60.054_449),
        ("288p", 27_000_000, (1440, 24, 126, 138, 1728), (288, 2, 3, 19, 312), 15.625, 50.080_128),
        # V4L2 DV timings and edid-decode, as in references.md 5.1.
        ("640x480", 25_175_000, (640, 16, 96, 48, 800), (480, 10, 2, 33, 525), 31.46875, 59.940_476),
        ("480p", 27_000_000, (720, 16, 62, 60, 858), (480, 9, 6, 30, 525), 31.468_531, 59.940_060),
        ("576p", 27_000_000, (720, 12, 64, 68, 864), (576, 5, 5, 39, 625), 31.25, 50.0),
        ("800x600", 40_000_000, (800, 40, 128, 88, 1056), (600, 1, 4, 23, 628), 37.878_788, 60.316_541),
        ("1280x720", 74_250_000, (1280, 110, 40, 220, 1650), (720, 5, 5, 20, 750), 45.0, 60.0),
    ],
)
def test_a_mode_that_fixes_its_pixels_has_the_published_totals(  # noqa: PLR0917 - one table row
    key: str,
    clock_hz: int,
    line: tuple[int, ...],
    field: tuple[int, ...],
    line_khz: float,
    field_hz: float,
) -> None:
    mode = MODES[key]
    assert mode.pixel_clock_hz == clock_hz
    for part, figures in ((mode.horizontal, line), (mode.vertical, field)):
        assert part is not None
        assert (part.active, part.front_porch, part.sync, part.back_porch, part.total) == figures
    assert float(mode.line_rate_hz) / 1000 == pytest.approx(line_khz, abs=5e-4 if line_khz < 16 else 5e-7)
    assert float(mode.field_rate_hz) == pytest.approx(field_hz, abs=1e-6)


def test_the_640x480_frame_rate_is_exactly_5035_over_84() -> None:
    # references.md 5.1.
    assert MODES["640x480"].field_rate_hz == Fraction(5035, 84)


@pytest.mark.parametrize(("key", "lines"), [("240p-263", 263), ("288p-313", 313), ("288p-314", 314)])
def test_the_longer_low_definition_forms_lengthen_the_front_porch_only(key: str, lines: int) -> None:
    # references.md 2.2 (seen-2nd).
    longer, base = MODES[key].vertical, MODES[key.partition("-")[0]].vertical
    assert longer is not None
    assert base is not None
    assert longer.total == lines
    assert (longer.active, longer.sync, longer.back_porch) == (base.active, base.sync, base.back_porch)


def test_the_subcarriers_are_exact() -> None:
    # BT.470-6 Table 2; SMPTE 170M 11.1-11.2, as in references.md 1.1.
    assert SUBCARRIER_PAL == (Fraction(1135, 4) + Fraction(1, 625)) * 15_625 == Fraction("4433618.75")
    assert SUBCARRIER_NTSC == Fraction(455, 2) * Fraction(2_250_000, 143) == Fraction(63, 88) * 5_000_000


@pytest.mark.parametrize(
    ("limit_set", "key", "value", "low", "high"),
    [
        # BT.470-6 Table 1-1 and 1-2, BT.1700 Tables 2 and 3, as in references.md 1.2 and 1.3.
        ("625-broadcast", "line_blanking_s", 12, 11.7, 12),
        ("625-broadcast", "front_porch_s", 1.5, 1.5, 1.8),
        ("625-broadcast", "hsync_width_s", 4.7, 4.5, 4.9),
        ("625-broadcast", "equalising_pulse_s", 2.35, 2.25, 2.45),
        ("625-broadcast", "serration_s", 4.7, 4.5, 4.9),
        ("625-studio", "serration_s", 4.7, 4.6, 4.8),
        ("625-studio", "broad_pulse_s", 27.3, 27.2, 27.4),
        ("625-broadcast", "field_blanking_s", 1612, 1611.7, 1612),
        ("625-broadcast", "blanking_to_equalising_s", 3, 1, 5),
        ("625-broadcast", "line_period_instantaneous_s", 64, 63.968, 64.032),
        ("525-broadcast", "line_blanking_s", 10.9, 10.7, 11.1),
        ("525-broadcast", "hsync_width_s", 4.7, 4.6, 4.8),
        ("525-broadcast", "equalising_pulse_s", 2.3, 2.2, 2.4),
        # SMPTE 170M Tables 2 and 3, as in references.md 1.2 and 1.3.
        ("525-studio", "front_porch_s", 1.5, 1.4, 1.6),
        ("525-studio", "sync_to_active_s", 9.2, 9.1, 9.4),
        ("525-studio", "back_porch_s", 4.5, 4.3, 4.8),
        ("525-studio", "field_blanking_s", 1272.611_111, 1272.511_111, 1272.711_111),
        ("525-studio", "broad_pulse_s", 27.077_778, 26.977_778, 27.177_778),
    ],
)
def test_a_duration_has_the_published_limits(
    limit_set: str, key: str, value: float, low: float, high: float
) -> None:
    limit = limits_for(limit_set, None)[key]
    assert limit.value is not None
    assert (limit.value / US, limit.low / US, limit.high / US) == pytest.approx((value, low, high), abs=1e-6)


@pytest.mark.parametrize(
    ("limit_set", "key", "value", "tolerance"),
    [
        # references.md 1.1.
        ("625-broadcast", "line_rate_hz", 15_625, 0.015_625),  # BT.470-6 Table 1: 0.0001 %
        ("625-studio", "line_rate_hz", 15_625, 0.003_125),  # BT.1700 Table 1 item 2
        ("525-broadcast", "line_rate_hz", 15_734.265_734, 0.0472),  # BT.470-6 Table 1: 0.0003 %
        ("525-studio", "line_rate_hz", 15_734.265_734, 0.044),  # 47 CFR 73.682
        ("625-broadcast", "subcarrier_hz", 4_433_618.75, 5),  # BT.470-6 Table 2
        ("625-studio", "subcarrier_hz", 4_433_618.75, 1),  # BT.1700 Table 1 item 5
        ("525-broadcast", "subcarrier_hz", 3_579_545.454_5, 10),  # BT.470-6 Table 2; SMPTE 170M 11.1
    ],
)
def test_a_frequency_has_the_published_tolerance(
    limit_set: str, key: str, value: float, tolerance: float
) -> None:
    limit = limits_for(limit_set, None)[key]
    assert limit.value == pytest.approx(value, abs=1e-4)
    assert limit.high - value == pytest.approx(tolerance, abs=1e-4)
    assert value - limit.low == pytest.approx(tolerance, abs=1e-4)


def test_the_525_ranges_without_a_nominal_value_are_as_published() -> None:
    # BT.470-6 Table 1-1: b 9.2-10.3 us, c 1.27-2.22 us, as in references.md 1.2.
    limits = limits_for("525-broadcast", None)
    for key, low, high in (("sync_to_active_s", 9.2, 10.3), ("front_porch_s", 1.27, 2.22)):
        assert limits[key].value is None
        assert (limits[key].low / US, limits[key].high / US) == pytest.approx((low, high))


@pytest.mark.parametrize("limit_set", ["625-broadcast", "625-studio", "525-studio"])
def test_line_blanking_is_front_porch_and_sync_to_active_together(limit_set: str) -> None:
    # a = b + c; BT.1700's printed front porch of 1.2 us would break it (references.md 12).
    nominal = {key: limit.value for key, limit in limits_for(limit_set, None).items()}
    assert nominal["line_blanking_s"] == pytest.approx(
        (nominal["sync_to_active_s"] or 0) + (nominal["front_porch_s"] or 0), abs=1e-12
    )
    assert nominal["back_porch_s"] == pytest.approx(
        (nominal["sync_to_active_s"] or 0) - (nominal["hsync_width_s"] or 0), abs=1e-12
    )


@pytest.mark.parametrize("limit_set", ["625-broadcast", "625-studio", "525-broadcast", "525-studio"])
def test_broad_pulse_and_serration_fill_half_a_line(limit_set: str) -> None:
    # q + r = H/2: BT.1700 Fig. 5, as in references.md 1.3.
    nominal = {key: limit.value for key, limit in limits_for(limit_set, None).items()}
    assert (nominal["broad_pulse_s"] or 0) + (nominal["serration_s"] or 0) == pytest.approx(
        (nominal["line_period_s"] or 0) / 2, abs=1e-12
    )


@pytest.mark.parametrize(
    ("limit_set", "pulses", "lines"), [("625-broadcast", 5, 2.5), ("525-broadcast", 6, 3.0)]
)
def test_the_field_sync_has_the_published_number_of_pulses(limit_set: str, pulses: int, lines: float) -> None:
    # BT.470-6 Table 1-2 (l, m, n); SMPTE 170M 13.3, as in references.md 1.3.
    limits = limits_for(limit_set, None)
    assert limits["broad_pulses"].value == limits["equalising_pulses"].value == pulses
    assert limits["vsync_width_lines"].value == limits["vsync_width_lines"].high == lines
