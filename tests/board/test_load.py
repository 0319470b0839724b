from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from rastertap.board.load import load_board, parse_board
from rastertap.board.model import Board
from rastertap.errors import BoardError, BoardProblem, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Problems = Callable[[str], tuple[BoardProblem, ...]]

HEAD = 'schema = "rastertap.board/1"\nname = "x"\n'


def test_a_good_board_is_read_whole(tmp_path: Path, good_text: str) -> None:
    path = tmp_path / "board.toml"
    path.write_text(good_text, encoding="utf-8")
    board = load_board(path)
    assert board.name == "Marlow 85 (invented)"
    assert board.pins["D0"].model_dump() == {
        "role": "pixel_clock",
        "bit": None,
        "polarity": None,
        "chip_pin": 12,
        "connector": 3,
        "wire": "brown",
    }
    assert board.timing.pixel_clock_hz == Fraction(9_000_000)
    assert board.timing.lines_per_field == (312.0,)
    assert board.timing.hsync_width_us == (4.0, 5.5)
    assert board.timing.mode is not None
    assert board.timing.mode.key == "312/50"
    assert board.decoders == {"sync-separate": {"tolerance": 0.05}}


def test_channels_are_found_by_their_role(good_text: str) -> None:
    board = parse_board(good_text)
    assert board.channel_of("hsync") == "D1"
    assert board.channel_of("colour", 2) == "D4"
    assert board.channel_of("vsync") is None
    assert board.colour_channels == ("D2", "D3", "D4", "D5")


def test_colour_bits_are_in_order_whatever_the_order_of_the_file() -> None:
    pins = "".join(
        f'[pins.{name}]\nrole = "colour"\nbit = {bit}\n' for name, bit in (("A", 2), ("B", 0), ("C", 1))
    )
    assert parse_board(HEAD + pins).colour_channels == ("B", "C", "A")


def test_a_file_with_only_schema_and_name_is_a_board() -> None:
    board = parse_board(HEAD)
    assert (board.pins, board.colours, board.timing.standard) == ({}, None, None)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path, good_text: str) -> None:
    path = tmp_path / "board.toml"
    path.write_bytes(b"\xef\xbb\xbf" + good_text.encode())
    assert load_board(path) == parse_board(good_text)


def test_the_colours_of_the_set_follow_the_board() -> None:
    brown = parse_board(HEAD + '[colours]\nset = "rgbi"\n').colours
    yellow = parse_board(HEAD + '[colours]\nset = "rgbi"\ndark_yellow = true\n').colours
    own = parse_board(HEAD + '[colours]\nset = "list"\nlist = ["#102030", "#FFFFFF"]\n').colours
    assert brown is not None
    assert yellow is not None
    assert own is not None
    assert brown.known(4).table[6].tolist() == [0xAA, 0x55, 0x00]
    assert yellow.known(4).table[6].tolist() == [0xAA, 0xAA, 0x00]
    assert own.known(1).table.tolist() == [[0x10, 0x20, 0x30], [255, 255, 255]]


def test_every_problem_is_listed_at_once_with_its_line(problems_of: Problems) -> None:
    text = """\
schema = "rastertap.board/2"
nmae = "x"
standard = "312/50"
[pins.D0]
role = "pixelclock"
[pins.D1]
role = "colour"
bit = "2"
[pins.D2]
role = "hsync"
chip_pin = 3
[pins.D3]
role = "hsync"
polarity = "down"
chip_pin = 3
[timing]
pixel_clock_hz = 9
lines_per_field = [
  312,
  312.25,
]
interlaced = 1
hsync_width_us = [5, 4]
vsync_width_lines = [1, 2, 3]
[colours]
set = "list"
list = ["#000000", "red"]
[decoders]
frames = 3
"""
    found = [(problem.line, problem.key) for problem in problems_of(text)]
    assert found == [
        (1, "schema"),
        (1, "name"),
        (2, "nmae"),
        (3, "standard"),
        (5, "pins.D0.role"),
        (8, "pins.D1.bit"),
        (13, "pins.D3.role"),
        (14, "pins.D3.polarity"),
        (15, "pins.D3.chip_pin"),
        (17, "timing.pixel_clock_hz"),
        (20, "timing.lines_per_field[1]"),
        (22, "timing.interlaced"),
        (23, "timing.hsync_width_us"),
        (24, "timing.vsync_width_lines"),
        (27, "colours.list[1]"),
        (29, "decoders.frames"),
    ]


@pytest.mark.parametrize(
    ("text", "line", "hint"),
    [
        ('[pins.D0]\nrole = "pixelclock"\n', 4, "did you mean pixel_clock?"),
        ('[pins.D0]\nrole = "HSYNC"\n', 4, "did you mean hsync?"),
        ('[pins.D0]\nrole = "hsync"\npolarty = "negative"\n', 5, "did you mean polarity?"),
        ('[pins.D0]\nrole = "hsync"\nset = "rgb"\n', 5, "it belongs under [colours]"),
        ('[timing]\nstandard = "312/05"\n', 4, "did you mean 312/50?"),
        ('[timing]\nstandard = "xyzzy"\n', 4, "one of: 625/50, 525/60"),
        ("[timing]\npixel_per_line = 576\n", 4, "did you mean pixels_per_line?"),
        ("[timing]\nqqqq = 576\n", 4, "known here: standard, pixel_clock_hz"),
        ('[timing]\npixel_clock_hz = "9 MHz"\n', 4, "13500000*2/3"),
        ("[timing]\nlines_per_field = 312\n", 4, "lines_per_field = [312]"),
        ('[colours]\nset = "rbg"\n', 4, "did you mean rgb?"),
        ('[colours]\ndark_yellow = "yes"\nset = "rgbi"\n', 4, "dark_yellow = true"),
        ("pins = 3\n", 3, "[pins.D0]"),
        ("[pins]\nD0 = 3\n", 4, "[pins.D0]"),
    ],
)
def test_a_slip_comes_with_a_suggestion(text: str, line: int, hint: str, problems_of: Problems) -> None:
    first = problems_of(HEAD + text)[0]
    assert first.line == line
    assert hint in first.hint


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ("[timing]\npixels_per_line = true\n", "timing.pixels_per_line", "must be a number"),
        ('[timing]\ninterlaced = "false"\n', "timing.interlaced", "true or false"),
        ("[timing]\nlines_per_field = []\n", "timing.lines_per_field", "at least one"),
        ("[timing]\nlines_per_field = [nan]\n", "timing.lines_per_field[0]", "must be"),
        ("[timing]\npixel_clock_tolerance_ppm = inf\n", "timing.pixel_clock_tolerance_ppm", "must be"),
        ("[timing]\nhsync_width_us = [4]\n", "timing.hsync_width_us[1]", "missing"),
        ('[pins.D0]\nrole = "other"\nchip_pin = 0\n', "pins.D0.chip_pin", "greater than or equal to 1"),
        ('[pins.D0]\nrole = "colour"\nbit = -1\n', "pins.D0.bit", "greater than or equal to 0"),
        ('[pins.""]\nrole = "other"\n', "pins.", "at least 1 character"),
        ('[colours]\nset = "list"\nlist = ["#00ff0"]\n', "colours.list[0]", "colour like"),
    ],
)
def test_values_are_taken_strictly(text: str, key: str, message: str, problems_of: Problems) -> None:
    first = problems_of(HEAD + text)[0]
    assert first.key == key
    assert message in first.message


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("role = hsync\n", 3, "column 8"),
        ("[pins.D0\n", 3, "column 9"),
        ('name = "twice"\n', 3, "column 15"),
        ('note = "open', 3, "end of file"),
        ("just words\n", 3, "column 6"),
        ("x = [1, 2", 3, "end of file"),
    ],
)
def test_a_slip_in_the_toml_itself_has_its_line_and_column(
    text: str, line: int, column: str, problems_of: Problems
) -> None:
    (problem,) = problems_of(HEAD + text)
    assert problem.line == line
    assert problem.key == column
    assert problem.hint


def test_control_characters_do_not_reach_the_terminal(problems_of: Problems) -> None:
    text = (
        HEAD.replace('"x"', r'"\u001b[2J\u0007"')
        + r'[pins."\u001b]0;owned\u0007"]'
        + '\nrole = "\\u009b31m\\u202e"\n'
        + '[timing]\nstandard = "\\u001b[31m"\n"k\\u001b" = 1\n'
    )
    shown = str(BoardError("board", problems_of(text)))
    assert shown.replace("\n", "").isprintable()
    assert r"\x1b" in shown


def test_control_characters_in_a_name_are_a_fault(problems_of: Problems) -> None:
    (problem,) = problems_of(HEAD.replace('"x"', '"a\\u001b[31m"'))
    assert (problem.line, problem.key) == (2, "name")


@pytest.mark.parametrize(
    ("content", "message", "line"),
    [
        (b'schema = "rastertap.board/1"\nname = "\xff"\n', "not UTF-8 at byte 37", 2),
        (b"#" * 1_000_001, "longer than", 0),
        (b"x = " + b"[" * 5000 + b"]" * 5000, "nested", 0),
        (b"x = " + b"9" * 5000, "digits", 0),
    ],
)
def test_content_that_is_no_board_file_is_refused(
    tmp_path: Path, content: bytes, message: str, line: int
) -> None:
    path = tmp_path / "board.toml"
    path.write_bytes(content)
    with pytest.raises(BoardError, match=message) as caught:
        load_board(path)
    assert caught.value.problems[0].line == line


@pytest.mark.parametrize("name", ["missing.toml", "", "nul\0byte"])
def test_a_file_that_cannot_be_read_is_a_board_error(tmp_path: Path, name: str) -> None:
    with pytest.raises(BoardError, match="cannot be read") as caught:
        load_board(f"{tmp_path}/{name}")
    assert caught.value.exit_code == 2


def test_a_board_error_is_a_usage_error_and_begins_with_file_and_line(tmp_path: Path) -> None:
    path = tmp_path / "board.toml"
    path.write_text(HEAD + "wrong = 1\n", encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        load_board(path)
    assert str(caught.value).startswith(f"{path}:3: wrong: ")


def test_thousands_of_problems_are_counted_not_listed(problems_of: Problems) -> None:
    found = problems_of(HEAD + "".join(f"k{i} = 1\n" for i in range(3000)))
    assert len(found) == 101
    assert "2900 more" in found[-1].message


def test_a_board_made_in_code_is_cross_checked_too() -> None:
    with pytest.raises(ValueError, match="already on channel A"):
        Board.model_validate(
            {
                "schema": "rastertap.board/1",
                "name": "x",
                "pins": {"A": {"role": "hsync"}, "B": {"role": "hsync"}},
            }
        )
