"""The shape of pixels against shapes worked out from the published timings."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rastertap.frames.aspect import pixel_shape, whole_scale


@pytest.mark.parametrize(
    ("pixels", "lines", "wanted"),
    [
        # A 4:3 screen is 52 us wide and 288 lines high (BT.470-6): a pixel of 64 us / n is 64/n/52 wide, a
        # line 3/4/288 of the width high.
        (576, 312, Fraction(64, 576) / 52 / (Fraction(3, 4) / 288)),
        (864, 312.5, Fraction(64, 864) / 52 / (Fraction(3, 4) / 288)),
        (509, 311, Fraction(64, 509) / 52 / (Fraction(3, 4) / 288)),
        # 52.656 us and 241.5 lines (SMPTE 170M: 483 of 525 lines; 63.556 - 10.9 us).
        (572, 263, Fraction(63556, 572) / 52656 / (Fraction(3, 4) / Fraction(483, 2))),
        (800, 525, Fraction(1)),  # 640 x 480 on 4:3
        (1056, 628, Fraction(1)),  # 800 x 600 on 4:3
        (1650, 750, Fraction(1)),  # 1280 x 720 on 16:9
    ],
)
def test_shapes_follow_from_the_published_timings(pixels: int, lines: float, wanted: Fraction) -> None:
    assert pixel_shape(pixels, lines).aspect == pytest.approx(float(wanted), rel=1e-4)


def test_a_woven_frame_has_lines_half_as_high() -> None:
    field = pixel_shape(864, 312.5)
    assert field.woven().aspect == 2 * field.aspect


@pytest.mark.parametrize(
    ("aspect", "wanted"), [(1.0, (1, 1)), (2.0, (2, 1)), (0.8205, (4, 5)), (0.5, (1, 2))]
)
def test_the_nearest_small_whole_numbers_are_taken(aspect: float, wanted: tuple[int, int]) -> None:
    assert whole_scale(aspect) == wanted


@given(st.floats(0.2, 5))
def test_no_pair_of_whole_numbers_is_nearer_unless_one_is_near_enough(aspect: float) -> None:
    x, y = whole_scale(aspect)
    assert 1 <= x <= 8
    assert 1 <= y <= 8
    error = max(x / y / aspect, aspect * y / x)
    best = min(max(a / b / aspect, aspect * b / a) for a in range(1, 9) for b in range(1, 9))
    assert error <= max(1.0301, best + 1e-12)
