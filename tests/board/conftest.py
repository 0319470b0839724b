from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.board.load import parse_board
from rastertap.errors import BoardError, BoardProblem

if TYPE_CHECKING:
    from collections.abc import Callable

# Written by hand, so that the code under test makes none of it.
GOOD = """\
schema = "rastertap.board/1"
name = "Marlow 85 (invented)"
note = "seen from the component side"

[pins.D0]
role = "pixel_clock"
chip_pin = 12
connector = 3
wire = "brown"

[pins.D1]
role = "hsync"
polarity = "negative"

[pins.D2]
role = "colour"
bit = 0

[pins.D3]
role = "colour"
bit = 1

[pins.D4]
role = "colour"
bit = 2

[pins.D5]
role = "colour"
bit = 3

[timing]
standard = "312/50"
pixel_clock_hz = "13500000*2/3"
pixels_per_line = 576
lines_per_field = [312]
interlaced = false
hsync_width_us = [4, 5.5]
vsync_width_lines = [2.5, 3.5]

[colours]
set = "rgbi"

[decoders.sync-separate]
tolerance = 0.05
"""


@pytest.fixture(scope="session")
def good_text() -> str:
    """A board file without a fault."""
    return GOOD


@pytest.fixture
def problems_of() -> Callable[[str], tuple[BoardProblem, ...]]:
    """Give the problems of a board text that must have some."""

    def problems(text: str) -> tuple[BoardProblem, ...]:
        with pytest.raises(BoardError) as caught:
            parse_board(text)
        return caught.value.problems

    return problems
