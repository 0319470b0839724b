"""Whether there is a sync at all; what a capture too short for a field, or a field pulse alone, can tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.interface import Evidence, Finding
from rastertap.checks.make import not_measured
from rastertap.checks.timing_rows import Row, finding_of, judge_value
from rastertap.measured import Measured
from rastertap.streams.lines import GRID_WORST
from rastertap.streams.pulses import pulses_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rastertap.standards.limit import Limit
    from rastertap.streams.model import Sync

FIELD_CERTAIN_S = 0.045
"""A capture this long without a field sync has none: no field of a 25 Hz frame or faster is longer."""
HALF_LINE_S = 32e-6
"""Of a 625-line source; by so much a single field's blanking may be off an even field rate."""
ENOUGH_MS = 50
"""Milliseconds that hold a whole field of 50 Hz or faster wherever they begin, and some."""


def present(evidence: Evidence) -> Finding:
    """Say where the sync comes from; whether none, or no field sync, can be held against the source."""
    sync, span = evidence.sync, evidence.capture.span_s
    short = span < FIELD_CERTAIN_S
    more = f"it lasts {span * 1e3:.3g} ms, and {ENOUGH_MS} ms hold a whole field wherever they begin"
    if sync is None:
        return _none(evidence, more if short else "")
    names = sync.channels
    on = " and ".join(names) if len(names) < 3 else f"{names[0]} to {names[-1]}"  # noqa: PLR2004 - a bus
    if sync.fields.starts.size:
        return Finding("sync.present", "pass", _source(sync, on))
    what = "Lines are taken from the blanking" if sync.kind == "blanking" else "Line sync"
    if short:
        text = f"{what} on {on}; the capture is too short for a field sync: {more}."
        return not_measured("sync.present", text)
    if sync.kind == "blanking":
        text = f"{what} on {on}; no channel carries a field sync or field blanking. Tap one and record again."
        return not_measured("sync.present", text)
    return Finding("sync.present", "fail", f"{what} on {on}, but no field sync anywhere in the capture.")


def _none(evidence: Evidence, short: str) -> Finding:
    """Say that no sync was found, and whether it should have been; ``short``: why a capture is too short."""
    reason = evidence.missing.get("sync", "no channel behaves like one")
    if short:
        text = f"The capture is too short to tell whether there is a sync: {short}. In it, {reason}."
        return not_measured("sync.present", text)
    if (channel := _field_pulse(evidence)) is not None:
        return not_measured("sync.present", f"Field sync or field blanking on {channel}; {reason}.")
    return Finding("sync.present", "fail", f"No sync found: {reason}.")


def _source(sync: Sync, on: str) -> str:
    if sync.kind == "blanking":
        return f"No line sync pin: line and field rate are taken from the blanking on {on}."
    if sync.kind == "vertical":
        return (
            f"Only a field sync or field blanking on {on}: lines are taken from where picture or border ends"
            " on the colour bus."
        )
    return f"{sync.kind.capitalize()} sync on {on}."


def _field_pulse(evidence: Evidence) -> str | None:
    return next((p.channel for p in evidence.pins if p.role == "vsync"), None)


def field_rate_alone(evidence: Evidence, limits: Mapping[str, Limit]) -> Finding | None:
    """Measure the field rate from a field pulse where no lines were found; None without two pulses."""
    name = _field_pulse(evidence)
    if name is None:
        return None
    capture = evidence.capture
    starts = pulses_of(capture.channel(name), capture, capture.step).starts
    if starts.size < 2:  # noqa: PLR2004 - a field has two ends
        return None
    # The blanking of an interlaced source is a line longer in every second field: whole frames count.
    periods = np.diff(starts)[-((starts.size - 1) // 2 * 2 or 1) :]
    tick = float(capture.tick)
    span = float(periods.sum()) * tick
    rate = periods.size / span
    doubt = GRID_WORST * capture.step * tick + (HALF_LINE_S / 3**0.5 if periods.size == 1 else 0.0)
    measured = Measured(rate, rate * doubt / span, "Hz").with_timebase(evidence.timebase_ppm)
    limit = limits.get("field_rate_hz")
    row = Row(
        "field_rate",
        "timing.field_rate",
        "field rate",
        measured,
        1 / (float(periods.max()) * tick),
        1 / (float(periods.min()) * tick),
        periods.size,
        limit,
        judge_value(measured, limit),
    )
    return finding_of(
        row, f"Field rate {rate:.4f} Hz, by the pulses on {name} alone.", "a better timebase would"
    )
