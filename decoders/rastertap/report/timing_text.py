"""The timing of a capture as text: what it is, every interval against its limit, events, consequences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rastertap.checks.consequences import colour_system, consequences
from rastertap.checks.make import interval
from rastertap.checks.repetition import in_fields
from rastertap.checks.timing_drift import SUBCARRIER
from rastertap.checks.timing_events import where
from rastertap.checks.timing_fields import usual_lines
from rastertap.checks.timing_rows import Row, far_from_all, limits_of, rows, scaled
from rastertap.printable import printable
from rastertap.report.text import SIGNS, finding_lines, wrapped
from rastertap.streams.counts import lines_per_field
from rastertap.streams.model import EVENT_KINDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rastertap.analyse import Analysis
    from rastertap.streams.model import EventKind, Sync

KIND_NAMES: dict[EventKind, tuple[str, str]] = {
    "glitch": ("stray sync edge", "stray sync edges"),
    "missing": ("line sync missing", "line syncs missing"),
    "short": ("line too short", "lines too short"),
    "long": ("line too long", "lines too long"),
    "displaced": ("line sync early or late", "line syncs early or late"),
    "width": ("line sync of another width", "line syncs of another width"),
}
"""Of one, and of several."""
STYLES = {
    "equalised": "broad pulses at half-lines, with equalising pulses",
    "serrated": "broad pulses at half-lines, without equalising pulses",
    "line-serrated": "inverted line sync in the field sync (XOR)",
    "plain": "one pulse without serrations (AND or OR of the two)",
}
MOST_SHOWN = 12
ROWLESS = {"timing.embedded_picture", "timing.line_rate_drift", *SUBCARRIER.values()}
"""Findings that are shown when they pass too, for the table of intervals has no row of them."""


def timing_text(analysis: Analysis, width: int = 100) -> str:
    """Give the whole timing of a capture."""
    evidence = analysis.evidence
    lines = [f"rastertap timing  {printable(analysis.capture.label)}", ""]
    sync = evidence.sync
    mine = [f for f in analysis.findings if f.id.partition(".")[0] in {"sync", "timing"}]
    if sync is None:
        reason = evidence.missing.get("sync", "not found")
        lines.append(wrapped(f"No sync: {reason}.", width, ""))
        lines += ["", "FINDINGS", *finding_lines(mine, width)]
        return "\n".join(lines) + "\n"
    lines += ["RECOGNISED", *recognised_lines(analysis, width)]
    lines += ["", f"MEASURED against {evidence.limits}", *row_lines(analysis, width)]
    lines += ["", "EVENTS", *event_lines(analysis, sync, width)]
    lines += ["", "WHAT FOLLOWS", *(wrapped(text, width, "  - ") for text in consequences(evidence))]
    shown = [f for f in mine if f.result != "pass" or f.id in ROWLESS]
    if shown:
        lines += ["", "FINDINGS", *finding_lines(shown, width)]
    return "\n".join(lines) + "\n"


def recognised_lines(analysis: Analysis, width: int) -> Iterator[str]:
    """Say which standard it is, or which it is nearest to and by how much it is off."""
    evidence, sync = analysis.evidence, analysis.evidence.sync
    if sync is None:
        return
    for name, text in _recognised(analysis, sync):
        yield wrapped(text, width, f"  {name:<12}  ")
    if evidence.mode is not None:
        yield wrapped(f"{evidence.mode.source} [{evidence.mode.trust}]", width, f"  {'source':<12}  ")


def _recognised(analysis: Analysis, sync: Sync) -> Iterator[tuple[str, str]]:
    evidence = analysis.evidence
    yield "timing", standard_text(analysis)
    polarity = f"line {sync.line_polarity}"
    if sync.field_polarity is not None and sync.kind == "separate":
        polarity += f", field {sync.field_polarity}"
    yield "sync", f"{sync.kind}, on {printable(', '.join(sync.channels))}; {polarity}"
    style = sync.intervals.style
    if style is not None:
        yield "field sync", STYLES[style]
    yield "line", _line(analysis, sync)
    yield "field", _field(sync)
    colour = colour_system(evidence)
    if colour:
        yield "colour", colour


def standard_text(analysis: Analysis) -> str:
    """Name the timing, or the nearest one with the difference."""
    evidence, distance = analysis.evidence, analysis.distance
    mode = evidence.mode
    if mode is None or distance is None:
        return "not known: no whole field in the capture"
    off = f"line rate {distance.line_rate_ppm:+.1f} ppm"
    if distance.lines:
        off += f", {distance.lines:+g} lines a field"
    if distance.interlace_differs:
        off += f", {'not ' if mode.interlaced else ''}interlaced"
    if evidence.mode_close:
        return f"{mode.key}: {mode.title} ({off})"
    if far_from_all(evidence):
        off = f"line rate {distance.line_rate_ppm / 1e4:+.1f} %, {distance.lines:+g} lines a field"
    return f"none of the known; nearest is {mode.key}: {mode.title} ({off})"


def _line(analysis: Analysis, sync: Sync) -> str:
    micro = sync.line_period.value * float(analysis.capture.tick) * 1e6
    text = f"{micro:.4f} us"
    frames = analysis.evidence.frames
    if frames is not None:
        steady = "in every line" if frames.steady_lines == 1 else f"in {frames.steady_lines:.2%} of the lines"
        text = f"{frames.clock_words.replace(' a line', '')}, {steady}; {text}"
    spread = sync.intervals.of("line_period").spread * float(analysis.capture.tick) * 1e9
    return f"{text}, varying by {spread:.2f} ns rms"


def _field(sync: Sync) -> str:
    counts = lines_per_field(sync)
    if not counts.size:
        return "no whole field in the capture"
    values, number = np.unique(counts, return_counts=True)
    listed = ", ".join(f"{v:g} lines ({n})" for v, n in zip(values, number, strict=True))
    text = f"{listed}; {'interlaced' if sync.interlaced else 'not interlaced'}"
    phase = sync.intervals.of("field_phase")
    if phase.count and sync.kind in {"separate", "composite"}:
        seen = (
            f"{phase.low:.2f}"
            if phase.high - phase.low < NEAR_PHASE
            else f"{phase.low:.2f} and {phase.high:.2f}"
        )
        text += f"; field sync begins {seen} lines after a line sync".replace("-0.00", "0.00")
    active = sync.intervals.of("active_lines")
    if active.count:
        first = sync.intervals.of("lines_to_active")
        text += f"; {active.usual:g} lines with picture, from {first.usual:.1f} lines after the field sync on"
    return text


NEAR_PHASE = 0.02
"""Lines; field syncs this near to each other have one place in the line."""


def row_lines(analysis: Analysis, width: int) -> Iterator[str]:
    """Give one line a quantity: measured, uncertainty, permitted, result; then where the limit comes from."""
    evidence, sync = analysis.evidence, analysis.evidence.sync
    if sync is None:
        return
    found = list(rows(evidence, sync, limits_of(evidence)))
    column = max(len(row.title) for row in found)
    yield f"  {'':<5}  {'':<{column}}  {'measured':>13}  {'+-':>9}         permitted"
    for row in found:
        yield from _row(row, column, width)


def _row(row: Row, column: int, width: int) -> Iterator[str]:
    factor, unit = scaled(row.measured.unit, row.measured.value)
    digits = 1 if unit == "pulses" else 3
    value = f"{row.measured.value * factor:13.{digits}f}"
    doubt = f"{2 * row.measured.uncertainty * factor:9.{3}f}" if unit != "pulses" else f"{'':>9}"
    allowed = "no limit in this set"
    if row.limit is not None:
        allowed = interval(row.limit.low * factor, row.limit.high * factor, "")
    yield f"  {SIGNS[row.result]:<5}  {row.title:<{column}}  {value}  {doubt}  {unit:<6} {allowed}"
    if row.limit is not None and row.result in {"fail", "warn"}:
        yield wrapped(f"{row.limit.source} [{row.limit.trust}]", width, " " * (column + 12))


def _odd_fields(analysis: Analysis, sync: Sync) -> Iterator[str]:
    """Fields that are longer or shorter than the rest, with the time of each."""
    counts = lines_per_field(sync)
    usual = usual_lines(analysis.evidence, sync)
    odd = np.flatnonzero(counts != usual)
    if not odd.size:
        return
    rhythm = in_fields(odd)
    yield f"{odd.size} of {counts.size} fields of another length{': ' + rhythm if rhythm else ''}"
    for i in odd[:MOST_SHOWN]:
        time = analysis.capture.seconds(float(sync.fields.starts[i])) * 1e3
        yield f"{time:12.4f} ms  field {i + 1}: {counts[i]:g} lines, {counts[i] - usual:+g}"


def event_lines(analysis: Analysis, sync: Sync, width: int) -> Iterator[str]:
    """Give the kinds of events with their number and rhythm, then the first ones with their place."""
    total = int(sync.events.counts.sum())
    fields = list(_odd_fields(analysis, sync))
    yield from (wrapped(text, width, "  ") for text in fields)
    if not total:
        if not fields:
            yield "  none: every line has one sync pulse, of one width, when it is due"
        return
    for kind in EVENT_KINDS:
        count = sync.events.count(kind)
        if count:
            rhythm = where(sync, (kind,))
            name = KIND_NAMES[kind][count > 1]
            yield wrapped(f"{count} {name}{': ' + rhythm if rhythm else ''}", width, "  ")
    yield f"  {'time ms':>12}  {'line':>5}  {'us in line':>10}  what"
    tick = float(analysis.capture.tick)
    line_us = sync.line_period.value * tick * 1e6
    for i in range(min(sync.events.times.size, MOST_SHOWN)):
        kind = EVENT_KINDS[sync.events.kind[i]]
        line = sync.events.lines[i]
        text = KIND_NAMES[kind][0]
        extent = sync.events.extents[i] * tick * 1e6
        by = f" ({extent:+.3f} us)" if kind in {"short", "long", "displaced"} else ""
        by = f" ({extent:.3f} us)" if kind in {"glitch", "width"} else by
        time = analysis.capture.seconds(float(sync.events.times[i])) * 1e3
        place = sync.events.places[i] * line_us
        yield f"  {time:12.4f}  {line if line >= 0 else '-':>5}  {place:10.3f}  {text}{by}"
    if total > MOST_SHOWN:
        yield f"  ... {total - MOST_SHOWN} more"
