"""Reading a hand-made bus at a hand-made clock, and arranging it in lines. A clock cycle is 100 ticks."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from rastertap.capture.model import Channel
from rastertap.frames.raster import line_grid, read_codes, rows
from rastertap.streams.model import Lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.frames.raster import LineGrid

CYCLE, PIXELS = 100, 50
REACH = 10.0


def channel(name: str, initial: int, ticks: Sequence[int]) -> Channel:
    levels = (initial + 1 + np.arange(len(ticks))) % 2
    return Channel(name, initial, np.asarray(ticks, np.int64), levels.astype(np.uint8))


def clock(cycles: int = 40 * PIXELS, first: int = 0) -> Any:
    return SimpleNamespace(
        edges=first + CYCLE * np.arange(cycles), period=SimpleNamespace(value=float(CYCLE))
    )


def some_lines(starts: NDArray[np.int64]) -> Lines:
    return Lines(starts, np.ones(starts.size, np.bool_), np.full(starts.size, 400))


def grid(starts: NDArray[np.int64], **of_clock: int) -> LineGrid:
    return line_grid(some_lines(starts), clock(**of_clock), (0, 10**9))


def test_bit_0_is_the_least_significant() -> None:
    times = np.array([50, 150, 250, 350])
    bits = [channel("b0", 0, [100, 200]), channel("b1", 1, [200]), channel("b2", 0, [300])]
    codes, unsure = read_codes(bits, times, REACH)
    assert codes.tolist() == [0b010, 0b011, 0b000, 0b100]
    assert not unsure.any()


def test_all_of_32_bits_are_read() -> None:
    bits = [channel(f"b{i}", i % 2, []) for i in range(32)]
    codes, _ = read_codes(bits, np.array([5]), REACH)
    assert codes.tolist() == [0xAAAAAAAA]


@pytest.mark.parametrize(
    ("change", "doubtful"), [(139, False), (141, True), (150, True), (159, True), (161, False)]
)
def test_a_change_within_reach_of_the_sampling_point_makes_that_pixel_unsure(
    change: int, *, doubtful: bool
) -> None:
    _, unsure = read_codes([channel("b0", 0, [change])], np.array([50, 150, 250]), REACH)
    assert (unsure != 0).tolist() == [False, doubtful, False]


def test_a_change_on_any_bit_makes_the_pixel_unsure() -> None:
    bits = [channel("b0", 0, []), channel("b1", 0, [252])]
    _, unsure = read_codes(bits, np.array([50, 150, 250]), REACH)
    assert (unsure != 0).tolist() == [False, False, True]


def test_lines_begin_at_the_clock_edge_before_their_sync() -> None:
    starts = 30 + CYCLE * PIXELS * np.arange(1, 20)
    found = grid(starts)
    assert found.pixels == PIXELS
    assert found.first.tolist() == (PIXELS * np.arange(1, 20)).tolist()
    assert (found.right, found.counted) == (18, 18)


@pytest.mark.parametrize("delay", [-3, 0, 3, 50, 97, 100])
def test_a_sync_near_a_clock_edge_keeps_to_one_side_of_it(delay: int) -> None:
    """A step of 10 ticks throws it now before the edge, now after; no line may begin a pixel off."""
    exact = delay + CYCLE * PIXELS * np.arange(1, 30)
    starts = exact + np.random.default_rng(7).integers(-10, 11, exact.size)
    found = grid(starts)
    assert set(np.diff(found.first).tolist()) == {PIXELS}
    assert (found.pixels, found.right) == (PIXELS, found.counted)


def test_a_line_a_few_clocks_short_is_counted_apart() -> None:
    starts = CYCLE * PIXELS * np.arange(1, 20) + 30
    starts[10:] -= 6 * CYCLE
    found = grid(starts)
    assert found.pixels == PIXELS
    assert (found.right, found.counted) == (17, 18)
    assert np.diff(found.first)[9] == PIXELS - 6


def test_lines_outside_the_span_are_placed_but_not_counted() -> None:
    starts = CYCLE * PIXELS * np.arange(1, 20) + 30
    found = line_grid(some_lines(starts), clock(), (int(starts[5]), int(starts[9])))
    assert found.first.size == 19
    assert (found.right, found.counted) == (4, 4)


def test_a_line_that_begins_before_the_clock_does_has_an_index_below_0() -> None:
    starts = 30 + CYCLE * PIXELS * np.arange(20)
    found = grid(starts, first=10 * CYCLE, cycles=1_000)
    assert found.first[:3].tolist() == [-10, 40, 90]


def test_codes_are_arranged_in_lines() -> None:
    codes, unsure = np.arange(12, dtype=np.uint32), np.zeros(12, np.uint8)
    unsure[5] = 1
    raster, doubtful = rows(codes, unsure, np.array([0, 4, 8]), 4)
    assert raster.tolist() == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9, 10, 11]]
    assert np.argwhere(doubtful).tolist() == [[1, 1]]


def test_a_pixel_without_a_clock_edge_is_0_and_unsure() -> None:
    codes, unsure = np.full(8, 7, np.uint32), np.zeros(8, np.uint8)
    raster, doubtful = rows(codes, unsure, np.array([-2, 6]), 4)
    assert raster.tolist() == [[0, 0, 7, 7], [7, 7, 0, 0]]
    assert (raster == 0).tolist() == doubtful.tolist()


def test_lines_that_overlap_share_their_pixels() -> None:
    """A line that the next one cuts short shows the beginning of that one."""
    codes = np.arange(10, dtype=np.uint32)
    raster, _ = rows(codes, np.zeros(10, np.uint8), np.array([0, 3]), 4)
    assert raster.tolist() == [[0, 1, 2, 3], [3, 4, 5, 6]]


def jittered(lines: int = 300, rms: float = 30.0) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Starts of lines whose sync jitters by ``rms`` ticks, and the clock each really begins with."""
    true = 10 + PIXELS * np.arange(lines)
    late = np.random.default_rng(3).normal(20.0, rms, lines)
    return np.rint(true * CYCLE + late).astype(np.int64), true


@pytest.mark.parametrize("rms", [10.0, 30.0, 70.0])
def test_sync_that_jitters_moves_no_line(rms: float) -> None:
    starts, true = jittered(rms=rms)
    found = grid(starts, cycles=310 * PIXELS)
    assert np.array_equal(np.diff(found.first), np.diff(true))
    assert math.sqrt(found.squares / found.syncs) == pytest.approx(rms / CYCLE, rel=0.15)


def test_lost_clocks_move_all_lines_after_them_beside_jitter_too() -> None:
    starts, true = jittered()
    lost = np.array([30 * PIXELS + 7, 31 * PIXELS + 3, 170 * PIXELS + 40])
    edges = np.delete(CYCLE * np.arange(310 * PIXELS), lost)
    bare = SimpleNamespace(edges=edges, period=SimpleNamespace(value=float(CYCLE)))
    found = line_grid(some_lines(starts), bare, (0, 10**9))
    left = true - np.searchsorted(lost, true)
    assert np.array_equal(found.first - found.first[0], left - left[0])


def test_a_clock_lost_and_one_too_many_in_the_next_line_move_the_line_between() -> None:
    true = 10 + PIXELS * np.arange(200)
    edges = np.delete(CYCLE * np.arange(210 * PIXELS), 50 * PIXELS + 20)
    edges = np.sort(np.append(edges, (51 * PIXELS + 20) * CYCLE + 50))
    bare = SimpleNamespace(edges=edges, period=SimpleNamespace(value=float(CYCLE)))
    found = line_grid(some_lines(true * CYCLE + 20), bare, (0, 10**9))
    moved = found.first - true
    assert moved.tolist() == [-(n == 51) for n in range(200)]


def test_lines_of_two_lengths_in_turn_are_regular() -> None:
    true = 10 + np.cumsum(np.append(0, np.tile([PIXELS, PIXELS + 1], 100)))
    found = grid(true * CYCLE + 20, cycles=220 * PIXELS)
    assert (found.pixels, found.turn) == (PIXELS, True)
    assert found.right == found.counted == true.size - 1
    assert np.array_equal(found.first, true)


def test_lines_follow_a_clock_that_wanders() -> None:
    walk = np.cumsum(np.random.default_rng(5).normal(0, 8, 310 * PIXELS))
    edges = np.rint(CYCLE * np.arange(310 * PIXELS) + walk).astype(np.int64)
    true = 10 + PIXELS * np.arange(300)
    bare = SimpleNamespace(edges=edges, period=SimpleNamespace(value=float(np.diff(edges).mean())))
    found = line_grid(some_lines(edges[true] + 20), bare, (0, 10**9))
    assert np.array_equal(found.first, true)
    assert math.sqrt(found.squares / found.syncs) < 0.1
