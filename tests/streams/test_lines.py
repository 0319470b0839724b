"""Scan lines out of hand-made sync edges: gaps, glitches, jumps. 1 tick is 1 ns, a line 64 us."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.capture.model import Capture
from rastertap.errors import DecodeError
from rastertap.streams.lines import track

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rastertap.streams.lines import LineTrack

LINE, LINES, FIRST, WIDTH = 64_000, 100, 20_000, 4_700
"""The capture begins 20 us before the first line sync and ends 20 us after the last."""
STEP = 10.0
TOLERANCE = 0.05


def steady(count: int = LINES, line: float = LINE) -> NDArray[np.int64]:
    return FIRST + np.rint(np.arange(count) * line).astype(np.int64)


def tracked(edges: NDArray[np.int64], widths: NDArray[np.int64] | None = None) -> LineTrack:
    capture = Capture("made by hand", Fraction(1, 10**9), 0, int(edges[-1]) + FIRST, ())
    every = np.full(edges.size, WIDTH, np.int64)
    return track(edges, every if widths is None else widths, capture, STEP, tolerance=TOLERANCE)


def test_every_sync_of_a_steady_source_begins_a_line() -> None:
    found = tracked(steady())
    np.testing.assert_array_equal(found.lines.starts, steady())
    assert found.lines.measured.all()
    assert found.period == LINE
    assert found.steps.size == found.spare.size == 0
    assert set(found.lines.widths.tolist()) == {WIDTH}


@pytest.mark.parametrize("line", [31_777.5, 63_555.6, 64_000.0, 64_103.7])
def test_the_line_period_is_right_though_the_analyser_rounds(line: float) -> None:
    edges = (np.ceil(steady(line=line) / STEP) * STEP).astype(np.int64)
    assert tracked(edges).period == pytest.approx(line, abs=STEP / LINES)


def test_a_missing_sync_leaves_a_line_that_is_marked() -> None:
    found = tracked(np.delete(steady(), [30, 31, 60]))
    assert found.lines.starts.size == LINES
    assert np.flatnonzero(~found.lines.measured).tolist() == [30, 31, 60]
    np.testing.assert_allclose(found.lines.starts, steady(), atol=STEP)
    assert (found.lines.widths == 0).tolist() == (~found.lines.measured).tolist()
    assert found.steps.size == 0


@pytest.mark.parametrize("line", [3_072.4, 3_177.77, 1_588.9])
def test_a_field_without_edges_is_divided_evenly(line: float) -> None:
    """Ticks are samples here: lines put one after another would be half a tick off each, 35 after seventy."""
    wanted = 500 + np.rint(np.arange(200) * line).astype(np.int64)
    edges = np.delete(wanted, np.arange(60, 130))
    capture = Capture("made by hand", Fraction(1, 50_000_000), 0, int(edges[-1]) + 500, ())
    found = track(edges, np.full(edges.size, 235, np.int64), capture, 1.0, tolerance=TOLERANCE)
    assert np.flatnonzero(~found.lines.measured).tolist() == list(range(60, 130))
    np.testing.assert_allclose(found.lines.starts, wanted, atol=1)


def test_a_jump_within_a_gap_is_not_spread_over_it() -> None:
    wanted = steady()
    wanted[50:] += LINE // 4
    found = tracked(np.delete(wanted, [47, 48, 49]))
    np.testing.assert_array_equal(found.lines.starts[found.lines.measured], np.delete(wanted, [47, 48, 49]))
    np.testing.assert_allclose(found.lines.starts[47:50], steady()[47:50], atol=STEP)


def test_a_glitch_begins_no_line() -> None:
    glitches = steady()[[20, 50]] + [27_000, 41_000]
    edges = np.sort(np.concatenate((steady(), glitches)))
    found = tracked(edges)
    np.testing.assert_array_equal(found.lines.starts, steady())
    assert edges[found.spare].tolist() == glitches.tolist()
    assert found.steps.size == 0


def test_a_glitch_before_the_first_line_does_not_set_the_phase() -> None:
    edges = np.concatenate(([5_000, 11_000], steady()))
    found = tracked(edges)
    assert found.lines.starts[-LINES:].tolist() == steady().tolist()
    assert found.spare.tolist() == [0, 1]


def test_the_width_of_a_line_is_that_of_its_own_pulse() -> None:
    widths = np.full(LINES, WIDTH, np.int64)
    widths[40] = 2_350
    found = tracked(steady(), widths)
    assert found.lines.widths[39:42].tolist() == [WIDTH, 2_350, WIDTH]


@pytest.mark.parametrize("jump", [-24_000, -9_000, 9_000, 24_000])
@pytest.mark.parametrize("line", [6, 45])
def test_a_line_of_another_length_is_a_step_and_all_after_it_move(line: int, jump: int) -> None:
    """Lines are followed from the longest undisturbed run both ways, so an early step is found backwards."""
    edges = steady()
    edges[line:] += jump
    found = tracked(edges)
    assert found.lines.measured.sum() == LINES
    assert found.lines.starts[found.lines.measured].tolist() == edges.tolist()
    assert found.lines.starts[found.steps].tolist() == [edges[line]]
    assert found.period == LINE, "one odd line may not move the period"


def test_a_jitter_within_tolerance_is_no_step() -> None:
    edges = steady() + np.random.default_rng(4).integers(-1_000, 1_001, LINES)
    found = tracked(edges)
    assert found.lines.starts.tolist() == edges.tolist()
    assert found.steps.size == 0


def test_the_lines_reach_from_one_end_of_the_capture_to_the_other() -> None:
    """Half a field without sync at both ends is filled, for the clock may run on there."""
    capture = Capture("made by hand", Fraction(1, 10**9), 0, FIRST + 160 * LINE, ())
    edges = steady(160)[40:120]
    found = track(edges, np.full(80, WIDTH), capture, STEP, tolerance=TOLERANCE)
    assert found.lines.starts[0] < LINE
    assert capture.end - found.lines.starts[-1] < LINE
    assert found.lines.measured.sum() == 80
    assert not found.lines.measured[[0, -1]].any()


@pytest.mark.parametrize(
    "edges",
    [
        steady(8),
        steady(line=1_000_000),
        steady(line=2_000),
        np.cumsum(np.random.default_rng(1).integers(100, 120_000, 400)),
    ],
    ids=["too few", "too slow", "too fast", "random"],
)
def test_where_no_line_rate_stands_out_there_are_no_lines(edges: NDArray[np.int64]) -> None:
    with pytest.raises(DecodeError, match="no line rate stands out"):
        tracked(edges)
