"""The known picture from regions, an image, an array or a capture; a picture that differs is said to."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from rastertap.bench.card import card_for
from rastertap.bench.machines import MARLOW_50
from rastertap.board.load import load_board
from rastertap.checks.wiring import explain
from rastertap.errors import UsageError
from rastertap.plan.screen import board_entry, codes_to_show

from .boards import ACTIVE, failed, judged, result, taken, text_of, with_picture

if TYPE_CHECKING:
    from rastertap.board.model import Board

CAPTURES = Path(__file__).parents[2] / "captures"
NAME = "picture.known_picture"


def board_with(tmp_path: Path, entry: str) -> Board:
    path = tmp_path / "board.toml"
    path.write_text(text_of(CAPTURES) + entry)
    return load_board(path)


def shown() -> np.ndarray:
    return np.load(CAPTURES / "marlow85-50.pictures.npy")[0]


@pytest.mark.parametrize("kind", ["npy", "png", "capture"])
@pytest.mark.parametrize("place", ["", "active = [136, 46, 384, 240]\n"])
def test_every_kind_of_reference_tells_exchanged_bits(kind: str, place: str, tmp_path: Path) -> None:
    if kind == "npy":
        name = "good.npy"
        np.save(tmp_path / name, shown())
    elif kind == "png":
        name = "good.png"
        image = Image.fromarray(shown())
        image.putpalette(list(range(48)))
        image.save(tmp_path / name)
    else:
        name = str(CAPTURES / "marlow85-50.vcd.gz")
    board = board_with(tmp_path, f'[picture]\n{place}reference = "{name}"\n')
    analysis = judged(taken("swap:D3,D5"), board)
    assert failed(analysis) == {"taps.swapped"}
    assert result(analysis, NAME)[0] == "pass"
    assert "wiring faults undone" in result(analysis, NAME)[1]


def test_the_planned_test_screen_is_a_known_picture_that_tells_everything(tmp_path: Path) -> None:
    """Bars in code order as `rastertap plan` draws them, shown within a border."""
    width, height = MARLOW_50.picture_size
    codes = np.array(codes_to_show(4), np.uint32)
    bars = np.broadcast_to(codes[np.arange(width) * codes.size // width], (1, height, width)).copy()
    entry = "\n".join(board_entry(4, (136, 46, 384, 240)))
    entry = entry.replace("at = [0, 0, 384, 240]", f"at = [32, 20, {width}, {height}]")
    board = board_with(tmp_path, entry + "\n")
    for fault, finding in (
        ("swap:D4,D6", "swapped"),
        ("invert:D5", "inverted"),
        ("bridge:D3,D6,or", "bridged"),
    ):
        analysis = judged(taken(fault, picture=bars), board)
        assert failed(analysis) == {f"taps.{finding}"}
    clean = judged(taken(picture=bars), board)
    assert "each colour bit on its own channel" in result(clean, "taps.role_mismatch")[1]


def test_the_picture_is_found_where_a_stuck_bit_hides_the_border(tmp_path: Path) -> None:
    """The border is code 1: without bit 0 the active area seems smaller, and the picture must be sought."""
    np.save(tmp_path / "card.npy", shown())
    board = board_with(tmp_path, '[picture]\nreference = "card.npy"\n')
    analysis = judged(taken("stuck-low:D3", "swap:D4,D6"), board)
    assert failed(analysis) == {"taps.stuck_low", "taps.swapped"}


def test_a_bit_that_fails_in_half_of_the_picture_is_the_chips_and_not_a_wires(tmp_path: Path) -> None:
    card = card_for(MARLOW_50)
    gone = int((card[0, 60:] & 2 > 0).sum())
    card[0, 60:] &= np.uint32(~np.uint32(2))
    analysis = judged(taken(picture=card), with_picture(CAPTURES, tmp_path))
    outcome, text = result(analysis, NAME)
    assert outcome == "fail"
    assert text.startswith(f"{gone} pixels of ")
    assert text.endswith("Only on D4: all other bits are right.")
    assert not failed(analysis)
    assert analysis.verdict.place == "video_chip"


def test_pixels_that_differ_are_counted_and_placed(tmp_path: Path) -> None:
    card = card_for(MARLOW_50)
    card[0, 100:104, 50:60] ^= 0b0110
    analysis = judged(taken(picture=card), with_picture(CAPTURES, tmp_path))
    outcome, text = result(analysis, NAME)
    assert outcome == "fail"
    # 4 lines of 10 pixels; x = 136 + 32 + 50, y = 46 + 20 + 100 (active area and border, captures/README.md).
    assert text.startswith("40 pixels of ")
    assert "lines 166 to 169, pixels 218 to 227" in text
    assert not failed(analysis)


@pytest.mark.parametrize(("across", "down"), [(-1, 0), (2, 1), (0, -3)])
def test_a_picture_that_lies_off_blames_no_wire_and_is_told_by_how_much(
    across: int, down: int, tmp_path: Path
) -> None:
    board = with_picture(CAPTURES, tmp_path)
    assert board.picture is not None
    x, y, width, height = ACTIVE
    elsewhere = board.picture.model_copy(update={"active": (x - across, y - down, width, height)})
    analysis = judged(taken(), board.model_copy(update={"picture": elsewhere}))
    outcome, text = result(analysis, NAME)
    assert outcome == "warn"
    if across:
        way = "right" if across > 0 else "left"
        assert f"{abs(across)} pixel{'s' * (abs(across) > 1)} to the {way}" in text
    if down:
        assert f"{abs(down)} line{'s' * (abs(down) > 1)} {'down' if down > 0 else 'up'}" in text
    assert not failed(analysis)
    assert analysis.verdict.place == "after_the_pins"


def test_another_picture_on_the_screen_blames_no_wire(tmp_path: Path) -> None:
    other = np.random.default_rng(3).integers(0, 16, (1, 200, 320)).astype(np.uint32)
    analysis = judged(taken(picture=other), with_picture(CAPTURES, tmp_path))
    assert not failed(analysis)
    assert result(analysis, NAME)[0] == "warn"
    assert "known picture is not on the screen" in result(analysis, "taps.role_mismatch")[1]
    assert analysis.verdict.place == "undecided"
    assert analysis.verdict.because == (NAME,)


def test_text_of_two_colours_is_enough_to_find_an_inverted_bit(tmp_path: Path) -> None:
    """Paper 1, ink 9: bit 0 is high and bits 1 and 2 are low wherever the letters are."""
    rng = np.random.default_rng(5)
    text = np.where(rng.random((1, 200, 320)) < 0.2, 9, 1).astype(np.uint32)
    entry = (
        "[picture]\nactive = [136, 46, 384, 240]\nblanking = 0\n"
        "[[picture.regions]]\nat = [0, 0, 384, 240]\ncode = 1\n"
        "[[picture.regions]]\nat = [32, 20, 320, 200]\neither = [1, 9]\n"
    )
    board = board_with(tmp_path, entry)
    assert not failed(judged(taken(picture=text), board))
    assert failed(judged(taken("invert:D3", picture=text), board)) == {"taps.inverted"}
    story = explain(judged(taken("swap:D3,D6", picture=text), board).evidence).story
    assert [(f.kind, f.channels) for f in story.faults] == [("swapped", ("D3", "D6"))]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (np.full((4, 4), 99, np.uint8), "go up to 99"),
        (np.zeros((4, 4), np.float32), "no codes"),
        (np.zeros((2, 2, 2, 2), np.uint8), "no codes"),
    ],
)
def test_a_reference_that_is_no_picture_is_refused(content: np.ndarray, said: str, tmp_path: Path) -> None:
    np.save(tmp_path / "bad.npy", content)
    board = board_with(tmp_path, '[picture]\nreference = "bad.npy"\n')
    with pytest.raises(UsageError, match=said):
        judged(taken(), board)


def test_a_broken_reference_is_refused_with_its_name(tmp_path: Path) -> None:
    (tmp_path / "bad.png").write_bytes(b"not an image")
    board = board_with(tmp_path, '[picture]\nreference = "bad.png"\n')
    with pytest.raises(UsageError, match=r"bad\.png cannot be read"):
        judged(taken(), board)


def test_a_true_colour_image_is_refused_with_what_to_do(tmp_path: Path) -> None:
    Image.new("RGB", (4, 4)).save(tmp_path / "rgb.png")
    board = board_with(tmp_path, '[picture]\nreference = "rgb.png"\n')
    with pytest.raises(UsageError, match="no indexed image"):
        judged(taken(), board)
