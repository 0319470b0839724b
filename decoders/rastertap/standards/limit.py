"""One permitted interval, with where it comes from, and the names of what can be limited."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rastertap.standards.modes import Trust

QUANTITIES: dict[str, tuple[str, str]] = {
    "line_rate_hz": ("line rate", "Hz"),
    "line_period_s": ("line period", "s"),
    "line_period_instantaneous_s": ("line period, any single line", "s"),
    "line_rate_drift_hz_per_s": ("rate of change of the line rate", "Hz/s"),
    "field_rate_hz": ("field rate", "Hz"),
    "field_period_s": ("field period", "s"),
    "lines_per_field": ("lines per field", "lines"),
    "lines_per_frame": ("lines per frame", "lines"),
    "hsync_width_s": ("line sync", "s"),
    "line_blanking_s": ("line blanking", "s"),
    "front_porch_s": ("front porch", "s"),
    "sync_to_active_s": ("line sync to end of blanking", "s"),
    "back_porch_s": ("back porch", "s"),
    "vsync_width_lines": ("field sync", "lines"),
    "broad_pulses": ("broad pulses per field", "pulses"),
    "equalising_pulses": ("equalising pulses, each sequence", "pulses"),
    "equalising_pulse_s": ("equalising pulse", "s"),
    "broad_pulse_s": ("broad pulse", "s"),
    "serration_s": ("serration", "s"),
    "field_blanking_s": ("field blanking", "s"),
    "blanking_to_equalising_s": ("field blanking to first equalising", "s"),
    "subcarrier_hz": ("subcarrier", "Hz"),
    "subcarrier_drift_hz_per_s": ("subcarrier drift", "Hz/s"),
    "subcarrier_jitter_s": ("subcarrier jitter (p-p over a line)", "s"),
}
"""What can be limited: key to (title, unit). A count's limit is the whole number itself."""


@dataclass(frozen=True)
class Limit:
    """The permitted interval of one quantity.

    Parameters
    ----------
    key, title, unit : str
        As in `QUANTITIES`.
    value : float or None
        Nominal, in ``unit``; None where the source gives a range only.
    low, high : float
        The interval, ends included.
    source : str
        Document and table, or how it was derived.
    trust : Trust
        How far the source can be trusted.
    """

    key: str
    title: str
    value: float | None
    low: float
    high: float
    unit: str
    source: str
    trust: Trust


def limit(
    key: str, value: Fraction | None, low: Fraction, high: Fraction, *, source: str, trust: Trust = "seen"
) -> Limit:
    """Make a limit from exact figures in the quantity's unit."""
    title, unit = QUANTITIES[key]
    nominal = None if value is None else float(value)
    return Limit(key, title, nominal, float(low), float(high), unit, source, trust)


def around(
    key: str,
    value: Fraction | str,
    minus: Fraction | str,
    plus: Fraction | str,
    *,
    source: str,
    trust: Trust = "seen",
) -> Limit:
    """Make a limit of a nominal value with its tolerances; texts such as ``"4.7e-6"`` are exact."""
    nominal = Fraction(value)
    low, high = nominal - Fraction(minus), nominal + Fraction(plus)
    return limit(key, nominal, low, high, source=source, trust=trust)


def between(
    key: str, low: Fraction | str, high: Fraction | str, *, source: str, trust: Trust = "seen"
) -> Limit:
    """Make a limit of a range without a nominal value."""
    return limit(key, None, Fraction(low), Fraction(high), source=source, trust=trust)


def relative(key: str, value: Fraction, part: Fraction, *, source: str, trust: Trust = "seen") -> Limit:
    """Make a limit of a nominal value and the part of it that it may be off to either side."""
    return around(key, value, value * part, value * part, source=source, trust=trust)
