"""The result as JSON: schema ``rastertap.check/1``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from rastertap import __version__
from rastertap.report.clock_document import clock_section, sampling_section
from rastertap.report.pins_document import pins_data, wiring_data
from rastertap.report.steadiness import steadiness_document
from rastertap.report.timing_document import timing_details
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from rastertap.analyse import Analysis
    from rastertap.frames.model import FrameNote
    from rastertap.measured import Measured
    from rastertap.streams.model import Sync

SCHEMA = "rastertap.check/1"


def _capture(analysis: Analysis) -> dict[str, Any]:
    capture, edges = analysis.capture, analysis.evidence.edges
    period = capture.sample_period
    known = period is not None and period.known
    return {
        "path": capture.label,
        "sha256": capture.sha256,
        "tick_s": str(capture.tick),
        "sample_period_s": period.ticks * float(capture.tick) if period is not None and known else None,
        "span_s": capture.span_s,
        "truncated": bool(capture.truncated),
        "truncated_why": capture.truncated,
        "channels": [{"name": c.name, "edges": edges[c.name]} for c in capture.channels],
        "ignored": list(capture.ignored),
        "notes": list(capture.notes),
    }


def _pulse(width: Measured | None, key: str, scale: float, polarity: str | None) -> dict[str, Any]:
    return {key: width.value * scale if width is not None else None, "polarity": polarity}


def _timing(analysis: Analysis) -> dict[str, Any] | None:
    evidence, tick = analysis.evidence, float(analysis.capture.tick)
    sync = evidence.sync
    if sync is None:
        return None
    mode, distance = evidence.mode, analysis.distance
    counts = lines_per_field(sync)
    usual = float(np.median(counts)) if counts.size else None
    frames = evidence.frames
    periods = field_periods(sync)
    return {
        "standard": mode.key if mode is not None and evidence.mode_close else None,
        "nearest_standard": mode.key if mode is not None else None,
        "line_rate_from_nearest_ppm": distance.line_rate_ppm if distance is not None else None,
        "interlaced": sync.interlaced,
        "pixels_per_line": _number(frames.line_pixels) if frames is not None else None,
        "lines_per_field": [_number(c) for c in counts],
        "lines_per_frame": _number(usual * (2 if sync.interlaced else 1)) if usual is not None else None,
        "line_rate_hz": 1 / (sync.line_period.value * tick),
        "field_rate_hz": 1 / (float(periods.mean()) * tick) if periods.size else None,
        "sync": sync.kind,
        **_pulses(sync, tick),
        **timing_details(evidence),
    }


def _number(value: float) -> int | float:
    return int(value) if float(value).is_integer() else float(value)


def _pulses(sync: Sync, tick: float) -> dict[str, Any]:
    line = _pulse(sync.line_width, "width_s", tick, sync.line_polarity)
    field = _pulse(sync.field_width, "width_lines", 1.0, sync.field_polarity)
    if sync.kind == "composite":
        return {"hsync": None, "vsync": None, "csync": {**line, "field_sync_lines": field["width_lines"]}}
    return {"hsync": line, "vsync": field, "csync": None}


def _frame(analysis: Analysis, note: FrameNote, files: Mapping[int, tuple[Path, Path]]) -> dict[str, Any]:
    area = note.area
    png, codes = files.get(note.index, (None, None))
    return {
        "index": note.index,
        "field": note.field,
        "raster_width": note.raster_width,
        "raster_height": note.raster_height,
        "active": None
        if area is None
        else {"x": area.x, "y": area.y, "width": area.width, "height": area.height},
        "start_s": analysis.capture.seconds(note.start),
        "complete": note.complete,
        "uncertain_pixels": note.unsure,
        "png": None if png is None else str(png),
        "codes": None if codes is None else str(codes),
    }


def document(analysis: Analysis, files: Mapping[int, tuple[Path, Path]] | None = None) -> dict[str, Any]:
    """Give the whole result as plain data.

    Parameters
    ----------
    analysis : Analysis
        The result.
    files : mapping of int to (Path, Path), optional
        PNG and ``.npy`` written for each frame, by its index.
    """
    frames = analysis.evidence.frames
    verdict = analysis.verdict
    return {
        "schema": SCHEMA,
        "tool_version": __version__,
        "capture": _capture(analysis),
        "pins": pins_data(analysis),
        "wiring": wiring_data(analysis),
        "clock": clock_section(analysis),
        "sampling": sampling_section(analysis),
        "timing": _timing(analysis),
        "frames": [] if frames is None else [_frame(analysis, n, files or {}) for n in frames.notes],
        "steadiness": steadiness_document(analysis),
        "findings": [
            {
                "id": f.id,
                "result": f.result,
                "measured": f.measured,
                "uncertainty": f.uncertainty,
                "limit": f.limit,
                "unit": f.unit,
                "source": f.source,
                "text": f.text,
                "at_s": list(f.at_s),
            }
            for f in analysis.findings
        ],
        "verdict": {
            "place": verdict.place,
            "confidence": verdict.confidence,
            "text": verdict.text,
            "because": list(verdict.because),
            "next": list(verdict.next),
            "cautions": list(verdict.cautions),
        },
        "decoders": [
            {
                "name": t.name,
                "gives": t.gives,
                "ran": t.ran,
                "score": t.match.score if t.match else None,
                "reason": t.reason,
            }
            for t in analysis.decoded.tried
        ],
    }


def dumps(value: Mapping[str, Any]) -> str:
    """Write plain data as JSON text, numpy numbers included."""
    import json

    def plain(item: object) -> object:
        if isinstance(item, np.generic):
            return item.item()
        raise TypeError(f"{type(item).__name__} is no plain data")

    return json.dumps(value, indent=2, default=plain, allow_nan=False) + "\n"
