"""Each fault of the chip does what it says, with a sound clock, counted in the written file."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from rastertap.bench.card import noise_for
from rastertap.bench.source import CompositeSync, VideoSource
from rastertap.errors import UsageError

PERIOD = 200


def lines_in_fields(made: Any) -> list[int]:
    return np.diff(np.searchsorted(made.signal("hsync").falling(), made.signal("vsync").falling())).tolist()


def clock_is_sound(made: Any) -> bool:
    return np.abs(np.diff(made.signal("pixel_clock").rising()) - PERIOD).max() <= 10


def test_vsync_can_be_missing_now_and_then(record: Any, small: VideoSource) -> None:
    made = record(small, "chip-missing-vsync:every=3", fields=9)
    assert set(lines_in_fields(made)) == {20, 40}
    assert clock_is_sound(made)
    (told,) = made.made.truth["faults"]
    vsync = made.signal("vsync").falling()
    gap = vsync[np.flatnonzero(np.diff(vsync) > 30 * 64 * PERIOD)] + 20 * 64 * PERIOD
    np.testing.assert_allclose(np.array(told["at_s"]) * 1e9, gap, atol=11)


def test_vsync_can_be_missing_for_good_also_from_csync(record: Any, small: VideoSource) -> None:
    made = record(replace(small, composite=CompositeSync("or")), "chip-missing-vsync", fields=4)
    assert not made.signal("vsync").times.size
    csync = made.signal("csync")
    np.testing.assert_array_equal(csync.times, made.signal("hsync").times)


def test_a_lost_line_shortens_its_field_by_one(record: Any, small: VideoSource) -> None:
    made = record(small, "chip-lost-line:every=2", fields=8)
    counts = lines_in_fields(made)
    assert set(counts) == {19, 20}
    assert all(a != b for a, b in pairwise(counts))
    assert set(
        np.diff(np.searchsorted(made.signal("pixel_clock").rising(), made.signal("hsync").falling()))
    ) == {64}
    assert clock_is_sound(made)


def test_the_row_that_is_lost_can_be_chosen(record: Any, small: VideoSource) -> None:
    picture = np.repeat(np.arange(12, dtype=np.uint32)[np.newaxis, :, np.newaxis], 40, axis=2)
    made = record(small, "chip-lost-line:every=1,row=7", picture=picture)
    hsync = made.signal("hsync").falling()
    first = hsync[np.searchsorted(hsync, made.signal("vsync").falling()[0] - 20)]
    middle = first + 36 * PERIOD + 64 * PERIOD * np.arange(5, 16)
    codes = sum(made.signal(f"colour{bit}").at(middle).astype(int) << bit for bit in range(4))
    assert codes.tolist() == [0, 1, 2, 3, 4, 5, 6, 8, 9, 10, 11]


def test_a_short_line_has_fewer_clocks(record: Any, small: VideoSource) -> None:
    made = record(small, "chip-short-line:every=9,clocks=4", fields=5)
    lengths = np.diff(np.searchsorted(made.signal("pixel_clock").rising(), made.signal("hsync").falling()))
    assert set(lengths) == {60, 64}
    assert set(np.diff(np.flatnonzero(lengths == 60))) == {9}
    assert clock_is_sound(made)


def test_hsync_glitches_are_narrow_and_in_the_active_part(record: Any, small: VideoSource) -> None:
    made = record(small, "chip-hsync-glitch:every=5,clocks=2", fields=5)
    falls, rises = made.signal("hsync").falling()[:-1], made.signal("hsync").rising()
    widths = rises[np.searchsorted(rises, falls)] - falls
    false = np.flatnonzero(np.abs(widths - 2 * PERIOD) <= 10)
    assert np.count_nonzero(np.abs(widths - 6 * PERIOD) <= 10) + false.size == widths.size
    after = (falls[false] - falls[false - 1]) / PERIOD
    assert after.min() > 15.9
    assert after.max() < 54.1
    assert false.size == pytest.approx(100 / 5, abs=1)


@pytest.mark.parametrize("level", [0, 1])
def test_a_bit_can_be_stuck_inside_the_chip(record: Any, small: VideoSource, level: int) -> None:
    line = record(small, f"chip-stuck-bit:2,{level}").signal("colour2")
    assert line.initial == level
    assert not line.times.size


def test_a_noisy_bit_is_wrong_for_single_clocks(record: Any, small: VideoSource) -> None:
    picture = noise_for(small)
    good = record(small, picture=picture, fields=10).signal("colour1")
    made = record(small, "chip-noisy-bit:1,one_in=200", picture=picture, fields=10)
    bad = made.signal("colour1")
    middles = made.signal("pixel_clock").falling()
    wrong = np.count_nonzero(good.at(middles) != bad.at(middles))
    (told,) = made.made.truth["faults"]
    assert wrong == pytest.approx(told["count"], abs=1)
    assert 0.003 < wrong / middles.size < 0.007


@pytest.mark.parametrize(
    "text",
    [
        "chip-missing-vsync:every=0",
        "chip-lost-line:every=1,row=12",
        "chip-short-line:every=1,clocks=64",
        "chip-hsync-glitch:every=0",
        "chip-stuck-bit:4",
        "chip-stuck-bit:0,2",
        "chip-noisy-bit:-1",
    ],
)
def test_an_impossible_chip_fault_is_refused_with_its_usage(
    record: Any, small: VideoSource, text: str
) -> None:
    with pytest.raises(UsageError, match=text.partition(":")[0]) as error:
        record(small, text)
    assert "write it as" in error.value.hint
