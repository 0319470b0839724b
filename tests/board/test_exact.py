from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rastertap.board.exact import HIGHEST, LOWEST, parse_exact


@pytest.mark.parametrize(
    ("written", "value"),
    [
        (9_000_000, Fraction(9_000_000)),
        (17734475.5, Fraction(35_468_951, 2)),
        (0.1, Fraction(1, 10)),
        ("2250000/143", Fraction(2_250_000, 143)),
        ("13500000*2/3", Fraction(9_000_000)),
        (" 315e6 / 88 * 2 ", Fraction(315_000_000 * 2, 88)),
        ("17.734475E6/2", Fraction(17_734_475, 2)),
        ("12/2/3", Fraction(2)),
    ],
)
def test_a_number_is_read_exactly(written: object, value: Fraction) -> None:
    assert parse_exact(written) == value


@pytest.mark.parametrize(
    "written",
    [
        "",
        "*",
        "2**3",
        "1+1",
        "-5",
        "1e999",
        "__import__('os')",
        "1/",
        "(2)",
        "٣",
        "1e5e5",
        "9" * 65,
        "1_000",
        "0x10",
    ],
)
def test_a_text_outside_the_notation_is_refused(written: str) -> None:
    with pytest.raises(ValueError, match=r"joined by \* and /"):
        parse_exact(written)


@pytest.mark.parametrize(
    ("written", "reason"),
    [
        ("5/0", "divides by zero"),
        (0, "between"),
        (-3, "between"),
        (10**400, "between"),
        ("1e99*1e99*1e99*1e99", "between"),
        (float("nan"), "finite"),
        (float("inf"), "finite"),
        (True, "must be a number"),
        ([1], "must be a number"),
        (None, "must be a number"),
    ],
)
def test_a_value_that_is_no_frequency_is_refused(written: object, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        parse_exact(written)


@given(st.integers(1, 10**9), st.integers(1, 10**6))
def test_a_ratio_reads_back_as_written(numerator: int, denominator: int) -> None:
    value = Fraction(numerator, denominator)
    if LOWEST <= value <= HIGHEST:
        assert parse_exact(f"{numerator}/{denominator}") == value


@given(st.text(max_size=80))
def test_any_text_is_a_number_or_a_value_error(text: str) -> None:
    try:
        value = parse_exact(text)
    except ValueError:
        return
    assert LOWEST <= value <= HIGHEST
