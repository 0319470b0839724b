"""The known picture in a board file: accepted as written, refused with the line and what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rastertap.board.load import load_board, parse_board
from rastertap.board.text import board_summary
from rastertap.errors import BoardError

from .conftest import GOOD

if TYPE_CHECKING:
    from pathlib import Path

PICTURE = """
[picture]
note = "power-on screen"
active = [136, 46, 384, 240]
blanking = 0

[[picture.regions]]
name = "border"
at = [0, 0, 384, 20]
code = 1

[[picture.regions]]
at = [32, 20, 320, 60]
bars = [0, 1, 2, 3]

[[picture.regions]]
at = [32, 80, 320, 8]
either = [0, 15]
"""


def problems(text: str) -> list[str]:
    with pytest.raises(BoardError) as caught:
        parse_board(text, "b.toml")
    return str(caught.value).splitlines()


def line_of(text: str, part: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), 1) if part in line)


def test_regions_are_read_as_written() -> None:
    picture = parse_board(GOOD + PICTURE).picture
    assert picture is not None
    assert picture.active == (136, 46, 384, 240)
    assert [r.at for r in picture.regions] == [(0, 0, 384, 20), (32, 20, 320, 60), (32, 80, 320, 8)]
    assert [r.code for r in picture.regions] == [1, None, None]
    assert picture.regions[1].bars == (0, 1, 2, 3)
    assert picture.regions[2].either == (0, 15)


def test_it_is_shown_with_the_board() -> None:
    text = board_summary(parse_board(GOOD + PICTURE))
    assert "border: 384 x 20 at 0, 0: code 1" in text
    assert "320 x 60 at 32, 20: bars 0, 1, 2, 3" in text
    assert "picture" in board_summary(parse_board(GOOD)).partition("not stated")[2]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("code = 1", "code = 16", "code 16 needs more colour bits (the 4 colour bits make 0 to 15)"),
        ("blanking = 0", "blanking = 99", "code 99 needs more colour bits"),
        ("at = [0, 0, 384, 20]", "at = [1, 0, 384, 20]", "leaves the active area of 384 x 240"),
        ("bars = [0, 1, 2, 3]", "bars = [0]\ncode = 2", "has code and bars"),
        ("bars = [0, 1, 2, 3]", "", "needs one of code, bars or either, and has none"),
        ("bars = [0, 1, 2, 3]", "bar = [0, 1]", "did you mean bars?"),
        ("either = [0, 15]", "either = []", "at least 1"),
        ("at = [32, 80, 320, 8]", "at = [32, 80, 0, 8]", "greater than or equal to 1"),
        ("at = [32, 80, 320, 8]", "at = [32, 80, 2, 8]\n#", "ok"),
    ],
)
def test_a_slip_is_named_with_its_line(old: str, new: str, said: str) -> None:
    text = GOOD + PICTURE.replace(old, new)
    if said == "ok":
        assert parse_board(text).picture is not None
        return
    found = problems(text)
    near = line_of(text, new.partition("\n")[0] or "at = [32, 20")
    assert any(said in line for line in found)
    assert any(abs(int(line.split(":")[1]) - near) <= 3 for line in found)


def test_a_picture_without_content_is_refused() -> None:
    assert "needs a reference or at least one" in problems(GOOD + "\n[picture]\nblanking = 0\n")[0]


def test_bars_need_a_pixel_each() -> None:
    text = GOOD + PICTURE.replace("[32, 20, 320, 60]", "[32, 20, 3, 60]")
    assert "has 4 bars in 3 pixels" in problems(text)[0]


def test_a_picture_needs_colour_pins() -> None:
    text = (
        """schema = "rastertap.board/1"
name = "x"
[pins.D0]
role = "hsync"
"""
        + PICTURE
    )
    assert "no pin carries a colour bit" in "\n".join(problems(text))


def test_a_reference_is_found_beside_the_board_file(tmp_path: Path) -> None:
    (tmp_path / "good.npy").write_bytes(b"x")
    path = tmp_path / "b.toml"
    path.write_text(GOOD + '\n[picture]\nreference = "good.npy"\n')
    picture = load_board(path).picture
    assert picture is not None
    assert picture.reference == str(tmp_path / "good.npy")
    assert not picture.is_capture


def test_a_missing_reference_is_named_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    text = GOOD + '\n[picture]\nreference = "gone.vcd.gz"\n'
    path.write_text(text)
    with pytest.raises(
        BoardError, match=rf"b\.toml:{line_of(text, 'gone')}: picture\.reference: there is no"
    ):
        load_board(path)


def test_a_reference_of_another_kind_is_refused() -> None:
    assert "must end in" in problems(GOOD + '\n[picture]\nreference = "good.jpg"\n')[0]
