from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.board.load import parse_board

if TYPE_CHECKING:
    from collections.abc import Callable

    from rastertap.errors import BoardProblem

    Problems = Callable[[str], tuple[BoardProblem, ...]]

HEAD = 'schema = "rastertap.board/1"\nname = "x"\n'


def bus(*bits: int) -> str:
    return "".join(f'[pins.C{bit}]\nrole = "colour"\nbit = {bit}\n' for bit in bits)


def colours(number: int) -> str:
    return "list = [" + ", ".join(['"#123456"'] * number) + "]\n"


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ('[pins.A]\nrole = "colour"\n', "pins.A.role", "needs its bit"),
        ('[pins.A]\nrole = "hsync"\nbit = 0\n', "pins.A.bit", "for colour only"),
        ('[pins.A]\nrole = "pixel_clock"\npolarity = "negative"\n', "pins.A.polarity", "no polarity"),
        ('[pins.A]\nrole = "vsync"\n[pins.B]\nrole = "vsync"\n', "pins.B.role", "already on channel A"),
        (bus(0) + '[pins.B]\nrole = "colour"\nbit = 0\n', "pins.B.bit", "bit 0 is already on channel C0"),
        (
            '[pins.A]\nrole = "other"\nchip_pin = 7\n[pins.B]\nrole = "other"\nchip_pin = 7\n',
            "pins.B.chip_pin",
            "chip pin 7 is already on channel A",
        ),
        (
            '[pins.A]\nrole = "other"\nconnector = 7\n[pins.B]\nrole = "other"\nconnector = 7\n',
            "pins.B.connector",
            "connector position 7 is already on channel A",
        ),
        (bus(0, 1, 3, 5), "pins.C5.bit", "missing below 5: 2, 4"),
        (bus(1, 2), "pins.C2.bit", "missing below 2: 0"),
        ('[colours]\nset = "list"\n', "colours.set", "needs the list"),
        ('[colours]\nset = "rgb"\n' + colours(8), "colours.list", "has its own colours"),
        ('[colours]\nset = "rgb"\ndark_yellow = true\n', "colours.dark_yellow", "rgbi"),
        ('[colours]\nset = "list"\n' + colours(1), "colours.list", "at least 2 codes"),
        (bus(0, 1, 2) + '[colours]\nset = "list"\n' + colours(4), "colours.list", "8 codes"),
        (bus(0, 1, 2) + '[colours]\nset = "rgbi"\n', "colours.set", "has 4 bits, but the pins give 3"),
        ("[timing]\ninterlaced = true\nlines_per_field = [312]\n", "timing.lines_per_field", "half-line"),
        (
            "[timing]\ninterlaced = false\nlines_per_field = [312.5]\n",
            "timing.lines_per_field",
            "whole lines",
        ),
        ('[timing]\nstandard = "312/50"\ninterlaced = true\n', "timing.interlaced", "not interlaced"),
        ('[timing]\nstandard = "625/50"\ninterlaced = false\n', "timing.interlaced", "is interlaced"),
        ('[timing]\nstandard = "312/50"\nlines_per_field = [313]\n', "timing.lines_per_field", "312 lines"),
        ('[timing]\nstandard = "312/50"\nline_rate_hz = 31250\n', "timing.line_rate_hz", "15625 Hz"),
        ('[timing]\nstandard = "312/50"\nfield_rate_hz = 60\n', "timing.field_rate_hz", "50.0801 Hz"),
        (
            '[timing]\nstandard = "312/50"\npixel_clock_hz = 9000000\npixels_per_line = 288\n',
            "timing.pixels_per_line",
            "line rate of 31250 Hz",
        ),
        (
            "[timing]\npixel_clock_hz = 9000000\npixels_per_line = 576\nline_rate_hz = 31250\n",
            "timing.line_rate_hz",
            "is 15625 Hz",
        ),
        (
            "[timing]\nline_rate_hz = 15625\nlines_per_field = [312]\nfield_rate_hz = 60\n",
            "timing.field_rate_hz",
            "give 50.0801 Hz",
        ),
        ("[timing]\npixel_clock_hz = 9\n", "timing.pixel_clock_hz", "9 Hz is too low"),
        ("[timing]\nline_rate_hz = 15.625\n", "timing.line_rate_hz", "15.625 Hz is too low"),
        ("[timing]\nvsync_width_lines = [0, 4]\n", "timing.vsync_width_lines", "0 < low"),
    ],
)
def test_a_contradiction_is_named_at_its_key(
    text: str, key: str, message: str, problems_of: Problems
) -> None:
    (problem,) = problems_of(HEAD + text)
    assert problem.key == key
    assert message in problem.message
    assert problem.hint
    line = (HEAD + text).splitlines()[problem.line - 1]
    assert line.startswith(key.rpartition(".")[2])


@pytest.mark.parametrize(
    "text",
    [
        bus(0, 1, 2) + '[colours]\nset = "rgb"\n',
        bus(0, 1, 2, 3, 4) + '[colours]\nset = "grey"\n',
        bus(0, 1) + '[colours]\nset = "list"\n' + colours(4),
        '[colours]\nset = "rrggbb"\n',
        '[pins.A]\nrole = "hsync"\n[pins.B]\nrole = "csync"\n',
        '[pins.A]\nrole = "other"\n[pins.B]\nrole = "other"\n',
        '[timing]\nstandard = "625/50"\nlines_per_field = [312.5, 312.5]\ninterlaced = true\n',
        '[timing]\nstandard = "262/60"\npixel_clock_hz = "315e6/44"\npixels_per_line = 455\n',
        "[timing]\nline_rate_hz = 15625\nlines_per_field = [312.5, 312.5]\nfield_rate_hz = 50\n",
        "[timing]\nlines_per_field = [311]\nline_rate_hz = 15700\n",
    ],
)
def test_what_fits_together_is_accepted(text: str) -> None:
    assert parse_board(HEAD + text).name == "x"


def test_a_fault_in_a_pin_does_not_raise_a_false_gap_in_the_bus(problems_of: Problems) -> None:
    text = HEAD + bus(0, 2) + '[pins.C1]\nrole = "colour"\nbit = "1"\n'
    assert [problem.key for problem in problems_of(text)] == ["pins.C1.bit"]


def test_a_fault_in_one_key_does_not_hide_a_contradiction_in_another(problems_of: Problems) -> None:
    text = HEAD + '[timing]\nstandard = "312/50"\nlines_per_field = [313]\npixels_per_line = "x"\n'
    assert [problem.line for problem in problems_of(text)] == [5, 6]
