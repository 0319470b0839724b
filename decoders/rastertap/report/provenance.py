"""What is written into a picture so that it can be told later where it comes from."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from rastertap import __version__
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from rastertap.analyse import Analysis


def provenance(analysis: Analysis) -> dict[str, str]:
    """Give the tool, the capture with its checksum, and the timing, by the name of a PNG text."""
    evidence, tick = analysis.evidence, float(analysis.capture.tick)
    text = {
        "Software": f"rastertap {__version__}",
        "Source": PurePath(analysis.capture.label).name,
        "Source SHA-256": analysis.capture.sha256,
    }
    clock, sync, bus, frames = evidence.pixel_clock, evidence.sync, evidence.colour_bus, evidence.frames
    if clock is not None:
        text["Pixel clock"] = f"{1 / (clock.period.value * tick):.1f} Hz"
    if sync is not None:
        text["Line rate"] = f"{1 / (sync.line_period.value * tick):.3f} Hz"
        periods, counts = field_periods(sync), lines_per_field(sync)
        if periods.size and counts.size:
            text["Field rate"] = f"{1 / (float(periods.mean()) * tick):.4f} Hz"
            text["Lines per field"] = ", ".join(f"{c:g}" for c in sorted(set(counts.tolist())))
    if frames is not None:
        text["Pixels per line"] = str(frames.pixels_per_line)
        if frames.active is not None:
            area = frames.active
            text["Active area"] = f"{area.width} x {area.height} from pixel {area.x}, line {area.y}"
    if bus is not None:
        text["Colours"] = bus.colours_from
    return text
