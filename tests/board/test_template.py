from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rastertap.board.load import parse_board
from rastertap.board.template import FoundBoard, FoundPin, board_text
from rastertap.roles import ROLES

WHOLE = FoundBoard(
    name="Marlow 85 (invented)",
    pins=(
        FoundPin("D0", "pixel_clock", why="steady, 9.000 MHz"),
        FoundPin("D1", "hsync", polarity="negative", why="every 64 us"),
        FoundPin("tb.dut.rgb[0]", "colour", 0),
        FoundPin("tb.dut.rgb[1]", "colour", 1),
        FoundPin('odd "name"', "colour", 2),
    ),
    note="two\nlines",
    standard="312/50",
    pixel_clock_hz=Fraction(2_250_000 * 570, 143),
    pixels_per_line=570,
    lines_per_field=(312.0,),
    interlaced=False,
    hsync_width_us=(4.4, 5.0),
    vsync_width_lines=(2.5, 3.5),
    colour_set="rgb",
)


def test_everything_found_is_read_back_from_the_file() -> None:
    board = parse_board(board_text(WHOLE))
    assert (board.name, board.note) == (WHOLE.name, WHOLE.note)
    assert [(channel, pin.role, pin.bit, pin.polarity) for channel, pin in board.pins.items()] == [
        (pin.channel, pin.role, pin.bit, pin.polarity) for pin in WHOLE.pins
    ]
    timing = board.timing
    assert timing.standard == WHOLE.standard
    assert timing.pixel_clock_hz == WHOLE.pixel_clock_hz
    assert timing.pixels_per_line == WHOLE.pixels_per_line
    assert timing.lines_per_field == WHOLE.lines_per_field
    assert timing.interlaced is False
    assert timing.hsync_width_us == WHOLE.hsync_width_us
    assert timing.vsync_width_lines == WHOLE.vsync_width_lines
    assert board.colours is not None
    assert board.colours.colour_set == "rgb"


def test_what_is_not_known_is_a_commented_line_that_says_so() -> None:
    text = board_text(FoundBoard(name="x"))
    board = parse_board(text)
    assert board.timing.model_dump(exclude={"pixel_clock_tolerance_ppm"}) == dict.fromkeys(
        set(type(board.timing).model_fields) - {"pixel_clock_tolerance_ppm"}
    )
    for key in ("standard", "pixel_clock_hz", "pixels_per_line", "lines_per_field", "interlaced"):
        (line,) = (line for line in text.splitlines() if line.startswith(f"# {key} = "))
        assert "not known" in line


def test_the_commented_lines_hold_once_their_mark_is_taken_away() -> None:
    text = board_text(FoundBoard(name="x", pins=(FoundPin("D0", "hsync"),)))
    live = [
        line.removeprefix("# ") if " = " in line or line.startswith("# [") else line
        for line in text.splitlines()
    ]
    board = parse_board("\n".join(live))
    assert board.timing.standard == "312/50"
    assert board.timing.pixels_per_line == 576
    assert board.pins["D0"].wire == "brown"
    assert board.colours is not None


def test_the_evidence_stands_above_its_pin() -> None:
    lines = board_text(WHOLE).splitlines()
    assert lines[lines.index("[pins.D0]") - 1] == "# found: steady, 9.000 MHz"


def test_unrecognised_channels_are_a_comment() -> None:
    text = board_text(FoundBoard(name="x", unrecognised=("D8", "D9\n[pins.D9]")))
    assert "# Carries nothing recognised: D8, D9 [pins.D9]" in text.splitlines()
    assert parse_board(text).pins == {}


def test_a_hostile_channel_name_stays_inside_its_quotes() -> None:
    pin = FoundPin('x"]\nrole = "vsync', "hsync", why="a\nrole = 3\x1b")
    board = parse_board(board_text(FoundBoard(name='"\\\x1b', pins=(pin,))).replace("\\n", " "))
    assert [p.role for p in board.pins.values()] == ["hsync"]


LINES = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)


@settings(deadline=None)  # the cores may be shared
@given(
    name=LINES,
    why=LINES,
    channels=st.lists(
        st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1), max_size=5, unique=True
    ),
    clock=st.none() | st.fractions(100_000, 10**9, max_denominator=10**6),
    width=st.none() | st.tuples(st.floats(0.01, 5), st.floats(5, 50)),
    note=st.just("") | LINES,
)
def test_any_finding_makes_a_file_that_loads(  # noqa: PLR0917 - hypothesis passes by name
    name: str,
    why: str,
    channels: list[str],
    clock: Fraction | None,
    width: tuple[float, float] | None,
    note: str,
) -> None:
    pins = tuple(FoundPin(channel, "colour", bit, why=why) for bit, channel in enumerate(channels))
    found = FoundBoard(name=name, pins=pins, note=note, pixel_clock_hz=clock, hsync_width_us=width)
    board = parse_board(board_text(found))
    assert list(board.pins) == channels
    assert board.timing.pixel_clock_hz == clock


@pytest.mark.parametrize("role", ROLES)
def test_every_role_can_be_written(role: str) -> None:
    bit = 0 if role == "colour" else None
    board = parse_board(board_text(FoundBoard(name="x", pins=(FoundPin("D0", role, bit),))))  # type: ignore[arg-type]
    assert board.pins["D0"].role == role
