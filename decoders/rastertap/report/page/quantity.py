"""Numbers as a page shows them: value, uncertainty and unit, rounded to what is known."""

from __future__ import annotations

import math

from rastertap.measured import COVERAGE

PREFIXES = (
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
)
SCALED = {"s": "s", "Hz": "Hz", "V": "V"}
"""Units that take a prefix."""
MOST_DECIMALS = 9
MINUS = "\N{MINUS SIGN}"
SHOWN = {"us": "µs"}
"""Units written otherwise in text."""


def scaled(value: float, unit: str) -> tuple[float, str]:
    """Give the factor and the unit that bring a value to 1 .. 1000; factor 1 for units without prefixes."""
    if unit not in SCALED or value == 0 or not math.isfinite(value):
        return 1.0, unit
    factor, prefix = next(((f, p) for f, p in PREFIXES if abs(value) >= f), PREFIXES[-1])
    return factor, prefix + unit


def plain(value: float, decimals: int) -> str:
    """Write a number with so many decimals and a proper minus sign."""
    return f"{value:.{decimals}f}".replace("-", MINUS)


def decimals_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty with two significant digits."""
    if uncertainty <= 0 or not math.isfinite(uncertainty):
        return 0
    return min(max(1 - math.floor(math.log10(uncertainty)), 0), MOST_DECIMALS)


def quantity(value: float | str | None, uncertainty: float | None, unit: str) -> str:
    """Write ``value ± expanded uncertainty unit``, the uncertainty for k = 2.

    Parameters
    ----------
    value : float, int, str or None
        None gives an empty text; a text or a count is given as it is.
    uncertainty : float or None
        One standard uncertainty; 0 or None for a count.
    unit : str
        Units with prefixes (s, Hz, V) are scaled.
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return f"{value} {unit}".strip()
    if isinstance(value, int):
        return f"{value} {unit}".strip()
    reach = COVERAGE * (uncertainty or 0.0)
    factor, shown = scaled(max(abs(value), reach), unit)
    shown, reach = SHOWN.get(shown, shown), reach / factor
    if reach <= 0 or not math.isfinite(reach):
        return f"{value / factor:.6g} {shown}".replace("-", MINUS).strip()
    digits = decimals_for(reach)
    return f"{plain(value / factor, digits)} ± {plain(reach, digits)} {shown}".strip()


def milliseconds(seconds: float) -> str:
    """Write a time in a capture."""
    return f"{plain(seconds * 1e3, 4)} ms"
