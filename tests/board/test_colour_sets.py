"""Colours in a board file: the wider sets, palettes, levels, and what is wrong with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rastertap.board.load import load_board, parse_board
from rastertap.errors import BoardError
from rastertap.standards import colour
from rastertap.standards.colour_set import FIXED_BITS, from_luma_chroma, named_set
from rastertap.standards.palette_file import parse_palette

if TYPE_CHECKING:
    from pathlib import Path

HEAD = 'schema = "rastertap.board/1"\nname = "x"\n'


def bus(bits: int) -> str:
    return "".join(f'[pins.D{b}]\nrole = "colour"\nbit = {b}\n' for b in range(bits))


def problems(text: str) -> list[tuple[str, str]]:
    with pytest.raises(BoardError) as caught:
        parse_board(HEAD + text)
    return [(p.key, p.message) for p in caught.value.problems]


@pytest.mark.parametrize(("name", "bits"), FIXED_BITS.items())
def test_every_named_set_needs_its_number_of_bits(name: str, bits: int) -> None:
    board = parse_board(HEAD + bus(bits) + f'[colours]\nset = "{name}"\n')
    assert board.colours is not None
    known = board.colours.known(bits)
    assert (known.name, known.bits, known.size) == (name, bits, 1 << bits)
    wrong = problems(bus(bits - 1) + f'[colours]\nset = "{name}"\n')
    assert wrong == [("colours.set", f"the set '{name}' has {bits} bits, but the pins give {bits - 1}")]


@pytest.mark.parametrize(("count", "fits"), [(3, False), (4, False), (5, True), (8, True), (9, False)])
def test_a_list_may_leave_out_codes_but_not_half_of_them(count: int, fits: bool) -> None:  # noqa: FBT001 - a table
    listed = ", ".join(['"#102030"'] * count)
    text = bus(3) + f'[colours]\nset = "list"\nlist = [{listed}]\n'
    if fits:
        assert parse_board(HEAD + text).colours is not None
    else:
        assert problems(text)[0][0] == "colours.list"


def test_levels_become_the_colours_they_are() -> None:
    # references.md 3.2: red and blue of the 100 % bars.
    text = bus(2) + (
        '[colours]\nset = "list"\ncomponent_mv = ['
        "[0, 0, 0], [209.3, -118.12, 350], [79.8, 350, -56.92], [700, 0, 0]]\n"
    )
    colours = parse_board(HEAD + text).colours
    assert colours is not None
    known = colours.known(2)
    assert known.table is not None
    assert known.table.tolist() == [[0, 0, 0], [255, 0, 0], [0, 0, 255], [255, 255, 255]]
    assert known.levels(np.array([1], np.uint32)).tolist() == [[209.3, -118.12, 350]]


def test_luma_and_chroma_give_the_published_phases() -> None:
    # references.md 1.4 (SMPTE 170M Annex A): phases of the bars; amplitudes from the bars' own colours.
    phases = {(1, 1, 0): 167.0812, (0, 1, 1): 283.4558, (0, 1, 0): 240.7098, (1, 0, 1): 60.7098}
    phases |= {(1, 0, 0): 103.4558, (0, 0, 1): 347.0812}
    for rgb, phase in phases.items():
        levels = np.array(rgb, float)
        luma = float(colour.luma(levels))
        amplitude = 700 * np.hypot(0.493 * (rgb[2] - luma), 0.877 * (rgb[0] - luma))
        known = from_luma_chroma(1, [[0, 0, 0], [700 * luma, amplitude, phase]])
        assert known.table is not None
        assert np.abs(known.table[1].astype(int) - 255 * np.array(rgb)).max() <= 1


def test_component_codes_outside_the_range_are_not_in_the_set() -> None:
    # BT.601-5 Table 2 (references.md 3.1): bytes 0 and 255 are reserved.
    codes = np.array([0x108080, 0x008080, 0xFF8080, 0x10FF80, 0x108000], np.uint32)
    assert named_set("component", 24).contains(codes).tolist() == [True, False, False, False, False]


def test_a_palette_file_is_the_list(tmp_path: Path) -> None:
    (tmp_path / "b.pal").write_text("# mine\n0 0 0 black\n255 128  0\n\n1\t2\t3\n255 255 255 white\n")
    path = tmp_path / "b.toml"
    path.write_text(HEAD + bus(2) + '[colours]\nset = "list"\npalette = "b.pal"\n')
    colours = load_board(path).colours
    assert colours is not None
    assert colours.colours == ("#000000", "#FF8000", "#010203", "#FFFFFF")


@pytest.mark.parametrize(
    ("content", "line", "said"),
    [
        ("0 0 0\n1 2\n", 2, "fewer than three"),
        ("0 0 0\n1 2 256\n", 2, "more than 255"),
        ("0 0 0\n1 2 x\n", 2, "no whole number"),
        ("0 0 0\n1 -2 3\n", 2, "no whole number"),
        ("0 0 0\n", 0, "has 1 colours"),
        ("", 0, "has 0 colours"),
    ],
)
def test_a_palette_that_is_wrong_is_an_error_with_its_line(
    content: str, line: int, said: str, tmp_path: Path
) -> None:
    (tmp_path / "b.pal").write_text(content)
    path = tmp_path / "b.toml"
    path.write_text(HEAD + bus(1) + '[colours]\nset = "list"\npalette = "b.pal"\n')
    with pytest.raises(BoardError) as caught:
        load_board(path)
    assert str(tmp_path / "b.pal") in str(caught.value)
    assert [(p.line, said in p.message) for p in caught.value.problems] == [(line, True)]


def test_a_palette_that_is_not_there_or_too_short_is_said_with_the_line_of_its_key(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_text(HEAD + bus(2) + '[colours]\nset = "list"\npalette = "b.pal"\n')
    with pytest.raises(BoardError, match=r"b\.toml:11: colours\.palette: there is no file"):
        load_board(path)
    (tmp_path / "b.pal").write_text("0 0 0\n1 1 1\n")
    with pytest.raises(BoardError, match=r"b\.toml:11: colours\.palette: has 2 colours"):
        load_board(path)
    (tmp_path / "b.pal").write_bytes(b"0 0 0\n\xff\n")
    with pytest.raises(BoardError, match=r"b\.pal:2: palette: is not UTF-8"):
        load_board(path)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('set = "rgb"\npalette = "b.pal"\n', "colours.palette"),
        ('set = "list"\nlist = ["#000000", "#FFFFFF"]\npalette = "b.pal"\n', "colours.palette"),
        (
            'set = "list"\nlist = ["#000000", "#FFFFFF"]\ncomponent_mv = [[0,0,0],[1,1,1]]\n',
            "colours.component_mv",
        ),
        ('set = "list"\nluma_chroma = [[0,0,0]]\n', "colours.luma_chroma"),
        ('set = "list"\nluma_chroma = [[0,0],[1,2]]\n', "colours.luma_chroma[0][2]"),
        ('set = "list"\n', "colours.set"),
    ],
)
def test_colours_given_twice_or_in_the_wrong_set_are_refused(text: str, key: str) -> None:
    assert problems("[colours]\n" + text)[0][0] == key


@given(st.text(max_size=60))
def test_any_text_gives_colours_or_problems(text: str) -> None:
    colours, found = parse_palette(text)
    assert found or len(colours) >= 2


@given(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=2, max_size=20))
def test_a_palette_comes_back_as_it_was_written(colours: list[tuple[int, int, int]]) -> None:
    found, problems = parse_palette("\n".join(" ".join(map(str, c)) for c in colours))
    assert not problems
    assert found.tolist() == [list(c) for c in colours]
