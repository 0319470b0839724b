"""The source does what its description says, by arithmetic on the written file."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from rastertap.bench.analyser import plug
from rastertap.bench.card import noise_for
from rastertap.bench.machines import MACHINES, MARLOW_50, MARLOW_60
from rastertap.bench.source import Border, Rectangle, VideoSource
from rastertap.errors import UsageError

STEP = 10
"""Nanoseconds in a sample at 100 MS/s."""


def test_the_50_hz_machine_has_the_line_of_bt_470() -> None:
    assert 1 / MARLOW_50.line_rate_hz == Fraction(64, 10**6)  # BT.470 Table 1-1 (H), references.md 1.2
    assert float(MARLOW_50.field_rate_hz) == pytest.approx(50.080128, abs=1e-6)  # 15625 / 312
    assert (
        4.5e-6 < MARLOW_50.hsync_width / MARLOW_50.pixel_clock_hz < 4.9e-6
    )  # 4.7 +-0.2 us, BT.470 Table 1-1


def test_the_60_hz_machine_has_the_line_of_170m() -> None:
    assert MARLOW_60.line_rate_hz == Fraction(2_250_000, 143)  # 4.5 MHz / 286, references.md 1.1
    assert float(MARLOW_60.field_rate_hz) == pytest.approx(59.826, abs=1e-3)  # 15734.266 / 263
    assert 4.6e-6 < MARLOW_60.hsync_width / MARLOW_60.pixel_clock_hz < 4.8e-6  # 4.7 +-0.1 us, 170M Table 2


def test_every_machine_is_said_to_be_invented() -> None:
    assert all("invented" in machine.title for machine in MACHINES.values())


def test_clocks_lines_and_fields_are_as_designed(record: Any) -> None:
    made = record()
    clock, hsync, vsync = (made.signal(name) for name in ("pixel_clock", "hsync", "vsync"))
    assert np.abs(np.diff(clock.rising()) - 200).max() <= STEP
    assert np.abs(np.diff(hsync.falling()) - 64 * 200).max() <= STEP
    assert set(np.diff(np.searchsorted(clock.rising(), hsync.falling()))) == {64}
    assert set(np.diff(np.searchsorted(hsync.falling(), vsync.falling()))) == {20}


def test_sync_widths_and_polarities_are_as_designed(record: Any, small: VideoSource) -> None:
    made = record(replace(small, vsync_polarity="positive"))
    hsync, vsync = made.signal("hsync"), made.signal("vsync")
    falls = hsync.falling()[:-1]
    widths = hsync.rising()[np.searchsorted(hsync.rising(), falls)] - falls
    assert np.abs(widths - 6 * 200).max() <= STEP
    rises = vsync.rising()[:-1]
    widths = vsync.falling()[np.searchsorted(vsync.falling(), rises)] - rises
    assert np.abs(widths - 2 * 64 * 200).max() <= STEP


def picture_after(made: Any, vsync_ns: int, rows: int, columns: int, first: tuple[int, int]) -> Any:
    """Read the bus in the middle of each clock's low half, counted from sync edges alone."""
    source = made.made.source
    clock, hsync = made.signal("pixel_clock"), made.signal("hsync")
    first_row, first_column = first
    lines = hsync.falling()[np.searchsorted(hsync.falling(), vsync_ns - 2 * STEP) + first_row :][:rows]
    clocks = np.searchsorted(clock.falling(), lines) + first_column
    when = clock.falling()[clocks[:, None] + np.arange(columns)] + 5 * STEP
    return sum(made.signal(f"colour{bit}").at(when).astype(int) << bit for bit in range(source.colour_bits))


def test_the_picture_is_on_the_bus_where_the_truth_says(record: Any, small: VideoSource) -> None:
    made = record(small, picture=noise_for(small, 3))
    field = next(f for f in made.made.truth["fields"] if f["active_complete"])
    row, column = int(field["lines_from_vsync"]), made.made.truth["active"]["x_from_hsync"]
    seen = picture_after(made, round(field["vsync_s"] * 1e9), 12, 40, (row, column))
    np.testing.assert_array_equal(seen, made.made.pictures[field["picture"]])


def test_outside_the_active_area_the_bus_shows_the_blanking_code(record: Any, small: VideoSource) -> None:
    made = record(replace(small, blanking_code=5), picture=noise_for(small, 3))
    field = next(f for f in made.made.truth["fields"] if f["active_complete"])
    seen = picture_after(made, round(field["vsync_s"] * 1e9), 18, 64, (0, 0))
    seen[5:, 16:56][:12] = 5
    assert (seen == 5).all()


def test_an_interlaced_source_shows_its_two_fields_half_a_line_apart(record: Any, small: VideoSource) -> None:
    source = replace(small, lines_per_field=Fraction(41, 2))
    card = noise_for(source, 4)
    assert card.shape == (2, 12, 40)
    made = record(source, picture=card, fields=4.6)
    vsync, hsync = made.signal("vsync").falling(), made.signal("hsync").falling()
    assert np.abs(np.diff(vsync) - 20.5 * 64 * 200).max() <= STEP
    whole = [f for f in made.made.truth["fields"] if f["active_complete"]]
    assert {f["parity"] for f in whole} == {1, 2}
    for field in whole:
        start = round(field["vsync_s"] * 1e9)
        first_line = hsync[np.searchsorted(hsync, start - 2 * STEP)]
        assert (first_line - start > 100 * STEP) == (field["parity"] == 2)
        after_edge = int(np.floor(field["lines_from_vsync"]))
        seen = picture_after(made, start, 12, 40, (after_edge, 16))
        np.testing.assert_array_equal(seen, card[field["parity"] - 1])
    # The second field's rows lie half a line below the first's.
    assert {(f["parity"], f["lines_from_vsync"]) for f in whole} == {(1, 5.0), (2, 5.5)}


def test_blank_and_display_enable_frame_the_active_area(record: Any, small: VideoSource) -> None:
    source = replace(small, blank_polarity="positive", display_enable_polarity="positive")
    made = record(source, wires=plug(source))
    enable, blank = made.signal("display_enable"), made.signal("blank")
    np.testing.assert_array_equal(enable.times, blank.times)
    assert enable.initial != blank.initial
    starts = enable.rising()[1:-1]
    after_line = (
        starts - made.signal("hsync").falling()[np.searchsorted(made.signal("hsync").falling(), starts) - 1]
    )
    assert np.abs(after_line - 16 * 200).max() <= STEP
    widths = enable.falling()[np.searchsorted(enable.falling(), starts)] - starts
    assert np.abs(widths - 40 * 200).max() <= STEP


def test_the_chip_moves_on_at_the_chosen_edge_after_the_delay(record: Any, small: VideoSource) -> None:
    late = record(replace(small, clock_edge="falling", default_delay_ns=30.0))
    changes = late.signal("colour0").times
    falls = late.signal("pixel_clock").falling()
    gaps = changes - falls[np.searchsorted(falls, changes, side="right") - 1]
    assert set(gaps[1:]) <= {20, 30, 40}


def test_one_signal_can_lag_behind_the_others(record: Any, small: VideoSource) -> None:
    made = record(replace(small, delays_ns={"colour2": 50.0}), picture=np.full((1, 12, 40), 15, np.uint32))
    lag = made.signal("colour2").rising() - made.signal("colour1").rising()
    assert set(lag) == {50}


def test_the_cpu_clock_is_the_chip_clock_divided(record: Any, small: VideoSource) -> None:
    made = record(wires=plug(small, extras=("cpu_clock",)))
    assert np.abs(np.diff(made.signal("cpu_clock").rising()) - 4 * 200).max() <= STEP


def test_a_border_fills_what_the_picture_leaves(record: Any, small: VideoSource) -> None:
    source = replace(small, border=Border(2, 3, 1, 1, code=9))
    made = record(source, picture=np.full((1, 10, 35), 4, np.uint32))
    area = made.made.pictures[0]
    assert area.shape == (12, 40)
    assert (area[1:-1, 2:-3] == 4).all()
    assert np.count_nonzero(area == 9) == 12 * 40 - 10 * 35


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"pixel_clock_hz": Fraction(0)}, "pixel clock"),
        ({"lines_per_field": Fraction(61, 3)}, "lines in a field"),
        ({"pixels_per_line": 63, "lines_per_field": Fraction(41, 2)}, "no half line"),
        ({"active": Rectangle(30, 5, 40, 12)}, "leaves the line"),
        ({"active": Rectangle(16, 10, 40, 12)}, "leaves the field"),
        ({"border": Border(20, 20, 0, 0, 1)}, "no picture"),
        ({"colour_bits": 33}, "colour bits"),
        ({"blanking_code": 16}, "blanking code"),
        ({"hsync_width": 64}, "hsync"),
        ({"vsync_width_lines": Fraction(1, 3)}, "vsync"),
        ({"clock_duty": 1.0}, "duty"),
        ({"cpu_clock_divider": 3}, "divider"),
    ],
)
def test_a_description_that_contradicts_itself_is_refused(
    small: VideoSource, change: dict[str, Any], part: str
) -> None:
    with pytest.raises(UsageError, match=part):
        replace(small, **change)


@pytest.mark.parametrize("picture", [np.zeros((1, 12, 39), np.uint32), np.full((1, 12, 40), 16, np.uint32)])
def test_a_picture_that_does_not_fit_is_refused(record: Any, picture: Any) -> None:
    with pytest.raises(UsageError, match=r"picture is 39 x 12|does not fit in 4 bits"):
        record(picture=picture)
