"""Exact numbers in a board file: ``9000000``, ``17734475.5`` or a text such as ``"315e6/88"``."""

from __future__ import annotations

import re
from fractions import Fraction

MAX_TEXT = 64
"""Characters; far above any ratio a board needs, and it keeps the arithmetic small."""

LOWEST, HIGHEST = Fraction(1, 1000), Fraction(10**12)
"""Hz; wider than any rate in a capture, and safe to turn into a float."""

NOTATION = "numbers joined by * and /, worked out from left to right"

_NUMBER = r"\d+(?:\.\d+)?(?:[eE]\d{1,2})?"
_PRODUCT = re.compile(rf"\s*{_NUMBER}\s*(?:[*/]\s*{_NUMBER}\s*)*", re.ASCII)
_PART = re.compile(rf"([*/]?)\s*({_NUMBER})", re.ASCII)


def parse_exact(value: object) -> Fraction:
    """Read an exact positive number.

    Parameters
    ----------
    value : int, float or str
        A float is taken as the decimal that was written (``0.1`` is 1/10). A text is decimal numbers, each
        with an optional exponent, joined by ``*`` and ``/``, worked out from left to right:
        ``"13500000*2/3"``.

    Raises
    ------
    ValueError
        When it is nothing of the kind, divides by zero, or lies outside `LOWEST` to `HIGHEST`.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str | Fraction):
        raise ValueError(f"must be a number, or a text of {NOTATION}")  # noqa: TRY004 - pydantic collects ValueError
    result = _parse_product(value) if isinstance(value, str) else _from_number(value)
    if not LOWEST <= result <= HIGHEST:
        raise ValueError(f"must lie between {float(LOWEST):g} and {float(HIGHEST):g}")
    return result


def _from_number(value: float | Fraction) -> Fraction:
    try:
        return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)
    except ValueError:
        raise ValueError("must be a finite number") from None


def _parse_product(text: str) -> Fraction:
    if len(text) > MAX_TEXT or not _PRODUCT.fullmatch(text):
        raise ValueError(f'is not {NOTATION}, e.g. "13500000*2/3"')
    result = Fraction(1)
    for operator, number in _PART.findall(text):
        factor = Fraction(number)
        if operator == "/" and factor == 0:
            raise ValueError("divides by zero")
        result = result / factor if operator == "/" else result * factor
    return result
