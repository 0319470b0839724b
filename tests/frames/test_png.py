"""PNG and animated PNG as another library reads them."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from rastertap.frames.png import Animation, Picture, add_text, delay, encode

if TYPE_CHECKING:
    from pathlib import Path

RANDOM = np.random.default_rng(7)


@pytest.mark.parametrize("size", [(1, 1), (3, 5), (240, 384)])
@pytest.mark.parametrize("colours", [2, 16, 256])
def test_an_indexed_picture_keeps_every_index_and_colour(size: tuple[int, int], colours: int) -> None:
    pixels = RANDOM.integers(0, colours, size, np.uint8)
    palette = RANDOM.integers(0, 256, (colours, 3), np.uint8)
    with Image.open(io.BytesIO(encode(Picture(pixels, palette)))) as image:
        assert image.mode == "P"
        assert (np.asarray(image) == pixels).all()
        assert (np.asarray(image.convert("RGB")) == palette[pixels]).all()


def test_a_true_colour_picture_keeps_every_pixel() -> None:
    pixels = RANDOM.integers(0, 256, (31, 17, 3), np.uint8)
    with Image.open(io.BytesIO(encode(Picture(pixels)))) as image:
        assert image.mode == "RGB"
        assert (np.asarray(image) == pixels).all()


def test_pixel_shape_and_texts_are_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "one.png"
    path.write_bytes(
        encode(Picture(np.zeros((2, 2), np.uint8), np.zeros((1, 3), np.uint8), (4, 5), {"Title": "café"}))
    )
    add_text(path, {"Source": "a.vcd", "Comment": "snow \N{SNOWMAN}"})
    with Image.open(path) as image:
        image.load()
        assert image.info["aspect"] == (4, 5)
        assert (image.info["Title"], image.info["Source"], image.info["Comment"]) == (
            "café",
            "a.vcd",
            "snow ?",
        )


def test_texts_are_not_added_to_what_is_no_png(tmp_path: Path) -> None:
    path = tmp_path / "not.png"
    path.write_bytes(b"something else altogether")
    with pytest.raises(ValueError, match="does not end like a PNG"):
        add_text(path, {"a": "b"})
    assert path.read_bytes() == b"something else altogether"


def test_an_animation_keeps_every_frame_and_its_time() -> None:
    frames = RANDOM.integers(0, 16, (5, 12, 20), np.uint8)
    palette = RANDOM.integers(0, 256, (16, 3), np.uint8)
    animation = Animation(palette)
    for frame in frames:
        animation.add(frame)
    # 312 lines of 64 us, exactly; and 262 lines of 143/2.25 us (references.md 2.1).
    seconds = [0.019968, 0.019968, 262 * 143 / 2.25e6, 0.02, 1.5]
    with Image.open(io.BytesIO(animation.encode(seconds, text={"Title": "all"}))) as image:
        assert image.n_frames == 5
        for index, frame in enumerate(frames):
            image.seek(index)
            assert (np.asarray(image.convert("RGB")) == palette[frame]).all()
            assert image.info["duration"] == pytest.approx(seconds[index] * 1000, rel=1e-6)


def test_a_frame_of_another_size_is_fitted_to_the_first() -> None:
    animation = Animation(np.array([[0, 0, 0], [255, 255, 255]], np.uint8))
    animation.add(np.ones((3, 4), np.uint8))
    animation.add(np.ones((2, 6), np.uint8))
    with Image.open(io.BytesIO(animation.encode([0.02, 0.02], text={}))) as image:
        image.seek(1)
        assert image.size == (4, 3)
        shown = np.asarray(image.convert("RGB"))[..., 0] > 0
        assert shown.tolist() == [[True] * 4, [True] * 4, [False] * 4]


def test_field_times_of_the_standards_are_held_exactly() -> None:
    assert delay(0.019968) == Fraction(312, 15625)
    assert delay(0.02) == Fraction(1, 50)
    assert abs(delay(1001 / 60000) - Fraction(1001, 60000)) < Fraction(1, 10**9)


@settings(max_examples=100, deadline=None)
@given(st.floats(1e-6, 1e6))
def test_any_time_becomes_a_fraction_of_two_short_numbers(seconds: float) -> None:
    found = delay(seconds)
    assert 0 <= found.numerator <= 65535
    assert 1 <= found.denominator <= 65535
    if 1e-3 <= seconds <= 60000:
        assert float(found) == pytest.approx(seconds, rel=1e-2)
