"""Numbers of the page that are no findings: (name, value) pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rastertap.checks.clock import frequency_hz
from rastertap.report.page.quantity import quantity
from rastertap.streams.counts import field_periods, lines_per_field

if TYPE_CHECKING:
    from rastertap.analyse import Analysis
    from rastertap.measured import Measured

Facts = list[tuple[str, str]]


def _in_seconds(measured: Measured | None, tick: float) -> str:
    if measured is None:
        return "not measured"
    return quantity(measured.value * tick, measured.uncertainty * tick, "s")


def capture_facts(analysis: Analysis) -> Facts:
    """Say what was read, and how."""
    capture, request = analysis.capture, analysis.request
    period, tick = capture.sample_period, float(capture.tick)
    rate = (
        quantity(1 / (period.ticks * tick), None, "Hz").replace("Hz", "S/s")
        if period is not None and period.known
        else "no sampling step seen"
    )
    facts = [
        ("file", capture.label),
        ("SHA-256", capture.sha256 or "not computed"),
        ("length", quantity(capture.span_s, None, "s")),
        ("channels", str(len(capture.channels))),
        ("sample rate", rate),
        ("time unit", f"{capture.tick} s"),
        ("board file", request.board.name if request.board is not None else "none given"),
        ("limits", request.limits),
        ("analyser's timebase", f"± {request.timebase_ppm:g} ppm (its tolerance, as given or assumed)"),
    ]
    facts += [("signal left out", name) for name in capture.ignored]
    facts += [("note", note) for note in capture.notes]
    return facts


def section_facts(analysis: Analysis) -> dict[str, Facts]:
    """Numbers by section: ``clock``, ``sampling``, ``timing``."""
    return {"clock": _clock(analysis), "sampling": _sampling(analysis), "timing": _timing(analysis)}


def _clock(analysis: Analysis) -> Facts:
    clock, tick = analysis.evidence.pixel_clock, float(analysis.capture.tick)
    if clock is None:
        return []
    rate = frequency_hz(clock, tick)
    where = f"tapped on {clock.channel}" if clock.channel else "recovered from the picture"
    duty = clock.duty
    return [
        ("source", where),
        (
            "frequency",
            quantity(rate.value, rate.with_timebase(analysis.evidence.timebase_ppm).uncertainty, "Hz"),
        ),
        ("period jitter, rms", _in_seconds(clock.period_jitter, tick)),
        ("cycle-to-cycle jitter, rms", _in_seconds(clock.cycle_jitter, tick)),
        (
            "duty",
            quantity(duty.value * 100, duty.uncertainty * 100, "%") if duty is not None else "not measured",
        ),
    ]


def _sampling(analysis: Analysis) -> Facts:
    bus, tick = analysis.evidence.colour_bus, float(analysis.capture.tick)
    if bus is None:
        return []
    point = bus.sampling
    return [
        ("bits, highest first", ", ".join(b.name or "(none)" for b in reversed(bus.bits))),
        ("colours", f"{bus.family}; {bus.colours_from}"),
        (
            "read after the rising edge",
            f"{quantity(point.delay * tick, None, 's')} (phase {point.phase:.3f})",
        ),
        ("quiet before", _in_seconds(point.margin_before, tick)),
        ("quiet after", _in_seconds(point.margin_after, tick)),
        ("changes in the quiet window", str(point.stray)),
    ]


def _timing(analysis: Analysis) -> Facts:
    evidence, tick = analysis.evidence, float(analysis.capture.tick)
    sync, frames = evidence.sync, evidence.frames
    if sync is None:
        return []
    period = sync.line_period
    rate = 1 / (period.value * tick)
    facts = [
        ("sync", f"{sync.kind}, on {', '.join(sync.channels) or 'the colour bus'}"),
        ("line rate", quantity(rate, rate * period.uncertainty / period.value, "Hz")),
        ("line", _in_seconds(period, tick)),
        ("line sync", f"{_in_seconds(sync.line_width, tick)}, {sync.line_polarity}"),
    ]
    periods, counts = field_periods(sync), sorted(set(lines_per_field(sync).tolist()))
    if periods.size:
        facts.append(("field rate", quantity(1 / (float(periods.mean()) * tick), None, "Hz")))
    if counts:
        facts.append(("lines a field", " or ".join(f"{c:g}" for c in counts)))
    if frames is not None:
        facts.append(("pixel clocks a line", str(frames.clocks_per_line)))
        if frames.active is not None:
            area = frames.active
            facts.append(("active area", f"{area.width} x {area.height} from pixel {area.x}, line {area.y}"))
        facts.append(("active area found", frames.active_from))
    if evidence.mode is not None:
        near = "" if evidence.mode_close else "nearest, though not near: "
        facts.append(("standard", near + evidence.mode.title))
    return facts


def field_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """One row a frame: number, kind, whether complete, begin, raster, active area, unsure pixels."""
    frames = analysis.evidence.frames
    if frames is None:
        return []
    return [
        (
            str(n.index),
            n.field,
            "complete" if n.complete else "cut",
            f"{analysis.capture.seconds(n.start) * 1e3:.4f}",
            f"{n.raster_width} x {n.raster_height}",
            "none" if n.area is None else f"{n.area.width} x {n.area.height}",
            str(n.unsure),
        )
        for n in frames.notes
    ]
