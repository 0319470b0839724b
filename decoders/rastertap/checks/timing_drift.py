"""How line rate and a tapped subcarrier change over the capture; the subcarrier's frequency and jitter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.consequences import subcarrier
from rastertap.checks.make import not_measured
from rastertap.checks.timing_rows import Row, finding_of, judge_value
from rastertap.measured import COVERAGE, Measured, against_limits
from rastertap.standards.limits import DEFAULT_SET
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from rastertap.checks.interface import Evidence, Finding
    from rastertap.standards.limit import Limit
    from rastertap.streams.model import Sync

FEWEST_POINTS = 3
"""A change of rate is a bend, and that takes three points."""
NO_SUBCARRIER = "No channel carries a colour subcarrier."


@dataclass(frozen=True)
class Drift:
    """A steady change of a rate: Hz, Hz/s and its standard uncertainty; over how many seconds it was seen."""

    rate: float
    change: float
    uncertainty: float
    span: float
    edge: float

    def needed(self, limit: float) -> float:
        """Seconds of capture after which twice the uncertainty is half the limit (Hz/s)."""
        return float(np.sqrt(8 * self.edge * self.rate * 2 * COVERAGE / limit))


def drift_of(counts: NDArray[np.float64], times: NDArray[np.float64], step: float) -> Drift:
    """Fit a steadily changing rate to events.

    Parameters
    ----------
    counts : ndarray of float64, shape (n,)
        Number of each event (line, cycle); need not be consecutive.
    times : ndarray of float64, shape (n,), seconds
        When it came.
    step : float
        Sampling step, seconds: edges of a steady source on a grid are off together, by `GRID_WORST` steps, so
        a bend of that height (its sagitta) may be the grid's; what scatters besides averages.
    """
    place = counts - counts.mean()
    bend, slope, start = np.polyfit(place, times - times[0], 2)
    span = float(times[-1] - times[0])
    rest = times - times[0] - np.polyval((bend, slope, start), place)
    scatter = float(np.sqrt((rest**2).sum() / max(counts.size - FEWEST_POINTS, 1)))
    rate = 1 / float(slope)
    edge = GRID_WORST * step
    own = 2 * np.sqrt(180 / counts.size) * scatter
    doubt = rate * float(np.hypot(8 * edge, own)) / span**2
    return Drift(rate, -2 * float(bend) * rate**3, doubt, span, edge)


def drifts(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Finding]:
    """Give the findings on drift and subcarrier that the limit set has limits for."""
    if (limit := limits.get("line_rate_drift_hz_per_s")) is not None:
        yield _line_rate(evidence, sync, limit)
    found = subcarrier(evidence)
    if found is None:
        if evidence.limits != DEFAULT_SET:
            for key, finding in SUBCARRIER.items():
                if key in limits:
                    yield not_measured(finding, NO_SUBCARRIER)
        return
    if (limit := limits.get("subcarrier_hz")) is not None:
        yield _frequency(evidence, found, limit)
    times = _cycles(evidence)
    if (limit := limits.get("subcarrier_drift_hz_per_s")) is not None:
        step = evidence.capture.step * float(evidence.capture.tick)
        drift = drift_of(np.arange(times.size, dtype=np.float64), times, step)
        yield _judged(drift, limit, "timing.subcarrier_drift", "subcarrier")
    if (limit := limits.get("subcarrier_jitter_s")) is not None:
        yield _jitter(evidence, sync, times, limit)


SUBCARRIER = {
    "subcarrier_hz": "timing.subcarrier",
    "subcarrier_drift_hz_per_s": "timing.subcarrier_drift",
    "subcarrier_jitter_s": "timing.subcarrier_jitter",
}
"""Findings by the limit that they need."""


def _line_rate(evidence: Evidence, sync: Sync, limit: Limit) -> Finding:
    finding, fields, tick = "timing.line_rate_drift", sync.fields, float(evidence.capture.tick)
    if fields.starts.size < FEWEST_POINTS:
        return not_measured(finding, "A change of the line rate takes three field syncs to see.")
    if sync.events.count("short") + sync.events.count("long") or not np.isfinite(fields.lines[:-1]).all():
        return not_measured(finding, "Lines of uneven length hide a steady change: see timing.line_length.")
    lines = np.concatenate((np.zeros(1), np.cumsum(fields.lines[:-1])))
    times = (fields.starts - fields.starts[0]) * tick
    return _judged(drift_of(lines, times, sync.intervals.step * tick), limit, finding, "line rate")


def _judged(drift: Drift, limit: Limit, finding: str, what: str) -> Finding:
    """Compare with a limit of the change either way; say how long a capture tells, if this one does not."""
    either = replace(limit, low=-limit.high)
    measured = Measured(drift.change, drift.uncertainty, "Hz/s")
    result = against_limits(measured, either.low, either.high)
    text = f"The {what} changes by {drift.change:+.3g} Hz/s over {drift.span * 1e3:.3g} ms"
    if result == "warn":
        doubt, more = COVERAGE * drift.uncertainty, max(drift.needed(limit.high), 2 * drift.span)
        text += f", give or take {doubt:.2g}; of the {limit.high:g} Hz/s allowed that tells nothing."
        text += f" Record {more:.2g} s or more."
        return not_measured(finding, text)
    row = Row(finding, finding, what, measured, drift.change, drift.change, 1, either, result)
    return finding_of(row, f"{text}.")


def _frequency(evidence: Evidence, found: tuple[str, Measured], limit: Limit) -> Finding:
    measured = found[1].with_timebase(evidence.timebase_ppm)
    result = judge_value(measured, limit)
    system = f", that of {found[0]}" if found[0] else ", that of no system"
    text = f"The subcarrier runs at {measured.value:.2f} Hz{system}."
    row = Row("subcarrier", "timing.subcarrier", "subcarrier", measured, 0, 0, 1, limit, result)
    return finding_of(row, text, "an analyser with a better timebase (see --timebase-ppm) would")


def _cycles(evidence: Evidence) -> NDArray[np.float64]:
    """Give the times of the subcarrier's rising edges, seconds, from the first one."""
    channel = next(p.channel for p in evidence.pins if p.role == "subcarrier")
    rising = evidence.capture.channel(channel).edges_to(HIGH)
    return np.asarray((rising - rising[0]) * float(evidence.capture.tick), np.float64)


def _jitter(evidence: Evidence, sync: Sync, times: NDArray[np.float64], limit: Limit) -> Finding:
    """Peak to peak within each line, against a steady clock; the line where it is the most."""
    finding = "timing.subcarrier_jitter"
    tick = float(evidence.capture.tick)
    step = evidence.capture.step * tick
    if 2 * step > limit.high:
        text = f"The analyser's step, {step * 1e9:.3g} ns, hides jitter of {limit.high * 1e9:g} ns."
        return not_measured(finding, f"{text} Use an oscilloscope.")
    usual = float(np.median(np.diff(times)))
    cycles = round(sync.line_period.value * tick / usual)
    whole = times[: times.size // cycles * cycles].reshape(-1, cycles)
    if not whole.size:
        return not_measured(finding, "No line's length of the subcarrier is in the capture.")
    place = np.arange(cycles) - (cycles - 1) / 2
    slope = (whole @ place) / (place @ place)
    off = whole - whole.mean(axis=1, keepdims=True) - slope[:, None] * place
    most = float(np.ptp(off, axis=1).max())
    measured = Measured(most, step / np.sqrt(6), "s")
    result = against_limits(measured, -limit.high, limit.high)
    row = Row(finding, finding, "subcarrier jitter", measured, most, most, len(whole), limit, result)
    return finding_of(row, f"The subcarrier's jitter within a line is {most * 1e9:.3g} ns peak to peak.")
