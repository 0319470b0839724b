from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.board.limits import stated_limits
from rastertap.board.load import parse_board

if TYPE_CHECKING:
    from rastertap.standards.limit import Limit

HEAD = 'schema = "rastertap.board/1"\nname = "x"\n[timing]\n'


def limits(text: str) -> dict[str, Limit]:
    return stated_limits(parse_board(HEAD + text).timing)


def test_a_board_that_states_nothing_has_no_limits() -> None:
    assert limits("") == {}


def test_clock_and_pixels_give_the_line_rate_with_the_clocks_tolerance() -> None:
    found = limits("pixel_clock_hz = 9000000\npixel_clock_tolerance_ppm = 50\npixels_per_line = 576\n")
    line_rate = found["line_rate_hz"]
    assert (line_rate.value, line_rate.low, line_rate.high) == pytest.approx(
        (15_625, 15_624.21875, 15_625.78125)
    )
    assert line_rate.trust == "stated"
    assert found["line_period_s"].value == pytest.approx(64e-6)


def test_a_stated_line_rate_goes_before_the_clocks() -> None:
    found = limits(
        "pixel_clock_hz = 9000000\npixels_per_line = 576\n"
        'line_rate_hz = "15625*1001/1000"\nline_rate_tolerance_ppm = 10\n'
    )
    assert found["line_rate_hz"].value == pytest.approx(15_640.625)
    assert found["line_rate_hz"].high == pytest.approx(15_640.625 * (1 + 10e-6))


def test_lines_make_the_field_rate_and_the_frame() -> None:
    found = limits("line_rate_hz = 15625\nlines_per_field = [312]\ninterlaced = false\n")
    # 15 625 / 312: references.md 2.1.
    assert found["field_rate_hz"].value == pytest.approx(50.080_128_205, abs=1e-9)
    assert (found["lines_per_field"].low, found["lines_per_field"].high) == (312, 312)
    assert found["lines_per_frame"].value == 312


def test_two_interlaced_fields_make_a_frame() -> None:
    found = limits('standard = "625/50"\nlines_per_field = [312.5, 312.5]\n')
    assert found["lines_per_frame"].value == 625


def test_fields_of_two_lengths_give_a_range() -> None:
    found = limits("lines_per_field = [312, 313]\ninterlaced = false\n")
    assert (found["lines_per_field"].value, found["lines_per_field"].low, found["lines_per_field"].high) == (
        None,
        312,
        313,
    )


def test_sync_widths_are_taken_in_seconds_and_lines() -> None:
    found = limits("hsync_width_us = [4.5, 4.9]\nvsync_width_lines = [2.5, 3]\n")
    assert (found["hsync_width_s"].low, found["hsync_width_s"].high) == (4.5e-6, 4.9e-6)
    assert (found["vsync_width_lines"].low, found["vsync_width_lines"].high) == (2.5, 3)
