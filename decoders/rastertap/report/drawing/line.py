"""The line drawn from its front porch on, with what is permitted, and a gauge for every interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.make import interval
from rastertap.checks.timing_rows import Row, limits_of, rows, scaled
from rastertap.report.drawing import svg

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rastertap.analyse import Analysis
    from rastertap.checks.interface import Result
    from rastertap.streams.model import Sync

WIDTH = 800.0
LEFT, RIGHT = 20.0, 740.0
BLACK, SYNC_TIP, WHITE = 96.0, 132.0, 62.0
"""Heights of the levels in the drawing; they stand for no voltage."""
TOP_OF_GAUGES, GAUGE_STEP = 212.0, 26.0
GAUGE_LEFT, GAUGE_RIGHT = 350.0, 560.0
KINDS: dict[Result, str] = {"pass": "good", "fail": "bad", "warn": "doubt", "not_measured": "faint"}
WORDS: dict[Result, str] = {
    "pass": "in limits",
    "fail": "OUT OF LIMITS",
    "warn": "too close to tell",
    "not_measured": "no limit",
}
PART_SHOWN = 0.5
"""Part of a gauge that the permitted interval fills."""


def line_svg(analysis: Analysis) -> str:
    """Draw the line; empty without sync."""
    evidence = analysis.evidence
    sync = evidence.sync
    if sync is None:
        return ""
    found = list(rows(evidence, sync, limits_of(evidence)))
    by_key = {row.key: row for row in found}
    body = [
        svg.text(LEFT, 26, "Line", kind="head"),
        svg.text(LEFT, 44, f"measured against {evidence.limits}; time in us from line sync", kind="small"),
        *_wave(analysis, sync, by_key),
        *(
            part
            for place, row in enumerate(found)
            for part in _gauge(row, TOP_OF_GAUGES + place * GAUGE_STEP)
        ),
    ]
    height = TOP_OF_GAUGES + len(found) * GAUGE_STEP + 10
    described = "; ".join(f"{row.title} {_value(row)}: {_words(row)}" for row in found)
    return svg.document(
        WIDTH, height, "Line timing, measured against the permitted intervals", described, body
    )


def _value(row: Row) -> str:
    factor, unit = scaled(row.measured.unit, row.measured.value)
    return f"{row.measured.value * factor:.{0 if unit == 'pulses' else 3}f} {unit}"


def _edges(analysis: Analysis, sync: Sync, by_key: Mapping[str, Row]) -> tuple[float, float, float, bool]:
    """Front porch, line sync, line sync to picture (us), and whether a pin tells of the picture."""
    tick = float(analysis.capture.tick) * 1e6
    width = sync.line_width.value * tick
    if "front_porch" in by_key and "sync_to_active" in by_key:
        front = by_key["front_porch"].measured.value * 1e6
        return front, width, by_key["sync_to_active"].measured.value * 1e6, True
    begin, end = sync.intervals.of("picture_from"), sync.intervals.of("picture_to")
    if begin.count and end.count:
        return end.quantile(0.01) * tick, width, begin.quantile(0.01) * tick, False
    return 0.0, width, 2 * width, False


def _wave(analysis: Analysis, sync: Sync, by_key: Mapping[str, Row]) -> Iterator[str]:
    """Draw blanking from the end of one line's picture to the beginning of the next one's."""
    front, width, active, pinned = _edges(analysis, sync, by_key)
    margin = 0.12 * (front + active)
    low, high = -front - margin, active + margin

    def x(micro: float) -> float:
        return LEFT + (micro - low) / (high - low) * (RIGHT - LEFT)

    limits = limits_of(analysis.evidence)
    for key, sign in (("hsync_width_s", 1.0), ("sync_to_active_s", 1.0), ("front_porch_s", -1.0)):
        limit = limits.get(key)
        if limit is None:
            continue
        ends = sorted((x(sign * limit.low * 1e6), x(sign * limit.high * 1e6)))
        first, last = max(ends[0], LEFT), min(ends[1], RIGHT)
        yield svg.box(first, WHITE - 8, max(last - first, 1.5), SYNC_TIP - WHITE + 16, "band")
    yield svg.path(
        [
            (LEFT, WHITE),
            (x(-front), WHITE),
            (x(-front), BLACK),
            (x(0), BLACK),
            (x(0), SYNC_TIP),
            (x(width), SYNC_TIP),
            (x(width), BLACK),
            (x(active), BLACK),
            (x(active), WHITE),
            (RIGHT, WHITE),
        ],
        "wave",
    )
    level = SYNC_TIP + 26
    for begin, end, words in (
        (-front, 0.0, f"front porch {front:.2f}"),
        (0.0, width, f"sync {width:.2f}"),
        (width, active, f"back porch {active - width:.2f}"),
    ):
        if end > begin:
            yield svg.line(x(begin), level, x(end), level, "size")
            yield svg.text((x(begin) + x(end)) / 2, level + 15, words, kind="number", anchor="middle")
    if not pinned:
        yield svg.text(
            LEFT,
            level + 36,
            "Porches by the picture's own edge: a border or margin may hide more.",
            kind="small",
        )


def _words(row: Row) -> str:
    return "unusual" if row.unusual else WORDS[row.result]


def _gauge(row: Row, y: float) -> Iterator[str]:
    """Draw one quantity: permitted interval as a band, the measured value with its uncertainty as a mark."""
    kind = KINDS[row.result]
    yield svg.text(LEFT, y + 4, row.title[0].upper() + row.title[1:])
    yield svg.text(GAUGE_LEFT - 14, y + 4, _value(row), kind="number", anchor="end")
    yield svg.line(GAUGE_LEFT, y, GAUGE_RIGHT, y, "grid")
    if row.limit is not None:
        yield from _against(row, y, kind)
    words = _words(row)
    if row.limit is not None:
        factor, unit = scaled(row.measured.unit, row.measured.value)
        words = f"{interval(row.limit.low * factor, row.limit.high * factor, unit)}"
        words = f"{'OUT: ' if row.result == 'fail' else 'unusual: ' if row.unusual else ''}{words}"
    yield svg.text(GAUGE_RIGHT + 10, y + 4, words, kind=f"{kind} number")


def _against(row: Row, y: float, kind: str) -> Iterator[str]:
    limit = row.limit
    if limit is None:
        return
    middle, half = (limit.low + limit.high) / 2, (limit.high - limit.low) / 2
    reach = 2 * row.measured.uncertainty
    # A limit that is one number has no width to scale by: what is measured, or a hundredth of it, does.
    scale = half or max(abs(row.measured.value - middle), reach, 0.01 * abs(middle), 1e-12)

    def x(value: float) -> float:
        place = (value - middle) / scale * PART_SHOWN
        return (GAUGE_LEFT + GAUGE_RIGHT) / 2 + max(-1.0, min(1.0, place)) * (GAUGE_RIGHT - GAUGE_LEFT) / 2

    yield svg.box(x(limit.low) - 1, y - 8, max(x(limit.high) - x(limit.low), 0) + 2, 16, "band")
    value = row.measured.value
    yield svg.line(x(value - reach), y, x(value + reach), y, kind)
    yield svg.line(x(value), y - 9, x(value), y + 9, kind)
