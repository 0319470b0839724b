"""The field sync as it was recorded, both fields of an interlaced frame above each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.capture.model import HIGH
from rastertap.checks.make import interval
from rastertap.checks.timing_rows import limits_of, rows, scaled
from rastertap.report.drawing import svg

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.analyse import Analysis
    from rastertap.capture.model import Channel
    from rastertap.streams.model import Sync

WIDTH, LEFT, RIGHT = 900.0, 110.0, 885.0
BEFORE, AFTER = 5.5, 9.5
"""Lines shown before and after the field sync's leading edge."""
TRACE, TRACE_STEP = 26.0, 44.0
FIELD_GAP = 26.0
QUARTER = 0.25
"""Lines; half-way between a field sync at a line sync and one half a line later."""
SHOWN = (
    "equalising_before",
    "broad_pulses",
    "equalising_after",
    "equalising_pulse",
    "broad_pulse",
    "serration",
    "vsync_width",
)


def field_sync_svg(analysis: Analysis) -> str:
    """Draw the first field syncs of the capture; empty without one."""
    sync = analysis.evidence.sync
    if sync is None or not sync.fields.starts.size:
        return ""
    names = [name for name in sync.channels if any(c.name == name for c in analysis.capture.channels)]
    channels = [analysis.capture.channel(name) for name in names]
    chosen = _chosen(analysis, sync)
    if not channels or not chosen:
        return ""
    body = [svg.text(20, 26, "Field sync", kind="head")]
    body.append(svg.text(20, 44, "as recorded; lines from its leading edge", kind="small"))
    y = 66.0
    for index in chosen:
        body += _field(sync, channels, int(sync.fields.starts[index]), index, y)
        y += len(channels) * TRACE_STEP + FIELD_GAP + 14
    facts = list(_facts(analysis, sync))
    body += [svg.text(20, y + 8 + 18 * i, words, kind="number") for i, words in enumerate(facts)]
    return svg.document(
        WIDTH, y + 18 * len(facts) + 8, "Field sync as recorded", "; ".join(facts) or "no figures", body
    )


def _chosen(analysis: Analysis, sync: Sync) -> list[int]:
    """Fields to draw: one, or two when interlaced; wholly within what is at hand of the capture."""
    period = sync.line_period.value
    last = max((int(c.ticks[-1]) for c in analysis.capture.channels if c.ticks.size), default=0)
    starts = sync.fields.starts
    inside = (starts - BEFORE * period >= analysis.capture.start) & (starts + AFTER * period <= last)
    found = np.flatnonzero(inside)
    return [int(i) for i in found[: 2 if sync.interlaced else 1]]


def _field(sync: Sync, channels: list[Channel], start: int, index: int, y: float) -> Iterator[str]:
    period = sync.line_period.value
    low, high = start - BEFORE * period, start + AFTER * period

    def x(tick: float) -> float:
        return LEFT + (tick - low) / (high - low) * (RIGHT - LEFT)

    phase = float(sync.fields.offset[index])
    whole = abs(phase - round(phase)) < QUARTER
    words = "begins with a line sync" if whole else "begins half a line after a line sync"
    yield svg.text(LEFT, y, f"field {index + 1} of the capture: {words}", kind="small")
    bottom = y + 8 + len(channels) * TRACE_STEP
    for number in range(-int(BEFORE), int(AFTER) + 1):
        place = x(start + number * period)
        yield svg.line(place, y + 8, place, bottom, "grid")
        yield svg.text(place, bottom + 12, str(number), kind="small number", anchor="middle")
    for row, channel in enumerate(channels):
        base = y + 14 + row * TRACE_STEP
        yield svg.text(LEFT - 10, base + 18, channel.name[:14], anchor="end")
        yield svg.path(_trace(channel, low, high, top=base, left=x(low), right=x(high)), "wave")


def _trace(
    channel: Channel, low: float, high: float, *, top: float, left: float, right: float
) -> list[tuple[float, float]]:
    """Points of a channel's levels between two times."""
    begin, end = np.searchsorted(channel.ticks, (low, high))
    level = int(channel.levels[begin - 1]) if begin else channel.initial
    points = [(left, top if level == HIGH else top + TRACE)]
    for tick, after in zip(
        channel.ticks[begin:end].tolist(), channel.levels[begin:end].tolist(), strict=True
    ):
        place = left + (tick - low) / (high - low) * (right - left)
        points += [(place, points[-1][1]), (place, top if after == HIGH else top + TRACE)]
    return [*points, (right, points[-1][1])]


def _facts(analysis: Analysis, sync: Sync) -> Iterator[str]:
    evidence = analysis.evidence
    by_key = {row.key: row for row in rows(evidence, sync, limits_of(evidence))}
    for key in SHOWN:
        row = by_key.get(key)
        if row is None:
            continue
        factor, unit = scaled(row.measured.unit, row.measured.value)
        value = f"{row.measured.value * factor:.{0 if unit == 'pulses' else 3}f} {unit}"
        text = f"{row.title[0].upper()}{row.title[1:]}: {value}"
        if row.limit is not None:
            allowed = interval(row.limit.low * factor, row.limit.high * factor, unit)
            text += f", permitted {allowed}{' - OUT OF LIMITS' if row.result == 'fail' else ''}"
        yield text
