"""Does the sync make the lines and fields that television equipment expects?"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, against, against_limit, none_allowed, not_measured, plural
from rastertap.measured import Measured
from rastertap.standards.limits import limits_for
from rastertap.streams.counts import field_periods, lines_per_field
from rastertap.streams.lines import GRID_WORST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.standards.limits import Limit
    from rastertap.streams.model import Sync

MISSING_FIELD_SYNC = 1.8
"""An interval of this many usual fields or more holds a missing field sync."""
FIELD_CERTAIN_S = 0.045
"""A capture this long without a field sync has none: no field of a 25 Hz frame or faster is longer."""
IDS = (
    "sync.glitch",
    "sync.missing_vsync",
    "sync.width",
    "timing.line_length",
    "timing.lines_per_field",
    "timing.lines_per_frame",
    "timing.line_rate",
    "timing.field_rate",
    "timing.blanking",
)


class TimingCheck:
    """Sync presence and glitches, line length and count, line and field rate, blanking."""

    name: ClassVar[str] = "timing"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "sync and timing: glitches, line length and counts, rates, against a limit set"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the findings on sync and timing."""
        yield _present(evidence)
        sync = evidence.sync
        if sync is None:
            reason = f"No sync: {evidence.missing.get('sync', 'not found')}."
            yield from (not_measured(finding, reason) for finding in IDS)
            return
        limits = limits_for(evidence.limits, evidence.mode)
        yield _glitches(evidence, sync)
        yield _missing_vsync(evidence, sync)
        yield _width(evidence, sync, limits)
        yield _line_length(evidence, sync)
        yield from _line_counts(evidence, sync, limits)
        yield _line_rate(evidence, sync, limits)
        yield _field_rate(evidence, sync, limits)
        yield _blanking(evidence, sync, limits)


def _present(evidence: Evidence) -> Finding:
    sync = evidence.sync
    if sync is None:
        reason = evidence.missing.get("sync", "no channel behaves like one")
        return Finding("sync.present", "fail", f"No sync found: {reason}.")
    on = " and ".join(sync.channels)
    if sync.fields.starts.size:
        return Finding("sync.present", "pass", f"{sync.kind.capitalize()} sync on {on}.")
    if evidence.capture.span_s < FIELD_CERTAIN_S:
        return not_measured("sync.present", f"Line sync on {on}; the capture is too short to hold a field sync for sure.")
    return Finding("sync.present", "fail", f"Line sync on {on}, but no field sync anywhere in the capture.")


def _glitches(evidence: Evidence, sync: Sync) -> Finding:
    count = sync.glitches.size
    some = f"{plural(count, 'sync edge')} where none belongs. A set may lose the line there, and tear or roll."
    return none_allowed("sync.glitch", sync.glitches, count, evidence, none="No stray sync edge.", some=some)


def _expected_lines(evidence: Evidence) -> float | None:
    """Lines per field by the board file, else by the nearest standard when it is close."""
    if evidence.board is not None and evidence.board.timing.lines_per_field is not None:
        return float(np.median(evidence.board.timing.lines_per_field))
    if evidence.mode is not None and evidence.mode_close:
        return float(evidence.mode.lines_per_field[0])
    return None


def _missing_vsync(evidence: Evidence, sync: Sync) -> Finding:
    counts = lines_per_field(sync)
    if not counts.size:
        return not_measured("sync.missing_vsync", "No whole field in the capture.")
    usual = _expected_lines(evidence) or float(np.min(counts))
    long = counts >= MISSING_FIELD_SYNC * usual
    lost = int(np.sum(np.round(counts[long] / usual) - 1))
    text = f"{plural(lost, 'field sync')} missing: the picture rolls once each time." if lost else "Every field has its sync."
    times = sync.fields.starts[:-1][long]
    return none_allowed("sync.missing_vsync", times, lost, evidence, none=text, some=text)


def _width(evidence: Evidence, sync: Sync, limits: dict[str, Limit]) -> Finding:
    scale = float(evidence.capture.tick)
    micro = Measured(sync.line_width.value * scale * 1e6, sync.line_width.uncertainty * scale * 1e6, "us")
    text = f"Line sync is {micro.value:.2f} us wide, {sync.line_polarity}."
    settle = "a higher sample rate would"
    board = evidence.board.timing.hsync_width_us if evidence.board is not None else None
    if board is not None:
        return against("sync.width", micro, *board, text=text, source="board file", settle=settle)
    limit = limits.get("hsync_width_s")
    if limit is None:
        return against_limit("sync.width", micro, None, text=text)
    source = f"{limit.source} ({limit.trust})"
    return against("sync.width", micro, limit.low * 1e6, limit.high * 1e6, text=text, source=source, settle=settle)


def _line_length(evidence: Evidence, sync: Sync) -> Finding:
    """Pixel clocks in a line, and lines that are longer or shorter than the others."""
    frames = evidence.frames
    odd = sync.steps.size
    times = sync.lines.starts[sync.steps]
    if frames is None:
        text = f"{plural(odd, 'line')} of another length." if odd else "All lines are equally long."
        return none_allowed("timing.line_length", times, odd, evidence, none=text, some=text)
    pixels = frames.pixels_per_line
    expected = evidence.board.timing.pixels_per_line if evidence.board is not None else None
    limit = f"{expected if expected is not None else 'a whole number'}, the same in every line"
    source = "board file" if expected is not None else PRACTICE
    text = f"{pixels} pixel clocks a line in {frames.steady_lines:.2%} of the lines."
    wrong = expected is not None and pixels != expected
    if wrong:
        text += f" The board file says {expected}."
    if odd:
        text += f" {plural(odd, 'line')} shift the line phase: longer or shorter than the rest."
    uneven = frames.steady_lines < 1
    if uneven and not odd:
        text += " The others are off by some clocks: clock and line sync do not keep step."
    result = "fail" if wrong or odd or uneven else "pass"
    return Finding(
        "timing.line_length", result, text, pixels, 0.0, limit, "pixel clocks", source, evidence.at_s(times) if odd else ()
    )


def _line_counts(evidence: Evidence, sync: Sync, limits: dict[str, Limit]) -> Iterator[Finding]:
    counts = lines_per_field(sync)
    if not counts.size:
        reason = "No whole field in the capture."
        yield not_measured("timing.lines_per_field", reason)
        yield not_measured("timing.lines_per_frame", reason)
        return
    yield _per_field(evidence, sync, counts, limits.get("lines_per_field"))
    if sync.interlaced and counts.size < 2:  # noqa: PLR2004 - a frame is two fields
        yield not_measured("timing.lines_per_frame", "The capture holds no whole frame of two fields.")
        return
    frame = float(np.median(counts)) * (2 if sync.interlaced else 1)
    text = f"{frame:g} lines a frame, {'interlaced' if sync.interlaced else 'not interlaced'}."
    yield against_limit("timing.lines_per_frame", Measured(frame, 0.0, "lines"), limits.get("lines_per_frame"), text=text)


def _per_field(evidence: Evidence, sync: Sync, counts: object, limit: Limit | None) -> Finding:
    values, number = np.unique(np.asarray(counts), return_counts=True)
    usual = float(values[np.argmax(number)])
    listed = ", ".join(f"{v:g} ({plural(int(n), 'field')})" for v, n in zip(values, number, strict=True))
    text = f"Lines a field: {listed}."
    board = evidence.board.timing.lines_per_field if evidence.board is not None else None
    measured = Measured(usual, 0.0, "lines")
    # The end of a field cannot be told from a longer capture's middle, so one odd field out of two is still odd.
    if values.size > 1:
        times = sync.fields.starts[:-1][np.asarray(counts) != usual]
        text += " Fields of different length: the picture jumps, and a set may lose it."
        allowed = " or ".join(f"{b:g}" for b in board) if board else "the same in every field"
        if board is None or not set(values.tolist()) <= {float(b) for b in board}:
            return Finding(
                "timing.lines_per_field", "fail", text, usual, 0.0, allowed, "lines", "board file" if board else PRACTICE, evidence.at_s(times)
            )
    if board is not None:
        low, high = float(min(board)), float(max(board))
        return against("timing.lines_per_field", measured, low, high, text=text, source="board file")
    if limit is None or not evidence.mode_close:
        text += _nearest(evidence)
    return against_limit("timing.lines_per_field", measured, limit, text=text)


def _nearest(evidence: Evidence) -> str:
    return f" Nearest standard: {evidence.mode.title}." if evidence.mode is not None else ""


def _line_rate(evidence: Evidence, sync: Sync, limits: dict[str, Limit]) -> Finding:
    period = sync.line_period
    value = 1 / (period.value * float(evidence.capture.tick))
    measured = Measured(value, value * period.uncertainty / period.value, "Hz").with_timebase(evidence.timebase_ppm)
    text = f"Line rate {value:.3f} Hz (a line of {1e6 / value:.4f} us)."
    timing = evidence.board.timing if evidence.board is not None else None
    settle = "an analyser with a better timebase would"
    if timing is not None and timing.line_rate_hz is not None and timing.line_rate_tolerance_ppm is not None:
        nominal, reach = float(timing.line_rate_hz), float(timing.line_rate_hz) * timing.line_rate_tolerance_ppm * 1e-6
        return against(
            "timing.line_rate", measured, nominal - reach, nominal + reach, text=text, source="board file", settle=settle
        )
    return against_limit("timing.line_rate", measured, limits.get("line_rate_hz"), text=text, settle=settle)


def _field_rate(evidence: Evidence, sync: Sync, limits: dict[str, Limit]) -> Finding:
    periods = field_periods(sync)
    if not periods.size:
        return not_measured("timing.field_rate", "No whole field in the capture.")
    mean = float(periods.mean())
    step = evidence.capture.sample_period.ticks if evidence.capture.sample_period is not None else 1.0
    value = 1 / (mean * float(evidence.capture.tick))
    relative = GRID_WORST * step / float(periods.sum())
    measured = Measured(value, value * relative, "Hz").with_timebase(evidence.timebase_ppm)
    text = f"Field rate {value:.4f} Hz."
    settle = "an analyser with a better timebase would"
    return against_limit("timing.field_rate", measured, limits.get("field_rate_hz"), text=text, settle=settle)


def _blanking(evidence: Evidence, sync: Sync, limits: dict[str, Limit]) -> Finding:
    """Line blanking, where a channel says when the picture is shut off."""
    frames, clock = evidence.frames, evidence.pixel_clock
    if frames is None or frames.active is None or clock is None:
        return not_measured("timing.blanking", "No active area was found.")
    if "enable" not in frames.active_from:
        reason = "Blanking can only be measured from a display-enable or blanking pin; the picture's own edge may be a border's."
        return not_measured("timing.blanking", reason)
    scale = clock.period.value * float(evidence.capture.tick) * 1e6
    blanking = Measured((frames.pixels_per_line - frames.active.width) * scale, scale / 12**0.5, "us")
    text = f"Line blanking {blanking.value:.2f} us; the picture begins {frames.active.x * scale:.2f} us after line sync."
    limit = limits.get("line_blanking_s")
    if limit is None:
        return against_limit("timing.blanking", blanking, None, text=text)
    source = f"{limit.source} ({limit.trust})"
    return against("timing.blanking", blanking, limit.low * 1e6, limit.high * 1e6, text=text, source=source)
