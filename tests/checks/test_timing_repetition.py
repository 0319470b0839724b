"""How often something happens, in words."""

from __future__ import annotations

import numpy as np
import pytest

from rastertap.checks.repetition import every, in_fields, in_lines, ordinal

LINE = 64_000.0


def at_lines(*lines: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return (np.array(lines) * LINE + 123).astype(np.int64)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ((5,), "once in this capture"),
        ((5, 9), ""),  # two events have one interval: no rhythm can be told
        (tuple(range(0, 900, 50)), "every 50 lines"),
        (tuple(range(30, 60)), "in every line"),
        ((10, 322, 634, 946), "once in every field"),
        ((10, 634, 1258, 1882), "once in every 2nd field"),
        ((0, 96, 193, 290, 387), "about every 97 lines"),
        ((3, 70, 71, 400, 411), "at no regular interval"),
    ],
)
def test_a_rhythm_in_lines_is_told(lines: tuple[int, ...], words: str) -> None:
    assert in_lines(at_lines(*lines), LINE, 312.0) == words


def test_no_event_has_no_rhythm() -> None:
    assert in_lines(at_lines(), LINE, 312.0) == ""


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ((1, 3, 5), "in every 2nd field"),
        ((0, 1, 2, 3), "in every field"),
        ((2, 5, 8, 14), "in every 3rd field"),  # one was missed: still every third
        ((1, 3), ""),
        ((1, 2, 9, 17), ""),
    ],
)
def test_a_rhythm_in_fields_is_told(fields: tuple[int, ...], words: str) -> None:
    assert in_fields(np.array(fields)) == words


def test_a_step_needs_three_events() -> None:
    assert every(np.array([1, 4])) is None
    assert every(np.array([1, 4, 7])) == 3
    assert every(np.array([4, 4, 4])) is None


def test_ordinals_are_english() -> None:
    numbers = (1, 2, 3, 4, 11, 12, 13, 21, 102)
    words = ["1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "102nd"]
    assert [ordinal(n) for n in numbers] == words
