"""A measured value with its uncertainty, and the comparison with a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Outcome = Literal["pass", "warn", "fail"]

COVERAGE = 2.0
"""Standard uncertainties to either side that a check allows for (k = 2, about 95 %; GUM, NIST TN 1297)."""


@dataclass(frozen=True)
class Measured:
    """One measured value.

    Parameters
    ----------
    value : float
        The estimate, in ``unit``.
    uncertainty : float >= 0
        One standard uncertainty of the estimate, in ``unit``, the analyser's timebase left out.
    unit : str
        ``s``, ``Hz``, ``lines``, ...
    """

    value: float
    uncertainty: float
    unit: str

    def with_timebase(self, tolerance_ppm: float) -> Measured:
        """Add the analyser's timebase tolerance (a uniform interval of +-``tolerance_ppm``; GUM 4.3.7)."""
        scale = abs(self.value) * tolerance_ppm * 1e-6 / math.sqrt(3)
        return Measured(self.value, math.hypot(self.uncertainty, scale), self.unit)


def against_limits(measured: Measured, low: float, high: float) -> Outcome:
    """Compare ``value +- 2 uncertainties`` with ``[low, high]``.

    Returns
    -------
    "pass" when wholly inside, "fail" when wholly outside, "warn" when it straddles a limit.
    """
    reach = COVERAGE * measured.uncertainty
    if low <= measured.value - reach and measured.value + reach <= high:
        return "pass"
    if measured.value + reach < low or measured.value - reach > high:
        return "fail"
    return "warn"
