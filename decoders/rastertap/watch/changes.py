"""What changed from one capture of a session to the next, in short sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.compare import compare
from rastertap.measured import COVERAGE
from rastertap.report.page.findings import WORDS
from rastertap.report.page.quantity import decimals_for, plain

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.compare import Row, Value


def changes(before: Analysis, after: Analysis) -> list[str]:
    """Compare with the capture before; only what exceeds its uncertainty counts.

    One analyser takes all captures of a session, so that the error of its timebase cancels.
    """
    return [told(row) for row in compare(before, after, same_analyser=True).differing]


def told(row: Row) -> str:
    """Say a difference: ``period jitter 4.1 → 0.6 ns rms``."""
    if row.group == "findings":
        results = {str(result): word for result, word in WORDS.items()}
        old, new = (results.get(str(v), str(v)) for v in (row.good, row.this))
        return f"{row.name}: {old} → {new}"
    if row.name == "wiring":
        return f"wiring: {row.this}"
    digits = decimals_for(COVERAGE * row.uncertainty) if row.uncertainty else None
    text = f"{row.name} {_value(row.good, digits)} → {_value(row.this, digits)} {row.unit}".rstrip()
    return f"{text} ({row.text})" if row.text else text


def _value(value: Value, digits: int | None) -> str:
    if value is None:
        return "not measured"
    if isinstance(value, float):
        return f"{value:g}" if digits is None else plain(value, digits)
    return str(value)
