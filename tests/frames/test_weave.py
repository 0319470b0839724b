"""Two hand-made fields woven into a frame: the one whose sync comes with a line lies on top."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap.frames.model import Frame
from rastertap.frames.weave import weave

if TYPE_CHECKING:
    from rastertap.frames.model import FieldKind

WIDTH = 6


def field(index: int, kind: FieldKind, first_code: int, rows: int, *, complete: bool = True) -> Frame:
    """A field whose row r holds the code ``first_code + r``; unsure at its first pixel."""
    codes = np.repeat(np.arange(first_code, first_code + rows, dtype=np.uint8)[:, None], WIDTH, axis=1)
    unsure = np.zeros(codes.shape, np.bool_)
    unsure[0, 0] = True
    return Frame(index, kind, codes, unsure, 1_000 * index, complete)


def sync(*offsets: float) -> Any:
    starts = 1_000 * np.arange(len(offsets))
    return SimpleNamespace(fields=SimpleNamespace(starts=starts, offset=np.array(offsets)))


def test_rows_alternate_beginning_with_the_first_field() -> None:
    (woven,) = weave([field(0, "first", 10, 4), field(1, "second", 50, 4)], sync(0.0, 0.5))
    assert woven.codes[:, 0].tolist() == [10, 50, 11, 51, 12, 52, 13, 53]
    assert woven.codes.shape == (8, WIDTH)
    assert woven.field == "woven"
    assert woven.start == 0
    assert woven.complete


def test_what_is_unsure_in_a_field_is_unsure_in_the_frame() -> None:
    (woven,) = weave([field(0, "first", 10, 4), field(1, "second", 50, 4)], sync(0.0, 0.5))
    assert np.argwhere(woven.unsure).tolist() == [[0, 0], [1, 0]]


def test_a_second_field_that_begins_half_a_line_sooner_after_its_sync_lies_above() -> None:
    """Its sync came half a line later in the line, so its rows stand half a line higher."""
    (woven,) = weave([field(0, "first", 10, 3), field(1, "second", 50, 3)], sync(0.5, 0.0))
    assert woven.codes[:, 0].tolist() == [50, 10, 51, 11, 52, 12]


def test_a_row_that_only_one_field_has_leaves_a_gap_that_is_unsure() -> None:
    (woven,) = weave([field(0, "first", 10, 4), field(1, "second", 50, 3)], sync(0.0, 0.5))
    assert woven.codes[:, 0].tolist() == [10, 50, 11, 51, 12, 52, 13, 0]
    assert woven.unsure[7].all()


def test_only_a_first_field_with_the_second_after_it_makes_a_frame() -> None:
    fields = [
        field(0, "second", 10, 3),
        field(1, "first", 20, 3),
        field(2, "second", 30, 3),
        field(3, "first", 40, 3),
    ]
    (woven,) = weave(fields, sync(0.5, 0.0, 0.5, 0.0))
    assert woven.codes[:2, 0].tolist() == [20, 30]


def test_a_field_that_the_capture_cuts_is_not_woven() -> None:
    cut = field(1, "second", 50, 4, complete=False)
    assert weave([field(0, "first", 10, 4), cut], sync(0.0, 0.5)) == []


def test_progressive_fields_are_not_woven() -> None:
    fields = [field(0, "progressive", 10, 4), field(1, "progressive", 10, 4)]
    assert weave(fields, sync(0.0, 0.0)) == []
