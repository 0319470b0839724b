"""The pictures: a test card of any size and number of bits, and noise."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.bench.card import card_for, draw_card, draw_noise, moving, noise_for
from rastertap.bench.font import GLYPHS, text_mask
from rastertap.bench.machines import MARLOW_50


@pytest.mark.parametrize("bits", [1, 3, 4, 6, 8])
def test_the_card_holds_every_colour_of_the_set(bits: int) -> None:
    assert set(np.unique(draw_card(384, 240, bits))) == set(range(2**bits))


@pytest.mark.parametrize(
    ("width", "height", "bits"), [(384, 240, 4), (1, 1, 1), (7, 3, 3), (640, 480, 24), (20, 15, 32)]
)
def test_a_frame_one_pixel_wide_runs_round_the_edge(width: int, height: int, bits: int) -> None:
    card = draw_card(width, height, bits)
    assert card.shape == (height, width)
    white = 2**bits - 1
    assert (card[0] == white).all()
    assert (card[-1] == white).all()
    assert (card[:, 0] == white).all()
    assert (card[:, -1] == white).all()


def test_the_card_has_lines_one_pixel_wide_both_ways_and_checks() -> None:
    part = draw_card(300, 200, 4)[62:98, 1:-1]
    upright, level, checks = part[:, 10:90], part[:, 110:190], part[:, 210:290]
    assert (upright[:, 1:] != upright[:, :-1]).all()
    assert (upright[1:] == upright[:-1]).all()
    assert (level[1:] != level[:-1]).all()
    assert (level[:, 1:] == level[:, :-1]).all()
    assert (checks[1:, 1:] == checks[:-1, :-1]).all()
    assert (checks[1:] != checks[:-1]).all()


def test_the_card_says_what_it_is() -> None:
    card = card_for(MARLOW_50)[0]
    for words in ("MARLOW 85", "INVENTED", "50.08 HZ"):
        mask = text_mask(words)[:, :-1]
        windows = np.lib.stride_tricks.sliding_window_view(card == 15, mask.shape)
        assert (windows == mask).all(axis=(2, 3)).any(), words


def test_letters_of_the_font_differ_and_unknown_ones_leave_a_gap() -> None:
    shapes = {text_mask(letter).tobytes() for letter in GLYPHS}
    assert len(shapes) == len(GLYPHS)
    assert not text_mask("~").any()
    np.testing.assert_array_equal(text_mask("a"), text_mask("A"))


def test_noise_is_by_seed_and_uses_every_code() -> None:
    one = draw_noise(64, 64, 4, 1)
    np.testing.assert_array_equal(one, draw_noise(64, 64, 4, 1))
    assert (one != draw_noise(64, 64, 4, 2)).mean() > 0.9
    assert set(np.unique(one)) == set(range(16))
    assert noise_for(MARLOW_50).shape == (1, 200, 320)


def test_a_moving_picture_differs_from_field_to_field() -> None:
    run = moving(card_for(MARLOW_50), 3)
    assert run.shape == (3, 200, 320)
    assert (run[0] != run[1]).any()
    assert (run[1] != run[2]).any()
    assert (run[0] != card_for(MARLOW_50)[0]).any()
