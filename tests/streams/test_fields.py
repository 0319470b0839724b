"""Fields out of hand-made lines and field syncs: where each begins, and whether they interlace."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from rastertap.streams.field_blanking import interlaced_by_turns
from rastertap.streams.fields import find_fields, positions
from rastertap.streams.model import Lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from rastertap.streams.model import Fields

LINE = 64_000


def some_lines(count: int = 1_300) -> Lines:
    starts = 20_000 + LINE * np.arange(count)
    return Lines(starts, np.ones(count, np.bool_), np.full(count, 4_700))


def found(at: Sequence[float], shift: Sequence[int] | int = 0) -> tuple[Fields, bool | None]:
    """Fields whose syncs begin at these places, in lines, each moved by some ticks."""
    times = 20_000 + np.rint(np.asarray(at) * LINE).astype(np.int64) + np.asarray(shift)
    return find_fields(times, np.full(times.size, 3 * LINE), some_lines())


def lines_of(fields: Fields) -> NDArray[np.float64]:
    return fields.lines[np.isfinite(fields.lines)]


def test_a_place_is_counted_in_lines_of_their_own_length() -> None:
    lines = Lines(np.array([0, 100, 300, 400]), np.ones(4, np.bool_), np.zeros(4, np.int64))
    np.testing.assert_allclose(
        positions(np.array([0, 50, 100, 200, 350, 450]), lines), [0, 0.5, 1, 1.5, 2.5, 3.5]
    )


def test_312_lines_a_field_without_interlace() -> None:
    fields, interlaced = found([10, 322, 634])
    assert interlaced is False
    assert fields.first_line.tolist() == [10, 322, 634]
    assert lines_of(fields).tolist() == [312, 312]
    np.testing.assert_allclose(fields.offset, 0, atol=1e-6)


def test_312_and_a_half_lines_a_field_interlace() -> None:
    fields, interlaced = found([10, 322.5, 635, 947.5])
    assert interlaced is True
    assert lines_of(fields).tolist() == [312.5, 312.5, 312.5]
    assert fields.first_line.tolist() == [10, 323, 635, 948]
    np.testing.assert_allclose(fields.offset, [0, 0.5, 0, 0.5], atol=1e-6)


@pytest.mark.parametrize("phase", [0.0, 0.03, 0.2, 0.25, 0.4, 0.5, 0.77, 0.97])
def test_where_in_the_line_the_field_sync_falls_does_not_matter(phase: float) -> None:
    fields, interlaced = found([10 + phase, 322 + phase, 634 + phase])
    assert interlaced is False
    assert np.diff(fields.first_line).tolist() == [312, 312]
    assert lines_of(fields).tolist() == [312, 312]


@pytest.mark.parametrize("phase", [0.0, 0.03, 0.2, 0.25, 0.4])
def test_nor_does_it_with_interlace(phase: float) -> None:
    fields, interlaced = found(np.array([10, 322.5, 635, 947.5]) + phase)
    assert interlaced is True
    assert lines_of(fields).tolist() == [312.5, 312.5, 312.5]
    np.testing.assert_allclose(np.abs(np.diff(fields.offset)), 0.5, atol=1e-6)


@pytest.mark.parametrize("phase", [0.25, 0.75])
def test_a_sampling_step_does_not_choose_which_field_is_the_first(phase: float) -> None:
    """At a quarter of a line the two halves of the fold meet."""
    places = np.array([10, 322.5, 635, 947.5]) + phase
    before, after = (found(places, shift)[0] for shift in (-10, 10))
    assert before.first_line.tolist() == after.first_line.tolist()
    np.testing.assert_allclose(before.offset, after.offset, atol=1e-3)


def test_without_interlace_a_jitter_of_the_field_sync_does_not_move_the_rows() -> None:
    fields, interlaced = found(np.array([10, 322, 634]) + 0.25, [-1_600, 1_600, -1_600])
    assert interlaced is False
    assert np.diff(fields.first_line).tolist() == [312, 312]


@pytest.mark.parametrize("shift", [[-10, 10, -10], [10, -10, 10], [0, -10, 10]])
def test_a_field_sync_at_a_line_sync_is_not_thrown_about_by_the_sampling_step(shift: list[int]) -> None:
    fields, _ = found([10, 322, 634], shift)
    assert fields.first_line.tolist() == [10, 322, 634]


def test_a_field_a_line_short_is_counted_so() -> None:
    fields, interlaced = found([10, 321, 633])
    assert interlaced is False
    assert lines_of(fields).tolist() == [311, 312]


def test_one_field_sync_does_not_tell_whether_fields_interlace() -> None:
    fields, interlaced = found([10])
    assert interlaced is None
    assert fields.first_line.tolist() == [10]
    assert lines_of(fields).size == 0


def test_without_a_field_sync_there_are_no_fields() -> None:
    fields, interlaced = found([])
    assert interlaced is None
    assert fields.starts.size == fields.first_line.size == fields.lines.size == 0


def test_without_lines_there_are_no_fields() -> None:
    none = Lines(np.empty(0, np.int64), np.empty(0, np.bool_), np.empty(0, np.int64))
    fields, interlaced = find_fields(np.array([100]), np.array([10]), none)
    assert (fields.starts.size, interlaced) == (0, None)


@pytest.mark.parametrize(
    ("counts", "upper"),
    [
        (
            (313, 312, 313),
            0,
        ),  # BT.470 Fig. 2-1 (references 1.3): 313 lines from line 23 to line 336, then 312
        ((312, 313), 1),
        ((263, 262), 0),
        ((310, 311, 310, 311), 1),  # no standard's frame, but often enough
    ],
)
def test_whole_lines_of_blanking_long_and_short_in_turn_are_interlaced(
    counts: tuple[int, ...], upper: int
) -> None:
    fields, interlaced = found(np.cumsum([10, *counts]))
    assert interlaced is False
    turned = interlaced_by_turns(fields, LINE)
    assert turned is not None
    assert lines_of(turned).tolist() == [(counts[0] + counts[1]) / 2] * len(counts)
    # The lower fields' syncs lie half a line ahead of the line that their blanking begins with.
    lower = (np.arange(len(counts) + 1) + upper) % 2
    assert turned.offset.tolist() == pytest.approx((lower / 2).tolist())
    assert (fields.starts - turned.starts).tolist() == (lower * LINE // 2).tolist()


@pytest.mark.parametrize(
    "counts", [(312,), (312, 312, 312), (313, 311), (310, 311, 310), (313, 312, 312), (313, 313, 312)]
)
def test_other_counts_are_no_interlace(counts: tuple[int, ...]) -> None:
    fields, _ = found(np.cumsum([10, *counts]))
    assert interlaced_by_turns(fields, LINE) is None
