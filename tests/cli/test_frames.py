"""`rastertap frames`: the files, read back by Pillow and NumPy."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable

# 4-bit RGBI in steps of 0x55, code 6 left dark yellow as the board file says: common practice, no source.
BLACK, BLUE, DARK_YELLOW, WHITE = (0, 0, 0), (0, 0, 0xAA), (0xAA, 0xAA, 0), (0xFF, 0xFF, 0xFF)


@pytest.fixture
def written(rastertap: Callable[..., Any], good: str, board: str) -> Callable[..., list[dict[str, Any]]]:
    """Run the command; give the frames of its JSON."""

    def run(*arguments: str) -> list[dict[str, Any]]:
        result = rastertap("frames", good, "--board", board, "--json", "frames.json", *arguments)
        assert (result.code, result.err) == (0, "")
        frames: list[dict[str, Any]] = json.loads(Path("frames.json").read_text())["frames"]
        return frames

    return run


def crop(frame: dict[str, Any]) -> np.ndarray:
    area = frame["active"]
    codes = np.load(frame["codes"], allow_pickle=False)
    return codes[area["y"] : area["y"] + area["height"], area["x"] : area["x"] + area["width"]]


@pytest.mark.parametrize("scale", [1, 2, 5])
def test_the_png_holds_the_codes_of_the_active_area(
    written: Callable[..., list[dict[str, Any]]], scale: int
) -> None:
    for frame in written("--scale", str(scale)):
        area = frame["active"]
        with Image.open(frame["png"]) as image:
            assert (image.format, image.mode) == ("PNG", "P")
            assert image.size == (area["width"] * scale, area["height"] * scale)
            pixels = np.asarray(image)
        enlarged = np.kron(crop(frame), np.ones((scale, scale), np.uint8))
        np.testing.assert_array_equal(pixels, enlarged)


def test_the_png_has_the_board_files_colours(written: Callable[..., list[dict[str, Any]]]) -> None:
    with Image.open(written()[0]["png"]) as image:
        palette = image.getpalette()
    assert palette is not None
    colours = [tuple(palette[3 * i : 3 * i + 3]) for i in range(16)]
    assert (colours[0], colours[1], colours[6], colours[15]) == (BLACK, BLUE, DARK_YELLOW, WHITE)


def test_the_npy_holds_the_whole_raster_and_needs_no_pickle(
    written: Callable[..., list[dict[str, Any]]],
) -> None:
    for frame in written():
        codes = np.load(frame["codes"], allow_pickle=False)
        assert codes.dtype == np.uint8
        assert codes.shape == (frame["raster_height"], frame["raster_width"])
        assert codes.max() < 16


def test_files_go_where_they_are_wanted_and_nothing_else_is_left(
    written: Callable[..., list[dict[str, Any]]],
) -> None:
    frames = written("--out", "some/where")
    names = {p.name for p in Path("some/where").iterdir()}
    assert names == {Path(f[kind]).name for f in frames for kind in ("png", "codes")}


def test_the_text_names_each_frame_and_its_file(rastertap: Callable[..., Any], good: str, board: str) -> None:
    result = rastertap("frames", good, "--board", board)
    whole = [line for line in result.out.splitlines() if "progressive, complete, 384 x 240" in line]
    assert len(whole) == 2
    assert all(Path(line.strip()).is_file() for line in result.out.splitlines() if line.endswith(".png"))


def test_a_capture_without_a_frame_leaves_with_3_and_says_what_is_missing(
    rastertap: Callable[..., Any], good: str
) -> None:
    result = rastertap("frames", good, "--to", "100us")
    assert (result.code, result.out) == (3, "")
    assert "no frame can be rebuilt: " in result.err
    assert "rastertap pins" in result.err
    assert not Path("frames").exists()


def test_an_out_folder_that_cannot_be_written_leaves_with_2(rastertap: Callable[..., Any], good: str) -> None:
    Path("file").write_text("in the way")
    result = rastertap("frames", good, "--out", "file/frames")
    assert (result.code, result.out) == (2, "")
    assert "cannot write file/frames" in result.err
