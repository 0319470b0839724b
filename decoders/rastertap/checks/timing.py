"""Whether the sync makes the lines and fields that television equipment expects."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rastertap.checks import timing_drift, timing_embedded, timing_events, timing_fields, timing_present
from rastertap.checks.interface import CONTRACT, Evidence, Finding
from rastertap.checks.make import PRACTICE, not_measured
from rastertap.checks.timing_rows import Row, by_practice, finding_of, limits_of, rows, scaled
from rastertap.standards.limits import DEFAULT_SET

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rastertap.checks.interface import Result
    from rastertap.standards.limit import Limit
    from rastertap.streams.model import Sync

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
DIGITAL = (
    "The codes in the bus give digital blanking (see timing.embedded_picture); what makes the analogue signal"
    " adds to it."
)
NO_LINE_SYNC = "No pin carries a line sync: lines are taken from where picture or border ends."
NEEDS_WINDOW = {
    "front_porch",
    "back_porch",
    "sync_to_active",
    "line_blanking",
    "field_blanking",
    "blanking_to_equalising",
}
NEEDS_COMPOSITE = {
    "equalising_pulse",
    "broad_pulse",
    "serration",
    "equalising_before",
    "equalising_after",
    "broad_pulses",
}
WINDOW_REASON = (
    "Blanking can only be measured from a display-enable or blanking pin; the picture's own edge may be a"
    " border's."
)


class TimingCheck:
    """Sync presence and glitches, line length and count, line and field rate, pulses and porches."""

    name: ClassVar[str] = "timing"
    contract: ClassVar[int] = CONTRACT
    describes: ClassVar[str] = "sync and timing: events, line length and counts, rates, pulses and porches"

    def run(self, evidence: Evidence) -> Iterator[Finding]:
        """Give the findings on sync and timing."""
        yield timing_present.present(evidence)
        sync = evidence.sync
        if sync is None:
            yield from _without_sync(evidence)
            return
        limits = limits_of(evidence)
        if sync.kind == "vertical":
            yield from (
                not_measured(finding, NO_LINE_SYNC) for finding in ("sync.glitch", "sync.missing_hsync")
            )
        else:
            yield timing_events.glitches(evidence, sync)
            yield timing_events.missing_lines(evidence, sync)
        yield timing_fields.missing_vsync(evidence, sync)
        if sync.kind == "embedded":
            yield from timing_embedded.embedded(evidence, sync)
        yield timing_events.line_length(evidence, sync)
        if sync.kind != "vertical":
            yield timing_events.displaced(evidence, sync)
        yield from timing_fields.line_counts(evidence, sync, limits)
        yield from _from_rows(evidence, sync, limits)
        yield from timing_drift.drifts(evidence, sync, limits)


def _without_sync(evidence: Evidence) -> Iterator[Finding]:
    """Say why nothing was measured; a field pulse alone still gives the field rate."""
    limits = limits_of(evidence)
    alone = timing_present.field_rate_alone(evidence, limits)
    reason = f"No sync: {evidence.missing.get('sync', 'not found')}."
    for finding in IDS:
        yield alone if alone is not None and finding == alone.id else not_measured(finding, reason)


def _from_rows(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Finding]:
    found = {row.key: row for row in rows(evidence, sync, limits)}
    for row in found.values():
        finding = _finding(evidence, sync, row)
        if finding is not None:
            yield finding
    if "field_rate" not in found:
        yield not_measured("timing.field_rate", "No whole field in the capture.")
    if "hsync_width" not in found:
        yield not_measured("sync.width", "No line sync pulse whose width could be measured.")
    if sync.kind == "embedded":
        yield not_measured("timing.blanking", DIGITAL)
    elif "line_blanking" not in found:
        yield from _picture_edge(evidence, sync, limits)
    if evidence.limits != DEFAULT_SET:
        yield from _lacking(sync, found, limits)


def _finding(evidence: Evidence, sync: Sync, row: Row) -> Finding | None:
    """Word a row; one without a limit is only told when its id is one that is always given."""
    if row.limit is None and row.finding not in IDS:
        return None
    settle = "a higher sample rate would"
    factor, unit = scaled(row.measured.unit, row.measured.value)
    text = f"{row.title.capitalize()} {row.measured.value * factor:.3f} {unit}".replace(" us", " us") + "."
    if row.key == "hsync_width":
        text = f"Line sync is {row.measured.value * 1e6:.2f} us wide, {sync.line_polarity}."
        odd = timing_events.odd_widths_text(evidence, sync)
        if odd and row.result != "fail":
            found = finding_of(row, text + odd, settle)
            at = evidence.at_s(sync.events.times[sync.events.of("width")].tolist())
            return _failed(found, "all of one width", at)
        text += odd
    elif row.key == "line_rate":
        text = f"Line rate {row.measured.value:.3f} Hz (a line of {1e6 / row.measured.value:.4f} us)."
        settle = "an analyser with a better timebase would"
    elif row.key == "field_rate":
        text = f"Field rate {row.measured.value:.4f} Hz."
        settle = "an analyser with a better timebase would"
    elif row.key == "vsync_width":
        text = f"Field sync is {row.measured.value:.3f} lines wide, {sync.field_polarity}."
        text += f" That is {row.note}." if row.note else ""
    elif row.measured.unit == "pulses":
        seen = f"{row.low:g}" if row.low == row.high else f"{row.low:g} to {row.high:g}"
        text = f"{seen} {row.title} the broad ones in every field sync.".replace(
            "broad pulses the broad ones", "broad pulses"
        )
    return finding_of(row, text, settle)


def _failed(finding: Finding, limit: str, at: tuple[float, ...]) -> Finding:
    from dataclasses import replace

    return replace(finding, result="fail", limit=finding.limit or limit, at_s=at)


def _picture_edge(evidence: Evidence, sync: Sync, limits: Mapping[str, Limit]) -> Iterator[Finding]:
    """Without a blanking pin a picture that reaches into the blanking still shows."""
    begin, end = sync.intervals.of("picture_from"), sync.intervals.of("picture_to")
    width = sync.line_width.value
    tick = float(evidence.capture.tick)
    if not begin.count or not end.count or not width:
        yield not_measured("timing.blanking", WINDOW_REASON)
        return
    back, front = (begin.quantile(EDGE) - width) * tick * 1e6, end.quantile(EDGE) * tick * 1e6
    frames, clock = evidence.frames, evidence.pixel_clock
    if frames is not None and frames.active is not None and clock is not None:
        # The active area holds over all fields: a bit that flips in the blanking is not the picture's edge.
        pixel, area = clock.period.value * tick * 1e6 / frames.pixels_per_clock, frames.active
        back = area.x * pixel - width * tick * 1e6
        front = (frames.pixels_per_line - area.x - area.width) * pixel
    text = (
        f"{WINDOW_REASON} Picture or border begins {back:.2f} us after the line sync and ends {front:.2f} us"
        " before the next."
    )
    wanted = [limit for key in ("back_porch_s", "front_porch_s") if (limit := limits.get(key)) is not None]
    short = [
        f"{name} {value:.2f} us, at least {limit.low * 1e6:.2f} wanted"
        for name, value, limit in (
            ("back porch", back, limits.get("back_porch_s")),
            ("front porch", front, limits.get("front_porch_s")),
        )
        if limit is not None and value < limit.low * 1e6 - 2 * sync.intervals.step * tick * 1e6
    ]
    if short:
        text = f"The picture reaches into the blanking: {'; '.join(short)}."
        result: Result = "warn" if all(by_practice(limit) for limit in wanted) else "fail"
        yield Finding("timing.blanking", result, text, back, None, "porches of the limit set", "us", PRACTICE)
        return
    yield not_measured("timing.blanking", text)


EDGE = 0.01
"""Part of the lines that may have a change beyond the picture's edge: noise, a glitch."""


def _lacking(sync: Sync, found: Mapping[str, Row], limits: Mapping[str, Limit]) -> Iterator[Finding]:
    """Say of what the chosen set limits why it was not measured."""
    from rastertap.checks.timing_rows import COUNTS, LINE_QUANTITIES

    wanted = {key: (finding, f"{key}_s") for key, finding in LINE_QUANTITIES.items()} | COUNTS
    for key, (finding, limit) in wanted.items():
        if key in found or limit not in limits or finding in IDS:
            continue
        if key in NEEDS_WINDOW:
            yield not_measured(finding, "Needs a display-enable or blanking pin.")
        elif key in NEEDS_COMPOSITE:
            style = sync.intervals.style
            reason = "Needs composite sync with equalising pulses"
            yield not_measured(finding, f"{reason}; this one is {style}." if style else f"{reason}.")
