"""Every interval and count of line and field that was measured, against the limits that hold for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rastertap.board.limits import stated_limits
from rastertap.checks.make import SETTLE, interval
from rastertap.measured import COVERAGE, Measured, against_limits
from rastertap.standards.home_computer import PRACTICE as WIDE_TRUST
from rastertap.standards.limits import DEFAULT_SET, limits_for
from rastertap.standards.modes import FAR_LINE_RATE_PPM, usual_lines
from rastertap.streams.counts import field_periods, lines_per_field
from rastertap.streams.lines import GRID_WORST
from rastertap.streams.model import EVENT_KINDS
from rastertap.streams.role_judges import LONGEST_FIELD_SYNC
from rastertap.streams.tally import interval_measured

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rastertap.checks.interface import Evidence, Finding, Result
    from rastertap.standards.limit import Limit
    from rastertap.streams.model import Sync

UNKNOWN_RATE = FAR_LINE_RATE_PPM * 1e-6
"""Further than this from every line rate of the table, a source is of its own kind: the wide set, made for
machines near a standard, then has no limits for it (common practice, no source)."""
WHOLE_LINES = 0.05
"""A field sync is counted in lines; its two edges may lie this part of a line off (delays; no source)."""

LINE_QUANTITIES = {
    "hsync_width": "sync.width",
    "front_porch": "timing.front_porch",
    "back_porch": "timing.back_porch",
    "sync_to_active": "timing.sync_to_active",
    "line_blanking": "timing.blanking",
    "equalising_pulse": "sync.equalising",
    "broad_pulse": "sync.broad",
    "serration": "sync.serration",
    "field_blanking": "timing.field_blanking",
    "blanking_to_equalising": "timing.blanking_to_equalising",
}
"""Durations: quantity to finding; the limit's key is the quantity with ``_s``."""
COUNTS = {
    "broad_pulses": ("sync.broad_count", "broad_pulses"),
    "equalising_before": ("sync.equalising_before", "equalising_pulses"),
    "equalising_after": ("sync.equalising_after", "equalising_pulses"),
}
"""Counts a field: quantity to (finding, limit)."""
TITLES = {
    "hsync_width": "line sync",
    "front_porch": "front porch",
    "back_porch": "back porch",
    "sync_to_active": "line sync to picture",
    "line_blanking": "line blanking",
    "equalising_pulse": "equalising pulse",
    "broad_pulse": "broad pulse",
    "serration": "serration",
    "field_blanking": "field blanking",
    "blanking_to_equalising": "field blanking to first equalising pulse",
    "broad_pulses": "broad pulses",
    "equalising_before": "equalising pulses before",
    "equalising_after": "equalising pulses after",
}
TO_LINE_SYNC = {"525-studio"}
"""Sets whose field blanking ends with the line sync before the picture: SMPTE 170M Table 3 has 20 H + 1.5 us,
that is 20 lines and a front porch; BT.470 has whole lines and a, to the picture itself."""
HALF_LINE_STYLES = {"equalised", "serrated"}
"""Composites whose broad pulses are half a line apart, as the standards' limits take them to be."""
SKEW = 1 / np.sqrt(3)
"""Standard uncertainty, in sampling steps, of the time between two channels: an analyser's inputs may be a
step apart (uniform; common practice, no source)."""
BETWEEN_CHANNELS = {"front_porch", "back_porch", "sync_to_active", "blanking_to_equalising"}
"""Durations from an edge of one channel to that of another."""
UNUSUAL = (
    "Unusual, by common practice only: sets may not lock to it or may show it off centre. A board file that"
    " states it, or a limit set that is chosen, decides."
)
TENTH_PERCENT = 0.001


@dataclass(frozen=True)
class Row:
    """One measured quantity with what is permitted.

    Parameters
    ----------
    key, finding, title : str
        Quantity; id of its finding; in words.
    measured : Measured
        Mean over the capture, in ``unit``; the analyser's timebase counted.
    low, high : float
        The extremes seen, in the same unit.
    count : int
        Measurements.
    limit : Limit or None
        What is permitted; in the unit of ``measured``.
    result : Result
        ``not_measured`` when there is no limit.
    note : str
        How it was measured, when that matters.
    """

    key: str
    finding: str
    title: str
    measured: Measured
    low: float
    high: float
    count: int
    limit: Limit | None
    result: Result
    note: str = ""

    @property
    def unusual(self) -> bool:
        """Whether it lies outside a limit of common practice only, which makes no fault."""
        if self.limit is None or self.result != "warn" or not by_practice(self.limit):
            return False
        return against_limits(self.measured, self.limit.low, self.limit.high) == "fail"

    @property
    def deviation(self) -> float | None:
        """Measured minus nominal, or None when the limit states no nominal value."""
        if self.limit is None or self.limit.value is None:
            return None
        return self.measured.value - self.limit.value


def limits_of(evidence: Evidence) -> dict[str, Limit]:
    """Limits that hold for this capture: those of the board file go before the set's.

    The wide set has none for a source whose line rate is far from all that are known.
    """
    chosen: dict[str, Limit] = {}
    if evidence.limits != DEFAULT_SET or not far_from_all(evidence):
        chosen = dict(limits_for(evidence.limits, evidence.mode))
    if evidence.board is not None:
        chosen |= stated_limits(evidence.board.timing)
    return chosen


def far_from_all(evidence: Evidence) -> bool:
    """Whether the line rate is near no standard at all."""
    sync, mode = evidence.sync, evidence.mode
    if sync is None or mode is None:
        return False
    rate = 1 / (sync.line_period.value * float(evidence.capture.tick))
    return abs(rate / float(mode.line_rate_hz) - 1) > UNKNOWN_RATE


def judge_value(measured: Measured, limit: Limit | None, slack: float = 0.0) -> Result:
    """Compare with a limit; a value that agrees with a nominal one at the limit's own end passes."""
    if limit is None:
        return "not_measured"
    result = against_limits(measured, limit.low - slack, limit.high + slack)
    nominal = limit.value
    at_end = nominal is not None and nominal in {limit.low, limit.high}
    if (
        result == "warn"
        and at_end
        and abs(measured.value - (nominal or 0.0)) <= COVERAGE * measured.uncertainty
    ):
        return "pass"
    return result


def judge_width(measured: Measured, limit: Limit | None, slack: float = 0.0) -> Result:
    """Compare a width with a limit; outside one of common practice only, it is odd and no fault."""
    result = judge_value(measured, limit, slack)
    return "warn" if result == "fail" and by_practice(limit) else result


def by_practice(limit: Limit | None) -> bool:
    """Whether nothing but common practice stands behind a limit: no board file, no chosen standard."""
    return limit is not None and limit.trust == WIDE_TRUST


def rows(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    """Give every quantity that was measured."""
    yield _line_rate(evidence, sync, limits)
    yield from _field_rate(evidence, sync, limits)
    yield from _durations(evidence, sync, limits)
    yield from _field_sync(sync, limits)
    yield from _counts(sync, limits)
    yield from _instantaneous(evidence, sync, limits)


def _line_rate(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Row:
    period = sync.line_period
    tick = float(evidence.capture.tick)
    value = 1 / (period.value * tick)
    measured = Measured(value, value * period.uncertainty / period.value, "Hz")
    measured = measured.with_timebase(evidence.timebase_ppm)
    lines = sync.intervals.of("line_period")
    low, high = (1 / (v * tick) if lines.count else value for v in (lines.high, lines.low))
    limit = limits.get("line_rate_hz")
    result = judge_value(measured, limit)
    return Row("line_rate", "timing.line_rate", "line rate", measured, low, high, lines.count, limit, result)


def good_field_periods(sync: Sync) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], int]:
    """Ticks of every field of the usual length (within a line or so), and how many other fields there are."""
    periods = field_periods(sync)
    if not periods.size:
        return periods, 0
    usual = np.median(periods)
    good = np.abs(periods - usual) <= 1.5 * sync.line_period.value
    return periods[good], int((~good).sum())


def _field_rate(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    periods, _ = good_field_periods(sync)
    if not periods.size:
        return
    tick, step = float(evidence.capture.tick), sync.intervals.step
    value = 1 / (float(periods.mean()) * tick)
    measured = Measured(value, value * GRID_WORST * step / float(periods.sum()), "Hz")
    measured = measured.with_timebase(evidence.timebase_ppm)
    low, high = 1 / (float(periods.max()) * tick), 1 / (float(periods.min()) * tick)
    limit = limits.get("field_rate_hz")
    result = judge_value(measured, limit)
    yield Row(
        "field_rate", "timing.field_rate", "field rate", measured, low, high, periods.size, limit, result
    )


def _durations(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    found, tick = sync.intervals, float(evidence.capture.tick)
    step = found.step
    period = sync.line_period.value
    half_lines = found.style in HALF_LINE_STYLES
    for key, finding in LINE_QUANTITIES.items():
        to_sync = key == "field_blanking" and evidence.limits in TO_LINE_SYNC
        values = found.of("field_blanking_to_sync" if to_sync else key)
        if not values.count or (key in {"broad_pulse", "serration"} and not half_lines):
            continue
        spacing = (
            period * (lines_per_field_usual(sync) or 1.0)
            if key.startswith(("field", "blanking_to"))
            else period
        )
        raw = interval_measured(values, step, spacing / step)
        apart = SKEW * step if key in BETWEEN_CHANNELS else 0.0
        doubt = float(np.hypot(raw.uncertainty, apart)) * tick
        measured = Measured(raw.value * tick, doubt, "s").with_timebase(evidence.timebase_ppm)
        limit = limits.get(f"{key}_s")
        low, high = values.low * tick, values.high * tick
        result = judge_width(measured, limit)
        yield Row(key, finding, TITLES[key], measured, low, high, values.count, limit, result)


def lines_per_field_usual(sync: Sync) -> float | None:
    """Most frequent number of lines in a field; None without a whole one."""
    counts = lines_per_field(sync)
    if not counts.size:
        return None
    return usual_lines(counts.tolist())


def _field_sync(sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    width, values = sync.field_width, sync.intervals.of("vsync_width")
    if width is None or not values.count or sync.kind == "embedded":
        return
    if sync.kind == "blanking" and len(sync.channels) == 1:
        return  # the field blanking, which has its own row
    limit = limits.get("vsync_width_lines")
    note = (
        "" if width.value <= LONGEST_FIELD_SYNC else "vertical blanking rather than field sync, by its width"
    )
    result = judge_width(width, limit, WHOLE_LINES) if not note else "not_measured"
    period = sync.line_period.value
    low, high = values.low / period, values.high / period
    yield Row(
        "vsync_width", "sync.field_width", "field sync", width, low, high, values.count, limit, result, note
    )


def _counts(sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    if sync.intervals.style not in HALF_LINE_STYLES:
        return
    for key, (finding, limit_key) in COUNTS.items():
        values = sync.intervals.of(key)
        if not values.count:
            continue
        measured = Measured(values.mean, 0.0, "pulses")
        limit = limits.get(limit_key)
        result: Result = "not_measured"
        if limit is not None:
            result = "pass" if limit.low <= values.low and values.high <= limit.high else "fail"
        yield Row(key, finding, TITLES[key], measured, values.low, values.high, values.count, limit, result)


def _instantaneous(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Row]:
    """Give the line furthest from the mean, where a limit for single lines is set."""
    lines, limit = sync.intervals.of("line_period"), limits.get("line_period_instantaneous_s")
    if limit is None or not lines.count:
        return
    tick = float(evidence.capture.tick)
    events = sync.events
    odd = np.isin(events.kind, [EVENT_KINDS.index(kind) for kind in ("short", "long", "displaced")])
    each = [lines.low, lines.high, *(lines.mean + events.extents[odd])]
    far = max(each, key=lambda v: abs(v - lines.mean))
    # A sampled interval is off by up to a step either way.
    measured = Measured(far * tick, sync.intervals.step * tick / np.sqrt(3), "s")
    measured = measured.with_timebase(evidence.timebase_ppm)
    yield Row(
        "line_period_instantaneous",
        "timing.single_line",
        "line period, the line furthest off",
        measured,
        min(each) * tick,
        max(each) * tick,
        lines.count,
        limit,
        judge_value(measured, limit),
    )


def scaled(unit: str, value: float) -> tuple[float, str]:
    """Give factor and unit to show a value in."""
    if unit != "s":
        return 1.0, unit
    return (1e3, "ms") if abs(value) >= 1e-3 else (1e6, "us")  # noqa: PLR2004 - a millisecond


def finding_of(row: Row, text: str, settle: str = "a higher sample rate would") -> Finding:
    """Turn a row into a finding, in the unit that it is shown in."""
    from rastertap.checks.interface import Finding

    factor, unit = scaled(row.measured.unit, row.measured.value)
    value, uncertainty = row.measured.value * factor, row.measured.uncertainty * factor
    if row.limit is None:
        text = text if row.note else f"{text} No limit for it in this set."
        return Finding(row.finding, row.result, text, value, uncertainty, unit=unit)
    if row.unusual:
        text = f"{text} {UNUSUAL}"
    elif row.result == "warn":
        text = f"{text} {SETTLE[0].upper()}{SETTLE[1:]}: {settle}."
    source = (
        row.limit.source if row.limit.trust in row.limit.source else f"{row.limit.source} ({row.limit.trust})"
    )
    allowed = interval(row.limit.low * factor, row.limit.high * factor, unit)
    return Finding(row.finding, row.result, text, value, uncertainty, allowed, unit, source)
