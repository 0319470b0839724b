"""Making findings: against a limit, from a count, or "not measured" with the reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.interface import Evidence, Finding
from rastertap.measured import Measured, against_limits

if TYPE_CHECKING:
    from collections.abc import Iterable


PRACTICE = "common practice, no source"
SETTLE = "too close to the limit to tell"


def not_measured(finding: str, reason: str) -> Finding:
    """Say why there is no result."""
    return Finding(finding, "not_measured", reason)


def undecidable(finding: str, reason: str, count: int, unit: str) -> Finding:
    """Say that so many may be faulty, and why this capture does not tell."""
    return Finding(finding, "not_measured", reason, count, None, "0", unit)


def interval(low: float, high: float, unit: str) -> str:
    """Write a permitted interval in words."""
    infinite = float("inf")
    if low == high:
        return f"{low:.10g} {unit}".strip()
    if high == infinite:
        return f"at least {low:.6g} {unit}".strip()
    if low == -infinite:
        return f"at most {high:.6g} {unit}".strip()
    return f"{low:.10g} .. {high:.10g} {unit}".strip()


def against(
    finding: str,
    measured: Measured,
    low: float,
    high: float,
    *,
    text: str,
    source: str,
    settle: str = "",
    at_s: tuple[float, ...] = (),
) -> Finding:
    """Compare a value with a permitted interval; ``settle`` says what capture would decide a doubtful one."""
    result = against_limits(measured, low, high)
    if result == "warn":
        text = f"{text} {SETTLE}{': ' + settle if settle else ''}."
    return Finding(
        finding,
        result,
        text,
        measured.value,
        measured.uncertainty,
        interval(low, high, measured.unit),
        measured.unit,
        source,
        at_s,
    )


def none_allowed(
    finding: str,
    times: Iterable[int | float],
    count: int,
    evidence: Evidence,
    *,
    none: str,
    some: str,
    source: str = PRACTICE,
) -> Finding:
    """Pass when nothing was found, else fail with the times."""
    return Finding(
        finding,
        "fail" if count else "pass",
        some if count else none,
        count,
        0.0,
        "0",
        "",
        source,
        evidence.at_s(times) if count else (),
    )
